"""The hidden truth of the fish: growth by day, deaths, and what a weighing shows of it.

Weight rises by a power of itself that is not the planner's two thirds, in water that is not quite
as warm as set; a house, a species and a stocking each grow at a pace of their own.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from planner.fish import effective_temperature_c
from planner.tables import Fish
from tests.skill.nature import Nature, tail, wander

Series = NDArray[np.float64]

POWER_SD = 0.015  # of the power of weight about two thirds
EVEN_AT_G = 200.0  # weight at which the power does not matter
WATER_K, WATER_DAYS = 0.25, 14.0
WEIGHT_CV = 0.2  # of single fish
SICK_YEAR = 0.15  # chance a year that something kills ten times as many for a fortnight


@dataclass(frozen=True, slots=True, eq=False)
class Shoal:
    """The fish of one stocking, by day from `first` on: mean weight [g], share alive [-]."""

    first: int
    weight_g: Series
    alive: Series

    def at(self, day: int) -> tuple[float, float]:
        """Mean weight and share alive at the start of an environment day."""
        place = min(max(0, day - self.first), len(self.weight_g) - 1)
        return float(self.weight_g[place]), float(self.alive[place])


class Fishes:
    """The fish of one house."""

    def __init__(self, nature: Nature, table: Fish) -> None:
        self.nature, self.table = nature, table
        sizes, stream = nature.spread, nature.stream(f"fish {table.id}")
        self.growth = float(
            stream.standard_normal() * sizes.fish_growth_class
            + stream.standard_normal() * sizes.fish_growth_species
        )
        self.deaths = float(stream.standard_normal() * sizes.deaths_species)
        self.power = 2 / 3 + float(stream.standard_normal() * POWER_SD * nature.size)
        days = nature.environment.days
        warmer_k = wander(nature.stream("water"), days, WATER_K * nature.size, WATER_DAYS)
        self.warmth_c = effective_temperature_c(nature.environment.water_c + warmer_k, table)
        self._shoals: dict[tuple[str, date], Shoal] = {}

    def shoal(self, tank: str, stocked: date, start_g: float, grown_days: float) -> Shoal:
        """Return the fish stocked in a tank on a day, whatever is planned for them.

        Parameters
        ----------
        grown_days
            Days over which the table spreads its survival. [d]
        """
        key = tank, stocked
        if key not in self._shoals:
            self._shoals[key] = self._grown(tank, stocked, start_g, grown_days)
        return self._shoals[key]

    def _grown(self, tank: str, stocked: date, start_g: float, grown_days: float) -> Shoal:
        table, sizes = self.table, self.nature.spread
        stream = self.nature.stream(f"shoal {tank} {stocked}")
        pace = np.exp(self.growth + tail(stream, sizes.fish_growth_cohort))
        first = self.nature.environment.index(stocked)
        warmth_c = self.warmth_c[first:]
        a_day = 3 * (table.tgc_per_1000_degree_days or 0.0) / 1000 * pace * warmth_c
        weight_g = np.empty(len(warmth_c))
        now = start_g
        for day, rise in enumerate(a_day):
            weight_g[day] = now
            now += rise * EVEN_AT_G ** (2 / 3) * (now / EVEN_AT_G) ** self.power
        rate = -np.log(table.survival_growout_fraction) / grown_days
        rate *= np.exp(self.deaths + stream.standard_normal() * sizes.deaths_cohort)
        by_day = np.full(len(warmth_c), rate)
        for start in np.flatnonzero(stream.random(len(by_day)) < SICK_YEAR / 365):
            by_day[start : start + 14] *= 10
        by_day /= 1 + SICK_YEAR * 14 * 9 / 365
        alive = np.exp(-np.concatenate([[0.0], np.cumsum(by_day)[:-1]]))
        return Shoal(first=first, weight_g=weight_g, alive=alive)

    def weighed_g(self, tank: str, when: date, true_g: float, sampled: int) -> float:
        """Return the mean weight of a sample. [g]"""
        stream = self.nature.stream(f"weighing {tank} {when}")
        return float(true_g * (1 + stream.standard_normal() * WEIGHT_CV / np.sqrt(sampled)))
