"""Reserves: how much more than ordered must be planned, that an order is met as often as asked.

In a share of the seasons less is cut than planned. For an order of the first priority to be met
with a certainty of, say, 0.8, what the plan has must be enough in the poor season that only one
of five falls below: the order, over what is cut in it of each kilogram planned.
"""

from collections.abc import Mapping
from datetime import date

import numpy as np

from planner.document import CertaintyDoc, CertaintyPriceDoc
from planner.forecast import Drawn
from planner.plan import SeasonPlan, cut_kg
from planner.problem import SeasonProblem

Reserves = Mapping[tuple[str, date], float]

LEVELS = (0.5, 0.8, 0.9, 0.95)
POOREST = 0.4  # share of the planned cut; poorer weeks are not planned against (judgement)
STEP = 1.5  # by which a reserve that was not enough is raised
FIRST = 1  # the priority that is planned for
LEAST_KG = 1e-6


def _first_orders(problem: SeasonProblem) -> list[int]:
    """Numbers of the orders of the first priority within the horizon."""
    lines = problem.farm.orders
    return [
        number
        for number, order in enumerate(problem.orders)
        if order.week < problem.horizon.weeks and lines[order.line].priority == FIRST
    ]


def reserves(
    problem: SeasonProblem, plan: SeasonPlan, drawn: Drawn, certainty: float
) -> dict[tuple[str, date], float]:
    """Return what to hold ready beside each order of the first priority, by line and Monday. [unit]

    What the problem holds ready already stays; it is raised where it was not enough.

    Parameters
    ----------
    certainty
        Share of the seasons in which each order is to be met, above 0 and below 1. [-]
    """
    if not 0 < certainty < 1:
        raise ValueError(f"certainty must be above 0 and below 1, got {certainty}")
    planned = cut_kg(problem, plan)
    found: dict[tuple[str, date], float] = {}
    for number in _first_orders(problem):
        order = problem.orders[number]
        key = (problem.farm.orders[order.line].line, problem.horizon.monday(order.week))
        held = order.reserve
        met = drawn.sales.met.get(number)
        if met is not None and float(met.mean()) < certainty:
            crop = max(order.crops, key=lambda name: plan.order_kg.get((number, name), 0.0))
            kg = float(planned[crop][order.week])
            if kg > LEAST_KG:
                ratio = drawn.cut_kg[crop][order.week] / kg
                poor = max(POOREST, float(np.quantile(ratio, 1 - certainty)))
                held = max(order.ordered * max(0.0, 1 / poor - 1), held * STEP)
        if held > 0:
            found[key] = round(held, 4)
    return found


def told(
    problem: SeasonProblem, drawn: Drawn, certainty: float, prices: list[CertaintyPriceDoc]
) -> CertaintyDoc:
    """Return how far a plan keeps what was asked, for its document."""
    chances = [float(drawn.sales.met[n].mean()) for n in _first_orders(problem)]
    met = sum(chance >= certainty for chance in chances)
    return {
        "asked": certainty,
        "order_weeks": len(chances),
        "met": met,
        "prices": prices,
    }
