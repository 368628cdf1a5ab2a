"""The draws: many seasons of one plan, each as it might come out."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from planner.forecast.bands import Band, band, bands
from planner.forecast.factors import sizes
from planner.forecast.fishery import shoal
from planner.forecast.growing import NEVER, Days, clock
from planner.forecast.harvests import Harvest, bed, harvest
from planner.forecast.selling import Sales, sell
from planner.forecast.streams import Streams
from planner.forecast.weather import Weather, weather
from planner.learning import Factors
from planner.lots import Flows, Lot
from planner.plan import SeasonPlan
from planner.problem import SeasonProblem
from planner.schools import School
from planner.spread import Spread
from planner.weatheryears import YearFactor

Series = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """Seasons drawn; arrays of shape (weeks of the horizon, draws).

    Attributes
    ----------
    cut_kg
        By produce: what is cut, or taken of fish. [kg]
    sales
        Who gets what of it.
    nitrate_mg_l
        Nitrate nitrogen at each week's end. [mg N/L]
    feed_kg
        Feed of all fish. [kg]
    batch_kg
        By lot and week: range of what is cut. [kg]
    first_day
        By lot: range of its first cut, in days from the horizon's first Monday; `NEVER` where
        nothing is cut within the horizon.
    mean_g, fish_kg
        By cohort and week: range of mean weight [g] and of all its live fish [kg].
    """

    cut_kg: Mapping[str, Series]
    sales: Sales
    nitrate_mg_l: Series
    feed_kg: Series
    batch_kg: Mapping[str, Mapping[int, Band]]
    first_day: Mapping[str, tuple[int, int, int]]
    mean_g: Mapping[str, Mapping[int, Band]]
    fish_kg: Mapping[str, Mapping[int, Band]]


class Drawing:
    """Draws seasons of one plan, crop by crop and tank by tank."""

    def __init__(
        self,
        problem: SeasonProblem,
        streams: Streams,
        spread: Spread,
        factors: Factors | None,
        years: Sequence[YearFactor],
    ) -> None:
        self._problem, self._streams = problem, streams
        self._sizes = sizes(spread, factors)
        self._weather: Weather = weather(streams, spread, problem.horizon, years)
        shape = (problem.horizon.weeks, streams.draws)
        self._cut_kg = {name: np.zeros(shape) for name in problem.produce}
        self._uptake_g, self._supply_g, self._feed_kg = (np.zeros(shape) for _ in range(3))
        self._batch_kg: dict[str, dict[int, Band]] = {}
        self._first_day: dict[str, tuple[int, int, int]] = {}
        self._mean_g: dict[str, dict[int, Band]] = {}
        self._fish_kg: dict[str, dict[int, Band]] = {}

    def batches(self, lots: Sequence[Lot], flows: Flows) -> None:
        """Draw all lots that are set out within the horizon."""
        weeks = self._problem.horizon.weeks
        first: dict[str, date] = {}
        for source, day in flows.cut:
            first[source] = min(day, first.get(source, day))
        wanted = [lot for lot in lots if lot.option.start < weeks]
        wanted.sort(key=lambda lot: (lot.option.crop, lot.option.zone))
        for (crop, zone), here in groupby(wanted, lambda lot: (lot.option.crop, lot.option.zone)):
            self._crop_in_zone(crop, zone, list(here), first)

    def _crop_in_zone(
        self, crop: str, zone_number: int, lots: Sequence[Lot], first: Mapping[str, date]
    ) -> None:
        problem, growth = self._problem, self._weather.growth
        zone = problem.farm.zones[zone_number]
        row = problem.crops_in[zone.method][crop]
        ticks = clock(problem, row, zone, growth)
        here = bed(problem, row, zone.method.value, ticks, self._streams, self._sizes)
        for lot in lots:
            found = harvest(
                problem, lot, here, self._weather, self._streams, self._sizes, first.get(lot.id)
            )
            for week, kg in found.kg.items():
                self._cut_kg[crop][week] += kg
            uptake = lot.option.uptake_g_n[: len(growth)] * lot.parts
            for week in np.flatnonzero(uptake).tolist():
                self._uptake_g[week] += uptake[week] * growth[week] * found.uptake
            self.keep(lot.id, found)

    def keep(self, lot: str, found: Harvest) -> None:
        """Keep the ranges of a lot's harvests."""
        self._batch_kg[lot] = _by_week(found.kg)
        self._first_day[lot] = _days(found.first_day)

    def cohorts(self, schools: Sequence[School]) -> None:
        """Draw the fish of all tanks."""
        for school in schools:
            found = shoal(self._problem, school, self._streams, self._sizes)
            for week, kg in found.taken_kg.items():
                self._cut_kg[school.option.species][week] += kg
            for week, kg in found.feed_kg.items():
                self._feed_kg[week] += kg
            for week, grams in found.supply_g.items():
                self._supply_g[week] += grams
            self._mean_g[school.id] = _by_week(found.mean_g)
            self._fish_kg[school.id] = _by_week(found.kg)

    def drawn(self, plan: SeasonPlan) -> Drawn:
        """Return what was drawn, sold and left in the water."""
        return Drawn(
            cut_kg=self._cut_kg,
            sales=sell(self._problem, plan, self._cut_kg),
            nitrate_mg_l=nitrate_mg_l(self._problem, self._supply_g, self._uptake_g),
            feed_kg=self._feed_kg,
            batch_kg=self._batch_kg,
            first_day=self._first_day,
            mean_g=self._mean_g,
            fish_kg=self._fish_kg,
        )


def nitrate_mg_l(problem: SeasonProblem, supply_g: Series, uptake_g: Series) -> Series:
    """Run the pool of nitrate as `nitrogen.balance` does, in all draws at once. [mg N/L]

    Parameters
    ----------
    supply_g, uptake_g
        Of shape (weeks, draws). [g N]
    """
    water = problem.farm.water
    pool = np.full(supply_g.shape[1], problem.start_pool_g)
    found = np.empty_like(supply_g)
    for week in range(len(supply_g)):
        left = pool * (1 - water.pool_loss_week) + supply_g[week] - uptake_g[week]
        pool = np.maximum(0.0, left)
        found[week] = pool
    return found / water.volume_m3


def _by_week(values: Mapping[int, Series]) -> dict[int, Band]:
    """Range of each week's draws."""
    if not values:
        return {}
    weeks = sorted(values)
    found = bands(np.array([values[week] for week in weeks], dtype=np.float32))
    return {week: Band(*map(float, found[:, place])) for place, week in enumerate(weeks)}


def _days(values: Days) -> tuple[int, int, int]:
    low, middle, high = band(values.astype(np.float32))
    return min(int(low), NEVER), min(int(middle), NEVER), min(int(high), NEVER)


def chances(sales: Sales) -> dict[int, float]:
    """Return the share of draws in which each order gets its least, by number."""
    found: dict[int, float] = defaultdict(float)
    for number, met in sorted(sales.met.items()):
        found[number] = float(met.mean())
    return dict(found)
