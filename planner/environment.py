"""Light, air and water in the house, day by day, from a farm and twelve months of climate."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd
from pvlib import solarposition

from planner import sun
from planner.farm import Farm, House, Zone
from planner.tables import Station

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
DayArray = npt.NDArray[np.datetime64]

WARMING_AT_MJ = 20.0  # radiation at which a house warms by its `solar_warming_k`
VENTED_ABOVE_OUTSIDE_K = 1.0  # a fully vented house stays this much above outside (judgement)

_MIDDLES = np.arange(12) + 0.5
# A straight line between the middles of two months gives a month's mean 3/4 of its own middle
# value and 1/8 of each neighbour's.
_MEAN_OF_MIDDLES = (
    0.75 * np.eye(12) + 0.125 * np.roll(np.eye(12), 1, axis=1) + 0.125 * np.roll(np.eye(12), -1, 1)
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Environment:
    """Daily values from `start` on; every array has one value a day and is read-only.

    Parameters
    ----------
    day_length_h
        Sunrise to sunset: upper limb on a level horizon, with refraction. [h]
    outside_c
        Daily mean outside. [°C]
    dli_outside_mol
        Daily light integral outside. [mol m⁻² d⁻¹]
    dli_house_mol
        Inside, at a light share of 1, without lamps. [mol m⁻² d⁻¹]
    air_c
        Daily mean of the house's air. [°C]
    water_c
        Daily mean of the system's water. [°C]
    """

    start: date
    day_length_h: FloatArray
    outside_c: FloatArray
    dli_outside_mol: FloatArray
    dli_house_mol: FloatArray
    air_c: FloatArray
    water_c: FloatArray

    @property
    def days(self) -> int:
        """Number of days. [d]"""
        return len(self.day_length_h)

    def index(self, day: date) -> int:
        """Return the place of `day` in the arrays.

        Raises
        ------
        ValueError
            The day lies outside the environment.
        """
        place = (day - self.start).days
        if not 0 <= place < self.days:
            last = self.start + timedelta(days=self.days - 1)
            raise ValueError(f"{day} is not between {self.start} and {last}")
        return place


def daily(farm: Farm, station: Station, start: date, days: int) -> Environment:
    """Return the environment of `days` days from `start`, the station's year repeating.

    Outside temperature and radiation run between the months so that every whole month keeps
    the station's mean. Light inside is the outside integral times the cover's transmission.
    The house's air is at the month's set point, which changes on the first of the month, or
    warmer where the sun and the weather warm it, as far as the vents allow. Water is at the
    grower's monthly value in the middle of the month, on a straight line between.

    Raises
    ------
    ValueError
        `days` is below 1.
    """
    if days < 1:
        raise ValueError(f"days must be 1 or more, got {days}")
    dates = np.datetime64(start, "D") + np.arange(days)
    mean_c = (np.asarray(station.tmin_c) + np.asarray(station.tmax_c)) / 2
    outside_c = _mean_preserving(mean_c, dates)
    ghi_mj = _mean_preserving_from_zero(np.asarray(station.ghi_mj_m2_d), dates)
    dli_outside_mol = sun.dli_mol(ghi_mj)
    values = {
        "day_length_h": _day_length_h(farm.site.latitude, dates),
        "outside_c": outside_c,
        "dli_outside_mol": dli_outside_mol,
        "dli_house_mol": dli_outside_mol * farm.house.transmission,
        "air_c": _air_c(farm.house, outside_c, ghi_mj, _month(dates)),
        "water_c": _between_middles(farm.water.temperatures_c, dates),
    }
    for array in values.values():
        array.setflags(write=False)
    return Environment(start=start, **values)


def zone_dli_mol(environment: Environment, zone: Zone) -> FloatArray:
    """Return the daily light integral over a zone's crops, lamps included. [mol m⁻² d⁻¹]

    One value a day. Lamps burn in the zone's `lamp_months` and add to the sun at full rate.
    """
    month = _month(np.datetime64(environment.start, "D") + np.arange(environment.days))
    lit = np.isin(month, np.asarray(zone.lamp_months, dtype=np.int64) - 1)
    lamps = sun.lamp_dli_mol(zone.lamps_umol, zone.lamp_hours)
    return environment.dli_house_mol * zone.light_share + np.where(lit, lamps, 0.0)


def zone_air_c(environment: Environment, zone: Zone) -> FloatArray:
    """Return the daily mean air of a zone, one value a day. [°C]"""
    return environment.air_c + zone.air_offset_k


def weekly_mean(values: FloatArray, start_index: int, weeks: int) -> FloatArray:
    """Return the means of `weeks` weeks of daily values, the first from `start_index`.

    Raises
    ------
    ValueError
        The weeks reach beyond the days given.
    """
    end = start_index + 7 * weeks
    if start_index < 0 or weeks < 0 or end > len(values):
        raise ValueError(f"days {start_index} to {end} are not within the {len(values)} given")
    return np.asarray(values[start_index:end].reshape(weeks, 7).mean(axis=1))


def _day_length_h(latitude_deg: float, dates: DayArray) -> FloatArray:
    """Hours from sunrise to sunset by the solar position algorithm.

    Reckoned on the Greenwich meridian. At other longitudes the algorithm takes a sunrise or
    sunset on the far side of midnight UTC from the day beside, a step of two minutes in the
    year's curve at 50°; half a turn of the earth changes the day by less than that.
    Within 66° of the equator the upper limb is above the horizon at noon on every day, so a
    day without a sunset is a day of 24 hours.
    """
    midnights = pd.DatetimeIndex(dates).tz_localize("UTC")
    found = solarposition.sun_rise_set_transit_spa(midnights, latitude_deg, 0.0)
    hours = (found["sunset"] - found["sunrise"]).dt.total_seconds().to_numpy() / 3600
    return np.clip(np.where(np.isnan(hours), 24.0, hours), 0.0, 24.0)


def _air_c(house: House, outside_c: FloatArray, ghi_mj: FloatArray, month: IntArray) -> FloatArray:
    """Daily mean air: the set point, or the sun-warmed house as far as the vents allow."""
    set_point = np.asarray(house.set_points_c, dtype=np.float64)[month]
    warmed = outside_c + house.solar_warming_k * ghi_mj / WARMING_AT_MJ
    most = np.maximum(house.vent_above_c, outside_c + VENTED_ABOVE_OUTSIDE_K)
    return np.maximum(set_point, np.minimum(warmed, most))


def _month(dates: DayArray) -> IntArray:
    """Month of each day, 0 for January."""
    return dates.astype("datetime64[M]").astype(np.int64) % 12


def _between_middles(monthly: Sequence[float] | FloatArray, dates: DayArray) -> FloatArray:
    """Values of days on straight lines between the middles of the months."""
    first = dates.astype("datetime64[M]")
    length = (first + 1).astype("datetime64[D]") - first.astype("datetime64[D]")
    passed = (dates - first.astype("datetime64[D]")).astype(np.float64) + 0.5
    position = _month(dates) + passed / length.astype(np.float64)
    values = np.asarray(monthly, dtype=np.float64)
    return np.asarray(np.interp(position, _MIDDLES, values, period=12), dtype=np.float64)


def _mean_preserving(monthly: FloatArray, dates: DayArray) -> FloatArray:
    """Daily values whose mean over a month is the month's, on straight lines between middles.

    The middles' values are solved for; a month of odd length is off by about a thousandth of
    the bend in its middle.
    """
    middles: FloatArray = np.linalg.solve(_MEAN_OF_MIDDLES, monthly).astype(np.float64)
    return _between_middles(middles, dates)


def _mean_preserving_from_zero(monthly: FloatArray, dates: DayArray) -> FloatArray:
    """The same, never below 0: lines are cut at 0 and the month scaled back to its mean."""
    first, last = dates[0].astype("datetime64[M]"), dates[-1].astype("datetime64[M]")
    whole = np.arange(first.astype("datetime64[D]"), (last + 1).astype("datetime64[D]"))
    cut = np.maximum(_mean_preserving(monthly, whole), 0.0)
    nth = (whole.astype("datetime64[M]") - first).astype(np.int64)
    means = np.bincount(nth, weights=cut) / np.bincount(nth)
    wanted = monthly[_month(np.arange(first, last + 1))]
    scale = np.divide(wanted, means, out=np.zeros_like(means), where=means > 0)
    before = (dates[0] - whole[0]).astype(np.int64)
    return np.asarray((cut * scale[nth])[before : before + len(dates)])
