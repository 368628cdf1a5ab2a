"""A season plan as plain numbers, and what follows from them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from planner.nitrogen import Balance, balance
from planner.problem import SeasonProblem

Series = NDArray[np.float64]

TOLERANCE = 1e-6  # of each rule, relative to its size and at least absolute


class Status(StrEnum):
    """How the search ended."""

    OPTIMAL = "optimal"
    FEASIBLE = "feasible"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeasonPlan:
    """What is decided: parts by batch option, tanks and fish by cohort option, and who gets what.

    Attributes
    ----------
    parts
        By batch option. [-]
    tanks, fish
        By cohort option; for fish at hand `fish` is their number on the day they were counted.
    harvest_kg
        By (number in `problem.cut_classes`, week). [kg]
    order_kg
        By (number in `problem.orders`, crop). [kg]
    outlet_kg
        By (number in `problem.outlets`, week). [kg]
    cooler_kg
        By (crop, week): kept over into the next week. [kg]
    reserve_kg
        By (number in `problem.orders`, crop): cut for an outlet or for nobody, and at hand
        for the order if less is cut than planned. [kg]
    value, bound
        Objective of this plan and an upper bound on that of any plan. [money]
    work
        Rounds of the search that were done. [-]
    """

    status: Status
    value: float
    bound: float
    gap: float
    work: int
    seconds: float
    seed: int
    stopped_by: str
    parts: NDArray[np.int64]
    tanks: NDArray[np.int64]
    fish: NDArray[np.int64]
    harvest_kg: Mapping[tuple[int, int], float]
    order_kg: Mapping[tuple[int, str], float]
    outlet_kg: Mapping[tuple[int, int], float]
    cooler_kg: Mapping[tuple[str, int], float]
    reserve_kg: Mapping[tuple[int, str], float] = field(default_factory=dict)


def gap(problem: SeasonProblem, value: float, bound: float) -> float:
    """Return |bound − value| over the larger of |value| and a tenth of the orders' worth."""
    scale = max(abs(value), 0.1 * problem.orders_worth, 1e-9)
    return abs(bound - value) / scale


def cut_kg(problem: SeasonProblem, plan: SeasonPlan) -> dict[str, Series]:
    """Return what is cut and taken, by produce and week. [kg]"""
    found = {name: np.zeros(problem.weeks) for name in problem.produce}
    for (number, week), kilograms in plan.harvest_kg.items():
        found[problem.cut_classes[number][0]][week] += kilograms
    for number in np.flatnonzero(plan.fish).tolist():
        cohort = problem.cohorts[number]
        found[cohort.species] += cohort.kg * plan.fish[number]
    return found


def ripe_kg(problem: SeasonProblem, plan: SeasonPlan) -> dict[int, float]:
    """Return what the batches of a plan have ripe, by number in `problem.cut_classes`. [kg]"""
    numbers = {key: number for number, key in enumerate(problem.cut_classes)}
    found: dict[int, float] = {}
    for n in np.flatnonzero(plan.parts).tolist():
        option = problem.batches[n]
        for cut in option.cuts:
            number = numbers[option.crop, cut.first, cut.last]
            found[number] = found.get(number, 0.0) + cut.kg * int(plan.parts[n])
    return found


def uptake_g(problem: SeasonProblem, plan: SeasonPlan) -> Series:
    """Return nitrogen that the plants take, by week. [g N]"""
    chosen = np.flatnonzero(plan.parts)
    series = (problem.batches[n].uptake_g_n * plan.parts[n] for n in chosen)
    return sum(series, np.zeros(problem.weeks))


def fish_sum(problem: SeasonProblem, plan: SeasonPlan, series: str) -> Series:
    """Return the sum over all fish of a weekly series of `CohortOption`, such as `tan_g`."""
    chosen = np.flatnonzero(plan.fish)
    found = (getattr(problem.cohorts[n], series) * plan.fish[n] for n in chosen)
    return sum(found, np.zeros(problem.weeks))


def water_balance(problem: SeasonProblem, plan: SeasonPlan) -> Balance:
    """Return the pool of nitrate by week."""
    water = problem.farm.water
    return balance(
        problem.start_pool_g,
        fish_sum(problem, plan, "supply_n_g"),
        uptake_g(problem, plan),
        water.pool_loss_week,
        water.volume_m3,
    )


def labour_h(problem: SeasonProblem, plan: SeasonPlan) -> Series:
    """Return hours of work by week. [h]"""
    hours = np.zeros(problem.weeks)
    for n in np.flatnonzero(plan.parts).tolist():
        hours += problem.batches[n].labour_h * plan.parts[n]
    for name, kilograms in cut_kg(problem, plan).items():
        hours += kilograms * problem.harvest_h_kg[name]
    return hours


def nursery_cells(problem: SeasonProblem, plan: SeasonPlan) -> NDArray[np.int64]:
    """Return nursery cells in use by week. [-]"""
    cells = np.zeros(problem.weeks, dtype=np.int64)
    for n in np.flatnonzero(plan.parts).tolist():
        option = problem.batches[n]
        if option.nursery is not None:
            first, last = option.nursery
            cells[max(0, first) : last + 1] += option.cells * int(plan.parts[n])
    return cells


def parts_held(problem: SeasonProblem, plan: SeasonPlan) -> NDArray[np.int64]:
    """Return parts in use by zone and week, sanitation included. [-]"""
    held = np.zeros((len(problem.farm.zones), problem.weeks), dtype=np.int64)
    for n in np.flatnonzero(plan.parts).tolist():
        option = problem.batches[n]
        held[option.zone, max(0, option.start) : max(0, option.stop)] += plan.parts[n]
    return held


def planned_units(problem: SeasonProblem, plan: SeasonPlan, number: int) -> float:
    """Return what an order week gets, in its line's unit."""
    return units_of(problem, plan.order_kg, number)


def units_of(problem: SeasonProblem, kg: Mapping[tuple[int, str], float], number: int) -> float:
    """Return what weights by order and crop come to for an order week, in its line's unit."""
    order = problem.orders[number]
    return sum(
        kg.get((number, crop), 0.0) / weight
        for crop, weight in zip(order.crops, order.kg_per_unit, strict=True)
    )


def sold_kg(
    problem: SeasonProblem, plan: SeasonPlan
) -> tuple[dict[str, Series], dict[str, Series]]:
    """Return what orders and what outlets take, by produce and week. [kg]"""
    orders = {name: np.zeros(problem.weeks) for name in problem.produce}
    outlets = {name: np.zeros(problem.weeks) for name in problem.produce}
    for (number, crop), kilograms in plan.order_kg.items():
        orders[crop][problem.orders[number].week] += kilograms
    for (number, week), kilograms in plan.outlet_kg.items():
        outlets[problem.outlets[number].crop][week] += kilograms
    return orders, outlets


def cooler_kg(problem: SeasonProblem, plan: SeasonPlan) -> dict[str, Series]:
    """Return what is kept from each week into the next, by produce. [kg]"""
    kept = {name: np.zeros(problem.weeks) for name in problem.produce}
    for (crop, week), kilograms in plan.cooler_kg.items():
        kept[crop][week] += kilograms
    return kept


def wasted_kg(problem: SeasonProblem, plan: SeasonPlan) -> dict[str, Series]:
    """Return what is cut and finds no taker, by produce and week. [kg]"""
    cut = cut_kg(problem, plan)
    orders, outlets = sold_kg(problem, plan)
    kept = cooler_kg(problem, plan)
    return {
        name: cut[name]
        + np.concatenate([[0.0], kept[name][:-1]])
        - orders[name]
        - outlets[name]
        - kept[name]
        for name in problem.produce
    }
