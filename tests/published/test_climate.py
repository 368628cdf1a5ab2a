"""Sun, light and climate against published figures; each test names its source.

FAO-56 is Allen, Pereira, Raes, Smith, "Crop evapotranspiration: guidelines for computing crop
water requirements", FAO Irrigation and Drainage Paper 56, Rome, 1998. The figures of its
examples were taken from the tests of the PyETo library, which restate them.
"""

from datetime import date, timedelta
from pathlib import Path

import astral
import astral.sun
import numpy as np
import pandas as pd
import pvlib
import pytest

from planner import environment, sun
from planner.farm import Farm
from planner.tables import Station

# Typical-meteorological-year means of Duluth International Airport, WMO 727450: NREL TMY3
# (2008), mean of the hourly file's daily minima and maxima, and mean global radiation.
DULUTH = Station(
    id="duluth",
    name="Duluth MN",
    latitude=46.83,
    longitude=-92.22,
    elevation_m=433.0,
    tmin_c=(-17.37, -12.66, -7.37, -1.27, 6.79, 10.69, 12.24, 12.81, 7.96, 1.61, -8.93, -15.38),
    tmax_c=(-8.55, -3.86, 1.86, 9.32, 18.16, 21.19, 22.85, 22.15, 17.82, 10.65, -0.59, -7.22),
    ghi_mj_m2_d=(5.92, 8.92, 13.02, 17.82, 21.06, 21.90, 20.88, 17.98, 13.40, 7.90, 5.53, 4.31),
    source="NREL TMY3 2008, station 727450",
)


def make_farm(latitude: float, longitude: float = 0.0) -> Farm:
    """Return the smallest farm that has an environment, under a cover of 0.60."""
    return Farm.model_validate(
        {
            "name": "Test house",
            "crops": ["lettuce"],
            "site": {
                "latitude": latitude,
                "longitude": longitude,
                "timezone": "UTC",
                "climate": "duluth",
            },
            "house": {"set_points": 10, "transmission": 0.60},
            "water": {"volumes": {"all": 20}, "temperatures": 18, "biofilter_area": 100},
            "zone": [{"name": "boards", "method": "raft", "places": 2, "area": 1.44, "sites": 28}],
            "nursery": {"cells": 100},
            "labour": {"hours_week": 40},
        }
    )


def day_lengths_h(latitude: float, longitude: float, start: date, days: int) -> np.ndarray:
    """Return our day lengths."""
    return environment.daily(make_farm(latitude, longitude), DULUTH, start, days).day_length_h


def monthly_means(values: np.ndarray, year: int) -> list[float]:
    """Return the twelve means of a year's daily values."""
    days = pd.date_range(f"{year}-01-01", periods=len(values), freq="D")
    return [float(mean) for mean in pd.Series(values).groupby(days.month).mean()]


@pytest.mark.parametrize(
    ("day_of_year", "latitude_deg", "published_mj", "tolerance"),
    [
        pytest.param(246, -20.0, 32.2, 0.05, id="example 8: 3 September, 20° S"),
        pytest.param(135, -22.9, 25.1, 0.05, id="example 10: 15 May, 22.9° S"),
        pytest.param(196, 45.72, 40.6, 0.05, id="example 15: 15 July, 45.72° N"),
        pytest.param(187, 50.8, 41.09, 0.005, id="example 18: 6 July, 50.8° N"),
    ],
)
def test_extraterrestrial_radiation(day_of_year, latitude_deg, published_mj, tolerance):
    """FAO-56, equations 21 to 25.

    Example 8's radiation rests on its distance 0.985, declination 0.120 and sunset angle 1.527.
    """
    found = sun.extraterrestrial_radiation_mj(day_of_year, latitude_deg)
    assert found == pytest.approx(published_mj, abs=tolerance)


def test_radiation_from_temperature():
    """FAO-56, example 15: 14.8 to 26.6 °C, inland, 45.72° N, 15 July: 22.3 MJ m⁻² d⁻¹."""
    above_air = sun.extraterrestrial_radiation_mj(196, 45.72)
    found = sun.radiation_from_temperature_mj(14.8, 26.6, above_air, 0.0)
    assert found == pytest.approx(22.3, abs=0.05)


def test_clear_sky_radiation():
    """FAO-56, example 18: 41.09 MJ m⁻² d⁻¹ above the air at 100 m: 30.90 on the ground."""
    assert sun.clear_sky_radiation_mj(41.09, 100.0) == pytest.approx(30.90, abs=0.005)


def test_radiation_from_temperature_against_a_station():
    """Equation 50 for Duluth against the station's own radiation (NREL TMY3).

    How far it is off, by month, was reckoned apart from this program; the estimate is within
    15 % in every month.
    """
    off_pct = (-11, -13, -10, -5, 0, -1, 0, -5, 1, 13, 2, 1)
    found = sun.fill_radiation([None] * 12, DULUTH.tmin_c, DULUTH.tmax_c, 46.83, 433.0)
    assert found[0] == pytest.approx(5.27, abs=0.02)
    ratio = np.array(found) / np.array(DULUTH.ghi_mj_m2_d)
    assert (ratio - 1) * 100 == pytest.approx(off_pct, abs=0.8)


@pytest.mark.parametrize(
    ("day", "hours", "minutes"),
    [
        (date(2005, 1, 14), 9, 12),
        (date(2005, 12, 20), 8, 50),
        (date(2006, 8, 31), 13, 17),
        (date(2023, 10, 12), 11, 10),
        (date(2023, 11, 19), 9, 28),
    ],
)
def test_day_length_of_burlington(day, hours, minutes):
    """Sunrise to sunset in the US National Weather Service's daily reports for Burlington VT.

    Product CLIBTV, from the Iowa Environmental Mesonet archive; times to the minute.
    """
    found = day_lengths_h(44.47, -73.15, day, 1)[0]
    assert found * 60 == pytest.approx(hours * 60 + minutes, abs=1.5)


@pytest.mark.parametrize("latitude", [-45.0, 0.0, 36.1, 44.47, 50.0, 55.3, 60.0])
def test_day_length_against_another_library(latitude):
    """The astral library, whose sun position is of another making, every ninth day of a year."""
    start = date(2025, 1, 1)
    ours = day_lengths_h(latitude, 0.0, start, 365)
    observer = astral.Observer(latitude, 0.0)
    for nth in range(0, 365, 9):
        rise, set_ = astral.sun.daylight(observer, date=start + timedelta(days=nth))
        theirs_min = (set_ - rise).total_seconds() / 60
        assert ours[nth] * 60 == pytest.approx(theirs_min, abs=2.0)


@pytest.mark.parametrize(
    ("latitude", "first_short", "back", "shortest_h", "longest_h"),
    [
        (36.1, date(2025, 11, 26), date(2025, 1, 16), 9.704, 14.618),
        (40.0, date(2025, 11, 15), date(2025, 1, 27), 9.328, 15.017),
        (44.47, date(2025, 11, 6), date(2025, 2, 5), 8.831, 15.549),
        (46.9, date(2025, 11, 2), date(2025, 2, 9), 8.522, 15.884),
        (50.0, date(2025, 10, 29), date(2025, 2, 13), 8.073, 16.372),
        (55.3, date(2025, 10, 22), date(2025, 2, 19), 7.099, 17.452),
    ],
)
def test_days_under_ten_hours(latitude, first_short, back, shortest_h, longest_h):
    """First day shorter than 10 h and first day of 10 h or more.

    Reckoned with pvlib's solar position algorithm for 2025 on the Greenwich meridian, and with
    astral to within a day.
    """
    hours = day_lengths_h(latitude, -90.0, date(2025, 1, 1), 365)
    new_year = date(2025, 1, 1)
    short = np.flatnonzero(hours < 10)
    autumn, spring = short[short > 180], short[short < 180]
    assert abs((new_year + timedelta(days=int(autumn[0])) - first_short).days) <= 1
    assert abs((new_year + timedelta(days=int(spring[-1]) + 1) - back).days) <= 1
    assert hours.min() == pytest.approx(shortest_h, abs=0.01)
    assert hours.max() == pytest.approx(longest_h, abs=0.01)


def test_light_of_a_megajoule_and_of_a_kilowatt_hour():
    """Faust and Logan, HortScience 53:1250-1257, 2018: 0.007265 mol per Wh."""
    assert sun.dli_mol(1.0) == pytest.approx(2.018, rel=1e-9)
    assert sun.dli_mol(3.6) == pytest.approx(7.265, rel=0.002)


def test_light_of_lamps():
    """Runkle, "Lighting greenhouse vegetables", Michigan State University.

    155 µmol m⁻² s⁻¹ for 18 h a day add 10 mol; and 1 µmol m⁻² s⁻¹ all day is 0.0864 mol.
    """
    assert sun.lamp_dli_mol(155, 18) == pytest.approx(10.0, abs=0.05)
    assert sun.lamp_dli_mol(1, 24) == pytest.approx(0.0864)


def test_light_in_a_house_at_duluth():
    """Duluth's radiation (NREL TMY3) × 2.018 (Faust and Logan 2018) × 0.60, month by month."""
    inside_mol = (7.2, 10.8, 15.8, 21.6, 25.5, 26.5, 25.3, 21.8, 16.2, 9.6, 6.7, 5.2)
    found = environment.daily(make_farm(46.83, -92.22), DULUTH, date(2027, 1, 1), 365)
    assert monthly_means(found.dli_house_mol, 2027) == pytest.approx(inside_mol, abs=0.06)
    above_12 = [mean > 12 for mean in monthly_means(found.dli_house_mol, 2027)]
    assert above_12 == [False] * 2 + [True] * 7 + [False] * 3


def test_a_real_year_keeps_its_monthly_means():
    """Sand Point AK, NREL TMY3 station 703165, the hourly file that pvlib carries.

    January's 0.640 °C and 2.100 MJ m⁻² d⁻¹ were reckoned apart from this program.
    """
    path = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
    hours = pd.read_csv(path, skiprows=1)
    month = hours["Date (MM/DD/YYYY)"].str[:2].astype(int)
    mean_c = hours["Dry-bulb (C)"].groupby(month).mean()
    ghi_mj = hours["GHI (W/m^2)"].groupby(month).mean() * 24 * 3600 / 1e6
    assert len(hours) == 8760
    assert (mean_c[1], ghi_mj[1]) == pytest.approx((0.640, 2.100), abs=0.0005)
    station = Station(
        id="sand-point",
        name="Sand Point AK",
        latitude=55.317,
        longitude=-160.517,
        elevation_m=7.0,
        tmin_c=tuple(mean_c),
        tmax_c=tuple(mean_c),
        ghi_mj_m2_d=tuple(ghi_mj),
        source="NREL TMY3, station 703165",
    )
    found = environment.daily(make_farm(55.317, -160.517), station, date(2027, 1, 1), 365)
    assert monthly_means(found.outside_c, 2027) == pytest.approx(list(mean_c), abs=0.05)
    light_mj = found.dli_outside_mol / 2.018
    assert monthly_means(light_mj, 2027) == pytest.approx(list(ghi_mj), abs=0.05)
