"""The harvest forecast: a range for each harvest and a chance for each order.

A plan is one number for each harvest; a season is not. Many seasons are drawn: weather that all
crops share, how the tables err for this house (shared by all batches of a crop, and narrowed by
what was recorded), and the luck of each batch and tank. Cuts that are not ripe wait, orders are
served by priority from what there is, and the water's nitrogen follows. Ranges and chances are
read off the draws, so that what is shared is in them: two orders of one crop fail together.
"""

from collections.abc import Sequence
from datetime import timedelta

from planner.forecast.bands import Band, band, bands
from planner.forecast.drawing import Drawing, Drawn, chances
from planner.forecast.filling import fill
from planner.forecast.growing import NEVER
from planner.forecast.result import Dates, Forecast
from planner.forecast.streams import Streams
from planner.learning import Factors
from planner.lots import Flows, Lot
from planner.plan import SeasonPlan
from planner.problem import SeasonProblem
from planner.schools import School
from planner.spread import Spread, load_spread
from planner.weatheryears import YearFactor

__all__ = [
    "Band",
    "Dates",
    "Drawn",
    "Forecast",
    "draw",
    "fill",
    "forecast",
    "ranges",
]

DRAWS = 2000


def draw(
    problem: SeasonProblem,
    plan: SeasonPlan,
    lots: Sequence[Lot],
    schools: Sequence[School],
    flows: Flows,
    *,
    factors: Factors | None = None,
    draws: int = DRAWS,
    seed: int = 0,
    years: Sequence[YearFactor] | None = None,
    spread: Spread | None = None,
) -> Drawn:
    """Draw seasons of a plan; the arguments are those of `forecast`."""
    if draws < 1:
        raise ValueError(f"draws must be 1 or more, got {draws}")
    drawing = Drawing(
        problem, Streams(seed, draws), spread or load_spread(), factors, tuple(years or ())
    )
    drawing.batches(lots, flows)
    drawing.cohorts(schools)
    return drawing.drawn(plan)


def forecast(
    problem: SeasonProblem,
    plan: SeasonPlan,
    lots: Sequence[Lot],
    schools: Sequence[School],
    flows: Flows,
    *,
    factors: Factors | None = None,
    draws: int = DRAWS,
    seed: int = 0,
    years: Sequence[YearFactor] | None = None,
    spread: Spread | None = None,
) -> Forecast:
    """Return ranges of harvests, fish, feed and nitrate, and the chance of each order.

    The same arguments give the same result; a batch or cohort more leaves the draws of all others
    as they were.

    Parameters
    ----------
    factors
        What was learned from records; their means must be in the problem's tables already. None:
        nothing was.
    draws
        Seasons to draw, 1 or more.
    years
        Weather of several years of the place; None or empty: the judged spread of weather.
    spread
        Sizes of spread; None: the shipped ones.
    """
    drawn = draw(
        problem,
        plan,
        lots,
        schools,
        flows,
        factors=factors,
        draws=draws,
        seed=seed,
        years=years,
        spread=spread,
    )
    return ranges(problem, drawn, draws=draws, seed=seed)


def ranges(problem: SeasonProblem, drawn: Drawn, *, draws: int = DRAWS, seed: int = 0) -> Forecast:
    """Return ranges and chances of seasons that were drawn already, so many with this seed."""
    start = problem.horizon.start
    return Forecast(
        draws=draws,
        seed=seed,
        start=start,
        produce_kg={name: bands(kg) for name, kg in drawn.cut_kg.items()},
        batch_kg=drawn.batch_kg,
        first_harvest={
            name: Dates(*(None if day >= NEVER else start + timedelta(days=day) for day in days))
            for name, days in drawn.first_day.items()
        },
        chance=chances(drawn.sales),
        nitrate_mg_l=bands(drawn.nitrate_mg_l),
        mean_g=drawn.mean_g,
        fish_kg=drawn.fish_kg,
        feed_kg=bands(drawn.feed_kg),
        feed_total_kg=band(drawn.feed_kg.sum(axis=0)),
    )
