"""A season plan as plain numbers, its worth, and a check of every hard rule without the solver."""

from collections.abc import Mapping
from dataclasses import dataclass
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


def changed_cost(problem: SeasonProblem, plan: SeasonPlan) -> float:
    """Return what starting otherwise than the plan in force is charged. [money]"""
    changes = problem.changes
    cost = float(changes.taken_cost @ plan.tanks)
    cost += float(changes.new_part_cost @ plan.parts + changes.new_fish_cost @ plan.fish)
    for groups, numbers in ((changes.parts, plan.parts), (changes.fish, plan.fish)):
        for group in groups:
            now = sum(int(numbers[n]) for n in group.options)
            cost += group.price * abs(now - group.before)
    return cost


def worth(problem: SeasonProblem, plan: SeasonPlan) -> float:
    """Return the objective of a plan, reckoned without the solver. [money]"""
    farm = problem.farm
    water = farm.water
    total = 0.0
    tail_kg = dict.fromkeys(problem.produce, 0.0)
    for n in np.flatnonzero(plan.parts).tolist():
        option = problem.batches[n]
        total -= (option.seed_cost + problem.discard_cost[n]) * plan.parts[n]
        tail_kg[option.crop] += option.tail_kg * plan.parts[n]
    for n in np.flatnonzero(plan.fish).tolist():
        cohort = problem.cohorts[n]
        feed = cohort.feed_g.sum() / 1000 * farm.prices.feed_kg
        tail = farm.weights.tail_value * problem.tail_price_kg[cohort.species] * cohort.tail_kg
        total += (tail - cohort.fingerling_price - feed) * plan.fish[n]
    total -= farm.labour.price_hour * labour_h(problem, plan).sum()
    for name, kilograms in tail_kg.items():
        counted = min(kilograms, problem.tail_most_kg.get(name, 0.0))
        total += farm.weights.tail_value * problem.tail_price_kg[name] * counted
    for number, order in enumerate(problem.orders):
        planned = planned_units(problem, plan, number)
        total += planned * order.price
        total -= max(0.0, order.least - planned) * order.shortage_price
    for (number, _), kilograms in plan.outlet_kg.items():
        total += problem.outlets[number].price_kg * kilograms
    pool = water_balance(problem, plan)
    price = farm.weights.nitrate_mg_l_week
    over = np.maximum(0, pool.nitrate_mg_l - water.band_high_mg_l)
    under = np.maximum(0, water.band_low_mg_l - pool.nitrate_mg_l)
    total -= price * (over.sum() + under.sum())
    total -= float(problem.deficit_price_g @ pool.deficit_g)
    wasted = wasted_kg(problem, plan)
    total -= changed_cost(problem, plan)
    return float(total) - farm.weights.waste_kg * sum(float(s.sum()) for s in wasted.values())


def planned_units(problem: SeasonProblem, plan: SeasonPlan, number: int) -> float:
    """Return what an order week gets, in its line's unit."""
    order = problem.orders[number]
    return sum(
        plan.order_kg.get((number, crop), 0.0) / weight
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


def _beyond(value: Series, limit: Series | float) -> NDArray[np.bool_]:
    """Whether a value breaks an upper limit by more than the tolerance."""
    slack = TOLERANCE * np.maximum(1.0, np.abs(limit))
    return np.asarray(value > limit + slack)


def violations(problem: SeasonProblem, plan: SeasonPlan) -> list[str]:
    """Recheck every hard rule in plain arithmetic; an empty list means that the plan keeps them."""
    farm, horizon = problem.farm, problem.horizon
    found: list[str] = []

    def complain(what: str, weeks: NDArray[np.bool_]) -> None:
        found.extend(f"{what} in week {horizon.label(int(w))}" for w in np.flatnonzero(weeks))

    if (plan.parts < 0).any() or (plan.tanks < 0).any() or (plan.fish < 0).any():
        found.append("a number of parts, tanks or fish is below 0")
    for zone, held in zip(farm.zones, parts_held(problem, plan), strict=True):
        complain(f"{zone.name}: more than {zone.all_parts} parts in use", held > zone.all_parts)
    complain("nursery: more cells than it has", nursery_cells(problem, plan) > farm.nursery.cells)
    complain("more hours than there are", _beyond(labour_h(problem, plan), farm.labour.hours_week))
    for n in np.flatnonzero(plan.parts).tolist():
        found.extend(_batch_faults(problem, int(n)))
    for number, (options, parts, stands) in enumerate(problem.batch_groups):
        chosen = int(sum(plan.parts[n] for n in options))
        if chosen > parts or (stands and chosen != parts):
            name = farm.standing[number].id
            found.append(f"batch {name}: {chosen} parts accounted for, {parts} stand in the house")
    found += _fish_faults(problem, plan)
    pool = water_balance(problem, plan)
    complain("nitrate above what the fish bear", _beyond(pool.pool_g, problem.nitrate_max_g))
    tan = fish_sum(problem, plan, "tan_g") / 7
    complain("more ammonia than the biofilter turns over", _beyond(tan, problem.biofilter_g_day))
    return found + _produce_faults(problem, plan)


def _batch_faults(problem: SeasonProblem, number: int) -> list[str]:
    """A batch is set out after it is sown, cut when ripe and cleared after its last cut."""
    option = problem.batches[number]
    horizon = problem.horizon
    name = f"{option.crop} set out {option.set_out}"
    found = []
    if option.standing is None and option.sow < horizon.plan_date:
        found.append(f"{name}: sown before the plan date")
    if not option.sow <= option.set_out <= option.ripe:
        found.append(f"{name}: sown, set out and ripe are not in this order")
    for cut in option.cuts:
        if cut.ripe < option.ripe:
            found.append(f"{name}: cut before it is ripe")
        if horizon.monday(cut.first + 1) <= cut.ripe:
            found.append(f"{name}: ripe only after the week of its cut")
        if horizon.monday(cut.last) >= option.clear:
            found.append(f"{name}: cut after it is cleared")
    return found


def _fish_faults(problem: SeasonProblem, plan: SeasonPlan) -> list[str]:
    """Tanks are held by one cohort each, within density, and fish at hand follow one course."""
    farm, horizon = problem.farm, problem.horizon
    found = []
    for number, tank in enumerate(farm.tanks):
        held = np.zeros(problem.weeks, dtype=np.int64)
        for n in np.flatnonzero(plan.tanks).tolist():
            option = problem.cohorts[n]
            if option.tank == number:
                held[max(0, option.start) : option.stop] += plan.tanks[n]
        for week in np.flatnonzero(held > tank.places):
            found.append(
                f"{tank.name}: more than {tank.places} in use in {horizon.label(int(week))}"
            )
    for n in np.flatnonzero(plan.fish).tolist():
        option = problem.cohorts[n]
        if option.at_hand is None:
            offer = farm.fingerlings[option.offer or 0]
            if plan.fish[n] > option.most_fish * plan.tanks[n]:
                found.append(f"{option.species} stocked {option.stock}: over the density limit")
            if plan.fish[n] < offer.least_count * plan.tanks[n]:
                found.append(f"{option.species} stocked {option.stock}: fewer than can be bought")
            if (option.stock - horizon.plan_date).days < 7 * offer.lead_weeks:
                found.append(f"{option.species} stocked {option.stock}: before they can be here")
        elif plan.fish[n] != option.count * plan.tanks[n]:
            found.append(f"{option.species} at hand: {plan.fish[n]} of {option.count} fish planned")
    for number, group in enumerate(problem.cohort_groups):
        if sum(int(plan.tanks[n]) for n in group) != 1:
            found.append(f"{farm.cohorts[number].tank}: the fish at hand must follow one course")
    return found


def _produce_faults(problem: SeasonProblem, plan: SeasonPlan) -> list[str]:
    """Nothing is sold that is not cut, and nothing kept longer than its shelf life."""
    horizon = problem.horizon
    found = []
    ripe = ripe_kg(problem, plan)
    taken = dict.fromkeys(ripe, 0.0)
    for (number, week), kilograms in plan.harvest_kg.items():
        name, first, last = problem.cut_classes[number]
        taken[number] = taken.get(number, 0.0) + kilograms
        if not first <= week <= last:
            found.append(f"{name}: cut in week {horizon.label(week)}, when it is not ripe")
    for number, kilograms in taken.items():
        most = ripe.get(number, 0.0)
        if kilograms > most + 10 * TOLERANCE * max(1.0, most):
            name, first, _ = problem.cut_classes[number]
            found.append(f"{name}: more is cut than is ripe from week {horizon.label(first)}")
    cut, kept = cut_kg(problem, plan), cooler_kg(problem, plan)
    for name, left in wasted_kg(problem, plan).items():
        slack = TOLERANCE * np.maximum(1.0, cut[name])
        for week in np.flatnonzero(left < -10 * slack).tolist():
            found.append(f"{name}: more goes out than is cut in week {horizon.label(int(week))}")
        weeks = problem.shelf_weeks[name]
        recent = np.convolve(cut[name], np.ones(max(weeks, 1)))[: problem.weeks]
        fresh = recent if weeks else np.zeros(problem.weeks)
        for week in np.flatnonzero(kept[name] > fresh + 10 * slack).tolist():
            found.append(f"{name}: kept beyond its shelf life in week {horizon.label(int(week))}")
    for number, order in enumerate(problem.orders):
        if planned_units(problem, plan, number) > order.ordered * (1 + TOLERANCE) + TOLERANCE:
            line = problem.farm.orders[order.line].line
            found.append(f"order {line}: more than ordered in week {horizon.label(order.week)}")
    for (number, week), kilograms in plan.outlet_kg.items():
        outlet = problem.outlets[number]
        if kilograms > outlet.most_week_kg * (1 + TOLERANCE) + TOLERANCE:
            found.append(f"{outlet.outlet}: more {outlet.crop} than it takes in week {week}")
    amounts = (
        *plan.harvest_kg.values(),
        *plan.order_kg.values(),
        *plan.outlet_kg.values(),
        *plan.cooler_kg.values(),
    )
    if any(kilograms < -TOLERANCE for kilograms in amounts):
        found.append("a quantity sold or kept is below 0")
    return found
