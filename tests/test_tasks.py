"""Every dated job of a plan, once and in plain words."""

from collections import Counter
from datetime import date, timedelta
from typing import Any

import pytest

from planner.document import BatchDoc, CohortDoc, PlanDoc
from planner.jobs import TITLE_LENGTH
from planner.tasks import Job, JobLine, Kind, dated
from tests.plandocs import CROPS, FISH, MADE_ON, crop_row, small_plan


def jobs_of(document: PlanDoc, units: str = "metric", **options: Any) -> tuple[Job, ...]:
    return dated(document, **({"crops": CROPS, "fish": FISH, "units": units} | options))


def lines_of(jobs: tuple[Job, ...], kind: Kind, batch: str) -> list[tuple[date, JobLine]]:
    return [
        (job.day, line)
        for job in jobs
        if job.kind is kind
        for line in job.lines
        if line.batch == batch
    ]


def only_line(document: PlanDoc, kind: Kind, batch: str, **options: Any) -> JobLine:
    ((_, line),) = lines_of(jobs_of(document, **options), kind, batch)
    return line


def batch_of(document: PlanDoc, id: str) -> BatchDoc:
    return next(batch for batch in document["batches"] if batch["id"] == id)


def asked_for(document: PlanDoc, last_day: date | None = None) -> Counter[tuple[Kind, date, str]]:
    """What the document's dates and states ask for, read straight from it."""
    start = date.fromisoformat(document["horizon"]["start"])
    last = start + timedelta(days=7 * document["horizon"]["weeks"] - 1)
    asked: list[tuple[Kind, str, str]] = []
    for batch in document["batches"]:
        if batch["state"] == "planned":
            asked.append((Kind.SOW, batch["sow"], batch["id"]))
        if batch["state"] in ("planned", "sown") and batch["transplant"]:
            asked.append((Kind.SET_OUT, batch["transplant"], batch["id"]))
        asked += [(Kind.CUT, cut["date"], batch["id"]) for cut in batch["cuts"]]
        asked.append((Kind.CLEAR, batch["clear"], batch["id"]))
    for cohort in document["cohorts"]:
        if cohort["order_by"] is not None:
            asked.append((Kind.FISH, cohort["order_by"], cohort["id"]))
        asked.append((Kind.FISH, cohort["stock"], cohort["id"]))
        asked += [(Kind.FISH, taken["date"], cohort["id"]) for taken in cohort["taken"]]
        if cohort["harvest"]:
            asked.append((Kind.FISH, cohort["harvest"], cohort["id"]))
    days = ((kind, date.fromisoformat(day), id) for kind, day, id in asked)
    return Counter(
        (kind, day, id)
        for kind, day, id in days
        if date.fromisoformat(document["made_on"]) <= day <= min(last, last_day or last)
    )


@pytest.mark.parametrize("weeks", [4, 20, 52])
@pytest.mark.parametrize("made_on", [MADE_ON, date(2027, 12, 27), date(2028, 2, 27)])
def test_the_jobs_are_those_of_the_document_and_no_others(made_on, weeks):
    document = small_plan(made_on=made_on, weeks=weeks)
    told = Counter(
        (job.kind, job.day, line.batch)
        for job in jobs_of(document)
        for line in job.lines
        if job.kind is not Kind.WATER
    )
    assert told == asked_for(document)
    assert len(told) > 10


def test_a_last_day_ends_the_list_on_that_day():
    document, last_day = small_plan(), MADE_ON + timedelta(days=30)
    jobs = jobs_of(document, last_day=last_day)
    told = Counter((j.kind, j.day, line.batch) for j in jobs for line in j.lines if line.batch)
    assert told == asked_for(document, last_day)
    assert jobs == tuple(job for job in jobs_of(document) if job.day <= last_day)


def test_one_job_a_day_and_kind_in_order():
    jobs = jobs_of(small_plan())
    keys = [(job.day, list(Kind).index(job.kind)) for job in jobs]
    assert keys == sorted(set(keys))
    assert any(len(job.lines) > 1 for job in jobs if job.kind is Kind.CUT)


def test_same_document_same_jobs_whatever_its_order():
    turned = small_plan()
    turned["batches"].reverse()
    assert jobs_of(turned) == jobs_of(small_plan())


def test_what_is_sown_takes_the_words_of_how_it_starts():
    document = small_plan()
    assert only_line(document, Kind.SOW, "B0003").text == (
        "Sow butterhead lettuce, 74 cells (74 seeds), nursery, for 56 plants on 2 boards raft 1-2"
    )
    basil = only_line(document, Kind.SOW, "B0005")
    assert "40 cells (120 seeds)" in basil.text
    assert (basil.number, basil.unit, basil.crop) == (40, "cell", "basil_genovese")
    assert basil.place == "north gravel 1 (half), 2 (a quarter)"
    assert only_line(document, Kind.SOW, "B0010").text.startswith("Take in plugs of chives, 64 pl")
    assert only_line(document, Kind.SOW, "B0006").text.startswith("Divide and pot mint")
    assert only_line(document, Kind.SOW, "B0011").text.startswith("Stick cuttings of rosemary")


def test_a_direct_sown_crop_is_sown_in_its_place_and_never_set_out():
    document = small_plan()
    line = only_line(document, Kind.SOW, "B0007")
    assert line.text == "Sow salad radish in place, 1 bed north gravel 3 (half), 120 plants"
    assert (line.number, line.unit) == (120, "plant")
    assert lines_of(jobs_of(document), Kind.SET_OUT, "B0007") == []


def test_what_is_sown_or_growing_already_is_not_sown_again():
    jobs = jobs_of(small_plan())
    assert lines_of(jobs, Kind.SOW, "B0002") == []
    assert len(lines_of(jobs, Kind.SET_OUT, "B0002")) == 1
    assert lines_of(jobs, Kind.SOW, "B0001") + lines_of(jobs, Kind.SET_OUT, "B0001") == []
    assert len(lines_of(jobs, Kind.CUT, "B0001")) == 1


@pytest.mark.parametrize("state", ["cleared", "lost"])
def test_nothing_is_cut_from_a_batch_that_is_gone(state):
    document = small_plan()
    batch_of(document, "B0009")["state"] = state
    jobs = jobs_of(document)
    assert lines_of(jobs, Kind.CUT, "B0009") == []
    assert len(lines_of(jobs, Kind.CLEAR, "B0009")) == (state == "lost")


def test_cuts_say_which_is_the_first_and_which_the_last():
    jobs = jobs_of(small_plan())

    def words(batch: str) -> list[str]:
        return [line.text.split(":")[0] for _, line in lines_of(jobs, Kind.CUT, batch)]

    assert words("B0001") == ["Cut all"]
    assert words("B0002") == ["First cut", "Last cut, cut all"]
    assert words("B0005") == ["First cut", "Cut", "Cut", "Last cut"]
    assert words("B0004") == ["Cut", "Cut", "Last cut"]  # cut before the plan was made
    assert words("B0009") == ["First pick", *["Pick"] * 11, "Last pick"]
    assert words("B0006") == ["First cut", "Cut", "Cut"]  # the stand goes on


def test_cuts_are_counted_in_the_crops_unit_with_their_weight():
    document = small_plan()
    line = only_line(document, Kind.CUT, "B0001", units="us")
    assert line.text == "Cut all: butterhead lettuce, 2 boards raft 1-2, 56 heads (31 lb)"
    assert (line.number, line.unit) == (56, "head")
    line = lines_of(jobs_of(document), Kind.CUT, "B0005")[0][1]
    assert line.text.endswith(", 1.5 kg")
    assert (line.number, line.unit) == (1.5, "kg")


def test_clearing_says_what_to_clean_and_when_the_place_is_free():
    document = small_plan()
    assert only_line(document, Kind.CLEAR, "B0001").text == (
        "Clear butterhead lettuce, 2 boards raft 1-2: take off root mats, scrub boards and net"
        " pots; 1 day of cleaning, free Tue 16 Mar"
    )
    assert only_line(document, Kind.CLEAR, "B0004").text.endswith(
        "3 days of cleaning, free Thu 8 Apr"
    )
    document["zones"][1]["sanitation_days"] = 0
    assert "cleaning" not in only_line(document, Kind.CLEAR, "B0001").text


def test_fish_come_go_and_leave_an_empty_tank():
    document = small_plan()
    lines = [line for _, line in lines_of(jobs_of(document), Kind.FISH, "C02")]
    assert [(line.number, line.unit) for line in lines] == [
        (60, "fish"),
        (20, "fish"),
        (20, "fish"),
        (20, "fish"),
        (1, "tank"),
    ]
    assert lines[0].text == (
        "Stock fish tank 2: 60 Yellow perch of 40 g each, 2.4 kg in all; ordered"
    )
    assert lines[1].text == "Take 20 Yellow perch, 2.4 kg, from fish tank 2"
    assert lines[-1].text.startswith("Empty: fish tank 2")
    assert {line.place for line in lines} == {"fish tank 2"}
    in_house = [line.text for _, line in lines_of(jobs_of(document), Kind.FISH, "C01")]
    assert not any(text.startswith("Stock") for text in in_house)


def cohort_of(document: PlanDoc, id: str) -> CohortDoc:
    return next(cohort for cohort in document["cohorts"] if cohort["id"] == id)


def job_on(jobs: tuple[Job, ...], day: date) -> Job:
    (job,) = [job for job in jobs if job.kind is Kind.FISH and job.day == day]
    return job


def test_fish_are_ordered_on_the_last_day_for_it():
    job = job_on(jobs_of(small_plan(), units="us"), date(2027, 3, 18))
    assert job.title == "Fish: order 50 Nile tilapia"
    (line,) = job.lines
    assert line.text == ("Order 50 Nile tilapia of 1.76 oz each, to come Thu 8 Apr for fish tank 1")
    assert (line.step, line.batch, line.number, line.unit) == ("order", "C03", 50, "fish")
    assert job.caution == "Nile tilapia: A permit is common. Never release."
    stocked = job_on(jobs_of(small_plan()), date(2027, 4, 8)).lines[0]
    assert stocked.text.endswith("2.5 kg in all")  # nothing of an order that is still to be given


@pytest.mark.parametrize(("days", "asked"), [(0, True), (1, False)])
def test_fish_whose_day_for_the_order_is_past_are_on_order(days, asked):
    """On the plan day itself they can still be ordered."""
    document = small_plan()
    cohort_of(document, "C03")["order_by"] = (MADE_ON - timedelta(days=days)).isoformat()
    steps = {line.step: line for _, line in lines_of(jobs_of(document), Kind.FISH, "C03")}
    assert ("order" in steps) == asked
    assert steps["stock"].text.endswith("; ordered") != asked


def test_plans_of_before_orders_were_told_have_no_job_for_them():
    document = small_plan()
    for cohort in document["cohorts"]:
        del cohort["order_by"]  # type: ignore[misc]
    lines = [line for job in jobs_of(document) for line in job.lines]
    assert not any(line.step == "order" or line.text.endswith("ordered") for line in lines)
    assert sum(line.step == "stock" for line in lines) == 2


def test_an_order_for_fish_that_come_after_the_last_day_is_told():
    """The stocking may be after the days that are wanted, or after the horizon's end."""
    document = small_plan()
    jobs = jobs_of(document, last_day=date(2027, 3, 20))
    assert [line.step for _, line in lines_of(jobs, Kind.FISH, "C03")] == ["order"]
    cohort = cohort_of(document, "C03")
    start, weeks = date.fromisoformat(document["horizon"]["start"]), document["horizon"]["weeks"]
    come = start + timedelta(weeks=weeks, days=3)
    cohort |= {"weeks": [], "taken": [], "stock": come.isoformat()}
    cohort["order_by"] = (come - timedelta(weeks=3)).isoformat()
    ((day, line),) = lines_of(jobs_of(document), Kind.FISH, "C03")
    assert day == come - timedelta(weeks=3)
    assert line.text == "Order Nile tilapia, to come Thu 22 Jul for fish tank 1"


def test_orders_of_one_fish_are_added_up_in_the_title():
    document = small_plan()
    other = cohort_of(document, "C02")
    own = cohort_of(document, "C03")
    other |= {"species": own["species"], "order_by": own["order_by"]}
    job = job_on(jobs_of(document), date(2027, 3, 18))
    assert job.title == "Fish: order 110 Nile tilapia"
    assert [line.number for line in job.lines] == [50, 60]
    other["species"] = "perch_yellow"
    job = job_on(jobs_of(document), date(2027, 3, 18))
    assert job.title == "Fish: order 50 Nile tilapia; order 60 Yellow perch"


def test_water_is_tested_every_monday_and_on_the_plan_day():
    document = small_plan()
    days = [job.day for job in jobs_of(document) if job.kind is Kind.WATER]
    assert days[0] == MADE_ON
    assert days[1:] == [
        date.fromisoformat(week["week"])
        for week in document["weeks"]
        if week["week"] > "2027-03-03"
    ]
    test = next(job for job in jobs_of(document) if job.kind is Kind.WATER).lines[0]
    for what in ("pH", "TAN", "nitrite", "nitrate", "dissolved oxygen", "alkalinity"):
        assert what in test.text


def test_a_weeks_rations_add_up_to_the_weeks_feed():
    document = small_plan()
    for job in jobs_of(document):
        if job.kind is not Kind.WATER:
            continue
        monday = job.day - timedelta(days=job.day.weekday())
        for line in job.lines[2:]:
            (cohort,) = (
                cohort
                for cohort in document["cohorts"]
                if cohort["tank"] == line.place
                and any(week["week"] == monday.isoformat() for week in cohort["weeks"])
            )
            week = next(w for w in cohort["weeks"] if w["week"] == monday.isoformat())
            fed = [
                day
                for day in (monday + timedelta(days=n) for n in range(7))
                if cohort["stock"] <= day.isoformat()
                and (cohort["harvest"] is None or day.isoformat() < cohort["harvest"])
            ]
            assert line.number * len(fed) == pytest.approx(week["feed_kg"])
            assert line.unit == "kg"


def test_feed_lines_say_from_when_and_name_the_day_without_feed():
    jobs = jobs_of(small_plan())
    texts = [line.text for job in jobs if job.kind is Kind.WATER for line in job.lines]
    assert "Feed this week: fish tank 2 87 g a day, Yellow perch, from Wed 10 Mar" in texts
    assert any(t.endswith("no feed the day before Wed 31 Mar, then empty") for t in texts)


def test_equal_tanks_share_a_feed_line_and_unfed_ones_are_named():
    document = small_plan()
    perch = document["cohorts"][1]
    document["cohorts"] = [dict(perch, id=f"C{n}", tank=f"fish tank {n}") for n in (2, 3, 4)]
    document["cohorts"].append(
        dict(
            perch,
            id="C9",
            tank="pond",
            weeks=[dict(week, feed_kg=0.0) for week in perch["weeks"]],
        )
    )
    job = next(j for j in jobs_of(document) if j.kind is Kind.WATER and j.day > perch_day(document))
    assert [line.text for line in job.lines[2:]] == [
        "Feed this week: fish tank 2-4 87 g a day each, Yellow perch",
        "No feed this week: pond, Yellow perch",
    ]
    assert "feed 0.26 kg a day, 3 tanks" in job.title


def perch_day(document: PlanDoc) -> date:
    return date.fromisoformat(document["cohorts"][0]["stock"])


@pytest.mark.parametrize(("mg_l", "word"), [(3.0, "below"), (75.0, "above"), (30.0, "")])
def test_nitrate_outside_the_band_is_a_warning(mg_l, word):
    document = small_plan()
    document["weeks"][2]["nitrate_n_mg_l"] = mg_l
    day = date.fromisoformat(document["weeks"][2]["week"])
    (job,) = (j for j in jobs_of(document) if j.kind is Kind.WATER and j.day == day)
    expected = job.lines[1]
    assert f"nitrate-N {mg_l:.0f} mg/L" in expected.text
    assert (f"WARNING, {word} the band" in expected.text) == bool(word)
    assert (f"{word} band" in job.title) == bool(word)
    assert (expected.number, expected.unit) == (mg_l, "mg/L")


def test_a_filter_that_is_too_small_for_the_week_is_a_warning():
    document = small_plan()
    document["weeks"][0]["biofilter_g_day"] = 1.0
    water = [job for job in jobs_of(document) if job.kind is Kind.WATER]
    assert "test TAN daily" in water[0].lines[1].text
    assert "test TAN daily" not in water[1].lines[1].text


def test_titles_say_the_verb_how_many_and_where():
    titles = {(job.kind, job.day): job.title for job in jobs_of(small_plan(), units="us")}
    assert titles[Kind.SOW, date(2027, 3, 3)] == "Sow in nursery: butterhead lettuce 74 cells"
    assert titles[Kind.SOW, date(2027, 3, 8)] == (
        "Start 2 in nursery: mint (spearmint, peppermint) 24 divisions; rosemary 22 cuttings"
    )
    assert titles[Kind.SET_OUT, date(2027, 3, 16)] == (
        "Set out: butterhead lettuce 42 plants raft 3, 4 (half)"
    )
    assert titles[Kind.CUT, date(2027, 4, 1)] == (
        "Cut and pick 2: Genovese basil 1.98 lb north gravel 1 (half) +1 more"
    )
    assert titles[Kind.CLEAR, date(2027, 3, 15)] == "Clear: butterhead lettuce 2 boards raft 1-2"
    assert titles[Kind.FISH, date(2027, 3, 31)] == (
        "Fish: take 20 Nile tilapia 25 lb fish tank 1; fish tank 1 empty"
    )
    assert titles[Kind.WATER, date(2027, 3, 8)].startswith("Water: 6 tests; nitrate-N 32 mg/L")


def test_batches_of_one_crop_are_added_up_in_the_title():
    document = small_plan()
    one, other = batch_of(document, "B0001"), batch_of(document, "B0002")
    one["places"] = [{"name": "raft 1", "parts": 2}, {"name": "raft 4", "parts": 1}]
    other["cuts"] = [dict(one["cuts"][0])]
    other["clear"] = one["clear"]
    jobs = {job.kind: job for job in jobs_of(document) if job.day.isoformat() in titles_days(one)}
    assert jobs[Kind.CUT].title == "Cut 2: butterhead lettuce 112 heads raft 1, 3-4"
    assert jobs[Kind.CLEAR].title == "Clear 2: butterhead lettuce 3 boards raft 1, 3-4"
    assert len(jobs[Kind.CUT].lines) == 2


def titles_days(batch: BatchDoc) -> tuple[str, str]:
    return batch["cuts"][0]["date"], batch["clear"]


def test_titles_stay_short_with_the_longest_names():
    document = small_plan()
    for batch in document["batches"]:
        batch["zone"] = "north gravel" * 16
        batch["places"] = [
            {"name": f"{batch['zone']} {number}", "parts": 1} for number in range(1, 60, 2)
        ]
    for cohort in document["cohorts"]:
        cohort["tank"] = "the long tank " * 14 + "1"
    crops = {id: crop_row(id, f"{id} " * 20) for id in CROPS}
    jobs = jobs_of(document, crops=crops)
    assert max(len(job.title) for job in jobs) <= TITLE_LENGTH
    assert all(line.text for job in jobs for line in job.lines)


def steps_of(job: Job) -> set[str]:
    return {line.step for line in job.lines}


def test_cautions_stand_where_work_can_hurt():
    jobs = jobs_of(small_plan())
    cautions = {kind: {job.caution for job in jobs if job.kind is kind} for kind in Kind}
    assert cautions[Kind.SOW] == cautions[Kind.SET_OUT] == {""}
    orders = {job.caution for job in jobs if job.kind is Kind.FISH and {"order"} == steps_of(job)}
    assert len(orders) == 1  # nobody is in the water that day
    for caution in cautions[Kind.FISH] - orders:
        assert all(word in caution for word in ("spines", "wash your hands", "GFCI", "local law"))
    for caution in cautions[Kind.WATER]:
        assert all(word in caution for word in ("lime", "goggles", "licensed electrician"))
    for caution in cautions[Kind.CUT]:
        assert all(word in caution for word in ("wash hands", "local food code"))
    assert all("label" in caution for caution in cautions[Kind.CLEAR])
    assert not any("\n" in job.caution for job in jobs)


def test_what_the_law_says_on_a_fish_stands_on_the_days_it_is_ordered_and_comes():
    fish = [job for job in jobs_of(small_plan()) if job.kind is Kind.FISH]
    came = {job.day for job in fish if "A permit is common" in job.caution}
    assert came == {date(2027, 3, 10), date(2027, 3, 18), date(2027, 4, 8)}


def test_leaf_is_chilled_as_far_as_the_crop_bears_it():
    jobs = {job.day: job for job in jobs_of(small_plan(), units="us") if job.kind is Kind.CUT}
    lettuce, basil, both = (
        jobs[date(2027, 3, 11)].caution,
        jobs[date(2027, 3, 4)].caution,
        jobs[date(2027, 5, 21)].caution,
    )
    assert "to 41 °F or below" in lettuce
    assert "Genovese basil at 50 °F, not colder" in basil
    assert "41 °F" not in basil
    assert "41 °F" in both
    assert "50 °F" in both
    assert "°F" not in jobs[date(2027, 5, 6)].caution  # cherry tomatoes only


def test_a_crop_that_left_the_table_still_has_its_jobs():
    document = small_plan()
    document["crops"].pop("rosemary")
    bare = jobs_of(document, crops={}, fish={})
    full = jobs_of(document)
    assert [(job.day, job.kind) for job in bare] == [(job.day, job.kind) for job in full]
    texts = [line.text for job in bare for line in job.lines]
    assert any("butterhead lettuce" in text for text in texts)
    assert any("rosemary" in text for text in texts)


def test_places_that_are_not_named_yet_fall_back_on_the_zone():
    document = small_plan()
    batch_of(document, "B0003")["places"] = []
    assert only_line(document, Kind.SET_OUT, "B0003").place == "raft"
    assert only_line(document, Kind.CLEAR, "B0003").number == 4
