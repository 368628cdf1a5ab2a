"""Several years of daily weather of the place: how each week's growth differed from the mean.

A grower who has them puts `weather.csv` into the farm folder: date, ghi_mj_m2 (global radiation of
the day on the level) and air_c (mean air outside), at least two whole years.
"""

import calendar
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from planner import sun
from planner.crops import progress_per_day
from planner.environment import VENTED_ABOVE_OUTSIDE_K, WARMING_AT_MJ
from planner.farm import Farm
from planner.sheets import columns_of, raise_faults, read_lines, typed
from planner.tables import Crop

WEATHER_FILE = "weather.csv"
LEAST_YEARS = 2
WEEKS_OF_YEAR = 53  # the last has one or two days, and is counted with the one before
LEAST_GROWTH = 0.05  # of the mean of a week over the years, so that no factor is nothing
_DAYS_OF_WEEK = 7

Series = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherDay:
    """One row of `weather.csv`; the date is written YYYY-MM-DD."""

    date: Annotated[str, Field(max_length=10)]
    ghi_mj_m2: Annotated[float, Field(ge=0, le=45)]
    air_c: Annotated[float, Field(ge=-60, le=50)]


@dataclass(frozen=True, slots=True, kw_only=True)
class YearFactor:
    """Growth in each week of one year over the mean of all years given.

    `by_week` has 53 values, the first for 1 to 7 January. [-]
    """

    year: int
    by_week: tuple[float, ...]

    def of(self, day: date) -> float:
        """Return the factor of the week that holds this day of the year."""
        return self.by_week[week_of_year(day)]


def week_of_year(day: date) -> int:
    """Return the week of a day, 0 for 1 to 7 January."""
    return (day - date(day.year, 1, 1)).days // _DAYS_OF_WEEK


def weather_years(path: Path, farm: Farm, crops: Mapping[str, Crop]) -> tuple[YearFactor, ...]:
    """Return the factors of the whole years in a file; a year that is not whole is left out.

    Growth is that of the farm's first leaf crop in the house's light and air, by its set points.

    Raises
    ------
    InputError
        The file is wrong; holds every fault.
    """
    days = _days(path)
    crop = leaf_crop(farm, crops)
    growth = {year: _weekly_growth(farm, crop, rows) for year, rows in days.items()}
    mean = np.mean(list(growth.values()), axis=0)
    found = []
    for year, weeks in sorted(growth.items()):
        factor = np.where(mean > 0, weeks / np.maximum(mean, 1e-9), 1.0)
        factor = np.maximum(factor, LEAST_GROWTH)
        found.append(YearFactor(year=year, by_week=tuple(float(f) for f in factor)))
    return tuple(found)


def leaf_crop(farm: Farm, crops: Mapping[str, Crop]) -> Crop:
    """Return the farm's first leaf crop, else its first crop."""
    rows = [crops[name] for name in farm.crops_in_use]
    return next((crop for crop in rows if crop.feed_rate_class == "leafy"), rows[0])


def _days(path: Path) -> dict[int, list[WeatherDay]]:
    """Read the whole years of a file, each in the order of its days."""
    faults: list[str] = []
    columns = columns_of(WeatherDay)
    by_year: dict[int, dict[str, WeatherDay]] = defaultdict(dict)
    for line in read_lines(path, columns, [*columns], faults):
        new = len(faults)
        values = typed(line, columns, faults)
        faults.extend(
            f"{line.where}: {name} is blank; give {columns[name].allowed}"
            for name in columns
            if not line.cells[name]
        )
        year = _year(values.get("date", ""))
        if "date" in values and year is None:
            faults.append(
                f'{line.where}: date is "{values["date"]}"; give a day such as 2026-01-31'
            )
        if len(faults) > new or year is None:
            continue
        row = WeatherDay(**values)
        if row.date in by_year[year]:
            faults.append(f"{line.where}: {row.date} stands twice; keep one")
        by_year[year][row.date] = row
    raise_faults(faults)
    whole = {year: rows for year, rows in by_year.items() if len(rows) == _length(year)}
    if len(whole) < LEAST_YEARS:
        short = ", ".join(f"{year}: {len(rows)} days" for year, rows in sorted(by_year.items()))
        raise_faults(
            [
                f"{path.name}: holds {len(whole)} whole years ({short or 'no rows'}); "
                f"give at least {LEAST_YEARS} without a day missing"
            ]
        )
    return {year: [rows[day] for day in sorted(rows)] for year, rows in whole.items()}


def _year(text: str) -> int | None:
    """Return the year of a day written YYYY-MM-DD; None for any other text."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None
    return day.year if day.isoformat() == text else None


def _length(year: int) -> int:
    return 366 if calendar.isleap(year) else 365


def _weekly_growth(farm: Farm, crop: Crop, rows: list[WeatherDay]) -> Series:
    """Mean progress days a day in each week of a year, 53 values."""
    ghi_mj = np.array([row.ghi_mj_m2 for row in rows])
    outside_c = np.array([row.air_c for row in rows])
    month = np.array([int(row.date[5:7]) - 1 for row in rows])
    dli_mol = sun.dli_mol(ghi_mj) * farm.house.transmission
    progress = progress_per_day(crop, _air_c(farm, outside_c, ghi_mj, month), dli_mol)
    week = np.minimum(np.arange(len(rows)) // _DAYS_OF_WEEK, WEEKS_OF_YEAR - 2)
    means = np.bincount(week, weights=progress) / np.bincount(week)
    return np.append(means, means[-1])


def _air_c(farm: Farm, outside_c: Series, ghi_mj: Series, month: NDArray[np.int64]) -> Series:
    """Daily mean air in the house, as `environment.daily` reckons it from monthly climate."""
    house = farm.house
    set_point = np.asarray(house.set_points_c, dtype=np.float64)[month]
    warmed = outside_c + house.solar_warming_k * ghi_mj / WARMING_AT_MJ
    most = np.maximum(house.vent_above_c, outside_c + VENTED_ABOVE_OUTSIDE_K)
    return np.asarray(np.maximum(set_point, np.minimum(warmed, most)))
