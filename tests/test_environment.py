"""The house's daily light, air and water."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner import environment, sun
from planner.farm import Farm, Zone
from planner.tables import Station

COLD = Station(
    id="made-up",
    name="Made-up cold station",
    latitude=47.0,
    longitude=-92.0,
    elevation_m=400.0,
    tmin_c=(-17.0, -13.0, -7.0, -1.0, 6.0, 11.0, 13.0, 12.0, 8.0, 2.0, -8.0, -15.0),
    tmax_c=(-8.0, -4.0, 2.0, 9.0, 18.0, 22.0, 29.0, 31.0, 18.0, 11.0, -1.0, -7.0),
    ghi_mj_m2_d=(5.9, 8.9, 13.0, 17.8, 21.0, 21.9, 20.9, 18.0, 13.4, 7.9, 5.5, 4.3),
    source="made up for tests",
)
SET_POINTS_C = [7, 7, 9, 12, 14, 16, 16, 16, 14, 12, 9, 7]
WATER_C = [14, 14, 15, 17, 19, 22, 24, 24, 21, 18, 15, 14]


def make_farm(*, latitude: float = 47.0, longitude: float = -92.0, **house: object) -> Farm:
    """Return the smallest farm that has an environment."""
    return Farm.model_validate(
        {
            "name": "Test house",
            "crops": ["lettuce"],
            "site": {
                "latitude": latitude,
                "longitude": longitude,
                "timezone": "UTC",
                "climate": "made-up",
            },
            "house": {"set_points": SET_POINTS_C, **house},
            "water": {"volumes": {"all": 20}, "temperatures": WATER_C, "biofilter_area": 100},
            "zone": [{"name": "boards", "method": "raft", "places": 2, "area": 1.44, "sites": 28}],
            "nursery": {"cells": 100},
            "labour": {"hours_week": 40},
        }
    )


def make_zone(**keys: object) -> Zone:
    """Return a zone of two boards."""
    board = {"name": "boards", "method": "raft", "places": 2, "area": 1.44, "sites": 28}
    return Zone.model_validate(board | keys)


def made(station: Station = COLD, **changes: object) -> Station:
    """Return a station with some values changed."""
    names = Station.__dataclass_fields__
    return Station(**{name: getattr(station, name) for name in names} | changes)


def months_of(found: environment.Environment) -> np.ndarray:
    """Return the month of each day, 1 to 12."""
    days = [found.start + timedelta(days=nth) for nth in range(found.days)]
    return np.array([day.month for day in days])


def monthly_means(values: np.ndarray, months: np.ndarray) -> list[float]:
    """Return the twelve means of daily values."""
    return [float(values[months == month].mean()) for month in range(1, 13)]


twelve_warm = st.lists(st.floats(-40, 40), min_size=12, max_size=12).map(tuple)
twelve_bright = st.lists(
    st.one_of(st.just(0.0), st.floats(0, 1), st.floats(0, 35)), min_size=12, max_size=12
).map(tuple)


def test_every_array_has_one_finite_value_a_day():
    found = environment.daily(make_farm(), COLD, date(2027, 3, 17), 400)
    assert found.days == 400
    for name in environment.Environment.__dataclass_fields__:
        if name != "start":
            array = getattr(found, name)
            assert array.shape == (400,)
            assert array.dtype == np.float64
            assert np.isfinite(array).all()


def test_arrays_are_read_only():
    found = environment.daily(make_farm(), COLD, date(2027, 3, 17), 10)
    with pytest.raises(ValueError, match="read-only"):
        found.air_c[0] = 99.0


@settings(deadline=None, max_examples=40)
@given(mean_c=twelve_warm, ghi_mj=twelve_bright, year=st.sampled_from([2027, 2028]))
def test_months_keep_their_means_and_light_is_never_negative(mean_c, ghi_mj, year):
    station = made(tmin_c=mean_c, tmax_c=mean_c, ghi_mj_m2_d=ghi_mj)
    days = (date(year + 1, 1, 1) - date(year, 1, 1)).days
    found = environment.daily(make_farm(), station, date(year, 1, 1), days)
    months = months_of(found)
    assert monthly_means(found.outside_c, months) == pytest.approx(mean_c, abs=0.05)
    light_mj = found.dli_outside_mol / sun.MOL_PER_MJ
    assert monthly_means(light_mj, months) == pytest.approx(ghi_mj, abs=0.05)
    assert (light_mj >= 0).all()


@settings(deadline=None, max_examples=40)
@given(
    mean_c=twelve_warm,
    ghi_mj=twelve_bright,
    set_points=st.lists(st.floats(2, 30), min_size=12, max_size=12),
    warming=st.floats(0, 15),
    vents_open_after_k=st.floats(0, 10),
)
def test_air_is_never_below_the_set_point_nor_above_the_vents_without_cause(
    mean_c, ghi_mj, set_points, warming, vents_open_after_k
):
    station = made(tmin_c=mean_c, tmax_c=mean_c, ghi_mj_m2_d=ghi_mj)
    vent = max(set_points) + vents_open_after_k
    farm = make_farm(set_points=set_points, solar_warming=warming, vent_above=vent)
    found = environment.daily(farm, station, date(2027, 1, 1), 365)
    set_point = np.array(set_points)[months_of(found) - 1]
    assert (found.air_c >= set_point).all()
    assert (
        found.air_c
        <= np.maximum.reduce([set_point, found.outside_c + 1 + 1e-9, np.full(365, vent)])
    ).all()
    warmed = found.outside_c + warming * found.dli_outside_mol / sun.MOL_PER_MJ / 20
    free = (warmed > set_point) & (warmed < vent)
    assert found.air_c[free] == pytest.approx(warmed[free])


def test_air_of_a_winter_and_a_summer_day_by_hand():
    """Flat months, so that each day is the month: heated, warmed by sun, vented, hot outside."""
    months = {
        "heated": ((-10.0, 4.0), 9.0),  # -10 + 6 × 4/20 is below the set point
        "warmed": ((15.0, 20.0), 21.0),  # 15 + 6
        "vented": ((24.0, 20.0), 27.0),  # 24 + 6 is over 27
        "hot": ((29.0, 20.0), 30.0),  # vents cannot go below 1 K above outside
    }
    for (outside_c, ghi_mj), wanted in months.values():
        station = made(
            tmin_c=(outside_c,) * 12, tmax_c=(outside_c,) * 12, ghi_mj_m2_d=(ghi_mj,) * 12
        )
        found = environment.daily(make_farm(set_points=9), station, date(2027, 5, 1), 30)
        assert found.air_c == pytest.approx(np.full(30, wanted))


def test_set_points_step_on_the_first_of_the_month():
    station = made(tmin_c=(-20.0,) * 12, tmax_c=(-20.0,) * 12)
    found = environment.daily(make_farm(), station, date(2027, 1, 1), 365)
    assert found.air_c[found.index(date(2027, 3, 31))] == 9
    assert found.air_c[found.index(date(2027, 4, 1))] == 12


def test_water_meets_the_given_value_in_mid_month_and_stays_within_them():
    found = environment.daily(make_farm(), COLD, date(2027, 1, 1), 365)
    assert found.water_c[found.index(date(2027, 7, 16))] == pytest.approx(24)
    assert found.water_c[found.index(date(2027, 1, 16))] == pytest.approx(14)
    assert found.water_c.min() >= 14
    assert found.water_c.max() <= 24
    assert np.abs(np.diff(found.water_c)).max() < 0.15


def test_light_inside_is_the_covers_share():
    dull = environment.daily(make_farm(transmission=0.5), COLD, date(2027, 1, 1), 365)
    assert dull.dli_house_mol == pytest.approx(dull.dli_outside_mol * 0.5)


def test_a_zone_gets_its_share_and_its_lamps_in_their_months():
    found = environment.daily(make_farm(), COLD, date(2027, 1, 1), 365)
    zone = make_zone(light=0.8, lamps_umol=100, lamp_hours=10, lamp_months=[1, 12])
    light = environment.zone_dli_mol(found, zone)
    january, june = found.index(date(2027, 1, 20)), found.index(date(2027, 6, 20))
    assert light[january] == pytest.approx(found.dli_house_mol[january] * 0.8 + 3.6)
    assert light[june] == pytest.approx(found.dli_house_mol[june] * 0.8)
    lit = light - found.dli_house_mol * 0.8 > 1
    assert set(months_of(found)[lit]) == {1, 12}
    assert lit.sum() == 62
    unlit = environment.zone_dli_mol(
        found, make_zone(lamps_umol=100, lamp_hours=10, lamp_months=[])
    )
    assert unlit == pytest.approx(found.dli_house_mol)


def test_towers_have_less_light_by_default():
    found = environment.daily(make_farm(), COLD, date(2027, 1, 1), 30)
    tower = make_zone(method="tower", area=None)
    assert environment.zone_dli_mol(found, tower) == pytest.approx(found.dli_house_mol * 0.8)


def test_a_zone_may_be_warmer_than_the_house():
    found = environment.daily(make_farm(), COLD, date(2027, 1, 1), 30)
    assert environment.zone_air_c(found, make_zone(air_offset=1.5)) == pytest.approx(
        found.air_c + 1.5
    )


@settings(deadline=None, max_examples=40)
@given(
    start=st.dates(date(2020, 1, 1), date(2040, 12, 31)),
    skip=st.integers(0, 500),
    days=st.integers(1, 500),
)
def test_a_day_has_the_same_values_from_whatever_start(start, skip, days):
    farm = make_farm()
    whole = environment.daily(farm, COLD, start, skip + days)
    late = environment.daily(farm, COLD, start + timedelta(days=skip), days)
    for name in ("day_length_h", "outside_c", "dli_outside_mol", "air_c", "water_c"):
        assert getattr(late, name) == pytest.approx(getattr(whole, name)[skip:])


def test_a_leap_day_lies_between_its_neighbours():
    found = environment.daily(make_farm(), COLD, date(2028, 2, 1), 60)
    leap = found.index(date(2028, 2, 29))
    assert found.start + timedelta(days=leap + 1) == date(2028, 3, 1)
    for array in (found.day_length_h, found.outside_c, found.dli_outside_mol):
        assert array[leap - 1] < array[leap] < array[leap + 1]


def test_the_year_is_smooth_from_day_to_day():
    found = environment.daily(make_farm(), COLD, date(2027, 1, 1), 900)
    assert np.abs(np.diff(found.outside_c)).max() < 0.5
    assert np.abs(np.diff(found.dli_outside_mol)).max() < 0.6
    assert np.abs(np.diff(found.day_length_h)).max() < 0.06


def test_southern_house_has_short_days_in_june_and_its_own_months():
    flipped = {
        name: getattr(COLD, name)[6:] + getattr(COLD, name)[:6]
        for name in ("tmin_c", "tmax_c", "ghi_mj_m2_d")
    }
    station = made(latitude=-47.0, **flipped)
    south = environment.daily(make_farm(latitude=-47), station, date(2027, 1, 1), 365)
    north = environment.daily(make_farm(), COLD, date(2027, 1, 1), 365)
    june = south.index(date(2027, 6, 21))
    assert south.day_length_h.argmin() == pytest.approx(june, abs=2)
    assert south.day_length_h[june] < 9
    assert monthly_means(south.outside_c, months_of(south)) == pytest.approx(
        np.roll(monthly_means(north.outside_c, months_of(north)), 6), abs=0.01
    )


@pytest.mark.parametrize("latitude", [-66.0, 66.0])
def test_a_day_without_sunset_has_24_hours(latitude):
    found = environment.daily(make_farm(latitude=latitude), COLD, date(2027, 1, 1), 365)
    summer, winter = date(2027, 6, 21), date(2027, 12, 21)
    if latitude < 0:
        summer, winter = winter, summer
    assert found.day_length_h[found.index(summer)] == 24
    assert 2 < found.day_length_h[found.index(winter)] < 4
    assert found.day_length_h.max() <= 24
    only_summer = environment.daily(make_farm(latitude=latitude), COLD, summer, 1)
    assert only_summer.day_length_h.tolist() == [24]


def test_index_finds_days_and_refuses_others():
    found = environment.daily(make_farm(), COLD, date(2027, 3, 1), 10)
    assert found.index(date(2027, 3, 1)) == 0
    assert found.index(date(2027, 3, 10)) == 9
    for outside in (date(2027, 2, 28), date(2027, 3, 11)):
        with pytest.raises(ValueError, match="is not between 2027-03-01 and 2027-03-10"):
            found.index(outside)


def test_no_days_is_refused():
    with pytest.raises(ValueError, match="1 or more"):
        environment.daily(make_farm(), COLD, date(2027, 3, 1), 0)


def test_weekly_means():
    values = np.arange(30.0)
    assert environment.weekly_mean(values, 2, 3).tolist() == [5, 12, 19]
    assert environment.weekly_mean(values, 0, 0).tolist() == []
    for start, weeks in ((-1, 1), (24, 1), (0, 5)):
        with pytest.raises(ValueError, match="are not within the 30"):
            environment.weekly_mean(values, start, weeks)


def test_missing_radiation_is_filled_and_known_kept():
    known = [None if month in (0, 6) else value for month, value in enumerate(COLD.ghi_mj_m2_d)]
    filled = sun.fill_radiation(known, COLD.tmin_c, COLD.tmax_c, COLD.latitude, COLD.elevation_m)
    kept = [month for month in range(12) if known[month] is not None]
    assert [filled[month] for month in kept] == [known[month] for month in kept]
    for month in (0, 6):
        assert filled[month] == pytest.approx(COLD.ghi_mj_m2_d[month], rel=0.25)


def test_estimated_radiation_is_capped_by_the_clear_sky():
    wide = sun.radiation_from_temperature_mj(-20, 20, 30.0, 100)  # 0.16 √40 is over 0.752
    assert wide == pytest.approx(0.752 * 30)
    assert sun.radiation_from_temperature_mj(5, 5, 30.0, 100) == 0


def test_formulas_refuse_what_cannot_be():
    with pytest.raises(ValueError, match="below tmin_c"):
        sun.radiation_from_temperature_mj(10, 9, 30.0, 0)
    with pytest.raises(ValueError, match="between -90 and 90"):
        sun.extraterrestrial_radiation_mj(1, 90.0)
    with pytest.raises(ValueError, match="twelve"):
        sun.fill_radiation([None], [0.0], [1.0], 45.0, 0.0)


def test_arrays_and_numbers_agree_and_polar_night_is_dark():
    days = np.arange(1, 367)
    radiation = sun.extraterrestrial_radiation_mj(days, 80.0)
    assert radiation.shape == (366,)
    assert radiation[171] == pytest.approx(float(sun.extraterrestrial_radiation_mj(172, 80.0)))
    assert radiation[0] == pytest.approx(0, abs=1e-9)
    assert (radiation >= -1e-9).all()
