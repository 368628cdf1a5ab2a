"""What the fish of one tank come to in each draw: weights, numbers, catches, feed and nitrogen."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.farm import Water
from planner.fish import growout_days
from planner.forecast.factors import Sizes
from planner.forecast.streams import Streams
from planner.problem import SeasonProblem
from planner.schools import School
from planner.stays import LEAST_SALEABLE, LONGEST_WEEKS
from planner.tables import Fish

Series = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Shoal:
    """The fish of a tank; all by week within the horizon, and by draw.

    Attributes
    ----------
    mean_g, kg
        On those Mondays on which there are fish: mean weight [g], all together [kg].
    taken_kg
        Saleable live weight taken out. [kg]
    feed_kg
        Feed of the week. [kg]
    supply_g
        Nitrogen that plants can take. [g N]
    """

    mean_g: Mapping[int, Series]
    kg: Mapping[int, Series]
    taken_kg: Mapping[int, Series]
    feed_kg: Mapping[int, Series]
    supply_g: Mapping[int, Series]


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    """How a cohort differs from its plan in each draw.

    Attributes
    ----------
    start
        Mean weight at the start over the plan's, which was weighed from a few. [-]
    growth
        Growth coefficient over the plan's. [-]
    deaths
        Death rate over the plan's. [-]
    fcr
        Feed conversion ratio over the plan's. [-]
    """

    start_g: float
    start: Series
    fish: Fish
    growout_days: float
    growth: Series
    deaths: Series
    fcr: Series

    def weight_g(self, planned_g: float) -> Series:
        """Return the weight when the plan has `planned_g`; its cube root goes with growth."""
        root = np.cbrt(self.start_g)
        begun = root * np.cbrt(self.start)
        return np.asarray((begun + self.growth * (np.cbrt(planned_g) - root)) ** 3)

    def gain(self, planned_g: float) -> Series:
        """Return the rate of weight gain of a live fish over the plan's. [-]"""
        return np.asarray(self.growth * (self.weight_g(planned_g) / planned_g) ** (2 / 3))

    def alive(self, days: float) -> Series:
        """Return the fish alive over the plan's, so many days after stocking. [-]"""
        share = self.fish.survival_growout_fraction ** (max(0.0, days) / self.growout_days)
        return np.asarray(share ** (self.deaths - 1))


def _course(problem: SeasonProblem, school: School, streams: Streams, sizes: Sizes) -> _Course:
    """Draw how a cohort grows, dies and feeds.

    The fewer deaths the plan reckons with, the more their number is chance: the rate is drawn
    with the variance of a count as well.
    """
    option, farm, horizon = school.option, problem.farm, problem.horizon
    fish, spread, name = problem.fish[option.species], sizes.spread, option.species
    if option.at_hand is not None:
        start_g = farm.cohorts[option.at_hand].mean_g
    else:
        start_g = farm.fingerlings[option.offer or 0].weight_g
    at = problem.environment.index(option.stock)
    followed = LONGEST_WEEKS * 7
    if option.at_hand is not None:
        followed = max(followed, (horizon.monday(problem.weeks + 1) - option.stock).days)
    days = growout_days(fish, problem.environment.water_c[at : at + followed])
    deaths = np.exp(
        streams.normal(f"deaths/{name}", sizes.deaths(name))
        + streams.normal(f"deaths/{school.id}", spread.deaths_cohort)
    )
    until = school.empty or horizon.monday(horizon.weeks)
    stay = max(1.0, (until - option.stock).days)
    expected = school.fish * (1 - fish.survival_growout_fraction ** (stay / days))
    if spread.deaths_cohort > 0 and expected > 0:
        deaths = deaths * streams.of(f"dead/{school.id}").gamma(expected, 1, streams.draws)
        deaths = deaths / expected
    return _Course(
        start_g=start_g,
        start=np.exp(streams.normal(f"weighing/{school.id}", spread.weighing)),
        fish=fish,
        growout_days=days,
        growth=np.exp(
            streams.normal(f"growth/{name}", sizes.fish_growth(name))
            + streams.normal(f"growth/{school.id}", spread.fish_growth_cohort)
        ),
        deaths=deaths,
        fcr=np.exp(
            streams.normal(f"fcr/{name}", sizes.fcr(name))
            + streams.normal(f"fcr/{school.id}", spread.fcr_cohort)
        ),
    )


def shoal(problem: SeasonProblem, school: School, streams: Streams, sizes: Sizes) -> Shoal:
    """Draw the fish of one tank; they are taken on the planned days, those too light unsold."""
    option, horizon = school.option, problem.horizon
    course = _course(problem, school, streams, sizes)
    mean_g: dict[int, Series] = {}
    kg: dict[int, Series] = {}
    taken: dict[int, Series] = {}
    feed: dict[int, Series] = {}
    supply: dict[int, Series] = {}
    for week in range(horizon.weeks):
        planned_g, alive = float(option.mean_g[week]), float(option.alive[week])
        days = (horizon.monday(week) - option.stock).days
        if alive > 0:
            mean_g[week] = course.weight_g(planned_g)
            kg[week] = mean_g[week] * course.alive(days) * (alive * school.fish / 1000)
        if option.feed_g[week] <= 0 and option.supply_n_g[week] <= 0:
            continue
        gain = course.gain(planned_g if alive > 0 else course.start_g) * course.alive(days)
        feed[week] = gain * course.fcr * (float(option.feed_g[week]) * school.fish / 1000)
        supply[week] = _supply(school, week, gain, gain * course.fcr, problem.farm.water)
    for take in option.takes:
        if take.week < horizon.weeks and take.saleable:
            weight_g = course.weight_g(take.mean_g)
            count = take.share * school.fish * course.alive((take.day - option.stock).days)
            sold = weight_g >= LEAST_SALEABLE * course.fish.market_g * (1 - 1e-9)
            caught = np.where(sold, count * weight_g / 1000, 0.0)
            taken[take.week] = taken[take.week] + caught if take.week in taken else caught
    return Shoal(mean_g=mean_g, kg=kg, taken_kg=taken, feed_kg=feed, supply_g=supply)


def _supply(school: School, week: int, gain: Series, feed: Series, water: Water) -> Series:
    """Nitrogen for plants when gain and feed are so many times the plan's. [g N]

    Fish keep what the plan has them keep for each gram of gain; the rest of the feed's nitrogen
    leaves as solids, in the plan's share, or dissolves.
    """
    option = school.option
    feed_n, solids = float(option.feed_n_g[week]), float(option.solids_n_g[week])
    dissolved = float(option.dissolved_n_g[week])
    retained = feed_n - solids - dissolved
    more = np.maximum(0.0, dissolved + (feed - 1) * (feed_n - solids) - (gain - 1) * retained)
    kept = water.mineralised if water.solids_kept else 0.0
    return np.asarray(school.fish * (more * (1 - water.gas_loss) + feed * solids * kept))
