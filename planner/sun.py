"""Radiation and daily light: the sun's side of the climate, as pure formulas.

Equation numbers are those of [1]_, chapter 3.

References
----------
.. [1] Allen, Pereira, Raes, Smith, "Crop evapotranspiration: guidelines for computing crop
   water requirements", FAO Irrigation and Drainage Paper 56, Rome, 1998.
.. [2] Faust, Logan, "Daily light integral: a research review and high-resolution maps of the
   United States", HortScience 53:1250-1257, 2018: 0.007265 mol of photosynthetic photons per
   Wh of global radiation.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820  # [1]_ eq. 21
MOL_PER_MJ = 2.018  # [2]_; other published factors run from 1.96 to 2.1
INLAND_COEFFICIENT = 0.16  # kRs of [1]_ eq. 50; 0.19 on a coast
LENGTH_OF_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def extraterrestrial_radiation_mj(day_of_year: npt.ArrayLike, latitude_deg: float) -> FloatArray:
    """Return the day's radiation on a level plane above the air. [MJ m⁻² d⁻¹]

    Equations 21 to 25 of [1]_; 0 in the polar night.

    Parameters
    ----------
    day_of_year
        1 to 366, a number or an array; the result has its shape. [-]
    latitude_deg
        South negative, short of the poles. [°]

    Raises
    ------
    ValueError
        The latitude is not between -90 and 90.
    """
    if not -90 < latitude_deg < 90:
        raise ValueError(f"latitude_deg must lie between -90 and 90, got {latitude_deg}")
    year_angle = 2 * np.pi * np.asarray(day_of_year, dtype=np.float64) / 365
    latitude = np.radians(latitude_deg)
    inverse_distance = 1 + 0.033 * np.cos(year_angle)
    declination = 0.409 * np.sin(year_angle - 1.39)
    sunset = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1, 1))
    height = sunset * np.sin(latitude) * np.sin(declination)
    height = height + np.cos(latitude) * np.cos(declination) * np.sin(sunset)
    day_min = 24 * 60
    return np.asarray(day_min / np.pi * SOLAR_CONSTANT_MJ_M2_MIN * inverse_distance * height)


def clear_sky_radiation_mj(extraterrestrial_mj: npt.ArrayLike, elevation_m: float) -> FloatArray:
    """Return global radiation under a clear sky, equation 37 of [1]_. [MJ m⁻² d⁻¹]"""
    return np.asarray((0.75 + 2e-5 * elevation_m) * np.asarray(extraterrestrial_mj))


def radiation_from_temperature_mj(
    tmin_c: npt.ArrayLike,
    tmax_c: npt.ArrayLike,
    extraterrestrial_mj: npt.ArrayLike,
    elevation_m: float,
    k: float = INLAND_COEFFICIENT,
) -> FloatArray:
    """Estimate global radiation from the daily range of temperature. [MJ m⁻² d⁻¹]

    Equation 50 of [1]_, never more than the clear sky of equation 37. Shapes broadcast.

    Raises
    ------
    ValueError
        A daily maximum is below its minimum.
    """
    range_k = np.asarray(tmax_c, dtype=np.float64) - np.asarray(tmin_c, dtype=np.float64)
    if np.any(range_k < 0):
        raise ValueError("tmax_c must not be below tmin_c")
    estimate = k * np.sqrt(range_k) * np.asarray(extraterrestrial_mj)
    return np.asarray(
        np.minimum(estimate, clear_sky_radiation_mj(extraterrestrial_mj, elevation_m))
    )


def fill_radiation(
    ghi_mj: Sequence[float | None],
    tmin_c: Sequence[float],
    tmax_c: Sequence[float],
    latitude_deg: float,
    elevation_m: float,
) -> tuple[float, ...]:
    """Fill the months that have no global radiation with the estimate from temperature.

    Parameters
    ----------
    ghi_mj
        Twelve months' means, January first; None where nothing is known. [MJ m⁻² d⁻¹]
    tmin_c, tmax_c
        Twelve means of the daily minima and maxima. [°C]

    Returns the twelve values, the known ones untouched.

    Raises
    ------
    ValueError
        There are not twelve of each, or a maximum is below its minimum.
    """
    if not len(ghi_mj) == len(tmin_c) == len(tmax_c) == 12:
        raise ValueError("give twelve values of each, January first")
    day_values = extraterrestrial_radiation_mj(np.arange(1, 366), latitude_deg)
    months = np.split(day_values, np.cumsum(LENGTH_OF_MONTH)[:-1])
    above_air = [float(month.mean()) for month in months]
    estimate = radiation_from_temperature_mj(tmin_c, tmax_c, above_air, elevation_m)
    return tuple(
        float(guess) if known is None else known
        for known, guess in zip(ghi_mj, estimate, strict=True)
    )


def dli_mol(ghi_mj: npt.ArrayLike) -> FloatArray:
    """Return the daily light integral of a day's global radiation [2]_. [mol m⁻² d⁻¹]"""
    return np.asarray(MOL_PER_MJ * np.asarray(ghi_mj, dtype=np.float64))


def lamp_dli_mol(lamps_umol: float, hours: float) -> float:
    """Return the daily light integral of lamps. [mol m⁻² d⁻¹]

    Parameters
    ----------
    lamps_umol
        Photosynthetic photons at the crop. [µmol m⁻² s⁻¹]
    hours
        Hours lit a day. [h]
    """
    return lamps_umol * 3600 * hours / 1e6
