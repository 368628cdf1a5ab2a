"""A season plan as plain numbers, its worth, and a check of every hard rule without the solver."""

from planner.plan.rules import violations
from planner.plan.sums import (
    TOLERANCE,
    SeasonPlan,
    Status,
    cooler_kg,
    cut_kg,
    fish_sum,
    gap,
    labour_h,
    nursery_cells,
    parts_held,
    planned_units,
    ripe_kg,
    sold_kg,
    uptake_g,
    wasted_kg,
    water_balance,
)
from planner.plan.worth import RESERVE_PRICE, changed_cost, reserve_cost, worth

__all__ = [
    "RESERVE_PRICE",
    "TOLERANCE",
    "SeasonPlan",
    "Status",
    "changed_cost",
    "cooler_kg",
    "cut_kg",
    "fish_sum",
    "gap",
    "labour_h",
    "nursery_cells",
    "parts_held",
    "planned_units",
    "reserve_cost",
    "ripe_kg",
    "sold_kg",
    "uptake_g",
    "violations",
    "wasted_kg",
    "water_balance",
    "worth",
]
