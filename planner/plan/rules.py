"""A check of every hard rule in plain arithmetic, without the solver."""

import numpy as np
from numpy.typing import NDArray

from planner.plan.sums import (
    TOLERANCE,
    SeasonPlan,
    Series,
    cooler_kg,
    cut_kg,
    fish_sum,
    labour_h,
    nursery_cells,
    parts_held,
    planned_units,
    ripe_kg,
    sold_kg,
    wasted_kg,
    water_balance,
)
from planner.problem import SeasonProblem


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
            if option.ordered is not None:
                continue
            if plan.fish[n] < offer.least_count * plan.tanks[n]:
                found.append(f"{option.species} stocked {option.stock}: fewer than can be bought")
            if (option.stock - horizon.plan_date).days < 7 * offer.lead_weeks:
                found.append(f"{option.species} stocked {option.stock}: before they can be here")
        elif plan.fish[n] != option.count * plan.tanks[n]:
            found.append(f"{option.species} at hand: {plan.fish[n]} of {option.count} fish planned")
    for number, ordered in enumerate(farm.ordered):
        come = sum(int(plan.fish[n]) for n, o in enumerate(problem.cohorts) if o.ordered == number)
        if come > ordered.count:
            found.append(f"{ordered.species}: {come} of {ordered.count} fish ordered are stocked")
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
    found += _reserve_faults(problem, plan)
    amounts = (
        *plan.reserve_kg.values(),
        *plan.harvest_kg.values(),
        *plan.order_kg.values(),
        *plan.outlet_kg.values(),
        *plan.cooler_kg.values(),
    )
    if any(kilograms < -TOLERANCE for kilograms in amounts):
        found.append("a quantity sold or kept is below 0")
    return found


def _reserve_faults(problem: SeasonProblem, plan: SeasonPlan) -> list[str]:
    """What is held ready for orders is cut and goes to an outlet or to nobody."""
    if not plan.reserve_kg:
        return []
    _, outlets = sold_kg(problem, plan)
    wasted = wasted_kg(problem, plan)
    held = {name: np.zeros(problem.weeks) for name in problem.produce}
    for (number, crop), kilograms in plan.reserve_kg.items():
        held[crop][problem.orders[number].week] += kilograms
    return [
        f"{name}: more is held ready than there is in week {problem.horizon.label(int(week))}"
        for name, series in held.items()
        for week in np.flatnonzero(
            series > outlets[name] + wasted[name] + 10 * TOLERANCE * (1 + series)
        )
    ]
