"""What a grower cuts and sells in each week: orders first, then the cooler, then outlets."""

from collections import defaultdict
from dataclasses import replace

from planner.handplan.book import NEAR, Book
from planner.plan import SeasonPlan, Status, cut_kg, ripe_kg


def sold_by_hand(book: Book) -> SeasonPlan:
    """Return the plan that a book comes to, its produce sold week by week; its value is 0."""
    plan = SeasonPlan(
        status=Status.FEASIBLE,
        value=0.0,
        bound=0.0,
        gap=0.0,
        work=0,
        seconds=0.0,
        seed=0,
        stopped_by="work",
        parts=book.parts,
        tanks=book.tanks,
        fish=book.fish,
        harvest_kg={},
        order_kg={},
        outlet_kg={},
        cooler_kg={},
    )
    sales = _Sales(book, plan)
    for week in range(book.problem.weeks):
        sales.sell(week)
    return replace(
        plan,
        harvest_kg=dict(sales.harvest_kg),
        order_kg=dict(sales.order_kg),
        outlet_kg=dict(sales.outlet_kg),
        cooler_kg=dict(sales.cooler_kg),
    )


class _Sales:
    """Sells what is ripe, the weeks one after the other."""

    def __init__(self, book: Book, plan: SeasonPlan) -> None:
        problem = book.problem
        self.harvest_kg: dict[tuple[int, int], float] = defaultdict(float)
        self.order_kg: dict[tuple[int, str], float] = defaultdict(float)
        self.outlet_kg: dict[tuple[int, int], float] = defaultdict(float)
        self.cooler_kg: dict[tuple[str, int], float] = defaultdict(float)
        self._problem = problem
        self._hours = book.hours.tolist()
        self._fish = cut_kg(problem, plan)
        # still on the plants, by kind of cut
        self._left = {n: float(kg) for n, kg in ripe_kg(problem, plan).items()}
        self._ripe: dict[tuple[str, int], list[int]] = defaultdict(list)  # first ripe first
        for number in sorted(self._left, key=lambda n: problem.cut_classes[n][1:]):
            crop, first, last = problem.cut_classes[number]
            for week in range(first, last + 1):
                self._ripe[crop, week].append(number)
        self._stock: dict[str, list[tuple[int, float]]] = defaultdict(list)  # week cut and kg
        self._due: dict[int, list[int]] = defaultdict(list)
        for number, order in enumerate(problem.orders):
            self._due[order.week].append(number)
        for numbers in self._due.values():
            numbers.sort(key=self._rank)
        self._best_outlets = sorted(
            range(len(problem.outlets)), key=lambda n: (-problem.outlets[n].price_kg, n)
        )

    def _rank(self, number: int) -> tuple[int, float, int]:
        """Orders by priority, then by price of a kilogram."""
        order = self._problem.orders[number]
        priority = self._problem.farm.orders[order.line].priority
        return priority, -order.price / order.kg_per_unit[0], number

    def sell(self, week: int) -> None:
        """Sell what is in the cooler, taken out of the tanks and ripe in a week."""
        problem = self._problem
        for species in problem.fish:
            if species in self._fish and self._fish[species][week] > NEAR:
                self._stock[species].append((week, float(self._fish[species][week])))
        for number in self._due[week]:
            order = problem.orders[number]
            left = order.ordered
            for crop, weight in zip(order.crops, order.kg_per_unit, strict=True):
                kg = self._from_stock(crop, left * weight)
                kg += self._cut(crop, week, left * weight - kg)
                if kg > NEAR:
                    self.order_kg[number, crop] += kg
                    left = max(0.0, left - kg / weight)
        kept = self._kept(week)
        for number in self._best_outlets:
            outlet = problem.outlets[number]
            kg = self._from_stock(outlet.crop, outlet.most_week_kg)
            if outlet.price_kg > problem.harvest_h_kg[outlet.crop] * problem.farm.labour.price_hour:
                kg += self._cut(outlet.crop, week, outlet.most_week_kg - kg, ending=True)
            if kg > NEAR:
                self.outlet_kg[number, week] += kg
        self._stock = kept

    def _from_stock(self, crop: str, most_kg: float) -> float:
        """Take from what is cut already, the oldest first. [kg]"""
        given, rest = 0.0, []
        for cut_week, kg in self._stock[crop]:
            taken = min(kg, most_kg - given)
            given += taken
            if kg - taken > NEAR:
                rest.append((cut_week, kg - taken))
        self._stock[crop] = rest
        return given

    def _cut(self, crop: str, week: int, most_kg: float, *, ending: bool = False) -> float:
        """Cut what is ripe, as far as the hours go; of `ending` only what is lost after. [kg]"""
        given, hours_kg = 0.0, self._problem.harvest_h_kg[crop]
        for number in self._ripe[crop, week]:
            kg = min(most_kg - given, self._left[number])
            if hours_kg > 0:
                kg = min(kg, self._hours[week] / hours_kg)
            if kg <= NEAR or (ending and self._problem.cut_classes[number][2] > week):
                continue
            given += kg
            self._left[number] -= kg
            self._hours[week] -= kg * hours_kg
            self.harvest_kg[number, week] += kg
        return given

    def _kept(self, week: int) -> dict[str, list[tuple[int, float]]]:
        """Put into the cooler what next week's orders lack and would be lost otherwise."""
        kept: dict[str, list[tuple[int, float]]] = defaultdict(list)
        for crop, lacked_kg in self._lacked_kg(week + 1).items():
            shelf = self._problem.shelf_weeks[crop]
            left = lacked_kg
            young = [(w, kg) for w, kg in self._stock[crop] if week - w < shelf]
            old = [(w, kg) for w, kg in self._stock[crop] if week - w >= shelf]
            self._stock[crop] = young
            for cut_week, kg in young:
                taken = self._from_stock(crop, min(kg, left))
                left -= taken
                if taken > NEAR:
                    kept[crop].append((cut_week, taken))
            self._stock[crop] = old + self._stock[crop]
            fresh = self._cut(crop, week, left, ending=True) if shelf > 0 else 0.0
            if fresh > NEAR:
                kept[crop].append((week, fresh))
            if kept[crop]:
                self.cooler_kg[crop, week] = sum(kg for _, kg in kept[crop])
        return kept

    def _lacked_kg(self, week: int) -> dict[str, float]:
        """What the orders of a week want beyond what will be ripe, of crops that end before it."""
        problem = self._problem
        lacked: dict[str, float] = defaultdict(float)
        if week >= problem.weeks:
            return lacked
        will_be: dict[str, float] = {}
        ends: dict[str, float] = {}
        for number in self._due[week]:
            order = problem.orders[number]
            units = order.ordered
            for pool in (will_be, ends):
                for crop, weight in zip(order.crops, order.kg_per_unit, strict=True):
                    if crop not in will_be:
                        will_be[crop] = self._ripe_kg(crop, week) + float(self._fish[crop][week])
                        ends[crop] = self._ending_kg(crop, week - 1)
                    kg = min(units * weight, pool[crop])
                    pool[crop] -= kg
                    units = max(0.0, units - kg / weight)
                    if pool is ends:
                        lacked[crop] += kg
        return lacked

    def _ripe_kg(self, crop: str, week: int) -> float:
        return sum(self._left[number] for number in self._ripe[crop, week])

    def _ending_kg(self, crop: str, week: int) -> float:
        """What is lost unless it is sold or kept in a week: cut already, or ripe no longer. [kg]"""
        ends = (n for n in self._ripe[crop, week] if self._problem.cut_classes[n][2] == week)
        return sum(self._left[n] for n in ends) + sum(kg for _, kg in self._stock[crop])
