"""The plan's worth and its recheck, both reckoned without the solver."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from planner.farmlists import FishOrdered
from planner.plan import (
    SeasonPlan,
    cut_kg,
    fish_sum,
    gap,
    nursery_cells,
    parts_held,
    planned_units,
    ripe_kg,
    uptake_g,
    violations,
    wasted_kg,
    water_balance,
    worth,
)
from planner.problem import SeasonProblem
from planner.season.decide import season_plan
from planner.season.effort import Effort
from tests.houses import CROPS, FISH, PLAN_DATES, House, farm, full_house, order, solved


@pytest.fixture(scope="module")
def problem() -> SeasonProblem:
    return full_house().problem


@pytest.fixture(scope="module")
def plan(problem: SeasonProblem) -> SeasonPlan:
    return season_plan(problem, Effort())


@pytest.mark.parametrize("seed", range(45))
def test_worth_is_the_solvers_and_no_rule_is_broken(seed: int) -> None:
    problem, plan = solved(seed)
    assert worth(problem, plan) == pytest.approx(plan.value, rel=1e-6, abs=1e-6)
    assert violations(problem, plan) == []


def test_the_full_house_uses_everything(problem: SeasonProblem, plan: SeasonPlan) -> None:
    """So that each mutation below has something to spoil."""
    assert violations(problem, plan) == []
    assert worth(problem, plan) == pytest.approx(plan.value, rel=1e-6)
    assert {problem.batches[n].crop for n in np.flatnonzero(plan.parts)} == set(CROPS) & {
        "radish",
        "lettuce_butterhead",
        "lettuce_babyleaf",
    }
    chosen = np.flatnonzero(plan.tanks)
    assert {problem.cohorts[n].at_hand for n in chosen} == {0, None}
    assert plan.cooler_kg
    assert plan.outlet_kg


def test_what_goes_out_was_cut(problem: SeasonProblem, plan: SeasonPlan) -> None:
    """Cut + from the cooler = orders + outlets + to the cooler + wasted, all of it from lots."""
    for name, wasted in wasted_kg(problem, plan).items():
        assert wasted.min() >= -1e-6
        total = cut_kg(problem, plan)[name].sum()
        gone = sum(kg for (_, crop), kg in plan.order_kg.items() if crop == name)
        gone += sum(kg for (n, _), kg in plan.outlet_kg.items() if problem.outlets[n].crop == name)
        assert gone + wasted.sum() == pytest.approx(total, abs=1e-5)
    ripe = ripe_kg(problem, plan)
    taken = dict.fromkeys(ripe, 0.0)
    for (number, _), kg in plan.harvest_kg.items():
        taken[number] += kg
    assert all(taken[number] <= kg + 1e-6 for number, kg in ripe.items())


def test_no_nitrogen_is_invented() -> None:
    """Where the water is nearly empty a plan is not worth more for nitrate that it has not.

    Three weeks of a milligram more in the water would save what a milligram of deficit costs, if
    that did not cost more in the weeks that have others after them.
    """
    keys = {
        "water": {
            "volumes": {"all": 1.5},
            "temperatures": 27,
            "biofilter_area": 60,
            "nitrate_n": 0.1,
        },
        "rules": {"horizon_weeks": 12, "tail_weeks": 0},
        "orders": [order("R", "radish", quantity=0.5)],
        "weights": {"nitrate_mg_l_week": 0.5},
    }
    house = House(farm=farm(**keys), plan_date=PLAN_DATES[0], crops=CROPS, fish=FISH)
    problem = house.problem
    plan = season_plan(problem, Effort())
    pool = water_balance(problem, plan)
    assert pool.deficit_g.sum() > 0.1
    assert plan.value == pytest.approx(worth(problem, plan), rel=1e-6)
    price_g = 0.5 / 1.5
    assert problem.deficit_price_g[-1] == pytest.approx(4 * price_g)
    assert (np.diff(problem.deficit_price_g) < 0).all()
    saved = price_g * np.cumsum(0.98 ** np.arange(12))[::-1]  # by a gram, in all weeks left
    assert (problem.deficit_price_g > saved).all()


def test_gap_is_over_the_larger_of_value_and_a_tenth_of_the_orders(
    problem: SeasonProblem,
) -> None:
    tenth = 0.1 * problem.orders_worth
    worth_of_orders = sum(o.ordered * o.price for o in problem.orders)
    assert problem.orders_worth == pytest.approx(worth_of_orders)
    assert gap(problem, 0.0, tenth) == pytest.approx(1.0)
    assert gap(problem, -10 * tenth, -9 * tenth) == pytest.approx(0.1)
    assert gap(problem, 5.0, 5.0) == 0


def test_nothing_planned_holds_nothing(problem: SeasonProblem, plan: SeasonPlan) -> None:
    empty = replace(
        plan,
        parts=plan.parts * 0,
        tanks=plan.tanks * 0,
        fish=plan.fish * 0,
        harvest_kg={},
        order_kg={},
        outlet_kg={},
        cooler_kg={},
    )
    assert parts_held(problem, empty).sum() == nursery_cells(problem, empty).sum() == 0
    assert uptake_g(problem, empty).sum() == fish_sum(problem, empty, "feed_g").sum() == 0
    water = problem.farm.water
    kept = problem.start_pool_g * (1 - water.pool_loss_week) ** np.arange(1, problem.weeks + 1)
    assert water_balance(problem, empty).pool_g == pytest.approx(kept)
    shortages = sum(o.least * o.shortage_price for o in problem.orders)
    assert worth(problem, empty) == pytest.approx(-shortages)


# mutations: each spoils a good plan in one way, and is named


def _with(amounts: Mapping[Any, float], key: Any, kg: float) -> dict[Any, float]:
    return {**amounts, key: amounts.get(key, 0.0) + kg}


def _count(numbers: Any, at: int, more: int) -> Any:
    changed = numbers.copy()
    changed[at] += more
    return changed


def _option(problem: SeasonProblem, **wanted: Any) -> int:
    """The first batch option with these values."""
    return next(
        n
        for n, option in enumerate(problem.batches)
        if all(getattr(option, name) == value for name, value in wanted.items())
    )


def _crowded(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    at = _option(problem, crop="radish", start=4)
    free = 2 - int(parts_held(problem, plan)[1, 4:7].max())
    return replace(plan, parts=_count(plan.parts, at, free + 1))


def _unripe(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    """All of one cut is taken the week before it is ripe."""
    number, week = next(iter(sorted(plan.harvest_kg)))
    first = problem.cut_classes[number][1]
    moved = {key: kg for key, kg in plan.harvest_kg.items() if key != (number, week)}
    return replace(plan, harvest_kg=_with(moved, (number, first - 1), 0.01))


def _more_than_ripe(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    key = next(iter(plan.harvest_kg))
    return replace(plan, harvest_kg=_with(plan.harvest_kg, key, 5.0))


def _oversold(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    return replace(plan, outlet_kg=_with(plan.outlet_kg, (0, 3), 0.2))


def _dense(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    at = next(n for n in np.flatnonzero(plan.tanks) if problem.cohorts[n].at_hand is None)
    more = problem.cohorts[at].most_fish * int(plan.tanks[at]) - int(plan.fish[at]) + 1
    return replace(plan, fish=_count(plan.fish, at, more))


def _too_few_fish(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    at = next(n for n in np.flatnonzero(plan.tanks) if problem.cohorts[n].at_hand is None)
    return replace(plan, fish=_count(plan.fish, at, 3 - int(plan.fish[at])))


def _forgotten(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    """The fish at hand follow no course."""
    at = next(n for n in np.flatnonzero(plan.tanks) if problem.cohorts[n].at_hand == 0)
    return replace(
        plan, tanks=_count(plan.tanks, at, -1), fish=_count(plan.fish, at, -int(plan.fish[at]))
    )


def _half_the_fish(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    at = next(n for n in np.flatnonzero(plan.tanks) if problem.cohorts[n].at_hand == 0)
    return replace(plan, fish=_count(plan.fish, at, -15))


def _two_in_a_tank(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    at = next(n for n in np.flatnonzero(plan.tanks) if problem.cohorts[n].at_hand is None)
    return replace(plan, tanks=_count(plan.tanks, at, 1))


def _many_seedlings(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    at = _option(problem, crop="lettuce_butterhead", start=4)
    return replace(plan, parts=_count(plan.parts, at, 1))


def _long_hours(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    return replace(plan, parts=_count(plan.parts, _option(problem, crop="radish", start=0), 1))


def _stale(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    """Lettuce that keeps for a week is kept for three."""
    week = max(
        w for (number, w) in plan.harvest_kg if _crop(problem, number).startswith("lettuce_b")
    )
    name = next(_crop(problem, n) for n, w in plan.harvest_kg if w == week)
    kept = plan.cooler_kg
    for later in range(problem.weeks - 1):
        kept = _with(kept, (name, later), 0.02)
    return replace(plan, cooler_kg=kept)


def _crop(problem: SeasonProblem, number: int) -> str:
    return problem.cut_classes[number][0]


def _overfilled(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    full = next(
        n
        for n, o in enumerate(problem.orders)
        if planned_units(problem, plan, n) > o.ordered - 1e-6
    )
    crop = problem.orders[full].crops[0]
    return replace(plan, order_kg=_with(plan.order_kg, (full, crop), 0.05))


def _outlet_full(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    return replace(plan, outlet_kg=_with(plan.outlet_kg, (0, 7), 0.31))


def _crammed(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    """Twenty times the fish: more nitrate and more ammonia than the house bears."""
    return replace(plan, fish=plan.fish * 20)


def _negative(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    return replace(plan, cooler_kg=_with(plan.cooler_kg, ("radish", 0), -0.5))


def _less_than_nothing(problem: SeasonProblem, plan: SeasonPlan) -> SeasonPlan:
    at = next(n for n, parts in enumerate(plan.parts) if parts == 0)
    return replace(plan, parts=_count(plan.parts, at, -1))


@pytest.mark.parametrize(
    ("spoil", "named"),
    [
        (_crowded, "gravel: more than 2 parts in use in week 2027-W1"),
        (_unripe, "when it is not ripe"),
        (_more_than_ripe, "more is cut than is ripe"),
        (_oversold, "lettuce_babyleaf: more goes out than is cut in week 2027-W12"),
        (_dense, "over the density limit"),
        (_too_few_fish, "fewer than can be bought"),
        (_forgotten, "tank 1: the fish at hand must follow one course"),
        (_half_the_fish, "15 of 30 fish planned"),
        (_two_in_a_tank, "more than 1 in use"),
        (_many_seedlings, "nursery: more cells than it has in week 2027-W12"),
        (_long_hours, "more hours than there are in week 2027-W09"),
        (_stale, "kept beyond its shelf life"),
        (_overfilled, "more than ordered"),
        (_outlet_full, "stall: more lettuce_babyleaf than it takes"),
        (_crammed, "nitrate above what the fish bear"),
        (_crammed, "more ammonia than the biofilter turns over"),
        (_negative, "a quantity sold or kept is below 0"),
        (_less_than_nothing, "a number of parts, tanks or fish is below 0"),
    ],
)
def test_a_spoilt_plan_is_named(
    spoil: Callable[[SeasonProblem, SeasonPlan], SeasonPlan],
    named: str,
    problem: SeasonProblem,
    plan: SeasonPlan,
) -> None:
    found = violations(problem, spoil(problem, plan))
    assert any(named in line for line in found), found


@pytest.mark.parametrize("spoil", [_long_hours, _oversold, _overfilled, _half_the_fish])
def test_only_what_is_spoilt_is_named(
    spoil: Callable[[SeasonProblem, SeasonPlan], SeasonPlan],
    problem: SeasonProblem,
    plan: SeasonPlan,
) -> None:
    """No more than two complaints: the rule, and the balance of what was sold."""
    assert 1 <= len(violations(problem, spoil(problem, plan))) <= 2


def _wrong_option(problem: SeasonProblem, plan: SeasonPlan, **changes: Any) -> list[str]:
    """Complaints when the first option in use had other dates."""
    at = int(np.flatnonzero(plan.parts)[0])
    wrong = replace(problem.batches[at], **changes)
    batches = (*problem.batches[:at], wrong, *problem.batches[at + 1 :])
    return violations(replace(problem, batches=batches), plan)


def test_wrong_dates_of_a_batch_are_named(problem: SeasonProblem, plan: SeasonPlan) -> None:
    """The recheck does not trust the options either."""
    option = problem.batches[int(np.flatnonzero(plan.parts)[0])]
    cut = option.cuts[0]
    week = timedelta(weeks=1)
    early = problem.horizon.plan_date - timedelta(days=1)
    assert any(
        "cut before it is ripe" in f for f in _wrong_option(problem, plan, ripe=cut.ripe + week)
    )
    assert any("cut after it is cleared" in f for f in _wrong_option(problem, plan, clear=cut.ripe))
    assert any("sown before the plan date" in f for f in _wrong_option(problem, plan, sow=early))
    late = replace(cut, ripe=problem.horizon.monday(cut.first + 1))
    assert any(
        "ripe only after the week of its cut" in f
        for f in _wrong_option(problem, plan, cuts=(late,))
    )
    after = option.ripe + week
    assert any("not in this order" in f for f in _wrong_option(problem, plan, set_out=after))


def test_fish_before_they_can_be_here_are_named(problem: SeasonProblem, plan: SeasonPlan) -> None:
    offers = [problem.farm.fingerlings[0].model_copy(update={"lead_weeks": 6})]
    late = replace(problem, farm=problem.farm.model_copy(update={"fingerlings": tuple(offers)}))
    assert any("before they can be here" in line for line in violations(late, plan))


def _with_an_order(
    problem: SeasonProblem, plan: SeasonPlan, ordered: int, **offer: int
) -> list[str]:
    """Complaints when `ordered` fish of the first stocking were on order; `offer` is changed."""
    at = next(n for n in np.flatnonzero(plan.tanks) if problem.cohorts[n].at_hand is None)
    option = problem.cohorts[at]
    order = FishOrdered(
        cohort="tilapia_nile-27w10",
        species=option.species,
        tank="tank 1",
        count=ordered,
        mean_g=60,
        day=option.stock,
    )
    offers = tuple(row.model_copy(update=offer) for row in problem.farm.fingerlings)
    changed = problem.farm.model_copy(update={"ordered": (order,), "fingerlings": offers})
    cohorts = (*problem.cohorts[:at], replace(option, ordered=0), *problem.cohorts[at + 1 :])
    return violations(replace(problem, farm=changed, cohorts=cohorts), plan)


def test_more_fish_than_are_on_order_are_named(problem: SeasonProblem, plan: SeasonPlan) -> None:
    at = next(n for n in np.flatnonzero(plan.tanks) if problem.cohorts[n].at_hand is None)
    count = int(plan.fish[at])
    assert _with_an_order(problem, plan, count) == []
    assert _with_an_order(problem, plan, count + 1) == []
    assert _with_an_order(problem, plan, count - 1) == [
        f"tilapia_nile: {count} of {count - 1} fish ordered are stocked"
    ]


def test_fish_on_order_are_bound_by_no_lead_time_and_no_least_count(
    problem: SeasonProblem, plan: SeasonPlan
) -> None:
    """As many complaints as there are stockings of other fish."""
    bought = [n for n in np.flatnonzero(plan.tanks) if problem.cohorts[n].at_hand is None]
    least = _with_an_order(problem, plan, int(plan.fish[bought[0]]), least_count=10_000)
    assert len([line for line in least if "can be bought" in line]) == len(bought) - 1 > 0
    lead = _with_an_order(problem, plan, int(plan.fish[bought[0]]), lead_weeks=50)
    assert len([line for line in lead if "can be here" in line]) == len(bought) - 1


def test_a_standing_batch_left_out_is_named() -> None:
    """Parts that stand must all be cleared or kept; here one of two is forgotten."""
    monday = PLAN_DATES[0]
    standing = {
        "id": "G1",
        "crop": "radish",
        "zone": "gravel",
        "parts": 1,
        "sow": monday - timedelta(days=7),
        "as_of": monday,
    }
    keys = {"standing": [standing], "orders": [order("R", "radish")]}
    problem = House(farm=farm(**keys), plan_date=monday, crops=CROPS, fish=FISH).problem
    plan = season_plan(problem, Effort())
    at = next(n for n in np.flatnonzero(plan.parts) if problem.batches[n].standing == 0)
    gone = replace(plan, parts=_count(plan.parts, at, -1))
    assert any("batch G1: 0 parts accounted for, 1 stand" in f for f in violations(problem, gone))
