"""Growth of one plant: progress, harvests and nitrogen, limit cases and properties."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.crops import (
    FRUITING,
    HEADING,
    LEAFY,
    LONGEST_STAND,
    GrowthModel,
    doubts,
    logistic_share,
    progress_per_day,
    uptake_shape,
)
from planner.environment import daily, zone_air_c, zone_dli_mol
from planner.farmfile import read_farm
from planner.tables import load_crops
from tests.farms import write_small_farm

CROPS = load_crops()
LETTUCE = CROPS["lettuce_butterhead"]
CHARD = CROPS["swiss_chard"]
TOMATO = CROPS["tomato_cherry_indet"]
YEARS = 1000  # days of a series, more than any stand but a perennial's two years
SET_OUT = 40

crop_ids = st.sampled_from(sorted(CROPS))


def in_climate(crop, air_c, dli_mol):
    """A crop in a climate given by day, or the same every day."""
    days = max(np.size(air_c), np.size(dli_mol))
    days = YEARS if days == 1 else days
    air_c, dli_mol = (
        np.broadcast_to(np.asarray(series, dtype=float), days).copy() for series in (air_c, dli_mol)
    )
    return GrowthModel(crop=crop, progress=progress_per_day(crop, air_c, dli_mol), dli_mol=dli_mol)


def at_reference(crop):
    return in_climate(crop, crop.ref_temp_c, crop.dli_target_mol)


def one_day(crop, air_c, dli_mol):
    return float(progress_per_day(crop, np.array([air_c]), np.array([dli_mol]))[0])


# --- progress ---------------------------------------------------------------------------------


@pytest.mark.parametrize("crop", CROPS.values(), ids=lambda crop: crop.id)
def test_progress_of_every_crop(crop):
    """One a day at the table's climate, none below growth_min, no more above opt_high."""
    target = crop.dli_target_mol
    assert one_day(crop, crop.ref_temp_c, target) == pytest.approx(1.0, rel=1e-12)
    assert one_day(crop, crop.growth_min_c - 0.01, target) == 0.0
    assert one_day(crop, crop.base_temp_c - 3, target) == 0.0
    most = (crop.growth_opt_high_c - crop.base_temp_c) / (crop.ref_temp_c - crop.base_temp_c)
    for air_c in (crop.growth_opt_high_c, crop.growth_max_c, crop.growth_max_c + 10):
        assert one_day(crop, air_c, target) == pytest.approx(most, rel=1e-12)


def test_growth_begins_at_growth_min_not_below():
    assert LETTUCE.base_temp_c < LETTUCE.growth_min_c
    expected = (LETTUCE.growth_min_c - LETTUCE.base_temp_c) / (
        LETTUCE.ref_temp_c - LETTUCE.base_temp_c
    )
    assert one_day(LETTUCE, LETTUCE.growth_min_c, 17) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("share", "factor"), [(0.0, 0.4), (0.2, 0.4), (0.4, 0.4), (0.5, 0.5), (1.0, 1.0), (3.0, 1.0)]
)
def test_light_slows_growth_to_two_fifths_at_most(share, factor):
    light = share * LETTUCE.dli_target_mol
    assert one_day(LETTUCE, LETTUCE.ref_temp_c, light) == pytest.approx(factor)


def test_light_exponent_bends_the_answer_to_light():
    steep, flat = replace(LETTUCE, light_exponent=2.0), replace(LETTUCE, light_exponent=0.0)
    half = LETTUCE.dli_target_mol / 2
    assert one_day(steep, LETTUCE.ref_temp_c, half) == pytest.approx(0.25)
    assert one_day(steep, LETTUCE.ref_temp_c, 0) == pytest.approx(0.16)
    assert one_day(flat, LETTUCE.ref_temp_c, 0) == pytest.approx(1.0)


def test_series_equal_their_single_days():
    air_c, light = np.linspace(-5, 35, 30), np.linspace(0, 30, 30)[::-1]
    single = [one_day(LETTUCE, a, d) for a, d in zip(air_c, light, strict=True)]
    assert progress_per_day(LETTUCE, air_c, light).tolist() == single


# --- nitrogen curve ---------------------------------------------------------------------------


@pytest.mark.parametrize("shape", [LEAFY, HEADING, FRUITING])
def test_logistic_runs_from_nothing_to_all(shape):
    x = np.linspace(0, 1, 201)
    share = logistic_share(x, shape)
    assert share[0] == 0.0
    assert share[-1] == 1.0
    assert (np.diff(share) > 0).all()
    assert logistic_share(np.array([-2.0, 5.0]), shape).tolist() == [0.0, 1.0]


def test_logistic_of_fruiting_crops_is_even_about_its_middle():
    x = np.linspace(0, 0.5, 20)
    assert logistic_share(1 - x, FRUITING) == pytest.approx(1 - logistic_share(x, FRUITING))


def test_shape_is_by_the_kind_of_crop():
    shapes = {id: uptake_shape(crop) for id, crop in CROPS.items()}
    heading = {id for id, shape in shapes.items() if shape == HEADING}
    assert heading == {"cabbage", "chinese_cabbage", "broccoli", "cauliflower", "kohlrabi"}
    fruiting = {id for id, shape in shapes.items() if shape == FRUITING}
    assert fruiting == {id for id, crop in CROPS.items() if crop.harvest_kind == "picking"}


# --- harvests at the table's climate ----------------------------------------------------------


@pytest.mark.parametrize("crop", CROPS.values(), ids=lambda crop: crop.id)
def test_full_course_gives_the_tables_yield_and_takes_its_nitrogen(crop):
    """For perennials both at the table's rate, which is for 240 days."""
    growth = at_reference(crop).growth(SET_OUT)
    assert growth is not None
    assert growth.ripe_day == SET_OUT + crop.days_to_harvest
    assert (growth.uptake_g_n >= 0).all()
    assert list(growth.cut_days) == sorted(set(growth.cut_days))
    assert growth.cut_days[0] == growth.ripe_day
    assert growth.cut_days[-1] <= growth.last_day
    if crop.harvest_kind == "perennial":
        every = crop.regrowth_interval_days
        assert np.diff(growth.cut_days).tolist() == [every] * (len(growth.cut_days) - 1)
        kilograms = np.array(growth.cut_kg)
        assert kilograms / every * 240 == pytest.approx(crop.yield_kg_per_plant)
        after = growth.uptake_g_n[growth.ripe_day - SET_OUT :]
        assert after * 240 == pytest.approx(crop.n_uptake_g_per_plant)
        assert len(after) == growth.last_day - growth.ripe_day
        renewed = SET_OUT + crop.renew_after_days
        assert renewed - every < growth.last_day <= renewed
    else:
        assert sum(growth.cut_kg) == pytest.approx(crop.yield_kg_per_plant, rel=1e-9)
        assert growth.uptake_g_n.sum() == pytest.approx(crop.n_uptake_g_per_plant, rel=1e-9)
        window = crop.harvest_window_days
        assert growth.last_day <= SET_OUT + crop.days_to_harvest + window
        assert growth.last_day - growth.ripe_day > window - max(1, crop.regrowth_interval_days)


def test_cuts_stand_a_regrowth_apart_and_are_equal():
    growth = at_reference(CHARD).growth(SET_OUT)
    assert set(np.diff(growth.cut_days)) == {CHARD.regrowth_interval_days}
    assert len(growth.cut_days) == 1 + CHARD.harvest_window_days // CHARD.regrowth_interval_days
    assert set(growth.cut_kg) == {CHARD.yield_kg_per_plant / len(growth.cut_days)}


def test_a_batch_cleared_after_a_cut_has_taken_the_nitrogen_of_its_cuts():
    """Cuts not taken bring nothing and take nothing."""
    growth = at_reference(CHARD).growth(SET_OUT)
    share = CHARD.n_uptake_g_per_plant / len(growth.cut_days)
    for number, day in enumerate(growth.cut_days, start=1):
        assert growth.uptake_until(day).sum() == pytest.approx(number * share)
    assert growth.uptake_until(SET_OUT).size == 0
    assert growth.uptake_until(0).size == 0


def test_fruit_is_picked_weekly_to_the_end_of_its_window():
    growth = at_reference(TOMATO).growth(SET_OUT)
    assert set(np.diff(growth.cut_days)) == {7}
    assert growth.last_day == growth.ripe_day + TOMATO.harvest_window_days
    assert growth.last_day - 7 <= growth.cut_days[-1] < growth.last_day
    weekly = TOMATO.yield_kg_per_plant * 7 / TOMATO.harvest_window_days
    assert growth.cut_kg[:-1] == pytest.approx([weekly] * (len(growth.cut_kg) - 1))


# --- harvests in other climates ---------------------------------------------------------------


def test_lettuce_takes_four_weeks_in_may_and_nine_in_december(tmp_path):
    """In Duluth's light under 60 % cover at an 18 °C set point, without lamps.

    In December 9 weeks is the middle of the month's end and a week or so more at its start, when
    the darkest weeks are all still to come.
    """
    old = "set_points = [15, 15, 16, 17, 18, 19, 20, 20, 18, 17, 15, 15]"
    folder = write_small_farm(tmp_path / "farm", farm_toml={old: "set_points = 18"})
    inputs = read_farm(folder)
    environment = daily(inputs.farm, inputs.station, date(2027, 1, 1), 500)
    zone = inputs.farm.zones[1]
    assert zone.lamps_umol == 0
    light = zone_dli_mol(environment, zone)
    model = in_climate(LETTUCE, zone_air_c(environment, zone), light)

    def weeks(month):
        days = [date(2027, month, 1) + timedelta(days=n) for n in range(0, 30, 3)]
        starts = [environment.index(day) for day in days]
        return np.array([(model.growth(start).ripe_day - start) / 7 for start in starts])

    may, december = weeks(5), weeks(12)
    assert ((may > 3.5) & (may < 4.5)).all()
    assert december.min() == pytest.approx(9, abs=0.75)
    assert december.mean() == pytest.approx(9, abs=1.5)
    assert december.mean() / may.mean() > 2


@settings(deadline=None, max_examples=60)
@given(
    id=crop_ids,
    mean_c=st.floats(8, 26),
    swing_c=st.floats(0, 8),
    light=st.floats(2, 30),
    phase=st.integers(0, 364),
)
def test_nitrogen_goes_with_the_harvest_in_any_climate(id, mean_c, swing_c, light, phase):
    """No more than the table's, and of a crop in cuts the share taken up is the share cut.

    Fruit in enough light too: the whole yield has the whole nitrogen, a part no more than its own
    share and what built the plant.
    """
    crop = CROPS[id]
    wave = np.sin((np.arange(YEARS) + phase) / 365 * 2 * np.pi)
    growth = in_climate(crop, mean_c + swing_c * wave, light * (1 + 0.5 * wave)).growth(SET_OUT)
    if growth is None:
        return
    assert (growth.uptake_g_n >= 0).all()
    assert min(growth.cut_kg) >= 0
    cut = sum(growth.cut_kg) / crop.yield_kg_per_plant
    taken = growth.uptake_g_n.sum() / max(crop.n_uptake_g_per_plant, 1e-12)
    if crop.n_uptake_g_per_plant == 0:
        assert taken == 0
    elif crop.harvest_kind != "picking":
        assert taken == pytest.approx(cut, rel=1e-9)
    else:
        assert cut <= 1 + 1e-9
        assert taken <= 1 + 1e-9
        if cut > 1 - 1e-9:
            assert taken == pytest.approx(1, rel=1e-6)
    if crop.harvest_kind != "perennial":
        assert cut <= 1 + 1e-9
        stands = growth.last_day - SET_OUT
        assert stands <= LONGEST_STAND * (crop.days_to_harvest + crop.harvest_window_days)
    else:
        assert growth.last_day - SET_OUT <= crop.renew_after_days


@pytest.mark.parametrize("crop", CROPS.values(), ids=lambda crop: crop.id)
@pytest.mark.parametrize("warmth", [0.34, 0.6, 0.9, 1.1])
def test_nothing_stands_longer_than_three_times_the_tables_days(crop, warmth):
    air_c = crop.base_temp_c + warmth * (crop.ref_temp_c - crop.base_temp_c)
    longest = LONGEST_STAND * (crop.days_to_harvest + crop.harvest_window_days)
    if crop.harvest_kind == "perennial":
        longest = crop.renew_after_days
    crop = replace(crop, growth_min_c=crop.base_temp_c)
    for light in (0.0, crop.dli_target_mol):
        growth = in_climate(crop, air_c, light).growth(SET_OUT)
        if growth is not None:
            assert SET_OUT < growth.ripe_day <= growth.last_day <= SET_OUT + longest
            assert growth.cut_days[-1] <= growth.last_day
            assert len(growth.uptake_g_n) <= growth.last_day - SET_OUT


def test_never_ripe_is_none():
    assert in_climate(LETTUCE, LETTUCE.growth_min_c - 1, 17).growth(SET_OUT) is None
    # 30 progress days at 0.4 × 0.6 a day take 125 days; three times 30 + 7 days is 111
    cool_c = LETTUCE.base_temp_c + 0.6 * (LETTUCE.ref_temp_c - LETTUCE.base_temp_c)
    assert in_climate(LETTUCE, cool_c, 0).growth(SET_OUT) is None
    assert in_climate(LETTUCE, LETTUCE.ref_temp_c, 0).growth(SET_OUT).ripe_day == SET_OUT + 75


def test_not_ripe_within_the_days_given_is_none():
    light = np.full(100, 17.0)
    model = in_climate(LETTUCE, LETTUCE.ref_temp_c, light)
    assert model.growth(69).ripe_day == 99
    assert model.growth(70) is None
    assert model.growth(99) is None


def test_a_crop_cut_once_holds_its_window_and_no_longer():
    growth = at_reference(LETTUCE).growth(SET_OUT)
    assert growth.last_day - growth.ripe_day == LETTUCE.harvest_window_days
    slow_c = LETTUCE.base_temp_c + 0.35 * (LETTUCE.ref_temp_c - LETTUCE.base_temp_c)
    slow = in_climate(LETTUCE, slow_c, 17).growth(SET_OUT)
    assert slow is None or slow.last_day <= SET_OUT + 3 * (30 + 7)
    late = in_climate(replace(LETTUCE, growth_min_c=4), 4 + 30 / 108 * 14.5, 17).growth(SET_OUT)
    assert late.ripe_day == SET_OUT + 108
    assert late.last_day == SET_OUT + 3 * (30 + 7)


def test_a_known_first_cut_is_the_ripe_day_of_every_kind():
    for crop in (LETTUCE, CHARD, CROPS["mint"]):
        early = SET_OUT + crop.days_to_harvest - 6
        growth = at_reference(crop).growth(SET_OUT, early)
        whole = at_reference(crop).growth(SET_OUT)
        assert growth.ripe_day == growth.cut_days[0] == early
        assert set(growth.cut_kg) == set(whole.cut_kg)
        assert len(growth.cut_kg) >= len(whole.cut_kg)
        assert growth.uptake_g_n.sum() == pytest.approx(
            crop.n_uptake_g_per_plant * sum(growth.cut_kg) / crop.yield_kg_per_plant
        )


@pytest.mark.parametrize("id", ["tomato_cherry_indet", "strawberry_day_neutral"])
@pytest.mark.parametrize("shift", [-20, 0, 15])
def test_fruit_whose_first_pick_is_known_takes_its_whole_nitrogen(id, shift):
    crop = CROPS[id]
    first_cut = SET_OUT + crop.days_to_harvest + shift
    growth = at_reference(crop).growth(SET_OUT, first_cut)
    assert growth.ripe_day == first_cut
    assert sum(growth.cut_kg) == pytest.approx(crop.yield_kg_per_plant)
    assert growth.uptake_g_n.sum() == pytest.approx(crop.n_uptake_g_per_plant)


@pytest.mark.parametrize("id", ["tomato_cherry_indet", "strawberry_day_neutral", "viola"])
def test_no_picks_after_four_weeks_of_little_light(id):
    """The light of the 28 days before a pick decides; a lost pick takes no nitrogen either."""
    crop = CROPS[id]
    light = np.full(YEARS, crop.dli_target_mol)
    dark = slice(SET_OUT + crop.days_to_harvest + 20, SET_OUT + crop.days_to_harvest + 60)
    light[dark] = crop.dli_min_mol / 2
    growth = in_climate(crop, crop.ref_temp_c, light).growth(SET_OUT)
    lost = []
    for day, kilograms in zip(growth.cut_days, growth.cut_kg, strict=True):
        little = light[day - 28 : day].mean() < crop.dli_min_mol
        assert (kilograms == 0) == little
        week = growth.uptake_g_n[day - SET_OUT : day - SET_OUT + 7]
        assert (week.sum() == 0) == little
        lost.append(little)
    assert any(lost)
    assert not all(lost)
    assert not lost[0]
    assert not lost[-1]


def test_light_of_the_picking_day_comes_too_late():
    """Every day a little under the least, but for a bright one: the pick itself, or the day before.

    On the day before it lifts the mean of the 28 days; on the day of the pick it does not.
    """
    dull = TOMATO.dli_min_mol * 0.99
    ripe = in_climate(TOMATO, TOMATO.ref_temp_c, dull).growth(SET_OUT).ripe_day
    bright = TOMATO.dli_min_mol * 2
    for day, bears in ((ripe - 29, False), (ripe - 28, True), (ripe - 1, True), (ripe, False)):
        light = np.full(YEARS, dull)
        light[day] = bright
        progress = in_climate(TOMATO, TOMATO.ref_temp_c, dull).progress
        growth = GrowthModel(crop=TOMATO, progress=progress, dli_mol=light).growth(SET_OUT)
        assert (growth.cut_kg[0] > 0) == bears


def test_leaf_is_cut_in_little_light():
    """Leafy crops below their least light are a doubt, not a ban."""
    growth = in_climate(CHARD, CHARD.ref_temp_c, CHARD.dli_min_mol / 2).growth(SET_OUT)
    assert min(growth.cut_kg) > 0


def test_heat_above_the_limit_does_not_stop_growth():
    hot = in_climate(LETTUCE, LETTUCE.growth_max_c + 5, 17).growth(SET_OUT)
    best = in_climate(LETTUCE, LETTUCE.growth_opt_high_c, 17).growth(SET_OUT)
    assert hot.ripe_day == best.ripe_day


climates = st.lists(
    st.tuples(st.floats(-5, 34), st.floats(0, 40), st.floats(0, 5), st.floats(0, 10)),
    min_size=1,
    max_size=12,
)


@settings(deadline=None, max_examples=150)
@given(id=crop_ids, weeks=climates)
def test_warmer_or_brighter_is_never_later(id, weeks):
    """Weeks of any weather, each warmer by a little, or brighter: ripe no later."""
    crop = CROPS[id]
    air_c, light, warmer, brighter = (
        np.tile(np.repeat(series, 7), 60)[:YEARS] for series in np.array(weeks).T
    )
    base = in_climate(crop, air_c, light).growth(SET_OUT)
    changed = (
        in_climate(crop, air_c + warmer, light).growth(SET_OUT),
        in_climate(crop, air_c, light + brighter).growth(SET_OUT),
    )
    if base is not None:
        assert all(growth is not None for growth in changed)
        assert max(growth.ripe_day for growth in changed) <= base.ripe_day


@settings(deadline=None, max_examples=60)
@given(id=crop_ids, weeks=climates, first=st.integers(0, 200), later=st.integers(1, 60))
def test_set_out_later_is_never_ripe_earlier(id, weeks, first, later):
    crop = CROPS[id]
    air_c, light, _, _ = (np.tile(np.repeat(series, 7), 60)[:YEARS] for series in np.array(weeks).T)
    model = in_climate(crop, air_c, light)
    before, after = model.growth(first), model.growth(first + later)
    if before is not None and after is not None:
        assert after.ripe_day >= before.ripe_day


# --- doubts -----------------------------------------------------------------------------------


def test_a_fair_climate_gives_no_doubts():
    for crop in CROPS.values():
        assert doubts(crop, np.full(30, crop.ref_temp_c), np.full(30, crop.dli_target_mol)) == ()


def test_no_days_give_no_doubts():
    assert doubts(LETTUCE, np.zeros(0), np.zeros(0)) == ()


def test_bolting_is_doubted_from_more_than_a_quarter_of_hot_days():
    light = np.full(40, 17.0)
    quarter = np.where(np.arange(40) < 10, 24.5, 20.0)
    more = np.where(np.arange(40) < 11, 24.5, 20.0)
    assert doubts(LETTUCE, quarter, light) == ()
    assert doubts(LETTUCE, more, light) == ("may bolt: over 24 °C for a quarter of its days",)


def test_heat_and_little_light_are_each_doubted():
    (heat,) = doubts(TOMATO, np.array([22.0, 30.1]), np.array([22.0, 22.0]))
    assert "30 °C" in heat
    (dull,) = doubts(TOMATO, np.full(9, 22.0), np.full(9, 10.0))
    assert "10.0 mol" in dull
    assert "15 is the least" in dull
