"""Growth, survival and feed of fish: limit cases and properties."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.fish import (
    course,
    days_to_market,
    effective_temperature_c,
    grow_g,
    growout_days,
    growth_coefficient,
    lethal,
    survival,
    weeks_below_feeding,
)
from planner.tables import load_fish

NILE = load_fish()["tilapia_nile"]

water_days = st.lists(st.floats(-2, 45), min_size=1, max_size=60)


def test_gate_is_the_water_itself_in_the_best_range():
    water = np.array([27.0, 28.0, 29.5, 30.0])
    assert effective_temperature_c(water, NILE) == pytest.approx(water, abs=1e-12)


def test_gate_is_nothing_at_both_ends_and_beyond():
    assert not effective_temperature_c([-5.0, 16.0, 17.0, 36.0, 40.0], NILE).any()


def test_gate_has_no_jump():
    water = np.linspace(15, 38, 23_001)
    assert np.abs(np.diff(effective_temperature_c(water, NILE))).max() < 0.006


def test_gate_keeps_the_shape_and_equals_its_single_values():
    water = np.array([[10.0, 20.0, 25.0], [28.0, 33.0, 50.0]])
    gated = effective_temperature_c(water, NILE)
    single = [[float(effective_temperature_c(value, NILE)) for value in row] for row in water]
    assert gated.shape == (2, 3)
    assert gated == pytest.approx(np.array(single), rel=1e-12)


def test_gate_refuses_temperatures_that_do_not_rise():
    with pytest.raises(ValueError, match="must rise"):
        effective_temperature_c(20.0, replace(NILE, temp_max_c=29.0))


def test_no_days_no_growth():
    assert grow_g(NILE, 80.0, []).tolist() == [80.0]


def test_cold_fish_keep_their_weight_exactly():
    assert grow_g(NILE, 81.7, [16.0] * 30).tolist() == [81.7] * 31


def test_growth_in_two_spells_is_growth_in_one():
    water = np.linspace(18, 30, 40)
    whole = grow_g(NILE, 50.0, water)
    first = grow_g(NILE, 50.0, water[:25])
    second = grow_g(NILE, float(first[-1]), water[25:])
    assert np.concatenate((first, second[1:])) == pytest.approx(whole, rel=1e-12)


def test_cube_root_rises_evenly_in_even_water():
    steps = np.diff(np.cbrt(grow_g(NILE, 50.0, [28.0] * 100)))
    assert steps == pytest.approx(0.028, rel=1e-9)


def test_growth_refuses_no_weight_and_no_coefficient():
    with pytest.raises(ValueError, match="start_g"):
        grow_g(NILE, 0.0, [28.0])
    with pytest.raises(ValueError, match="tilapia_nile: no growth coefficient"):
        grow_g(replace(NILE, tgc_per_1000_degree_days=None), 50.0, [28.0])


def test_coefficient_gives_back_what_the_growth_was_made_with():
    weight = grow_g(NILE, 50.0, [28.0] * 90)
    assert growth_coefficient(50.0, float(weight[-1]), 28.0 * 90) == pytest.approx(1.0, rel=1e-9)
    with pytest.raises(ValueError, match="degree_days"):
        growth_coefficient(50.0, 100.0, 0.0)


def test_days_to_market_is_the_first_day_at_weight():
    weight = grow_g(NILE, 50.0, [28.0] * 200)
    day = days_to_market(NILE, weight)
    assert day is not None
    assert weight[day - 1] < NILE.market_g <= weight[day]
    assert days_to_market(NILE, weight[:day]) is None


def test_growout_days_agree_with_growth_in_even_water():
    water = [28.0] * 300
    day = days_to_market(NILE, grow_g(NILE, NILE.fingerling_g, water))
    assert day == np.ceil(growout_days(NILE, water))


def test_fish_that_stand_cold_do_not_live_the_longer():
    coldest = growout_days(NILE, [10.0] * 365)
    assert coldest == growout_days(NILE, []) == growout_days(NILE, [17.5] * 365)
    assert coldest == pytest.approx(3 * growout_days(NILE, [27.0]), rel=1e-12)


def test_survival_is_the_tables_at_the_end_of_growout():
    alive = survival(NILE, 200, 100.0)
    assert alive[0] == 1.0
    assert alive[100] == pytest.approx(0.95, rel=1e-12)
    assert alive[200] == pytest.approx(0.95**2, rel=1e-12)
    with pytest.raises(ValueError, match="growout_days"):
        survival(NILE, 10, 0.0)


def test_course_without_deaths_feeds_the_whole_gain():
    fish = replace(NILE, survival_growout_fraction=1.0)
    run = course(fish, 50.0, np.linspace(15, 31, 120))
    assert run.alive.tolist() == [1.0] * 121
    assert run.gain_g.sum() == pytest.approx(run.weight_g[-1] - 50.0, rel=1e-9)
    assert run.feed_g.sum() == pytest.approx(1.7 * (run.weight_g[-1] - 50.0), rel=1e-9)


def test_course_feeds_only_the_living():
    run = course(NILE, 50.0, [28.0] * 100, survival_days=50.0)
    assert run.weight_g.size == run.alive.size == 101
    assert run.feed_g.size == run.gain_g.size == 100
    assert run.alive[50] == pytest.approx(0.95, rel=1e-12)
    assert run.feed_g[50] == pytest.approx(
        1.7 * 0.95 * (run.weight_g[51] - run.weight_g[50]), rel=1e-9
    )


def test_weeks_below_feeding_are_counted_by_their_mean():
    water = [16.0] * 7 + [16.0, 19.0] * 3 + [18.0] + [17.0] * 7 + [5.0] * 2
    assert weeks_below_feeding(NILE, water) == 3
    assert weeks_below_feeding(NILE, []) == 0


def test_lethal_water_is_below_the_lower_limit_or_at_the_upper():
    assert not lethal(NILE, [12.0, 20.0, 35.9])
    assert lethal(NILE, [20.0, 11.9])
    assert lethal(NILE, [20.0, 36.0])
    assert not lethal(NILE, [])


@settings(deadline=None, max_examples=60)
@given(water=water_days, start_g=st.floats(0.5, 2000))
def test_weight_never_falls_and_feed_follows_the_gain(water, start_g):
    run = course(NILE, start_g, water)
    assert (np.diff(run.weight_g) >= -1e-9 * start_g).all()
    assert (run.feed_g >= -1e-9 * start_g).all()
    assert run.feed_g == pytest.approx(NILE.fcr * run.gain_g)
    assert (np.diff(run.alive) <= 0).all()


@settings(deadline=None, max_examples=60)
@given(water=st.lists(st.floats(-2, 17), min_size=1, max_size=40))
def test_no_feed_in_water_too_cold_to_feed(water):
    assert not course(NILE, 100.0, water).feed_g.any()


@settings(deadline=None, max_examples=60)
@given(water=st.lists(st.floats(10, 29), min_size=1, max_size=60), warmer_k=st.floats(0, 1))
def test_warmer_water_below_the_best_never_grows_less(water, warmer_k):
    cool = grow_g(NILE, 50.0, water)
    warm = grow_g(NILE, 50.0, np.array(water) + warmer_k)
    assert (warm >= cool - 1e-9).all()
