"""Who gets what in each draw: orders first, by priority, then the cooler and the outlets."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.demand import OrderWeek
from planner.plan import SeasonPlan, cooler_kg
from planner.problem import SeasonProblem

Series = NDArray[np.float64]

SCALE_ERROR = 1e-3  # of an order: what no scale at the door would show


@dataclass(frozen=True, slots=True, eq=False)
class Sales:
    """What comes of the harvests.

    Attributes
    ----------
    met
        By number of the order within the horizon: whether each draw brings its least.
    orders_kg, outlets_kg
        By produce; shape (weeks, draws). [kg]
    """

    met: Mapping[int, NDArray[np.bool_]]
    orders_kg: Mapping[str, Series]
    outlets_kg: Mapping[str, Series]


class Store:
    """What is at hand of one crop in a week, by age in weeks, in every draw."""

    def __init__(self, shelf_weeks: int, draws: int) -> None:
        self._by_age = np.zeros((shelf_weeks + 1, draws))
        self.left: Series = np.zeros(draws)

    def fill(self, cut_kg: Series) -> None:
        """Begin a week with what was cut in it and what was kept."""
        self._by_age[1:] = self._by_age[:-1]
        self._by_age[0] = cut_kg
        self.left = self._by_age.sum(axis=0)

    @property
    def gone(self) -> Series:
        """What has been taken since the week began. [kg]"""
        return np.asarray(np.maximum(0.0, self._by_age.sum(axis=0) - self.left))

    def take(self, wanted: Series) -> Series:
        """Take what is wanted, as far as there is, and return it. [kg]"""
        taken = np.minimum(self.left, wanted)
        self.left = self.left - taken
        return taken

    def close(self) -> None:
        """End a week: what has gone was the oldest."""
        gone = self.gone
        for kept in self._by_age[::-1]:
            taken = np.minimum(kept, gone)
            kept -= taken
            gone -= taken


def sell(problem: SeasonProblem, plan: SeasonPlan, cut_kg: Mapping[str, Series]) -> Sales:
    """Hand out what is cut, week by week.

    Orders take first what the plan has for them, by priority. What is left beyond what the plan
    keeps for the next week then fills up orders that are short, each from any of its crops;
    outlets take of the rest what the plan has for them. What remains is kept for as many weeks as
    the crop's shelf life allows.

    Parameters
    ----------
    cut_kg
        By produce; shape (weeks, draws). [kg]
    """
    weeks = problem.horizon.weeks
    draws = next((len(kg[0]) for kg in cut_kg.values()), 1)
    by_week: dict[int, list[int]] = defaultdict(list)
    for number, order in enumerate(problem.orders):
        by_week[order.week].append(number)
    for numbers in by_week.values():
        numbers.sort(key=lambda n: (problem.farm.orders[problem.orders[n].line].priority, n))
    outlets: dict[tuple[str, int], float] = defaultdict(float)
    for (number, week), kilograms in plan.outlet_kg.items():
        outlets[problem.outlets[number].crop, week] += kilograms
    kept = cooler_kg(problem, plan)
    stores = {name: Store(problem.shelf_weeks[name], draws) for name in cut_kg}
    orders_kg = {name: np.zeros((weeks, draws)) for name in cut_kg}
    outlets_kg = {name: np.zeros((weeks, draws)) for name in cut_kg}
    met: dict[int, NDArray[np.bool_]] = {}
    for week in range(weeks):
        for name, store in stores.items():
            store.fill(cut_kg[name][week])
        given = _planned(problem, plan, by_week[week], stores)
        _fill_up(problem, by_week[week], stores, given, kept, week)
        for number, units in given.items():
            met[number] = units >= problem.orders[number].least * (1 - SCALE_ERROR) - 1e-9
        for name, store in stores.items():
            orders_kg[name][week] = store.gone
            spare = np.maximum(0.0, store.left - float(kept[name][week]))
            outlets_kg[name][week] = store.take(np.minimum(spare, outlets[name, week]))
            store.close()
    return Sales(met=met, orders_kg=orders_kg, outlets_kg=outlets_kg)


def _planned(
    problem: SeasonProblem, plan: SeasonPlan, numbers: list[int], stores: Mapping[str, Store]
) -> dict[int, Series]:
    """Give each order what the plan has for it, as far as there is; units by order and draw."""
    given: dict[int, Series] = {}
    for number in numbers:
        order = problem.orders[number]
        units = np.zeros_like(next(iter(stores.values())).left)
        for crop, weight in zip(order.crops, order.kg_per_unit, strict=True):
            wanted = plan.order_kg.get((number, crop), 0.0)
            if wanted > 0 and crop in stores:
                units = units + stores[crop].take(np.full_like(units, wanted)) / weight
        given[number] = units
    return given


def _fill_up(
    problem: SeasonProblem,
    numbers: list[int],
    stores: Mapping[str, Store],
    given: dict[int, Series],
    kept: Mapping[str, Series],
    week: int,
) -> None:
    """Fill orders that are short from what nobody has a claim to."""
    for number in numbers:
        order: OrderWeek = problem.orders[number]
        for crop, weight in zip(order.crops, order.kg_per_unit, strict=True):
            if crop not in stores:
                continue
            short = np.maximum(0.0, order.ordered - given[number]) * weight
            spare = np.maximum(0.0, stores[crop].left - float(kept[crop][week]))
            wanted = np.minimum(short, spare)
            if wanted.any():
                given[number] = given[number] + stores[crop].take(wanted) / weight
