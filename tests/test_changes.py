"""What starting otherwise than the plan in force is charged, by hand and by the solver."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from planner import changes, starting
from planner.changes import FROZEN_FACTOR, HALVING_WEEKS, WORST_SHIFT_WEEKS, Earlier, earlier
from planner.horizon import monday_of
from planner.plan import changed_cost, violations, worth
from planner.planning import Bundle
from planner.problem import SeasonProblem
from tests import plandocs
from tests.shortfarm import HORIZON_WEEKS, MONDAY, copied, kept, planned, start_of, write_short_farm

PART, FISH = 5.0, 0.5  # prices of the farm's change_part and change_fish
LETTUCE, BASIL = "lettuce_butterhead", "basil_genovese"
LATER = MONDAY + timedelta(weeks=2)


def week(number: int) -> date:
    return MONDAY + timedelta(weeks=number)


def nothing_planned(**more: Any) -> Earlier:
    told: dict[str, Any] = {"parts": {}, "fish": {}, "taken": {}, "sowings": (), "stockings": ()}
    return Earlier(**(told | {"until": week(20)} | more))


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Bundle]:
    """The farm with a plan in force."""
    folder = write_short_farm(tmp_path_factory.mktemp("changes") / "farm")
    return folder, kept(folder)


@pytest.fixture(scope="module")
def again(first: tuple[Path, Bundle]) -> Bundle:
    """The plan of the same day, with nothing new."""
    return planned(first[0])


@pytest.fixture(scope="module")
def later(first: tuple[Path, Bundle]) -> Bundle:
    """The plan of two weeks later, for which more lettuce is ordered from May on."""
    more = "A9,Market,lettuce_butterhead,head,10,2027-05-17,2027-06-28,1,thu,1,3,0,yes\n"
    folder = copied(first[0], first[0].parent / "later")
    with (folder / "orders.csv").open("a", encoding="utf-8") as file:
        file.write(more)
    return planned(folder, LATER)


@pytest.fixture(scope="module")
def season(first: tuple[Path, Bundle]) -> SeasonProblem:
    return starting.season_of(starting.start(first[0], today=MONDAY))


def charged(season: SeasonProblem, before: Earlier, **rules: int) -> changes.Changes:
    """What the season's options are charged against another plan."""
    farm = season.farm
    if rules:
        farm = farm.model_copy(update={"rules": farm.rules.model_copy(update=rules)})
    return changes.changes(farm, season.horizon, season.batches, season.cohorts, before)


def by_sowing_week(season: SeasonProblem, found: changes.Changes) -> dict[int, float]:
    """Price of a new part of lettuce on the rafts, by week of the horizon in which it is sown."""
    rafts = [zone.name for zone in season.farm.zones].index("rafts")
    prices: dict[int, float] = {}
    for option, cost in zip(season.batches, found.new_part_cost.tolist(), strict=True):
        if (option.crop, option.zone, option.standing) == (LETTUCE, rafts, None):
            at = (option.sow - MONDAY).days // 7
            assert prices.setdefault(at, cost) == cost, "one price for each week of sowing"
    return prices


def test_the_price_halves_with_the_weeks_to_the_first_work(season: SeasonProblem) -> None:
    prices = by_sowing_week(season, charged(season, nothing_planned()))
    assert prices[1] == pytest.approx(PART * 0.5 ** (1 / HALVING_WEEKS), abs=1e-4)
    assert prices[1 + HALVING_WEEKS] == pytest.approx(prices[1] / 2, abs=1e-4)
    ahead = [prices[at] for at in sorted(prices) if at > 0]
    assert len(ahead) > HALVING_WEEKS
    assert ahead == sorted(set(ahead), reverse=True)


@pytest.mark.parametrize("frozen", [0, 1, 3])
def test_freeze_weeks_are_charged_many_times_as_much(season: SeasonProblem, frozen: int) -> None:
    prices = by_sowing_week(season, charged(season, nothing_planned(), freeze_weeks=frozen))
    for at in range(6):
        plain = PART * 0.5 ** (at / HALVING_WEEKS)
        expected = PART * FROZEN_FACTOR if at < frozen else plain
        assert prices[at] == pytest.approx(expected, abs=1e-4), f"week {at}"


def test_fish_are_charged_from_the_week_in_which_they_are_ordered(season: SeasonProblem) -> None:
    found = charged(season, nothing_planned())
    seen = set()
    for cohort, cost in zip(season.cohorts, found.new_fish_cost.tolist(), strict=True):
        if cohort.at_hand is not None:
            assert cost == 0
            continue
        ordered = season.horizon.week_of(cohort.stock) - 3  # lead_weeks of the farm's fingerlings
        expected = FISH * (FROZEN_FACTOR if ordered < 1 else 0.5 ** (ordered / HALVING_WEEKS))
        assert cost == pytest.approx(expected, abs=1e-4)
        seen.add(ordered)
    assert {0, 1, 6} <= seen


@pytest.mark.parametrize("planned_week", [2, 10, 13])
def test_taking_fish_in_other_weeks_is_charged_by_the_shift(
    season: SeasonProblem, planned_week: int
) -> None:
    found = charged(season, nothing_planned(taken={"fish tank 1": week(planned_week)}))
    shifts = set()
    for cohort, cost in zip(season.cohorts, found.taken_cost.tolist(), strict=True):
        if cohort.at_hand != 0:
            assert cost == 0, "nothing is known of the other tank"
            continue
        taken = cohort.takes[0].week if cohort.takes else season.horizon.all_weeks
        shift, nearer = abs(taken - planned_week), min(taken, planned_week)
        price = FISH * (FROZEN_FACTOR if nearer < 1 else 0.5 ** (nearer / HALVING_WEEKS))
        expected = price * min(1.0, shift / WORST_SHIFT_WEEKS) * 34
        assert cost == pytest.approx(expected, abs=1e-3)
        shifts.add(shift)
    assert abs(13 - planned_week) in shifts, "a course takes the first fish in week 13"
    assert len(shifts) > 1


def test_starts_after_the_last_week_of_the_plan_in_force_are_free(season: SeasonProblem) -> None:
    found = charged(season, nothing_planned(until=week(6)))
    for option, cost in zip(season.batches, found.new_part_cost.tolist(), strict=True):
        told = MONDAY <= option.set_out < week(6)
        assert (cost > 0) == told, option.set_out
    assert 0 < np.count_nonzero(found.new_part_cost) < len(season.batches)
    for cohort, cost in zip(season.cohorts, found.new_fish_cost.tolist(), strict=True):
        assert (cost > 0) == (cohort.at_hand is None and cohort.stock < week(6))


def test_each_start_is_either_in_the_plan_in_force_or_charged_by_its_column(
    season: SeasonProblem, first: tuple[Path, Bundle]
) -> None:
    told = earlier(first[1].document, MONDAY)
    found = season.changes
    grouped = [n for group in found.parts for n in group.options]
    assert len(grouped) == len(set(grouped))
    zones = [zone.name for zone in season.farm.zones]
    for n, option in enumerate(season.batches):
        key = (option.crop, zones[option.zone], monday_of(option.set_out))
        coming = MONDAY <= option.set_out < told.until
        assert (n in grouped) == (coming and key in told.parts), key
        assert (found.new_part_cost[n] > 0) == (coming and key not in told.parts), key
    spoken_of = [parts for key, parts in told.parts.items() if key[2] < told.until]
    assert sorted(group.before for group in found.parts) == sorted(spoken_of)
    assert len(spoken_of) > 5


def test_one_part_more_or_less_costs_what_its_group_says(
    season: SeasonProblem, again: Bundle
) -> None:
    plan = again.plan
    assert changed_cost(season, plan) == 0

    def with_parts(number: int, by: int) -> float:
        parts = plan.parts.copy()
        parts[number] += by
        return changed_cost(season, replace(plan, parts=parts))

    group = season.changes.parts[-1]
    used = next(n for n in group.options if plan.parts[n] > 0)
    assert group.price > 0
    assert with_parts(used, 2) == pytest.approx(2 * group.price)
    assert with_parts(used, -1) == pytest.approx(group.price)
    new = int(np.flatnonzero(season.changes.new_part_cost)[0])
    assert with_parts(new, 3) == pytest.approx(3 * season.changes.new_part_cost[new])


def test_earlier_reads_the_starts_of_a_document() -> None:
    found = earlier(plandocs.small_plan(), plandocs.MADE_ON)
    day = date.fromisoformat
    assert found.parts == {
        (LETTUCE, "raft", day("2027-03-15")): 3,
        (LETTUCE, "raft", day("2027-03-22")): 4,
        (LETTUCE, "tower row", day("2027-04-19")): 3,
        (BASIL, "north gravel", day("2027-04-05")): 3,
        ("mint", "north gravel", day("2027-04-05")): 4,
        ("radish", "north gravel", day("2027-03-08")): 2,
        ("radish", "north gravel", day("2027-04-12")): 2,
        ("chives", "tower row", day("2027-04-26")): 3,
        ("rosemary", "tower row", day("2027-05-31")): 1,
    }
    assert found.fish == {
        ("perch_yellow", day("2027-03-08")): 60,
        ("tilapia_nile", day("2027-04-05")): 50,
    }
    assert found.taken == {"fish tank 1": day("2027-03-15")}
    assert len(found.sowings) == 8, "all but the batch that is sown already"
    assert (LETTUCE, "raft", day("2027-03-24"), day("2027-04-26"), 4) in found.sowings
    assert [(row[1], row[2], row[4]) for row in found.stockings] == [
        ("fish tank 2", day("2027-03-10"), 60),
        ("fish tank 1", day("2027-04-08"), 50),
    ]
    assert found.until == day("2027-07-19")


def test_earlier_leaves_out_what_is_past() -> None:
    found = earlier(plandocs.small_plan(), date(2027, 4, 8))
    assert min(start for _, _, start in found.parts) == date(2027, 4, 5)
    assert (BASIL, "north gravel", date(2027, 4, 5)) in found.parts, "set out on Friday 9 April"
    assert found.fish == {("tilapia_nile", date(2027, 4, 5)): 50}
    assert found.taken == {"fish tank 2": date(2027, 6, 7)}
    in_between = earlier(plandocs.small_plan(), date(2027, 3, 24))
    assert in_between.taken["fish tank 1"] == date(2027, 3, 29), "what is left to be taken"


def test_the_plan_in_force_is_found_again_among_the_options(
    season: SeasonProblem, first: tuple[Path, Bundle]
) -> None:
    before = season.changes.as_before
    assert before is not None
    chosen = {
        (option.crop, season.farm.zones[option.zone].name, option.set_out, option.clear): count
        for option, count in zip(season.batches, before.parts.tolist(), strict=True)
        if count
    }
    wanted: dict[tuple[str, str, date, date], int] = {}
    for batch in first[1].document["batches"]:
        if batch["state"] == "planned":
            clear = date.fromisoformat(batch["clear"])
            key = (batch["crop"], batch["zone"], start_of(batch), clear)
            wanted[key] = wanted.get(key, 0) + batch["parts"]
    assert chosen == wanted
    until = MONDAY + timedelta(weeks=HORIZON_WEEKS)
    for option, told in zip(season.batches, before.parts_told.tolist(), strict=True):
        assert told == (option.standing is None and option.set_out < until)


def test_the_worth_with_a_plan_in_force_is_the_solvers_value(again: Bundle, later: Bundle) -> None:
    for bundle in (again, later):
        assert violations(bundle.problem, bundle.plan) == []
        assert worth(bundle.problem, bundle.plan) == pytest.approx(bundle.plan.value, abs=1e-3)
    assert changed_cost(later.problem, later.plan) > 1, "so that the charges are in the worth"


def test_the_document_tells_what_its_changes_are_charged(later: Bundle) -> None:
    told = later.document["changes"]
    assert told is not None
    assert told["before"] == MONDAY.isoformat()
    assert told["moved"] > 0
    assert told["cost"] == pytest.approx(changed_cost(later.problem, later.plan), abs=0.005)


def test_a_plan_of_the_same_day_with_nothing_new_changes_nothing(
    first: tuple[Path, Bundle], again: Bundle
) -> None:
    told = again.document["changes"]
    assert told is not None
    assert (told["moved"], told["cost"]) == (0, 0)
    assert told["kept"] > 5
    assert [item for item in told["items"] if item["kind"] != "order"] == []
    assert again.plan.value >= first[1].plan.value - 0.01
    assert again.document["happened"] == []


def test_a_fresh_plan_charges_nothing_and_is_worth_no_less(
    first: tuple[Path, Bundle], later: Bundle
) -> None:
    fresh = planned(first[0].parent / "later", LATER, fresh=True)
    found = fresh.problem.changes
    assert (found.parts, found.fish, found.as_before) == ((), (), None)
    for cost in (found.new_part_cost, found.new_fish_cost, found.taken_cost):
        assert not cost.any()
    assert changed_cost(fresh.problem, fresh.plan) == 0
    without_charge = later.plan.value + changed_cost(later.problem, later.plan)
    assert fresh.plan.value >= without_charge - 0.01
    told = fresh.document["changes"]
    assert told is not None, "what differs is still told"
    assert told["cost"] == 0
