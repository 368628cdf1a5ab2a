"""What a plan comes to within the reported weeks, so that two plans can be set side by side."""

from dataclasses import dataclass

import numpy as np

from planner.plan import (
    TOLERANCE,
    SeasonPlan,
    fish_sum,
    labour_h,
    planned_units,
    water_balance,
)
from planner.problem import SeasonProblem


@dataclass(frozen=True, slots=True, kw_only=True)
class Measures:
    """Sums over the weeks of the horizon; the tail is left out.

    Attributes
    ----------
    ordered_worth, met_worth
        All orders and what of them is delivered, at the orders' prices. [money]
    orders_met
        Share of the orders' worth that is delivered, 0 to 1; 1 where nothing is ordered. [-]
    short_lines
        Order weeks that get less than the tolerance of their line allows. [-]
    weeks_in_band, weeks
        Weeks that end with nitrate-N within the band of the water, and all weeks. [-]
    margin
        Sales to orders and outlets less seed and nursery, feed, fingerlings and labour: money that
        comes in and goes out, without the prices of shortage, nitrate, discards or the tail.
        Seed counts in the week of its sowing, fingerlings in that of their stocking. [money]
    """

    ordered_worth: float
    met_worth: float
    orders_met: float
    short_lines: int
    weeks_in_band: int
    weeks: int
    margin: float


def measures(problem: SeasonProblem, plan: SeasonPlan) -> Measures:
    """Return what a plan comes to within the horizon, reckoned without the solver."""
    farm, weeks = problem.farm, problem.horizon.weeks
    ordered_worth = met_worth = 0.0
    short_lines = 0
    for number, order in enumerate(problem.orders):
        if order.week < weeks:
            planned = float(planned_units(problem, plan, number))
            ordered_worth += order.ordered * order.price
            met_worth += planned * order.price
            if planned < order.least - TOLERANCE * max(1.0, order.least):
                short_lines += 1
    nitrate_mg_l = water_balance(problem, plan).nitrate_mg_l[:weeks]
    low, high = farm.water.band_low_mg_l, farm.water.band_high_mg_l
    inside = (nitrate_mg_l >= low * (1 - TOLERANCE)) & (nitrate_mg_l <= high * (1 + TOLERANCE))
    return Measures(
        ordered_worth=ordered_worth,
        met_worth=met_worth,
        orders_met=met_worth / ordered_worth if ordered_worth > 0 else 1.0,
        short_lines=short_lines,
        weeks_in_band=int(np.count_nonzero(inside)),
        weeks=weeks,
        margin=met_worth + _outlets_worth(problem, plan) - _costs(problem, plan),
    )


def _outlets_worth(problem: SeasonProblem, plan: SeasonPlan) -> float:
    return sum(
        problem.outlets[number].price_kg * kilograms
        for (number, week), kilograms in plan.outlet_kg.items()
        if week < problem.horizon.weeks
    )


def _costs(problem: SeasonProblem, plan: SeasonPlan) -> float:
    """Seed and nursery, fingerlings, feed and labour within the horizon. [money]"""
    farm, horizon = problem.farm, problem.horizon
    cost = 0.0
    for n in np.flatnonzero(plan.parts).tolist():
        batch = problem.batches[n]
        if 0 <= horizon.week_of(batch.sow) < horizon.weeks:
            cost += batch.seed_cost * int(plan.parts[n])
    for n in np.flatnonzero(plan.fish).tolist():
        cohort = problem.cohorts[n]
        if 0 <= horizon.week_of(cohort.stock) < horizon.weeks:
            cost += cohort.fingerling_price * int(plan.fish[n])
    feed_g = fish_sum(problem, plan, "feed_g")[: horizon.weeks]
    hours = labour_h(problem, plan)[: horizon.weeks]
    return (
        cost
        + float(feed_g.sum()) / 1000 * farm.prices.feed_kg
        + float(hours.sum()) * farm.labour.price_hour
    )
