"""Ranges and chances in words and as paths: nothing that a grower could read two ways."""

import re
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.pictures import Scale
from planner.ranges import (
    Range,
    cohort_ranges,
    days_range,
    feed_shares,
    field_path,
    fish_shares,
    percent,
    quantity_range,
    week_ranges,
    weight_range,
    whiskers_path,
    widest,
)
from tests.plandocs import small_plan

KG = st.floats(0, 5_000, allow_nan=False)


@pytest.mark.parametrize(
    ("kg", "units", "words"),
    [
        (Range(1.2, 1.8), "metric", "1.2 to 1.8 kg"),
        (Range(0.04, 0.2), "metric", "40 g to 0.2 kg"),
        (Range(0.0, 0.2), "metric", "up to 0.2 kg"),
        (Range(0.0, 0.0), "metric", "0 kg"),
        (Range(42.1, 42.2), "metric", "42 kg"),
        (Range(1042.0, 1251.0), "metric", "1,042 to 1,251 kg"),
        (Range(0.4, 0.6), "us", "14.1 oz to 1.32 lb"),
    ],
)
def test_a_range_of_weights_names_its_unit_once(kg, units, words):
    assert weight_range(kg, units) == words


@pytest.mark.parametrize(
    ("amount", "unit", "words"),
    [
        (Range(13.6, 20.4), "head", "14 to 20 heads"),
        (Range(0.6, 1.4), "bunch", "1 bunch"),
        (Range(0.7, 2.2), "bunch", "1 to 2 bunches"),
        (Range(0.2, 9.0), "head", "up to 9 heads"),
        (Range(0.1, 0.3), "head", "0 heads"),
        (Range(1.2, 1.8), "kg", "1.2 to 1.8 kg"),
    ],
)
def test_a_range_of_counts_is_in_whole_ones(amount, unit, words):
    assert quantity_range(amount, unit, "metric") == words


@given(low=KG, more=KG)
def test_the_lower_figure_is_never_above_the_upper(low, more):
    words = weight_range(Range(low, low + more), "metric")
    found = re.findall(r"([\d,.]+)( k?g)?", words)
    sizes = [
        float(number.replace(",", "")) / (1000 if unit == " g" else 1) for number, unit in found
    ]
    if len(sizes) == 2 and found[0][1] == "":
        sizes[0] /= 1000 if found[1][1] == " g" else 1
    assert sizes == sorted(sizes)
    assert words.count("kg") + words.replace("kg", "").count(" g") <= 2


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        (date(2027, 3, 3), date(2027, 3, 9), "3 to 9 Mar"),
        (date(2027, 2, 28), date(2027, 3, 2), "28 Feb to 2 Mar"),
        (date(2027, 12, 30), date(2028, 1, 2), "30 Dec to 2 Jan"),
        (date(2027, 3, 3), date(2028, 3, 9), "3 Mar to 9 Mar"),
        (date(2027, 3, 3), date(2027, 3, 3), "3 Mar"),
        (date(2027, 3, 3), None, "3 Mar or later"),
    ],
)
def test_days_from_first_to_last(first, last, words):
    assert days_range(first, last) == words


@given(st.floats(0, 1))
def test_a_chance_is_never_said_to_be_certain_or_impossible(chance):
    words = percent(chance)
    assert words not in ("0%", "100%")
    if words[0].isdigit():
        assert abs(float(words[:-1]) / 100 - chance) <= 0.005 + 1e-9
    else:
        assert words == ("over 99%" if chance > 0.5 else "under 1%")


def test_without_a_forecast_there_is_nothing_to_look_up():
    document = small_plan()
    found = (week_ranges, cohort_ranges, fish_shares, feed_shares)
    assert [read(document) for read in found] == [{}, {}, {}, {}]


def test_shares_are_of_the_plans_own_figures():
    document = small_plan(forecast=True)
    shares = feed_shares(document)
    fed = {week["week"] for week in document["weeks"] if week["feed_kg"] > 0}
    assert shares.keys() == fed
    assert all(share == pytest.approx((0.85, 1.15)) for share in shares.values())
    grown = fish_shares(document)
    assert len(grown) == sum(len(cohort["weeks"]) for cohort in document["cohorts"])
    assert all(share == pytest.approx((0.9, 1.1)) for share in grown.values())


def test_the_widest_of_ranges_holds_them_all():
    assert widest([Range(2, 3), Range(1, 2.5), Range(2.2, 4)]) == Range(1, 4)
    assert widest(iter(())) is None


SCALE = Scale(low=0.0, high=10.0, step=5.0, height=100.0)


def test_a_field_runs_forth_over_the_top_and_back_below():
    path = field_path([(0, 50.0), (7, 60.0)], [(0, 50.0), (7, 20.0)])
    assert path == "M0 50l7-30 0 40-7-10z"
    assert field_path([], []) == ""


@given(
    st.lists(st.none() | st.tuples(st.integers(0, 10), st.integers(0, 10)).map(sorted), max_size=60)
)
def test_every_whisker_stands_in_its_week_from_low_to_high(pairs):
    ranges = [None if pair is None else Range(*pair) for pair in pairs]
    path = whiskers_path(ranges, SCALE)
    x = y = 0.0
    drawn = []
    for letter, rest in re.findall(r"([Mmv])([^Mmv]*)", path):
        numbers = [float(n) for n in re.findall(r"-?[\d.]+", rest)]
        if letter == "v":
            drawn.append((x, y, y + numbers[0]))
            y += numbers[0]
        else:
            x, y = (numbers[0], numbers[1]) if letter == "M" else (x + numbers[0], y + numbers[1])
    assert drawn == [
        (7 * week + 3.5, 100 - 10 * one.low, 100 - 10 * one.high)
        for week, one in enumerate(ranges)
        if one is not None and one.high > one.low
    ]
