"""What ranges and chances are said to be, and that every size of spread is told with its source."""

from dataclasses import fields

from planner.rangetexts import SPREAD_WORDS, range_notes, spread_table
from planner.spread import Spread, spread_rows
from tests.plandocs import small_plan


def test_a_plan_without_a_forecast_says_so():
    (note,) = range_notes(small_plan())
    assert "no forecast" in note


def test_notes_say_what_a_range_holds_and_what_it_leaves_out():
    text = " ".join(range_notes(small_plan(forecast=True)))
    for said in ("eight of ten", "2,000 drawn seasons", "weather.csv", "Not in the ranges"):
        assert said in text
    for left_out in ("steers", "pests and diseases", "fail"):
        assert left_out in text.partition("Not in the ranges")[2]


def test_notes_say_whether_records_have_told_anything():
    document = small_plan(forecast=True)
    assert "No record has changed the tables yet" in " ".join(range_notes(document))
    document["learned"] = {"radish/media_bed": {"days": 1.1}}
    assert "changed the tables for 1 crop or fish" in " ".join(range_notes(document))


def test_every_size_of_spread_has_words_and_a_basis():
    assert SPREAD_WORDS.keys() == {field.name for field in fields(Spread)}
    table, rows = spread_table(), spread_rows()
    assert len(table.rows) == len(rows)
    for (what, size, basis), row in zip(table.rows, rows, strict=True):
        assert what == SPREAD_WORDS[row.key]
        assert basis == ("judgement" if not row.source else f"{row.basis}: {row.source}")
        assert any(sign.isdigit() for sign in size)


def test_sizes_are_said_in_their_own_measure():
    sizes = dict(zip((row.key for row in spread_rows()), spread_table().rows, strict=True))
    assert sizes["season_memory_weeks"][1] == "13 weeks"
    assert sizes["week_growth"][1] == "± 10%"
    assert sizes["yield_season_share"][1] == "50%"
    assert sizes["germination"][1] == "± 5 points"
    assert sizes["loss_batch"][1] == "± 80%"
