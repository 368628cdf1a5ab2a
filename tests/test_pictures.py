"""Where things stand in the page's pictures."""

import re
from collections import Counter
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.pictures import (
    Scale,
    TimeLine,
    columns_path,
    line_path,
    nice_step,
    staggered,
    steps_path,
)
from planner.placerows import BLOCK_PX, Stay, blocks, clashes

YEAR = TimeLine(start=date(2027, 1, 4), weeks=52)


def stay(
    batch: str, first: int, last: int, *, place: int = 1, parts: int = 1, cut: int | None = None
) -> Stay:
    """Return a stay from day `first` up to, not including, day `last` of the year."""
    day = YEAR.start + timedelta(days=first)
    cut_from = None if cut is None else YEAR.start + timedelta(days=cut)
    return Stay(
        batch=batch,
        place=place,
        parts=parts,
        start=day,
        end=YEAR.start + timedelta(days=last),
        cut_from=cut_from,
        cut_to=cut_from,
        name_letters=8,
    )


def test_day_is_held_within_the_line():
    assert YEAR.share(date(2026, 5, 1)) == 0
    assert YEAR.share(date(2029, 5, 1)) == 100
    assert YEAR.share(YEAR.start + timedelta(weeks=13)) == 25


def test_ticks_of_a_year_are_firsts_of_months():
    ticks = YEAR.ticks
    # the month that has begun, the eleven that follow, and a January too narrow for its name
    assert [t.text for t in ticks] == (
        ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec", ""]
    )
    assert [t.day for t in ticks[:3]] == [0, 28, 56]


@pytest.mark.parametrize("weeks", [4, 6, 16, 17, 52, 53, 60, 61, 104])
def test_labels_of_any_horizon_leave_room_for_each_other(weeks):
    ticks = [t for t in TimeLine(start=date(2027, 3, 1), weeks=weeks).ticks if t.text]
    assert len(ticks) >= 2
    # letters of 6 px on a phone of 330 px
    ends = [t.x / 100 * 330 + 6 * len(t.text) for t in ticks]
    assert all(end <= t.x / 100 * 330 for end, t in zip(ends, ticks[1:], strict=False))


def test_weeks_are_said_in_runs():
    assert YEAR.weeks_text([0]) == "week 1 (4 Jan)"
    assert YEAR.weeks_text([2, 1, 8]) == "weeks 2-3 (11 Jan to 24 Jan), week 9 (1 Mar)"
    assert YEAR.weeks_text([51]) == "week 52 (27 Dec)"
    assert YEAR.weeks_text(range(0, 20, 2), most=2) == (
        "week 1 (4 Jan), week 3 (18 Jan), and 8 more weeks"
    )


def test_year_is_written_when_it_is_another():
    assert YEAR.day_text(date(2028, 1, 2)) == "2 Jan 2028"


@given(st.floats(1e-6, 1e9), st.integers(2, 8))
def test_nice_step_parts_a_span_into_few(span, most):
    step = nice_step(span, most)
    assert span / most * 0.999 <= step
    assert span / step > most / 10.1
    assert f"{step:e}"[0] in "1259"


@given(st.lists(st.floats(-50, 5000), min_size=1, max_size=60), st.booleans())
def test_scale_holds_its_values(values, from_zero):
    scale = Scale.over(values, 100, from_zero=from_zero)
    assert scale.low <= min(values) + 1e-6
    assert scale.high >= max(values) - 1e-6
    assert scale.y(scale.low) == 100
    assert scale.y(scale.high) == 0
    assert 2 <= len(scale.rules) <= 7


def test_scale_writes_round_numbers():
    assert [rule.text for rule in Scale.over([37.0], 100).rules] == ["0", "10", "20", "30", "40"]
    assert [rule.text for rule in Scale.over([0.3], 100).rules] == ["0.0", "0.1", "0.2", "0.3"]
    assert Scale.over([-3.0, 3.0], 100).rules[0].text == "−4"


def test_steps_keep_one_level_a_week_and_gaps():
    scale = Scale(low=0, high=10, step=5, height=100)
    assert steps_path([10, 5, None, 0], scale) == "M0 0H7V50H14M21 100H28"
    assert steps_path([5, 5, 5], scale) == "M0 50H21"
    assert columns_path([5, 0, 2.5], scale) == "M1 100v-50h5v50m9 0v-25h5v25"
    assert columns_path([0.001], scale) == "M1 100v-1h5v1"


@given(st.lists(st.tuples(st.integers(0, 50), st.floats(0, 200)), min_size=1, max_size=60))
def test_a_path_in_steps_does_not_drift(rows):
    points = [(7.0 * week, px) for week, px in rows]
    first, _, rest = line_path(points).removeprefix("M").partition("l")
    x, y = (float(value) for value in first.split())
    steps = [float(value) for value in re.findall(r"-?[\d.]+", rest)]
    x += sum(steps[::2])
    y += sum(steps[1::2])
    assert (x, y) == pytest.approx(points[-1], abs=0.051)


def test_labels_do_not_collide():
    labels = staggered([(10, "in 4 Jan: 60 perch"), (12, "out 6 Jan: 20"), (99, "out 30 Dec: 40")])
    assert [label.y for label in labels] == [10, 22, 10]
    assert labels[-1].anchor == "end"


def different(places: int) -> list[Stay]:
    """Return a stay for each place, each of another batch."""
    return [stay(f"B{place}", 0, 364, place=place) for place in range(1, places + 1)]


def test_a_block_is_ten_rows():
    found = blocks(YEAR, different(23), places=23, parts=1, sanitation_days=1)
    assert [(b.first, b.last) for b in found] == [(1, 10), (11, 20), (21, 23)]
    assert found[0].height == 200
    assert found[0].used == 1


def test_neighbours_that_hold_the_same_all_through_share_a_row():
    stays = [stay("A", 0, 182, place=place) for place in (1, 2, 3, 4, 7)]
    stays += [stay("B", 200, 382, place=place) for place in (1, 2, 3)]
    stays += [stay("C", 10, 20, place=11, parts=1), stay("C", 10, 20, place=12, parts=2)]
    (block,) = blocks(YEAR, stays, places=14, parts=2, sanitation_days=1)
    assert [(row.first, row.last) for row in block.rows] == [
        *((1, 3), (4, 4), (5, 6), (7, 7), (8, 10), (11, 11), (12, 12), (13, 14))
    ]
    assert block.empty == ((5, 6), (8, 10), (13, 14))
    days = 5 * 182 + 3 * 164 + 10 + 2 * 10  # part-days of 14 places with 2 parts each
    assert block.used == pytest.approx(days / (14 * 2 * 364))


def test_a_vast_empty_zone_is_one_row():
    (block,) = blocks(YEAR, [], places=5000, parts=4, sanitation_days=1)
    assert [(row.first, row.last) for row in block.rows] == [(1, 5000)]
    assert (block.used, block.empty) == (0, ((1, 5000),))


@pytest.mark.parametrize("parts", range(1, 21))
def test_a_block_fits_on_a_sheet(parts):
    found = blocks(YEAR, different(12), places=12, parts=parts, sanitation_days=1)
    assert all(block.height <= BLOCK_PX for block in found)
    assert [row.first for block in found for row in block.rows] == list(range(1, 13))


def test_a_standing_batch_begins_at_the_left_edge():
    (block,) = blocks(YEAR, [stay("A", -20, 91)], places=1, parts=1, sanitation_days=1)
    (bar,) = block.rows[0].bars
    assert (bar.x, bar.width) == (0, 25)
    assert block.used == 0.25


def test_what_is_not_in_the_horizon_is_not_drawn():
    stays = [stay("A", -30, 0), stay("B", 364, 400)]
    (block,) = blocks(YEAR, stays, places=1, parts=1, sanitation_days=1)
    assert block.rows[0].bars == ()
    assert block.batches == 0


def test_cleaning_follows_clearing_and_the_foot_the_cut():
    (block,) = blocks(YEAR, [stay("A", 0, 50, cut=45)], places=1, parts=1, sanitation_days=3)
    assert block.gaps == "M50 1h3v18H50z"
    assert block.cuts == "M45 15h1v4H45z"


def test_a_batch_in_neighbouring_places_is_one_bar():
    stays = [stay("A", 0, 50, place=place) for place in (1, 2, 3, 5)]
    stays += [stay(f"B{place}", 300, 400, place=place) for place in (1, 2, 3)]
    (block,) = blocks(YEAR, stays, places=5, parts=1, sanitation_days=1)
    assert [[bar.rows for bar in row.bars] for row in block.rows] == [[3, 1], [1], [1], [], [1]]
    assert block.rows[0].bars[0].height == 58
    assert block.empty == ((4, 4),)


def test_parts_stand_in_lanes():
    stays = [stay("A", 0, 50, parts=2), stay("B", 0, 30), stay("C", 10, 40), stay("D", 31, 60)]
    (block,) = blocks(YEAR, stays, places=1, parts=4, sanitation_days=1)
    assert {bar.batch: (bar.y, bar.height) for bar in block.rows[0].bars} == {
        "A": (0, 27),
        "B": (28, 13),
        "C": (42, 13),
        "D": (28, 13),
    }


def test_overfull_place_is_named_with_its_first_day():
    stays = [stay("A", 0, 50, parts=2), stay("B", 50, 90, parts=2), stay("C", 60, 70)]
    assert clashes(stays[:2], 2) == ()
    assert clashes(stays, 2) == ((1, date(2027, 3, 5)),)
    (block,) = blocks(YEAR, stays, places=1, parts=2, sanitation_days=1)
    assert Counter(bar.batch for bar in block.rows[0].bars) == {"A": 1, "B": 1, "C": 1}


@given(
    st.lists(st.tuples(st.integers(-40, 350), st.integers(1, 80), st.integers(1, 4)), max_size=25),
    st.integers(1, 4),
)
def test_bars_never_lie_over_each_other_unless_the_place_is_overfull(rows, parts):
    stays: list[Stay] = []
    for number, (first, length, share) in enumerate(rows):
        new = stay(str(number), first, first + length, parts=min(share, parts))
        if not clashes([*stays, new], parts):
            stays.append(new)
    (block,) = blocks(YEAR, stays, places=1, parts=parts, sanitation_days=1)
    bars = block.rows[0].bars
    for index, one in enumerate(bars):
        assert 0 <= one.x <= one.x + one.width <= 100 + 1e-9
        for other in bars[index + 1 :]:
            apart_in_time = (
                one.x + one.width <= other.x + 1e-9 or other.x + other.width <= one.x + 1e-9
            )
            apart_in_lane = one.y + one.height <= other.y or other.y + other.height <= one.y
            assert apart_in_time or apart_in_lane
