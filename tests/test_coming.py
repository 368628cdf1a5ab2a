"""Fish that are ordered come as ordered, unless the book tells otherwise."""

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from planner.book import Done, Entry, Skipped
from planner.document import CohortDoc, PlanDoc
from planner.farmlists import FishOrdered
from planner.planning import Bundle
from planner.present import Present
from tests.presents import day, farm, now, plan, tanks
from tests.shortfarm import MONDAY, copied, kept, planned, record, write_short_farm

ON_ORDER, TO_ORDER = "C02", "C03"  # by the plan of `plandocs`; the first come on its day 9
COME, LAST, COMES = day(9), day(17), day(38)  # the second are ordered on day 17, come on day 38


def coming(today: date, *entries: Entry, **more: Any) -> dict[str, FishOrdered]:
    """The fish on order on a day, by their name in the plan."""
    ordered = now(today, *entries, **more).farm.ordered
    found = {order.cohort: order for order in ordered}
    assert len(found) == len(ordered)
    return found


def doubted(found: Present, *words: str) -> bool:
    return any(all(word in doubt for word in words) for doubt in found.doubts)


def order_of(cohort: str, on: date, **more: Any) -> Done:
    return Done(on=on, step="order", batch=cohort, **more)


def no_order(cohort: str, on: date, **more: Any) -> Skipped:
    return Skipped(on=on, step="order", batch=cohort, **more)


def not_stocked(cohort: str, on: date, **more: Any) -> Skipped:
    return Skipped(on=on, step="stock", batch=cohort, **more)


# Whether they are ordered


def test_fish_are_ordered_when_the_last_day_for_it_is_past() -> None:
    assert coming(day(3)) == {
        ON_ORDER: FishOrdered(
            cohort=ON_ORDER,
            species="perch_yellow",
            tank="fish tank 2",
            count=60,
            mean_g=40.0,
            day=COME,
        )
    }
    assert TO_ORDER not in coming(LAST)  # they can still be ordered, or not
    found = coming(LAST + timedelta(days=1))[TO_ORDER]
    assert (found.tank, found.count, found.mean_g, found.day) == ("fish tank 1", 50, 50.0, COMES)


def test_nothing_is_on_order_without_a_plan_or_of_fish_at_hand() -> None:
    assert farm().ordered == ()
    assert "C01" not in coming(day(20), order_of("C01", day(19)))


def test_an_order_that_was_skipped_is_none() -> None:
    assert coming(day(3), no_order(ON_ORDER, day(3))) == {}
    assert TO_ORDER not in coming(day(30), no_order(TO_ORDER, LAST, planned_on=LAST))


def test_the_last_word_on_an_order_holds() -> None:
    words = [no_order(TO_ORDER, LAST), order_of(TO_ORDER, day(18), count=40)]
    assert coming(day(20), *words)[TO_ORDER].count == 40
    words.append(no_order(TO_ORDER, day(19)))
    assert TO_ORDER not in coming(day(20), *words)


def test_fish_may_be_ordered_before_the_last_day() -> None:
    found = coming(day(6), order_of(TO_ORDER, day(5)))
    assert (found[TO_ORDER].count, found[TO_ORDER].day) == (50, COMES)


def test_as_many_come_as_were_ordered() -> None:
    assert coming(day(20), order_of(TO_ORDER, LAST, count=45))[TO_ORDER].count == 45
    assert coming(day(4), order_of(ON_ORDER, day(3), count=75))[ON_ORDER].count == 75


@pytest.mark.parametrize(("days_late", "weeks_later"), [(0, 0), (3, 0), (7, 1), (20, 2)])
def test_an_order_put_off_counts_from_its_new_day(days_late: int, weeks_later: int) -> None:
    """Fish ordered so late that their lead time ends weeks after the day come that much later."""
    until = LAST + timedelta(days=days_late)
    word = no_order(TO_ORDER, LAST, until=until)
    assert TO_ORDER not in coming(until, word)
    comes = coming(until + timedelta(days=1), word)[TO_ORDER].day
    assert comes == COMES + timedelta(weeks=weeks_later)


def test_words_that_the_plan_knew_are_no_news() -> None:
    document = plan()
    document["book_entries"] = 101
    assert ON_ORDER in coming(day(3), no_order(ON_ORDER, day(3)), document=document)


# When they come


def test_fish_whose_stocking_is_put_off_come_later() -> None:
    word = not_stocked(ON_ORDER, day(8), planned_on=COME, until=day(30))
    for today in (day(8), day(30)):
        assert coming(today, word)[ON_ORDER].day == day(30)
    assert ON_ORDER not in coming(day(31), word)
    assert ON_ORDER not in coming(day(8), not_stocked(ON_ORDER, day(8)))  # nobody knows until when


def test_fish_that_are_stocked_are_on_order_no_more() -> None:
    stocked = Done(on=day(5), step="stock", batch=ON_ORDER)
    found = now(day(5), stocked)
    assert found.farm.ordered == ()
    assert tanks(found)["fish tank 2"].count == 60
    assert ON_ORDER in coming(COME)  # they come today
    past = now(COME + timedelta(days=1))
    assert past.farm.ordered == ()
    assert tanks(past)["fish tank 2"].species == "perch_yellow"


def test_an_order_is_no_stocking() -> None:
    found = now(day(5), order_of(ON_ORDER, day(4), tank="fish tank 2", count=55))
    assert "fish tank 2" not in tanks(found)
    assert [order.count for order in found.farm.ordered] == [55]
    not_ordered = now(day(5), no_order(ON_ORDER, day(4)))
    assert tanks(not_ordered) == tanks(now(day(5)))
    assert found.happened == not_ordered.happened == now(day(5)).happened
    assert found.doubts == not_ordered.doubts == now(day(5)).doubts


# Plans and farms that lack something


def old_plan() -> PlanDoc:
    """A plan of before the last day to order fish was told."""
    document = plan()
    for cohort in document["cohorts"]:
        del cohort["order_by"]  # type: ignore[misc]
    return document


def test_in_old_plans_the_lead_time_of_the_offers_says_when_fish_are_ordered() -> None:
    """Three weeks, by the farm's offers."""
    last = COMES - timedelta(weeks=3)
    assert set(coming(last, document=old_plan())) <= {ON_ORDER}
    assert set(coming(last + timedelta(days=1), document=old_plan())) == {TO_ORDER}
    assert set(coming(day(3), document=old_plan())) == {ON_ORDER}
    assert coming(day(3), no_order(ON_ORDER, day(3)), document=old_plan()) == {}


def test_fish_of_which_the_plan_has_no_week_are_not_known() -> None:
    document = plan()
    document["cohorts"][1]["weeks"] = []
    assert coming(day(3), document=document) == {}
    document["cohorts"][1]["weeks"] = plan()["cohorts"][1]["weeks"]
    document["cohorts"][1]["weeks"][0]["count"] = 0.2
    assert coming(day(3), document=document) == {}


@pytest.mark.parametrize("gone", [{"fingerlings": ()}, {"tanks": ()}])
def test_fish_for_which_the_farm_has_no_tank_or_offer_are_doubted(gone: dict[str, Any]) -> None:
    found = now(day(3), house=farm().model_copy(update=gone))
    assert found.farm.ordered == ()
    assert doubted(found, "60 fish (perch_yellow) ordered for fish tank 2", "left out")
    skipped = now(day(3), no_order(ON_ORDER, day(3)), house=farm().model_copy(update=gone))
    assert not doubted(skipped, "ordered for")


# One plan after another


HEAVY = {  # young fish that are worth buying within a short season, ordered four weeks ahead
    "weight = 50\nprice = 1.2\nlead_weeks = 3\nleast_count = 30": (
        "weight = 300\nprice = 0.6\nlead_weeks = 4\nleast_count = 10"
    )
}
COHORTS_CSV = """\
tank,species,count,mean_weight,as_of
fish tank 1,tilapia_nile,34,310,2027-02-26
"""
LATER = MONDAY + timedelta(weeks=2)


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Bundle]:
    folder = tmp_path_factory.mktemp("coming") / "farm"
    write_short_farm(folder, cohorts_csv=COHORTS_CSV, toml=HEAVY)
    return folder, kept(folder)


def bought(bundle: Bundle) -> Iterator[CohortDoc]:
    return (cohort for cohort in bundle.document["cohorts"] if not cohort["at_hand"])


def the_first_bought(first: tuple[Path, Bundle]) -> CohortDoc:
    """Fish that are on order at the later plan's date."""
    cohort = next(bought(first[1]))
    assert cohort["order_by"] is not None
    assert MONDAY <= date.fromisoformat(cohort["order_by"]) < LATER
    return cohort


def test_fish_on_order_stay_in_the_next_plan_as_they_are(first: tuple[Path, Bundle]) -> None:
    before, again = the_first_bought(first), planned(first[0], LATER)
    now_ = next(bought(again))
    assert (now_["stock"], now_["tank"]) == (before["stock"], before["tank"])
    assert now_["weeks"][0]["count"] == before["weeks"][0]["count"]
    assert now_["order_by"] is not None
    assert now_["order_by"] < LATER.isoformat()
    changes = again.document["changes"]
    assert changes is not None
    assert [item for item in changes["items"] if item["kind"] == "fish"] == []
    lines = [line for job in again.jobs for line in job.lines if line.batch == now_["id"]]
    assert not any(line.step == "order" for line in lines)
    assert next(line.text for line in lines if line.step == "stock").endswith("; ordered")
    assert again.document["violations"] == []


def test_fish_on_order_that_come_late_come_then(first: tuple[Path, Bundle], tmp_path: Path) -> None:
    before = the_first_bought(first)
    folder, stock = copied(first[0], tmp_path / "late"), date.fromisoformat(before["stock"])
    until = stock + timedelta(weeks=3)
    record(folder, LATER, not_stocked(before["id"], LATER, planned_on=stock, until=until))
    again = planned(folder, LATER)
    now_ = next(bought(again))
    assert now_["stock"] == until.isoformat()
    assert now_["weeks"][0]["count"] == before["weeks"][0]["count"]
    assert again.document["violations"] == []


def test_fewer_come_when_fewer_were_ordered(first: tuple[Path, Bundle], tmp_path: Path) -> None:
    before = the_first_bought(first)
    folder, count = copied(first[0], tmp_path / "few"), round(before["weeks"][0]["count"]) - 2
    record(folder, LATER, order_of(before["id"], LATER, count=count))
    now_ = next(bought(planned(folder, LATER)))
    assert (now_["stock"], now_["weeks"][0]["count"]) == (before["stock"], count)
