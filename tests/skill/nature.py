"""The hidden truth of one house: its weather, and how each crop and batch does in it.

Nothing of `planner.forecast` is used. Growth is by day and of another shape than the planner's
(warmth bends instead of breaking, light saturates, base and target are not the table's); the luck
of batches has heavier tails than a normal number; losses are mostly small and now and then large.
Only the sizes are those of `cropdata/spread.csv`, times `size`.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from hashlib import blake2b
from math import log

import numpy as np
from numpy.typing import NDArray

from planner.crops import GrowthModel, progress_per_day
from planner.environment import Environment, zone_air_c, zone_dli_mol
from planner.farm import Zone
from planner.spread import Spread
from planner.tables import Crop, cells_for

Series = NDArray[np.float64]

HEAVY_TAIL = 4  # degrees of freedom of a batch's luck
FARTHEST = 4.0  # standard deviations at which that luck is cut off
SUN_SLOW, SUN_QUICK = 0.055, 0.20  # of the log of a day's light; see `weather_sizes`
SUN_SLOW_DAYS, SUN_QUICK_DAYS = 91.0, 2.5
AIR_K, AIR_DAYS = 0.9, 4.0  # a heated house, less even than its thermostat says
BASE = 0.07  # of the base temperature over the table's, in spans from base to reference
GATE_K = 0.7  # over which growth sets in about the least temperature
MOST_LOST = 0.35  # share of plants, on average over the batches of a crop
BAD, BADLY = 0.1, 2.5  # share of batches that something befalls; their losses over the usual
NURSERY = 0.95  # of seedlings that came up, fit to set out
UNEVEN = 0.025  # log of growth that uneven weather costs; the table has it in its days
TARGET = 0.10  # of the log of the light target over the table's
SATURATION = 3.0  # how sharply more light stops to help


def tail(stream: np.random.Generator, sd: float) -> float:
    """Return one Student number with standard deviation `sd`."""
    unit = stream.standard_t(HEAVY_TAIL) / np.sqrt(HEAVY_TAIL / (HEAVY_TAIL - 2))
    return float(np.clip(unit, -FARTHEST, FARTHEST) * sd)


def wander(stream: np.random.Generator, days: int, sd: float, memory_days: float) -> Series:
    """Return a series by day that forgets itself in `memory_days`."""
    kept = float(np.exp(-1 / memory_days))
    found = stream.standard_normal(days)
    for day in range(1, days):
        found[day] = kept * found[day - 1] + np.sqrt(1 - kept**2) * found[day]
    return found * sd


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """How a crop and method differs from the table in this house: logs, and the hidden shape."""

    days: float
    yields: float
    losses: float
    base_k: float
    target: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Luck:
    """What befalls one batch.

    Attributes
    ----------
    days, weight
        Logs.
    up
        Seedlings for the places that wait for them, at most 1. [-]
    lost
        Plants lost over the usual, of a batch that nothing befalls. [-]
    bad
        How bad it is when something does, 0 to 1; else None.
    """

    days: float
    weight: float
    up: float
    lost: float
    bad: float | None


def mean_lost_share(crop: Crop, habit: Habit) -> float:
    """Return the share of plants lost, on average over batches. [-]"""
    return min(MOST_LOST, crop.loss_pct / 100 * float(np.exp(habit.losses)))


class Nature:
    """One house and its years."""

    def __init__(self, seed: int, environment: Environment, spread: Spread, size: float) -> None:
        self.seed, self.environment, self.size = seed, environment, size
        self.spread = spread.scaled(size)
        days, stream = environment.days, self.stream("weather")
        slow = wander(stream, days, SUN_SLOW * size, SUN_SLOW_DAYS)
        quick = wander(stream, days, SUN_QUICK * size, SUN_QUICK_DAYS)
        self.sun = np.exp(slow + quick - (SUN_SLOW**2 + SUN_QUICK**2) * size**2 / 2)
        self.warmer_k = wander(stream, days, AIR_K * size, AIR_DAYS)
        self._rates: dict[tuple[str, str], Series] = {}
        self._habits: dict[tuple[str, str], Habit] = {}

    def stream(self, name: str) -> np.random.Generator:
        """Return the random numbers of a name."""
        number = int.from_bytes(blake2b(name.encode(), digest_size=8).digest(), "big")
        return np.random.default_rng([self.seed, number])

    @cached_property
    def _classes(self) -> dict[str, tuple[float, float, float]]:
        found = {}
        for name in ("leafy", "fruiting"):
            stream, sizes = self.stream(f"class {name}"), self.spread
            sds = (sizes.days_class, sizes.yield_class, sizes.loss_class)
            found[name] = tuple(float(stream.standard_normal() * sd) for sd in sds)
        return found  # type: ignore[return-value]

    def habit(self, crop: Crop, method: str) -> Habit:
        """Return how a crop does here in a method."""
        key = crop.id, method
        if key not in self._habits:
            stream, sizes = self.stream(f"habit {key}"), self.spread
            days, yields, losses = self._classes[crop.feed_rate_class]
            self._habits[key] = Habit(
                days=days + float(stream.standard_normal() * sizes.days_crop),
                yields=yields + float(stream.standard_normal() * sizes.yield_crop),
                losses=losses + float(stream.standard_normal() * sizes.loss_crop),
                base_k=float(stream.uniform(-1, 1) * np.sqrt(3) * BASE * self.size)
                * (crop.ref_temp_c - crop.base_temp_c),
                target=float(stream.uniform(-1, 1) * np.sqrt(3) * TARGET * self.size),
            )
        return self._habits[key]

    def luck(self, crop: Crop, batch: str, plants: int) -> Luck:
        """Return the luck of a batch, whatever is planned for it."""
        stream, sizes = self.stream(f"batch {batch}"), self.spread
        sprouts = np.clip(stream.normal((1 + crop.germination_rate_pct / 100) / 2, 0.05), 0.3, 1)
        fails = (1 - sprouts) ** max(1, crop.seeds_per_cell)
        cells = cells_for(crop, plants)
        return Luck(
            days=tail(stream, sizes.days_batch),
            weight=tail(stream, sizes.yield_batch),
            up=min(1.0, float(stream.binomial(cells, NURSERY * (1 - fails))) / max(1, plants)),
            lost=float(stream.gamma(2, 0.5)),
            bad=float(stream.random()) if stream.random() < BAD else None,
        )

    def lost_share(self, crop: Crop, method: str, luck: Luck) -> float:
        """Return the share of plants lost: one batch in ten badly, the others a little."""
        mean = mean_lost_share(crop, self.habit(crop, method))
        if luck.bad is not None:
            return float(min(0.95, BADLY * mean * (0.5 + luck.bad)))
        return float(min(0.9, mean * (1 - BAD * BADLY) / (1 - BAD) * luck.lost))

    # Growth

    def _shape(self, crop: Crop, method: str, air_c: Series, dli_mol: Series) -> Series:
        """Growth by day over that at the table's temperature and light, up to a factor."""
        habit = self.habit(crop, method)
        base = crop.base_temp_c + habit.base_k
        above = crop.growth_opt_high_c - base
        warmth = np.maximum(0.0, air_c - base)
        warmth = warmth / (1 + np.exp(-(air_c - crop.growth_min_c) / (GATE_K / 2)))
        bent = warmth / (1 + (warmth / (1.15 * above)) ** 8) ** (1 / 8)
        light = dli_mol / (crop.dli_target_mol * np.exp(habit.target))
        lit = light / (1 + light**SATURATION) ** (1 / SATURATION)
        return np.asarray(bent * np.maximum(lit, 0.3) ** crop.light_exponent)

    def rate(self, crop: Crop, zone: Zone) -> Series:
        """Return real progress by day, in the table's progress days, before a batch's luck.

        The shape is scaled so that in an even year batches take the table's days on average over
        the seasons; what is left of it is error of shape, and `habit.days` comes on top.
        """
        key = crop.id, zone.name
        if key not in self._rates:
            air_c = zone_air_c(self.environment, zone)
            dli_mol = zone_dli_mol(self.environment, zone)
            even = self._shape(crop, zone.method.value, air_c, dli_mol)
            ratios = self._over_table(crop, progress_per_day(crop, air_c, dli_mol), even)
            lit = self.environment.dli_house_mol * zone.light_share
            real = self._shape(
                crop, zone.method.value, air_c + self.warmer_k, dli_mol + lit * (self.sun - 1)
            )
            scale = np.exp(np.mean(ratios) + UNEVEN - self.habit(crop, zone.method.value).days)
            self._rates[key] = real * scale
        return self._rates[key]

    def shape_error(self, crop: Crop, zone: Zone) -> float:
        """Return the standard deviation over the seasons of the log of days over the table's."""
        air_c = zone_air_c(self.environment, zone)
        dli_mol = zone_dli_mol(self.environment, zone)
        even = self._shape(crop, zone.method.value, air_c, dli_mol)
        return float(np.std(self._over_table(crop, progress_per_day(crop, air_c, dli_mol), even)))

    def _over_table(self, crop: Crop, table: Series, even: Series) -> Series:
        """Logs of the growth that the table has from set-out to ripeness over the shape's."""
        found = []
        planned, real = np.cumsum(table), np.cumsum(even)
        for day in range(0, min(400, self.environment.days // 2), 14):
            ripe = int(np.searchsorted(planned, planned[day] + crop.days_to_harvest))
            if ripe < len(planned):
                found.append(log(crop.days_to_harvest / (real[ripe] - real[day])))
        return np.array(found or [0.0])

    def ripe_day(self, crop: Crop, zone: Zone, set_out: date, luck: Luck) -> int:
        """Return the environment day on which a batch is truly ripe."""
        gone = np.concatenate([[0.0], np.cumsum(self.rate(crop, zone))])
        at = self.environment.index(set_out)
        return int(np.searchsorted(gone, gone[at] + crop.days_to_harvest * np.exp(luck.days)))

    def day_of(self, when: date) -> int:
        """Environment day of a date."""
        return (when - self.environment.start).days

    def date_of(self, day: int) -> date:
        """Date of an environment day."""
        return self.environment.start + timedelta(days=day)


def weather_sizes(nature: Nature, crop: Crop, zone: Zone) -> tuple[float, float]:
    """Return the sizes of the weather's slow and quick part in a crop's growth by week. [log]

    Of real over even growth: of means over thirteen weeks, and of weeks over those.
    """
    habit = nature.habit(crop, zone.method.value)
    air_c, dli_mol = zone_air_c(nature.environment, zone), zone_dli_mol(nature.environment, zone)
    even = nature._shape(crop, zone.method.value, air_c, dli_mol)
    real = nature.rate(crop, zone) * np.exp(habit.days)
    weeks = len(even) // 91 * 13
    ratio = np.log(
        real[: weeks * 7].reshape(weeks, 7).sum(axis=1)
        / np.maximum(1e-9, even[: weeks * 7].reshape(weeks, 7).sum(axis=1))
    )
    slow = ratio.reshape(-1, 13).mean(axis=1)
    return float(slow.std()), float((ratio - np.repeat(slow, 13)).std())


def table_model(crop: Crop, environment: Environment, zone: Zone) -> GrowthModel:
    """Return the planner's own model of a crop in a zone, from the rows given."""
    air_c, dli_mol = zone_air_c(environment, zone), zone_dli_mol(environment, zone)
    return GrowthModel(crop=crop, progress=progress_per_day(crop, air_c, dli_mol), dli_mol=dli_mol)
