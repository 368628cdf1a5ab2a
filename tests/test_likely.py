"""What the forecast says of cuts, fish and nitrate in the jobs: short, and as now without one."""

from datetime import date

import pytest

from planner.document import BatchDoc, PlanDoc
from planner.jobs import TITLE_LENGTH
from planner.likely import cut_amount, likely_cut
from planner.tasks import Job, Kind, dated
from tests.plandocs import CROPS, FISH, small_plan


def jobs_of(document: PlanDoc, units: str = "metric") -> tuple[Job, ...]:
    return dated(document, crops=CROPS, fish=FISH, units="us" if units == "us" else "metric")


def texts(document: PlanDoc, kind: Kind, batch: str, units: str = "metric") -> list[str]:
    return [
        line.text
        for job in jobs_of(document, units)
        if job.kind is kind
        for line in job.lines
        if line.batch == batch
    ]


def batch_of(document: PlanDoc, id: str) -> BatchDoc:
    return next(batch for batch in document["batches"] if batch["id"] == id)


def test_a_first_cut_says_how_many_and_which_days():
    """56 heads, a fifth less or more is 44.8 to 67.2; from 11 March, up to four days late."""
    assert texts(small_plan(forecast=True), Kind.CUT, "B0001") == [
        "Cut all: butterhead lettuce, 2 boards raft 1-2, 56 heads (14 kg), "
        "likely 45 to 67 heads, 11 to 15 Mar"
    ]


def test_later_cuts_say_how_much_alone():
    first, *later = texts(small_plan(forecast=True), Kind.CUT, "B0005")
    assert first.endswith("1.5 kg, likely 1.2 to 1.8 kg, 7 to 11 May")
    assert later[0].endswith("1.8 kg, likely 1.44 to 2.2 kg")
    assert [text.count("likely") for text in later] == [1, 1, 1]


def test_a_weeks_range_is_shared_out_to_its_days():
    """10.5 kg of a week, 6 and 4.5 of them: 24 and 18 heads, each a fifth less or more."""
    one, other = texts(small_plan(forecast=True), Kind.CUT, "B0002")
    assert one.endswith("24 heads (6 kg), likely 19 to 29 heads, 15 to 19 Apr")
    assert other.endswith("18 heads (4.5 kg), likely 14 to 22 heads")


def test_units_are_those_of_the_farm():
    (text, *_) = texts(small_plan(forecast=True), Kind.CUT, "B0005", units="us")
    assert text.endswith("3.3 lb, likely 2.6 to 4 lb, 7 to 11 May")


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (0.0, 15.0, "likely up to 60 heads"),
        (0.0, 0.0, "likely none yet"),
        (14.0, 14.0, ""),
        (13.95, 14.05, ""),
        (12.5, 12.5, "likely 50 heads"),
    ],
)
def test_what_a_range_comes_to_in_words(low, high, words):
    batch = batch_of(small_plan(forecast=True), "B0001")
    batch["harvest"][0]["kg_p10"], batch["harvest"][0]["kg_p90"] = low, high
    crop = CROPS["lettuce_butterhead"]
    assert likely_cut(batch, batch["cuts"][0], crop, "metric", first=False) == words


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        ("2027-03-11", "2027-03-11", "likely 45 to 67 heads"),
        ("2027-03-11", None, "likely 45 to 67 heads, 11 Mar or later"),
        (None, None, "likely 45 to 67 heads"),
    ],
)
def test_days_are_said_when_they_are_more_than_one(first, last, words):
    batch = batch_of(small_plan(forecast=True), "B0001")
    batch["first_harvest_p10"], batch["first_harvest_p90"] = first, last
    crop = CROPS["lettuce_butterhead"]
    assert likely_cut(batch, batch["cuts"][0], crop, "metric", first=True) == words


def test_less_than_half_a_head_is_weighed_with_its_range():
    batch = batch_of(small_plan(forecast=True), "B0001")
    batch["harvest"][0] |= {"kg": 0.1, "kg_p10": 0.05, "kg_p90": 0.12}
    cut, crop = {"date": "2027-03-11", "kg": 0.1}, CROPS["lettuce_butterhead"]
    assert cut_amount(cut, crop, "metric") == (0.1, "kg", "0.1 kg")
    assert likely_cut(batch, cut, crop, "metric", first=False) == "likely 50 g to 0.12 kg"


def test_without_a_forecast_every_text_is_as_it_was():
    plain = [line.text for job in jobs_of(small_plan()) for line in job.lines]
    foretold = [line.text for job in jobs_of(small_plan(forecast=True)) for line in job.lines]
    assert not any("likely" in text for text in plain)
    assert len(plain) == len(foretold)
    assert sum("likely" in text for text in foretold) > 30
    for before, after in zip(plain, foretold, strict=True):
        assert after == before or after.startswith(before[:20])


def test_titles_keep_the_planned_amount_and_their_length():
    before, after = (jobs_of(small_plan(forecast=told)) for told in (False, True))
    assert [job.title for job in before] == [job.title for job in after]
    assert max(len(job.title) for job in after) <= TITLE_LENGTH
    assert [[line.number for line in job.lines] for job in before] == [
        [line.number for line in job.lines] for job in after
    ]


def test_fish_to_be_taken_and_nitrate_have_their_ranges():
    document = small_plan(forecast=True)
    take = texts(document, Kind.FISH, "C01")[0]
    assert take == "Take 20 Nile tilapia, 10.4 kg, likely 9.4 to 11.5 kg, from fish tank 1"
    water = next(job for job in jobs_of(document) if job.kind is Kind.WATER)
    nitrate = document["weeks"][0]["nitrate_n_mg_l"]
    assert water.day == date(2027, 3, 3)
    said = f"(likely {0.7 * nitrate:.0f} to {1.3 * nitrate:.0f}, band 5 to 60)"
    assert water.lines[1].text.endswith(said)
