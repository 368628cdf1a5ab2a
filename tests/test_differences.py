"""What a new plan does otherwise than the one before it, said in words."""

import re
from collections.abc import Callable
from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from planner.differences import LONGEST_MOVE_WEEKS, changes
from planner.document import BatchDoc, ChangesDoc, CohortDoc, OrderWeekDoc, PlanDoc
from planner.horizon import monday_of
from tests import plandocs

STARTS = 9  # weeks in which the plan of `plandocs` sets something out, by crop and zone
STOCKINGS = 2


def batch(document: PlanDoc, id: str) -> BatchDoc:
    return next(batch for batch in document["batches"] if batch["id"] == id)


def cohort(document: PlanDoc, id: str) -> CohortDoc:
    return next(cohort for cohort in document["cohorts"] if cohort["id"] == id)


def shifted(day: str | None, weeks: int) -> str:
    assert day is not None
    return (date.fromisoformat(day) + timedelta(weeks=weeks)).isoformat()


def found(*edits: Callable[[PlanDoc], None], before: PlanDoc | None = None) -> ChangesDoc:
    """The changes from the plan to itself after some edits."""
    now = plandocs.small_plan()
    for edit in edits:
        edit(now)
    return changes(before or plandocs.small_plan(), now, 0.0)


def texts(told: ChangesDoc) -> list[str]:
    return [item["text"] for item in told["items"]]


def set_out_later(id: str, weeks: int) -> Callable[[PlanDoc], None]:
    def edit(document: PlanDoc) -> None:
        row = batch(document, id)
        row["transplant"] = shifted(row["transplant"], weeks)

    return edit


def with_plants(id: str, plants: int) -> Callable[[PlanDoc], None]:
    def edit(document: PlanDoc) -> None:
        batch(document, id)["plants"] = plants

    return edit


def without(id: str) -> Callable[[PlanDoc], None]:
    def edit(document: PlanDoc) -> None:
        document["batches"] = [row for row in document["batches"] if row["id"] != id]

    return edit


def test_the_same_document_has_no_changes() -> None:
    told = found()
    assert told == {
        "before": plandocs.MADE_ON.isoformat(),
        "kept": STARTS + STOCKINGS,
        "moved": 0,
        "cost": 0.0,
        "items": [],
    }


def test_what_is_charged_is_told_in_cents() -> None:
    document = plandocs.small_plan()
    assert changes(document, document, 12.3456)["cost"] == 12.35


def test_plants_set_out_later_are_one_sentence_of_both_weeks() -> None:
    told = found(set_out_later("B0003", 1))
    assert told["items"] == [
        {
            "kind": "set out",
            "week": "2027-03-22",
            "text": "butterhead lettuce, raft: set out 56 plants 1 week later, "
            "in the week of Mon 29 Mar instead of Mon 22 Mar",
        }
    ]
    assert (told["kept"], told["moved"]) == (STARTS + STOCKINGS - 1, 2)


def test_plants_set_out_earlier_are_told_from_the_earlier_week() -> None:
    told = found(set_out_later("B0012", -3))
    assert texts(told) == [
        "butterhead lettuce, tower row: set out 48 plants 3 weeks earlier, "
        "in the week of Mon 29 Mar instead of Mon 19 Apr"
    ]
    assert told["items"][0]["week"] == "2027-03-29"


def test_a_day_moved_within_its_week_is_no_change() -> None:
    def edit(document: PlanDoc) -> None:
        row = batch(document, "B0003")
        day = date.fromisoformat(row["transplant"] or "")
        row["transplant"] = (monday_of(day) + timedelta(days=6)).isoformat()

    assert found(edit)["items"] == []


def test_fewer_and_more_plants_are_told_with_their_week() -> None:
    assert texts(found(with_plants("B0007", 90))) == [
        "salad radish, north gravel: 30 plants fewer in the week of Mon 8 Mar"
    ]
    assert texts(found(with_plants("B0007", 121))) == [
        "salad radish, north gravel: set out 1 plant more in the week of Mon 8 Mar"
    ]
    told = found(without("B0007"))
    assert texts(told) == ["salad radish, north gravel: 120 plants fewer in the week of Mon 8 Mar"]
    assert (told["kept"], told["moved"]) == (STARTS + STOCKINGS - 1, 1)


def test_part_of_a_start_may_move_and_the_rest_be_given_up() -> None:
    told = found(set_out_later("B0003", 1), with_plants("B0003", 40))
    assert texts(told) == [
        "butterhead lettuce, raft: 16 plants fewer in the week of Mon 22 Mar",
        "butterhead lettuce, raft: set out 40 plants 1 week later, "
        "in the week of Mon 29 Mar instead of Mon 22 Mar",
    ]


def test_the_nearest_weeks_are_paired_first() -> None:
    """The radish of 8 March and 12 April go, one of 5 April comes: that is the later one's."""

    def sown_earlier(document: PlanDoc) -> None:
        row = batch(document, "B0008")
        row["sow"] = shifted(row["sow"], -1)

    told = found(without("B0007"), sown_earlier)
    assert texts(told) == [
        "salad radish, north gravel: 120 plants fewer in the week of Mon 8 Mar",
        "salad radish, north gravel: set out 120 plants 1 week earlier, "
        "in the week of Mon 5 Apr instead of Mon 12 Apr",
    ]


def test_a_start_far_off_is_told_as_another_one() -> None:
    assert len(texts(found(set_out_later("B0003", LONGEST_MOVE_WEEKS)))) == 1
    assert texts(found(set_out_later("B0003", LONGEST_MOVE_WEEKS + 1))) == [
        "butterhead lettuce, raft: 56 plants fewer in the week of Mon 22 Mar",
        "butterhead lettuce, raft: set out 56 plants more in the week of Mon 24 May",
    ]


def test_fish_stocked_otherwise_are_told() -> None:
    def fewer(document: PlanDoc) -> None:
        cohort(document, "C02")["weeks"][0]["count"] = 45.0

    def later(document: PlanDoc) -> None:
        row = cohort(document, "C02")
        row["stock"] = shifted(row["stock"], 2)

    def never(document: PlanDoc) -> None:
        document["cohorts"] = [row for row in document["cohorts"] if row["id"] != "C03"]

    assert texts(found(fewer)) == ["Yellow perch: 15 fish fewer in the week of Mon 8 Mar"]
    told = found(later)
    assert texts(told) == [
        "Yellow perch: stock 60 fish 2 weeks later, in the week of Mon 22 Mar instead of Mon 8 Mar"
    ]
    assert [item["kind"] for item in told["items"]] == ["fish"]
    assert (told["kept"], told["moved"]) == (STARTS + STOCKINGS - 1, 2)
    assert texts(found(never)) == ["Nile tilapia: 50 fish fewer in the week of Mon 5 Apr"]


def test_fish_taken_in_other_weeks_are_told_by_tank() -> None:
    def later(document: PlanDoc) -> None:
        for take in cohort(document, "C01")["taken"]:
            take["week"] = shifted(take["week"], 1)

    def not_at_all(document: PlanDoc) -> None:
        cohort(document, "C01")["taken"].clear()

    told = found(later)
    assert texts(told) == [
        "fish tank 1: fish are taken from the week of Mon 22 Mar "
        "instead of from the week of Mon 15 Mar"
    ]
    assert told["items"][0]["week"] == "2027-03-15"
    assert texts(found(not_at_all)) == [
        "fish tank 1: fish are not taken instead of from the week of Mon 15 Mar"
    ]


def rows_of(document: PlanDoc, line: str, *weeks: str) -> list[OrderWeekDoc]:
    return [row for row in document["orders"] if row["line"] == line and row["week"] in weeks]


def shorten(line: str, lacking: float, *weeks: str) -> Callable[[PlanDoc], None]:
    """Lets an order lack so much in some weeks, beyond its tolerance."""

    def edit(document: PlanDoc) -> None:
        rows = rows_of(document, line, *weeks)
        assert len(rows) == len(weeks)
        for row in rows:
            row["short"], row["planned"] = lacking, row["ordered"] - lacking
            row["within_tolerance"] = False

    return edit


def filled(document: PlanDoc, line: str) -> list[str]:
    """The weeks in which a line is filled, from the week after the plan's."""
    return [
        row["week"]
        for row in document["orders"]
        if row["line"] == line and row["within_tolerance"] and row["week"] > "2027-03-07"
    ]


def test_orders_newly_short_are_one_sentence_a_line() -> None:
    first, second = filled(plandocs.small_plan(), "L1")[:2]
    (radish,) = filled(plandocs.small_plan(), "L3")[:1]
    told = found(shorten("L1", 8.0, first, second), shorten("L3", 2.5, radish))
    orders = {item["text"]: item for item in told["items"]}
    assert {item["kind"] for item in orders.values()} == {"order"}
    lettuce = next(text for text in orders if "L1" in text)
    assert lettuce.startswith(
        "Order L1 of Corner Kitchen, butterhead lettuce: now short in 2 weeks"
    )
    assert lettuce.endswith("16 head in all")
    assert orders[lettuce]["week"] == first
    other = next(text for text in orders if "L3" in text)
    assert "now short in 1 week," in other
    assert other.endswith("2.5 bunch in all")
    assert len(orders) == 2
    assert told["moved"] == 0


def test_orders_that_were_short_before_are_not_told_again() -> None:
    (week,) = filled(plandocs.small_plan(), "L1")[:1]
    before = plandocs.small_plan()
    shorten("L1", 8.0, week)(before)
    assert found(shorten("L1", 12.0, week), before=before)["items"] == []
    assert len(found(shorten("L1", 12.0, week))["items"]) == 1


def test_a_shortage_within_the_tolerance_is_not_told() -> None:
    def edit(document: PlanDoc) -> None:
        (week,) = filled(document, "L1")[:1]
        for row in rows_of(document, "L1", week):
            row["short"] = 1.0

    assert found(edit)["items"] == []


def test_a_raised_order_that_cannot_be_filled_is_told_with_all_that_it_lacks() -> None:
    def raised(document: PlanDoc) -> None:
        (week,) = filled(document, "L1")[:1]
        for row in rows_of(document, "L1", week):
            row["ordered"] += 20.0
            row["short"], row["within_tolerance"] = 20.0, False

    (text,) = texts(found(raised))
    assert text.endswith("20 head in all")


def test_only_the_weeks_that_both_plans_speak_of_are_compared() -> None:
    """The later plan begins after some starts of the first, and goes on longer."""
    before = plandocs.small_plan()  # to 19 July
    later = date(2027, 4, 12)
    now = plandocs.small_plan()
    now["made_on"] = later.isoformat()
    now["horizon"] = {"start": later.isoformat(), "weeks": 20}
    past = [without("B0002"), without("B0003"), without("B0007")]  # set out in March
    for edit in past:
        edit(now)
    assert changes(before, now, 0.0)["items"] == []
    batch(now, "B0011")["transplant"] = "2027-08-02"  # after the first plan's last week
    told = changes(before, now, 0.0)
    assert texts(told) == ["rosemary, tower row: 16 plants fewer in the week of Mon 31 May"]
    batch(now, "B0011")["transplant"] = "2027-07-12"  # in its last week
    (text,) = texts(changes(before, now, 0.0))
    assert "6 weeks later, in the week of Mon 12 Jul" in text


def test_a_start_earlier_in_the_week_of_the_new_plan_is_past() -> None:
    before, now = plandocs.small_plan(), plandocs.small_plan()
    now["made_on"] = "2027-03-25"  # a Thursday; B0003 was set out on Wednesday
    now["horizon"]["start"] = "2027-03-22"
    without("B0003")(now)
    told = changes(before, now, 0.0)
    assert not any("22 Mar" in text for text in texts(told))
    now["made_on"] = "2027-03-24"
    assert any(
        "56 plants fewer in the week of Mon 22 Mar" in t for t in texts(changes(before, now, 0.0))
    )


def test_items_stand_in_the_order_of_their_weeks() -> None:
    told = found(with_plants("B0011", 1), set_out_later("B0012", 1), without("B0007"))
    weeks = [item["week"] for item in told["items"]]
    assert weeks == ["2027-03-08", "2027-04-19", "2027-05-31"]


_WEEKS = st.dictionaries(st.integers(0, 18), st.integers(1, 60), max_size=6)
_NUMBERS = re.compile(
    r"set out ([\d,]+) plants? \d+ weeks? (?:later|earlier), in the week of (.+) instead of (.+)"
)


def with_starts(starts: dict[int, int]) -> PlanDoc:
    """A plan that sets out lettuce on the raft in some weeks and nothing else."""
    document = plandocs.small_plan()
    pattern = batch(document, "B0003")
    first = monday_of(plandocs.MADE_ON) + timedelta(days=3)
    document["batches"] = [
        {
            **pattern,
            "id": f"L{week}",
            "transplant": (first + timedelta(weeks=week)).isoformat(),
            "plants": plants,
        }
        for week, plants in starts.items()
    ]
    return document


@given(was=_WEEKS, now=_WEEKS)
@settings(max_examples=150, deadline=None)
def test_every_plant_given_up_or_new_is_told_once(was: dict[int, int], now: dict[int, int]) -> None:
    told = changes(with_starts(was), with_starts(now), 0.0)
    same = sum(1 for week in was if now.get(week) == was[week])
    assert told["kept"] == same + STOCKINGS
    assert told["moved"] == len({*was, *now}) - same
    gone = came = 0
    for text in texts(told):
        words = text.removeprefix("butterhead lettuce, raft: ")
        if moved := _NUMBERS.match(words):
            count = int(moved[1])
            gone, came = gone + count, came + count
            assert moved[2] != moved[3]
        elif fewer := re.match(r"(\d+) plants? fewer in", words):
            gone += int(fewer[1])
        elif more := re.match(r"set out (\d+) plants? more in", words):
            came += int(more[1])
        else:
            raise AssertionError(f"an unknown sentence: {text}")
    assert gone == sum(max(0, plants - now.get(week, 0)) for week, plants in was.items())
    assert came == sum(max(0, plants - was.get(week, 0)) for week, plants in now.items())
