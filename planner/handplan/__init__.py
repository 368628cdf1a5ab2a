"""A season as a careful grower plans it by hand: a calendar and the tables, no optimiser.

It chooses among the same options as the season model, so that both are judged by the same growth,
but it decides by the tables' days alone. It is the rival against which a plan is measured.
"""

from dataclasses import replace

from planner.handplan.book import Book
from planner.handplan.sales import sold_by_hand
from planner.handplan.sowing import crops_in_turn, keep_standing, set_out_trays, sow_for_orders
from planner.handplan.stocking import Stocking
from planner.plan import TOLERANCE, SeasonPlan, labour_h, worth
from planner.problem import SeasonProblem

__all__ = ["hand_plan"]

SOWING_SHARES = (0.9, 0.6, 0.3, 0.0)  # of the hours, that sowings may book; judgement


def hand_plan(problem: SeasonProblem) -> SeasonPlan:
    """Return the season that a careful grower would plan with a calendar and the tables.

    What stands is kept to its last harvest, and trays are set out as soon as they may be. Each
    crop is sown again and again for the orders of the weeks in which it will be cut, and put in
    the first zone with room. Tanks are stocked one after the other for the handbook's feed by area
    of plants. What is ripe goes to orders by priority and price, then to outlets.

    The plan keeps every rule of `plan.violations` where what stands in the house leaves a way to.
    Its `bound` is its own `value`.
    """
    most_h = problem.farm.labour.hours_week * (1 + TOLERANCE)
    for share in SOWING_SHARES:
        plan = _season(problem, share)
        if (labour_h(problem, plan) <= most_h).all():
            break
    value = worth(problem, plan)
    return replace(plan, value=value, bound=value)


def _season(problem: SeasonProblem, sowing_share: float) -> SeasonPlan:
    book = Book(problem, sowing_share)
    stocking = Stocking(book)
    keep_standing(book)
    stocking.reserve_hours()
    set_out_trays(book)
    for crop in crops_in_turn(problem):
        sow_for_orders(book, crop)
    stocking.take_at_hand()
    stocking.take_in_ordered()
    stocking.stock()
    return sold_by_hand(book)
