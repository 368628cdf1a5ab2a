"""Reserves for a certainty: orders of the first priority are met more often, at a price."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from planner import certainty, starting
from planner.forecast import draw
from planner.lots import flows, lots
from planner.plan import reserve_cost, violations, worth
from planner.planning import Bundle
from planner.schools import schools
from planner.season.decide import most_worth, season_plan
from planner.season.effort import Effort
from tests.shortfarm import MONDAY, ORDERS_CSV, planned, write_short_farm

ASKED = 0.8


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Orders that can be filled, and hardly an outlet: nothing more than ordered is grown."""
    return write_short_farm(
        tmp_path_factory.mktemp("certain") / "farm",
        orders_csv=ORDERS_CSV.replace("2027-03-22", "2027-05-03"),
        outlets_csv="outlet,crop,most_per_week,price_kg\nStand,lettuce_butterhead,0.1,2\n",
    )


@pytest.fixture(scope="module")
def plain(folder: Path) -> Bundle:
    return planned(folder)


@pytest.fixture(scope="module")
def sure(folder: Path) -> Bundle:
    return planned(folder, certainty=ASKED)


def chances(bundle: Bundle) -> list[float]:
    """Chances of the orders of the first priority; A1 and A3 are."""
    rows = [row for row in bundle.document["orders"] if row["line"] in ("A1", "A3")]
    return [row["chance"] for row in rows if row["chance"] is not None]


def test_orders_of_the_first_priority_are_met_more_often(plain: Bundle, sure: Bundle) -> None:
    before, after = chances(plain), chances(sure)
    assert len(before) == len(after) >= 9
    assert np.mean(after) > np.mean(before) + 0.05
    kept = [chance >= ASKED for chance in after]
    assert sum(kept) > sum(chance >= ASKED for chance in before)


def test_the_document_says_how_far_it_came_and_what_it_costs(plain: Bundle, sure: Bundle) -> None:
    assert plain.document["certainty"] is None
    told = sure.document["certainty"]
    assert told is not None
    assert told["asked"] == ASKED
    assert told["order_weeks"] == len(chances(sure))
    assert told["met"] == sum(chance >= ASKED for chance in chances(sure))
    assert [price["certainty"] for price in told["prices"]] == list(certainty.LEVELS)
    dear = [price["cost"] + price["missing"] for price in told["prices"]]
    assert dear == sorted(dear)
    assert dear[-1] > dear[0]


def test_no_rule_is_broken_and_the_worth_is_the_solvers(sure: Bundle) -> None:
    assert violations(sure.problem, sure.plan) == []
    assert worth(sure.problem, sure.plan) == pytest.approx(sure.plan.value, abs=0.05)
    assert sum(sure.plan.reserve_kg.values()) > 0


def test_a_reserve_that_is_not_there_is_named_and_charged(sure: Bundle) -> None:
    (number, crop), held = max(sure.plan.reserve_kg.items(), key=lambda item: item[1])
    more = {**sure.plan.reserve_kg, (number, crop): held + 1000.0}
    spoilt = replace(sure.plan, reserve_kg=more)
    assert any("held ready" in fault for fault in violations(sure.problem, spoilt))
    bare = replace(sure.plan, reserve_kg={})
    assert reserve_cost(sure.problem, bare) > reserve_cost(sure.problem, sure.plan)


def test_more_certainty_holds_more(folder: Path, plain: Bundle) -> None:
    problem, plan = plain.problem, plain.plan
    all_lots, fish = lots(problem, plan), schools(problem, plan)
    drawn = draw(problem, plan, all_lots, fish, flows(problem, plan, all_lots, {}), draws=400)
    held = [certainty.reserves(problem, plan, drawn, level) for level in (0.5, 0.8, 0.95)]
    sums = [sum(units.values()) for units in held]
    assert sums[0] <= sums[1] < sums[2]
    lines = {line for units in held for line, _ in units}
    assert lines <= {"A1", "A3"}, "others than those of the first priority wait"
    with pytest.raises(ValueError, match="above 0 and below 1"):
        certainty.reserves(problem, plan, drawn, 1.0)


def test_the_relaxed_worth_bounds_the_plan_with_reserves(folder: Path, plain: Bundle) -> None:
    begin = starting.start(folder, today=MONDAY)
    wanted = {("A1", MONDAY.replace(month=5, day=10)): 6.0}
    season = starting.season_of(begin, reserves=wanted)
    plan = season_plan(season, Effort(work=0))
    best, missing = most_worth(season)
    assert best - missing >= plan.value - 1e-6
    held = sum(
        kg / weight
        for (number, crop), kg in plan.reserve_kg.items()
        for name, weight in zip(
            season.orders[number].crops, season.orders[number].kg_per_unit, strict=True
        )
        if name == crop
    )
    assert held == pytest.approx(6.0, abs=1e-4)
