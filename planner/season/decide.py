"""The decided season: a plan, why orders are short, and what a little more would be worth."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from ortools.math_opt.python import mathopt

from planner.errors import ImpossiblePlanError
from planner.plan import RESERVE_PRICE, SeasonPlan, Status, gap
from planner.problem import SeasonProblem
from planner.season.collision import collision
from planner.season.effort import Effort, Progress, never, quiet
from planner.season.margins import Margins, margins
from planner.season.reasons import Reason, reasons
from planner.season.rows import SeasonRows
from planner.season.search import Search
from planner.season.solvers import solve

Floats = NDArray[np.float64]

LEAST_KG = 1e-7

K = TypeVar("K")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Season:
    """A plan and what the search learned beside it.

    Attributes
    ----------
    reasons
        By number of the order week: why it is short beyond its tolerance.
    margins
        None when the relaxation gave no prices.
    """

    plan: SeasonPlan
    reasons: Mapping[int, Reason]
    margins: Margins | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decided:
    """A plan and the search that found it, still to be explained."""

    plan: SeasonPlan
    search: Search


def decided(
    problem: SeasonProblem,
    effort: Effort,
    progress: Progress = quiet,
    stopped: Callable[[], bool] = never,
) -> Decided:
    """Search for the best plan of a season.

    Parameters
    ----------
    stopped
        Asked now and then whether to stop with the best plan so far.

    Raises
    ------
    ImpossiblePlanError
        No plan keeps every hard rule; says which collide.
    StoppedError
        Asked to stop before the first plan was whole.
    """
    search = Search(problem, effort, progress, stopped)
    return Decided(plan=_searched(search), search=search)


def explained(found: Decided) -> Season:
    """Explain a plan; may run beside whatever else is made of the plan."""
    return Season(
        plan=found.plan,
        reasons=reasons(found.search),
        margins=margins(found.search, found.plan),
    )


def decide(problem: SeasonProblem, effort: Effort) -> Season:
    """Search for the best plan of a season, and explain it; raises as `decided` does."""
    return explained(decided(problem, effort))


def most_worth(problem: SeasonProblem) -> tuple[float, float]:
    """Return what the relaxed season is worth, reserves not held left out, and those. [money]

    Raises
    ------
    ImpossiblePlanError
        No plan keeps every hard rule.
    """
    rows = SeasonRows(problem)
    fractions = np.zeros(rows.model.columns, dtype=bool)
    answer = solve(rows.model, whole=fractions, linear_method=mathopt.LPAlgorithm.BARRIER)
    if answer.values is None:
        raise ImpossiblePlanError(collision(rows.model))
    missing = 0.0
    for number, order in enumerate(problem.orders):
        if order.reserve > 0:
            held = sum(
                answer.values[rows.reserve_kg[number, crop]] / weight
                for crop, weight in zip(order.crops, order.kg_per_unit, strict=True)
            )
            price = order.shortage_price * RESERVE_PRICE
            missing += max(0.0, order.reserve - float(held)) * price
    return answer.worth + missing, missing


def season_plan(problem: SeasonProblem, effort: Effort, progress: Progress = quiet) -> SeasonPlan:
    """Search for the best plan of a season; raises as `decided` does."""
    return _searched(Search(problem, effort, progress))


def _searched(search: Search) -> SeasonPlan:
    began = time.monotonic()
    problem = search.problem
    stopped_by = search.run()
    if search.best is None:
        raise ImpossiblePlanError("The search ended before it found any plan; give it more time.")
    values, rows = search.best, search.rows
    parts = values[rows.sown].round().astype(np.int64) if rows.sown else np.zeros(0, np.int64)
    tanks = np.array([round(values[c]) for c in rows.tanks], dtype=np.int64)
    fish = np.array(
        [
            option.count * tank if column is None else round(values[column])
            for option, tank, column in zip(problem.cohorts, tanks, rows.stocked, strict=True)
        ],
        dtype=np.int64,
    )
    return SeasonPlan(
        status=Status.OPTIMAL if stopped_by == "proven" else Status.FEASIBLE,
        value=search.worth,
        bound=max(search.bound, search.worth),
        gap=gap(problem, search.worth, max(search.bound, search.worth)),
        work=search.rounds,
        seconds=time.monotonic() - began,
        seed=search.effort.seed,
        stopped_by=stopped_by,
        parts=parts,
        tanks=tanks,
        fish=fish,
        harvest_kg=_above_zero(values, rows.harvest_kg),
        order_kg=_above_zero(values, rows.order_kg),
        outlet_kg=_above_zero(values, rows.outlet_kg),
        cooler_kg=_above_zero(values, rows.cooler_kg),
        reserve_kg=_above_zero(values, rows.reserve_kg),
    )


def _above_zero(values: Floats, columns: dict[K, int]) -> dict[K, float]:
    """Return the quantities of some columns, leaving out what is nothing."""
    return {key: float(values[c]) for key, c in columns.items() if values[c] > LEAST_KG}
