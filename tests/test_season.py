"""The season model against every choice tried, a second solver, and what must never lower it."""

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from planner.errors import ImpossiblePlanError
from planner.plan import SeasonPlan, Status, fish_sum, gap, violations, worth
from planner.problem import SeasonProblem
from planner.season import search
from planner.season.decide import season_plan
from planner.season.effort import Effort
from planner.season.rows import SeasonRows
from planner.season.solvers import Answer, Solver, solve
from tests.houses import (
    CROPS,
    FISH,
    PLAN_DATES,
    House,
    farm,
    order,
    random_house,
    solved,
    tiny_house,
)

Whole = NDArray[np.int64]

# fmt: off
TINY = (1, 2, 6, 7, 9, 10, 11, 12, 13, 21, 22, 25, 26, 27, 29, 31, 33, 35, 37, 39, 41, 45, 54)
# fmt: on


def choices(problem: SeasonProblem) -> Iterator[tuple[Whole, Whole, Whole]]:
    """Yield all parts, tanks and fish that places, tanks and what stands in the house allow."""
    ponds = list(_tank_choices(problem))
    for parts in _part_choices(problem):
        for tanks, fish in ponds:
            yield parts, tanks, fish


def _part_choices(problem: SeasonProblem) -> Iterator[Whole]:
    farm = problem.farm
    most = np.array([zone.all_parts for zone in farm.zones])[:, None]

    def follow(number: int, held: Whole, parts: list[int]) -> Iterator[list[int]]:
        if number == len(problem.batches):
            yield parts
            return
        option = problem.batches[number]
        for count in range(int(most.max()) + 1):
            now = held.copy()
            now[option.zone, max(0, option.start) : max(0, option.stop)] += count
            if (now > most).any():
                return
            yield from follow(number + 1, now, [*parts, count])

    for parts in follow(0, np.zeros((len(farm.zones), problem.weeks), dtype=np.int64), []):
        sums = [sum(parts[n] for n in options) for options, _, _ in problem.batch_groups]
        if all(
            chosen == stand if stands else chosen <= stand
            for chosen, (_, stand, stands) in zip(sums, problem.batch_groups, strict=True)
        ):
            yield np.array(parts, dtype=np.int64)


def _tank_choices(problem: SeasonProblem) -> Iterator[tuple[Whole, Whole]]:
    """Cohort options for one tank, or none at all."""
    count = len(problem.cohorts)

    def follow(number: int, held: Whole, chosen: dict[int, int]) -> Iterator[dict[int, int]]:
        if number == count:
            yield chosen
            return
        yield from follow(number + 1, held, chosen)
        option = problem.cohorts[number]
        now = held.copy()
        now[max(0, option.start) : option.stop] += 1
        if (now > 1).any():
            return
        few, many = (
            (option.count, option.count) if option.at_hand is not None else (1, option.most_fish)
        )
        for fish in range(few, many + 1):
            yield from follow(number + 1, now, {**chosen, number: fish})

    for chosen in follow(0, np.zeros(problem.weeks, dtype=np.int64), {}):
        if all(sum(n in chosen for n in group) == 1 for group in problem.cohort_groups):
            fish = np.array([chosen.get(n, 0) for n in range(count)], dtype=np.int64)
            yield np.minimum(fish, 1), fish


def bare(problem: SeasonProblem, parts: Whole, tanks: Whole, fish: Whole) -> SeasonPlan:
    """A plan in which nothing is cut or sold."""
    return SeasonPlan(
        status=Status.FEASIBLE,
        value=0.0,
        bound=0.0,
        gap=0.0,
        work=0,
        seconds=0.0,
        seed=0,
        stopped_by="work",
        parts=parts,
        tanks=tanks,
        fish=fish,
        harvest_kg={},
        order_kg={},
        outlet_kg={},
        cooler_kg={},
    )


def fixed(rows: SeasonRows, parts: Whole, tanks: Whole, fish: Whole) -> Answer:
    """Solve for the quantities that follow from a choice of all whole numbers."""
    low, high = rows.model.low.copy(), rows.model.high.copy()
    values = dict(zip(rows.sown, parts, strict=True)) | dict(zip(rows.tanks, tanks, strict=True))
    values |= {c: n for c, n in zip(rows.stocked, fish, strict=True) if c is not None}
    columns = np.flatnonzero(rows.model.whole)
    low[columns] = high[columns] = [values[column] for column in columns]
    none = np.zeros(rows.model.columns, dtype=bool)
    return solve(rows.model, low=low, high=high, whole=none, solver=Solver.GLOP)


@pytest.mark.parametrize("seed", TINY)
def test_no_choice_is_worth_more(seed: int) -> None:
    """Every choice of whole numbers is tried: the plan is worth as much as the best of them.

    The choices come from places, tanks and standing batches alone. Of each, the linear program of
    what follows has an answer just when the recheck without a solver has no complaint.
    """
    problem = tiny_house(seed).problem
    rows = SeasonRows(problem)
    plan = season_plan(problem, Effort())
    tried = list(choices(problem))
    assert 20 <= len(tried) <= 600
    best = -np.inf
    for parts, tanks, fish in tried:
        answer = fixed(rows, parts, tanks, fish)
        kept = violations(problem, bare(problem, parts, tanks, fish)) == []
        assert kept == (answer.values is not None)
        best = max(best, answer.worth)
    assert plan.status is Status.OPTIMAL
    assert plan.value == pytest.approx(best, rel=1e-6, abs=1e-6)
    assert any(np.array_equal(plan.parts, parts) for parts, _, _ in tried)


@pytest.mark.parametrize("seed", range(32))
def test_a_second_solver_finds_the_same_worth(seed: int) -> None:
    """SCIP solves the same rows to the end by itself."""
    problem, plan = solved(seed)
    model = SeasonRows(problem).model
    other = solve(model, solver=Solver.SCIP)
    assert other.optimal
    assert plan.status is Status.OPTIMAL
    assert plan.value == pytest.approx(other.worth, rel=1e-6, abs=1e-5)


@pytest.mark.parametrize("seed", range(0, 40, 2))
def test_the_relaxation_bounds_the_worth(seed: int) -> None:
    problem, plan = solved(seed)
    model = SeasonRows(problem).model
    relaxed = solve(model, whole=np.zeros(model.columns, dtype=bool), solver=Solver.GLOP)
    assert relaxed.worth >= plan.value - 1e-6 * max(1.0, abs(plan.value))
    assert plan.bound >= plan.value


def _wider(house: House) -> House:
    zones = [zone.model_copy(update={"places": zone.places + 1}) for zone in house.farm.zones]
    return house.changed(zones=zones)


def _more_cells(house: House) -> House:
    return house.changed(nursery__cells=house.farm.nursery.cells + 40)


def _more_hours(house: House) -> House:
    return house.changed(labour__hours_week=house.farm.labour.hours_week * 1.5)


def _more_tolerance(house: House) -> House:
    update = {"tolerance": 0.4, "may_be_cut": True}
    return house.changed(orders=[line.model_copy(update=update) for line in house.farm.orders])


def _more_outlets(house: House) -> House:
    twice = {"most_week_kg": 3.0}
    return house.changed(outlets=[o.model_copy(update=twice) for o in house.farm.outlets])


@pytest.mark.parametrize(
    "change", [_wider, _more_cells, _more_hours, _more_tolerance, _more_outlets]
)
def test_more_room_never_costs(change: Callable[[House], House]) -> None:
    """In no house, and in some it helps: the rules do bind."""
    gains = []
    for seed in range(2, 40, 4):
        plan, more = solved(seed)[1], season_plan(change(random_house(seed)).problem, Effort())
        assert more.status is Status.OPTIMAL
        assert more.value >= plan.value - 1e-6 * max(1.0, abs(plan.value)), f"house {seed}"
        gains.append(more.value - plan.value)
    assert max(gains) > 0.1


@pytest.mark.parametrize("seed", range(1, 40, 4))
def test_better_prices_never_cost(seed: int) -> None:
    """Twice the price of every order, what a shortage costs as before."""
    house = random_house(seed).changed(weights__shortage=1.0, weights__discard=0.0)
    orders = [line.model_copy(update={"price": line.price * 2}) for line in house.farm.orders]
    plan = season_plan(house.problem, Effort())
    dear = season_plan(house.changed(orders=orders, weights__shortage=0.5).problem, Effort())
    assert dear.value >= plan.value - 1e-6 * max(1.0, abs(plan.value))


def _same(one: SeasonPlan, other: SeasonPlan) -> bool:
    return all(
        np.array_equal(getattr(one, name), getattr(other, name))
        for name in ("parts", "tanks", "fish")
    ) and all(
        getattr(one, name) == getattr(other, name)
        for name in (
            "value",
            "bound",
            "work",
            "harvest_kg",
            "order_kg",
            "outlet_kg",
            "cooler_kg",
        )
    )


@pytest.mark.parametrize("seed", [0, 6, 10, 19])
@pytest.mark.parametrize("in_turn", [False, True])
def test_same_input_same_plan(seed: int, in_turn: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twice, and with one worker: the blocks and rounds of a large house too."""
    if in_turn:
        monkeypatch.setattr(search, "SMALL_WHOLE", -1)
    house, effort = random_house(seed), Effort(work=3, seed=seed)
    plan = season_plan(house.problem, effort)
    assert _same(plan, season_plan(house.problem, effort))
    monkeypatch.setattr(search, "WORKERS", 1)
    assert _same(plan, season_plan(house.problem, effort))


def test_decided_in_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    """The way of large houses keeps every rule, and its bound is one on the best plan too.

    In most of these small houses it finds the best plan, or one within a hundredth of it.
    """
    monkeypatch.setattr(search, "SMALL_WHOLE", -1)
    near = 0
    for seed in range(20):
        problem, best = solved(seed)
        plan = season_plan(problem, Effort(work=2))
        slack = 1e-6 * max(1.0, abs(best.value))
        assert violations(problem, plan) == [], f"house {seed}"
        assert worth(problem, plan) == pytest.approx(plan.value, rel=1e-6, abs=1e-6)
        assert plan.value <= best.value + slack, f"house {seed}"
        assert plan.bound >= best.value - slack, f"house {seed}"
        assert plan.stopped_by in ("proven", "work")
        near += gap(problem, plan.value, best.value) <= 0.01
    assert near >= 16


def test_a_farm_without_hours_cannot_clear_what_stands() -> None:
    """The two rules that collide are named, and no other."""
    monday = PLAN_DATES[0]
    standing = {
        "id": "G1",
        "crop": "radish",
        "zone": "gravel",
        "parts": 1,
        "sow": monday - timedelta(days=12),
        "as_of": monday,
    }
    keys = {"standing": [standing], "orders": [order("R", "radish")]}
    house = House(
        farm=farm(labour={"hours_week": 0}, **keys), plan_date=monday, crops=CROPS, fish=FISH
    )
    with pytest.raises(ImpossiblePlanError) as caught:
        season_plan(house.problem, Effort())
    named = re.findall(r'"([^"]+)"', str(caught.value))
    assert sorted(named) == ["batches in the house", "hours of work"]
    enough = season_plan(house.changed(labour__hours_week=1.0).problem, Effort())
    assert enough.status is Status.OPTIMAL


def test_orders_that_cannot_be_met_are_short() -> None:
    keys = {"orders": [order("R", "radish", quantity=500)], "labour": {"hours_week": 0}}
    house = House(farm=farm(**keys), plan_date=PLAN_DATES[0], crops=CROPS, fish=FISH)
    problem = house.problem
    plan = season_plan(problem, Effort())
    assert plan.status is Status.OPTIMAL
    assert plan.order_kg == {}
    assert plan.value == pytest.approx(-4 * 500 * 10 * 10 * 2)  # weeks, kg, price, factor, tier


RAFTS = {"name": "rafts", "method": "raft", "area": 0.6, "sites": 14, "places": 1}
COLD = {"volumes": {"all": 1.5}, "temperatures": 8, "biofilter_area": 60, "nitrate_n": 30}
YOUNG = {"species": "tilapia_nile", "weight": 60, "price": 1, "lead_weeks": 0}


@pytest.mark.parametrize(
    "keys",
    [
        {},
        {"orders": [order("F", "tilapia_nile")]},
        {"fish_prices": {"tilapia_nile": 5}},
        {"fingerlings": [YOUNG]},
        {"tank": [{"name": "tank", "volume": 0.2}]},
        {"tank": [{"name": "tank", "volume": 0.2}], "fingerlings": [YOUNG], "water": COLD},
        {"crops": ["tomato_cherry_indet"], "zone": [RAFTS], "orders": [order("T", "radish")]},
        {"orders": [order("L", "lettuce_butterhead", unit="head")]},
        {"orders": [order("R", "radish", price=0)]},
        {"outlets": [{"outlet": "O", "crop": "radish", "most_per_week": 0, "price_kg": 3}]},
        {"orders": [order("R", "radish")], "house": {"set_points": 2}},
        {"orders": [order("R", "radish")], "nursery": {"cells": 0}},
        {
            "orders": [
                order(
                    "R",
                    "radish",
                    first_week=PLAN_DATES[0] - timedelta(weeks=60),
                    last_week=PLAN_DATES[0] - timedelta(weeks=50),
                )
            ]
        },
    ],
    ids=[
        "nothing sold",
        "fish ordered, none kept",
        "fish priced, none kept",
        "fingerlings, no tank",
        "tank, no fish",
        "water lethal to the fish",
        "no zone for the crop",
        "ordered crop not in use",
        "nothing paid",
        "outlet that takes nothing",
        "too cold to grow",
        "no nursery",
        "orders long past",
    ],
)
@pytest.mark.parametrize("day", [0, 6])
def test_odd_farms_have_a_plan(keys: dict[str, Any], day: int) -> None:
    plan_date = PLAN_DATES[0] + timedelta(days=day)
    problem = House(farm=farm(**keys), plan_date=plan_date, crops=CROPS, fish=FISH).problem
    plan = season_plan(problem, Effort())
    assert plan.status is Status.OPTIMAL
    assert violations(problem, plan) == []
    assert plan.value == pytest.approx(worth(problem, plan), rel=1e-6, abs=1e-9)


def test_free_stocking_feeds_more_evenly_than_one_batch() -> None:
    """Where nitrate out of a narrow band is dear, cohorts are spread over the weeks.

    The other house may stock in its first and eighth week alone and takes each cohort whole.
    """
    water = {
        "volumes": {"all": 1.2},
        "temperatures": 27,
        "biofilter_area": 200,
        "nitrate_n": 25,
        "pool_loss_week": 0.8,
        "band_low": 7,
        "band_high": 8,
    }
    keys = {
        "tank": [{"name": "tank", "places": 3, "volume": 0.2}],
        "water": water,
        "rules": {"horizon_weeks": 16, "tail_weeks": 0},
        "fish_prices": {"tilapia_nile": 4},
        "weights": {"nitrate_mg_l_week": 20},
        "fingerlings": [YOUNG],
        "orders": [
            order(
                "F",
                "tilapia_nile",
                quantity=0.8,
                first_week=PLAN_DATES[0] + timedelta(weeks=7),
                priority=3,
            )
        ],
    }
    free = House(farm=farm(**keys), plan_date=PLAN_DATES[0], crops=CROPS, fish=FISH).problem
    at_once = replace(
        free, cohorts=tuple(c for c in free.cohorts if c.start in (0, 7) and len(c.takes) == 1)
    )
    assert at_once.cohorts
    spread, batch = season_plan(free, Effort()), season_plan(at_once, Effort())
    swings = [
        float(np.ptp(fish_sum(problem, plan, "feed_g")[6:14]))
        for problem, plan in ((free, spread), (at_once, batch))
    ]
    assert spread.value > batch.value
    assert swings[0] <= swings[1]
    assert fish_sum(free, spread, "feed_g")[6:].min() > 0
