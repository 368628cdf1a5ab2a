"""What the book says of the jobs stands in their titles and lines, and under their keys."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.book.entries import (
    Deaths,
    Done,
    Entry,
    FishHarvest,
    Harvest,
    Loss,
    Note,
    Recorded,
    Skipped,
    WaterTest,
)
from planner.jobs import TITLE_LENGTH, Job, JobLine, Kind, job_key
from planner.marks import done_keys, marked
from planner.tasks import dated
from tests.plandocs import CROPS, FISH, small_plan

JOBS = dated(small_plan(), crops=CROPS, fish=FISH, units="metric")
ASKED = [(job, line) for job in JOBS for line in job.lines if line.unit != "mg/L"]
LETTUCE_CUT = date(2027, 3, 11)  # of B0001: 56 heads, 14 kg
BASIL_CUT = date(2027, 3, 18)  # of B0004: 1.2 kg
TWO_CUTS = date(2027, 4, 1)  # of B0004: 0.9 kg, and of B0009: 0.75 kg
TAKE = date(2027, 3, 17)  # 20 fish from tank 1
EMPTIED = date(2027, 3, 31)  # 20 more, and it is empty


def recorded(*entries: Entry, first: int = 1) -> list[Recorded]:
    written = datetime(2027, 3, 3, 12, tzinfo=UTC)
    return [
        Recorded(number=number, written_at=written, entry=entry)
        for number, entry in enumerate(entries, first)
    ]


def job_of(jobs: Iterable[Job], kind: Kind, day: date) -> Job:
    (found,) = [job for job in jobs if (job.kind, job.day) == (kind, day)]
    return found


def after(kind: Kind, day: date, *entries: Entry, **options: Any) -> Job:
    """A job once the entries are in the book; no other job may have changed."""
    jobs = marked(JOBS, recorded(*entries), **options)
    others = [(old, new) for old, new in zip(JOBS, jobs, strict=True) if old != new]
    assert all((new.kind, new.day) == (kind, day) for _, new in others)
    return job_of(jobs, kind, day)


def texts(job: Job) -> list[str]:
    return [line.text for line in job.lines]


def before(kind: Kind, day: date) -> Job:
    return job_of(JOBS, kind, day)


def cut(batch: str, on: date, kg: float, **more: Any) -> Harvest:
    return Harvest(on=on, crop="lettuce_butterhead", batch=batch, kg=kg, **more)


# Done and not done, by step, batch and planned day


def test_an_empty_book_changes_nothing():
    assert marked(JOBS, ()) == JOBS
    assert done_keys(JOBS, ()) == {}


@pytest.mark.parametrize(
    ("kind", "step", "batch", "day"),
    [
        (Kind.SOW, "sow", "B0003", date(2027, 3, 3)),
        (Kind.SET_OUT, "set out", "B0002", date(2027, 3, 16)),
        (Kind.CUT, "cut", "B0001", LETTUCE_CUT),
        (Kind.CLEAR, "clear", "B0001", date(2027, 3, 15)),
        (Kind.FISH, "order", "C03", date(2027, 3, 18)),
        (Kind.FISH, "stock", "C02", date(2027, 3, 10)),
        (Kind.FISH, "take", "C01", TAKE),
    ],
)
@pytest.mark.parametrize("named", [True, False], ids=["planned day named", "not named"])
def test_a_report_marks_its_line_and_the_title_of_the_job(kind, step, batch, day, named):
    planned_on = day if named else None
    old = before(kind, day)
    done = after(kind, day, Done(on=day, step=step, batch=batch, planned_on=planned_on))
    assert done.title == f"✓ {old.title}"
    assert texts(done) == [f"✓ done: {text}" for text in texts(old)]
    until = day + timedelta(days=2)
    report = Skipped(on=day, step=step, batch=batch, planned_on=planned_on, until=until)
    missed = after(kind, day, report)
    assert missed.title == f"Not done: {old.title}"
    words = f"{until:%a} {until.day} {until:%b}"
    assert texts(missed) == [f"not done: {text}; now planned {words}" for text in texts(old)]
    key = job_key(step, batch, day)
    assert done_keys(JOBS, recorded(Done(on=day, step=step, batch=batch))) == {key: "✓ done"}
    assert done_keys(JOBS, recorded(report)) == {key: f"not done, now planned {words}"}


def test_nothing_but_texts_and_titles_is_changed():
    done = after(Kind.CUT, LETTUCE_CUT, Done(on=LETTUCE_CUT, step="cut", batch="B0001"))
    old = before(Kind.CUT, LETTUCE_CUT)
    assert replace(done, title=old.title, lines=old.lines) == old
    assert replace(done.lines[0], text=old.lines[0].text) == old.lines[0]


def test_a_line_not_done_without_a_new_day_says_just_that():
    job = after(Kind.CUT, LETTUCE_CUT, Skipped(on=LETTUCE_CUT, step="cut", batch="B0001"))
    assert texts(job) == [f"not done: {texts(before(Kind.CUT, LETTUCE_CUT))[0]}"]


def test_a_day_other_than_the_planned_one_is_told():
    report = Done(on=date(2027, 3, 13), step="cut", batch="B0001", planned_on=LETTUCE_CUT)
    assert texts(after(Kind.CUT, LETTUCE_CUT, report))[0].endswith(
        "56 heads (14 kg); on Sat 13 Mar"
    )
    key = job_key("cut", "B0001", LETTUCE_CUT)
    assert done_keys(JOBS, recorded(report)) == {key: "✓ done, on Sat 13 Mar"}


@pytest.mark.parametrize(
    "report",
    [
        Done(on=LETTUCE_CUT, step="cut", batch="B0002", planned_on=LETTUCE_CUT),
        Done(on=LETTUCE_CUT, step="clear", batch="B0001", planned_on=LETTUCE_CUT),
        Done(on=LETTUCE_CUT, step="cut", batch="B0001", planned_on=date(2027, 3, 12)),
        Done(on=LETTUCE_CUT, step="cut", batch="b0001", planned_on=LETTUCE_CUT),
        Done(on=date(2027, 3, 15), step="cut", batch="B0001"),
        Done(on=LETTUCE_CUT, step="take", batch="C02"),
        Loss(on=LETTUCE_CUT, batch="B0001", parts=1),
        Note(on=LETTUCE_CUT, text="B0001 looks fine"),
        Deaths(on=TAKE, tank="fish tank 1", count=20),
    ],
    ids=lambda report: f"{report.kind} {getattr(report, 'step', '')}",
)
def test_what_is_of_no_line_marks_none(report):
    assert marked(JOBS, recorded(report)) == JOBS
    assert done_keys(JOBS, recorded(report)) == {}


def test_of_several_reports_the_last_decides_whatever_order_they_are_given_in():
    done = Done(on=LETTUCE_CUT, step="cut", batch="B0001", planned_on=LETTUCE_CUT)
    missed = Skipped(on=LETTUCE_CUT, step="cut", batch="B0001", planned_on=LETTUCE_CUT)
    assert after(Kind.CUT, LETTUCE_CUT, missed, done).title.startswith("✓ Cut")
    assert after(Kind.CUT, LETTUCE_CUT, done, missed).title.startswith("Not done: Cut")
    both = recorded(done, missed)
    assert marked(JOBS, both[::-1]) == marked(JOBS, both)


def test_parts_and_fish_other_than_planned_are_told():
    day = date(2027, 3, 16)
    job = after(Kind.SET_OUT, day, Done(on=day, step="set out", batch="B0002", parts=2))
    assert texts(job)[0].endswith("42 plants; really 2 parts")
    day = date(2027, 3, 10)
    job = after(Kind.FISH, day, Done(on=day, step="stock", batch="C02", count=58))
    assert texts(job)[0].endswith("in all; ordered; really 58 fish")
    job = after(Kind.FISH, day, Done(on=day, step="stock", batch="C02", count=60))
    assert texts(job)[0].endswith("2.4 kg in all; ordered")
    day = date(2027, 3, 18)
    job = after(Kind.FISH, day, Done(on=day, step="order", batch="C03", count=45))
    assert texts(job)[0].endswith("for fish tank 1; really 45 fish")
    late = Done(on=day + timedelta(days=1), step="order", batch="C03", count=50)
    assert texts(after(Kind.FISH, day, late))[0].endswith("for fish tank 1; on Fri 19 Mar")


def test_an_order_is_not_the_stocking_and_fish_on_order_have_no_line_for_it():
    day = date(2027, 3, 18)
    after(Kind.FISH, day, Done(on=day, step="order", batch="C03"))  # and no other job changed
    assert marked(JOBS, recorded(Done(on=day, step="order", batch="C02", count=55))) == JOBS


# Some of a day's lines


def test_a_title_says_how_many_lines_are_done():
    old = before(Kind.CUT, TWO_CUTS)
    assert len(old.lines) == 2
    first = Done(on=TWO_CUTS, step="cut", batch="B0004", planned_on=TWO_CUTS)
    second = Done(on=TWO_CUTS, step="cut", batch="B0009", planned_on=TWO_CUTS)
    one = after(Kind.CUT, TWO_CUTS, first)
    assert one.title.endswith(" +1 more (1 of 2 done)")
    assert texts(one) == [f"✓ done: {texts(old)[0]}", texts(old)[1]]
    both = after(Kind.CUT, TWO_CUTS, first, second)
    assert both.title.startswith("✓ Cut and pick 2: ")
    assert all(text.startswith("✓ done: ") for text in texts(both))


def test_lines_not_done_count_as_not_done():
    done = Done(on=TWO_CUTS, step="cut", batch="B0004", planned_on=TWO_CUTS)
    missed = Skipped(on=TWO_CUTS, step="cut", batch="B0009", planned_on=TWO_CUTS)
    assert after(Kind.CUT, TWO_CUTS, done, missed).title.endswith(" (1 of 2 done)")
    assert after(Kind.CUT, TWO_CUTS, missed).title == before(Kind.CUT, TWO_CUTS).title
    other = Skipped(on=TWO_CUTS, step="cut", batch="B0004", planned_on=TWO_CUTS)
    assert after(Kind.CUT, TWO_CUTS, missed, other).title.startswith("Not done: Cut and pick 2: ")


def with_title(title: str) -> Job:
    return replace(before(Kind.CUT, TWO_CUTS), title=title)


@pytest.mark.parametrize("length", [70, 74, 75, 76, 77, 78, 87, 88, 89, 90, 120])
@pytest.mark.parametrize("end", ["", " +12 more"])
@pytest.mark.parametrize("batches", [("B0004",), ("B0004", "B0009")])
def test_a_marked_title_is_no_longer_than_others(length, end, batches):
    title = "Cut 5: " + "x" * (length - 7 - len(end)) + end
    reports = [Done(on=TWO_CUTS, step="cut", batch=batch) for batch in batches]
    (job,) = marked([with_title(title)], recorded(*reports))
    mark = "✓ " if len(batches) == 2 else " (1 of 2 done)"
    assert job.title.replace(mark, "", 1).startswith("Cut 5: xxx")
    assert job.title.startswith(mark) if len(batches) == 2 else job.title.endswith(mark)
    fits = len(title) + len(mark) <= TITLE_LENGTH
    assert len(job.title) == (len(title) + len(mark) if fits else TITLE_LENGTH)
    assert ("…" in job.title) is not fits
    assert end in job.title


# What was cut


def test_a_harvest_as_planned_marks_the_cut_and_adds_no_amount():
    for kg, more in ((14.0, {}), (14.0, {"units": 56, "unit": "head"}), (14.04, {})):
        job = after(Kind.CUT, LETTUCE_CUT, cut("B0001", LETTUCE_CUT, kg, **more))
        assert texts(job) == [f"✓ done: {texts(before(Kind.CUT, LETTUCE_CUT))[0]}"]


@pytest.mark.parametrize(
    ("kg", "more", "really"),
    [
        (11.0, {}, "11 kg"),
        (11.0, {"units": 44, "unit": "head"}, "44 heads, 11 kg"),
        (14.0, {"units": 50, "unit": "head"}, "50 heads, 14 kg"),
        (12.0, {"units": 56, "unit": "head"}, "56 heads, 12 kg"),
        (4.0, {}, "4 kg"),  # not a part of "14 kg"
        (11.0, {"units": 3, "unit": "crate"}, "11 kg"),
    ],
)
def test_the_amount_that_was_really_cut_is_told(kg, more, really):
    job = after(Kind.CUT, LETTUCE_CUT, cut("B0001", LETTUCE_CUT, kg, **more))
    assert texts(job)[0].endswith(f"56 heads (14 kg); really {really}")


def test_amounts_are_in_the_units_of_the_jobs():
    us = dated(small_plan(), crops=CROPS, fish=FISH, units="us")
    same, less = cut("B0004", BASIL_CUT, 1.2), cut("B0004", BASIL_CUT, 0.5)
    (text,) = texts(job_of(marked(us, recorded(same), units="us"), Kind.CUT, BASIL_CUT))
    assert text.endswith(", 2.6 lb")
    (text,) = texts(job_of(marked(us, recorded(less), units="us"), Kind.CUT, BASIL_CUT))
    assert text.endswith(", 2.6 lb; really 1.1 lb")


def test_harvests_of_one_cut_are_added_up():
    first = cut("B0001", LETTUCE_CUT, 6.0)
    job = after(Kind.CUT, LETTUCE_CUT, first, cut("B0001", LETTUCE_CUT + timedelta(days=1), 3.0))
    assert texts(job)[0].endswith("; really 9 kg; on Fri 12 Mar")
    rest = cut("B0001", LETTUCE_CUT, 8.0)
    assert texts(after(Kind.CUT, LETTUCE_CUT, first, rest))[0].endswith("56 heads (14 kg)")


@pytest.mark.parametrize("days", range(-5, 6))
def test_a_harvest_is_of_a_cut_within_three_days(days):
    on = LETTUCE_CUT + timedelta(days=days)
    jobs = marked(JOBS, recorded(cut("B0001", on, 14.0)))
    assert (jobs != JOBS) is (abs(days) <= 3)


def test_a_harvest_between_two_cuts_is_of_the_nearer_one():
    first, second = date(2027, 4, 15), date(2027, 4, 16)  # of B0002
    assert after(Kind.CUT, second, cut("B0002", second, 4.5)).title.startswith("✓")
    jobs = marked(JOBS, recorded(cut("B0002", first, 6.0), cut("B0002", second, 4.5)))
    lines = [
        line
        for day in (first, second)
        for line in job_of(jobs, Kind.CUT, day).lines
        if line.batch == "B0002"
    ]
    assert [line.text.startswith("✓ done: ") for line in lines] == [True, True]


def test_a_harvest_without_a_batch_is_of_no_line():
    harvest = Harvest(on=LETTUCE_CUT, crop="lettuce_butterhead", kg=14.0)
    assert marked(JOBS, recorded(harvest)) == JOBS


# Fish


def fish(on: date, count: int, kg: float, tank: str = "fish tank 1", **more: Any) -> FishHarvest:
    return FishHarvest(on=on, tank=tank, count=count, kg=kg, **more)


def test_fish_taken_from_a_tank_mark_the_nearest_taking():
    planned = before(Kind.FISH, TAKE).lines[0].text
    kg = float(planned.split(", ")[1].removesuffix(" kg"))
    assert texts(after(Kind.FISH, TAKE, fish(TAKE, 20, kg))) == [f"✓ done: {planned}"]
    job = after(Kind.FISH, TAKE, fish(TAKE + timedelta(days=1), 18, 9.1))
    assert texts(job) == [f"✓ done: {planned}; really 18 fish, 9.1 kg; on Thu 18 Mar"]
    assert after(Kind.FISH, TAKE, fish(TAKE - timedelta(days=10), 20, kg)).title.startswith("✓ ")
    assert marked(JOBS, recorded(fish(TAKE - timedelta(days=11), 20, kg))) == JOBS
    assert marked(JOBS, recorded(fish(TAKE, 20, kg, tank="fish tank 2"))) == JOBS


def test_a_tank_is_empty_when_the_book_says_so():
    old = before(Kind.FISH, EMPTIED)
    assert [line.step for line in old.lines] == ["take", "empty"]
    some = after(Kind.FISH, EMPTIED, fish(EMPTIED, 19, 10.0))
    assert some.title.endswith(" (1 of 2 done)")
    whole = after(Kind.FISH, EMPTIED, fish(EMPTIED, 19, 10.0, emptied=True))
    assert whole.title == f"✓ {old.title}"
    assert texts(whole)[1] == f"✓ done: {texts(old)[1]}"
    keys = done_keys(JOBS, recorded(fish(EMPTIED, 19, 10.0)))
    assert keys == {job_key("take", "C01", EMPTIED): "✓ done, really 19 fish, 10 kg"}


# Water


@pytest.mark.parametrize("days", [-1, 0, 3, 6, 7])
def test_a_water_test_is_of_its_week(days):
    monday = date(2027, 3, 8)
    on = monday + timedelta(days=days)
    keys = done_keys(JOBS, recorded(WaterTest(on=on, ph=6.8)))
    assert (job_key("water", "", monday) in keys) is (0 <= days <= 6)
    assert len(keys) == 1
    if 0 <= days <= 6:
        old, new = before(Kind.WATER, monday), after(Kind.WATER, monday, WaterTest(on=on, ph=6.8))
        assert new.title.endswith(" (1 of 3 done)")  # two tanks are to be fed
        assert texts(new)[0].startswith("✓ done: Test pH, ")
        assert texts(new)[1:] == texts(old)[1:]


def test_a_water_test_in_the_plans_first_week_is_found_though_its_job_is_on_a_wednesday():
    job = after(Kind.WATER, date(2027, 3, 3), WaterTest(on=date(2027, 3, 5), ph=6.8))
    assert texts(job)[0].endswith("; on Fri 5 Mar")


@pytest.mark.parametrize("planned_on", [date(2027, 3, 8), None])
def test_the_water_job_as_a_whole_may_be_done_what_to_expect_is_no_job(planned_on):
    monday = date(2027, 3, 8)
    old = before(Kind.WATER, monday)
    done = after(Kind.WATER, monday, Done(on=monday, step="water", planned_on=planned_on))
    assert done.title == f"✓ {old.title}"
    expected = [text if "Expect water" in text else f"✓ done: {text}" for text in texts(old)]
    assert texts(done) == expected
    assert expected != texts(old)


def test_one_tank_that_was_fed_is_one_line():
    monday = date(2027, 3, 8)
    fed = Done(on=monday, step="water", planned_on=monday, tank="fish tank 2")
    job = after(Kind.WATER, monday, fed)
    assert job.title.endswith(" (1 of 3 done)")
    assert [text.startswith("✓") for text in texts(job)] == [False, False, False, True]


# What the plan knew


def test_entries_that_the_plan_knew_are_of_the_plan_before():
    entries = recorded(
        Done(on=LETTUCE_CUT, step="cut", batch="B0001"),
        Done(on=BASIL_CUT, step="cut", batch="B0004", corrects=1),
        Done(on=TAKE, step="take", batch="C01"),
        first=2,
    )
    assert len(done_keys(JOBS, entries)) == 3
    known = done_keys(JOBS, entries, known=2)
    assert known == {job_key("take", "C01", TAKE): "✓ done"}
    titles = [job.title for job in marked(JOBS, entries, known=2) if job.title.startswith("✓")]
    assert len(titles) == 1
    assert marked(JOBS, entries, known=4) == JOBS


def test_a_key_that_two_lines_share_tells_how_many_are_done():
    line = before(Kind.CUT, LETTUCE_CUT).lines[0]
    job = replace(before(Kind.CUT, LETTUCE_CUT), lines=(line, replace(line, unit="kg", number=2.0)))
    key = job_key("cut", "B0001", LETTUCE_CUT)
    both = Done(on=LETTUCE_CUT, step="cut", batch="B0001", planned_on=LETTUCE_CUT)
    assert done_keys([job], recorded(both)) == {key: "✓ done"}
    assert done_keys([job], recorded(Done(on=LETTUCE_CUT, step="cut", batch="B0001"))) == {
        key: "1 of 2 done"
    }
    assert done_keys([job], recorded(Skipped(on=LETTUCE_CUT, step="cut", batch="B0001"))) == {
        key: "1 of 2 not done"
    }
    assert done_keys([job], recorded(both, cut("B0001", LETTUCE_CUT, 9.0))) == {key: "✓ done"}


# Any book


@st.composite
def reports(draw: st.DrawFn) -> Entry:
    job, line = draw(st.sampled_from(ASKED))
    on = job.day + timedelta(days=draw(st.integers(min_value=-4, max_value=4)))
    kg = draw(st.floats(min_value=0.01, max_value=50))
    planned_on = draw(st.sampled_from([job.day, None]))
    step: Any = line.step
    kind = draw(st.sampled_from(["done", "skipped", "harvest", "fish", "water"]))
    if kind == "harvest":
        return Harvest(on=on, crop=line.crop or "x", batch=line.batch or None, kg=kg)
    if kind == "fish":
        return fish(on, draw(st.integers(1, 40)), kg, tank=line.place, emptied=draw(st.booleans()))
    if kind == "water":
        return WaterTest(on=on, ph=7)
    if kind == "skipped":
        until = draw(st.sampled_from([None, on + timedelta(days=3)]))
        return Skipped(on=on, step=step, batch=line.batch, planned_on=planned_on, until=until)
    return Done(on=on, step=step, batch=line.batch, planned_on=planned_on)


@settings(max_examples=150, deadline=None)
@given(st.lists(reports(), max_size=12), st.integers(min_value=0, max_value=12))
def test_any_book_keeps_every_line_and_counts_right(entries, known):
    book = recorded(*entries)
    jobs = marked(JOBS, book, known=known)
    keys = done_keys(JOBS, book, known=known)
    assert jobs == marked(JOBS, book[known:])
    for old, new in zip(JOBS, jobs, strict=True):
        assert (new.kind, new.day, new.caution) == (old.kind, old.day, old.caution)
        assert len(new.title) <= TITLE_LENGTH
        lines = [*zip(old.lines, new.lines, strict=True)]
        for was, now in lines:
            start, _, _ = now.text.partition(was.text)
            assert was.text in now.text
            assert start in ("", "✓ done: ", "not done: ")
            assert replace(now, text=was.text) == was
            if was.batch:
                mark = keys.get(job_key(was.step, was.batch, old.day), "")
                assert mark.partition(",")[0] == start.removesuffix(": ")
        done = [is_done(now) for _, now in lines if now.unit != "mg/L"]
        assert new.title.startswith("✓ ") is all(done)
        count = f" ({sum(done)} of {len(done)} done)"
        assert new.title.endswith(count) is (any(done) and not all(done))


def is_done(line: JobLine) -> bool:
    return line.text.startswith("✓ done: ")
