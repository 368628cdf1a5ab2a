"""The weather's part in growth: one factor a week and draw, shared by everything that grows."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from planner.forecast.streams import Streams
from planner.horizon import Horizon
from planner.spread import Spread
from planner.weatheryears import YearFactor

Series = NDArray[np.float64]

MIDWEEK = timedelta(days=3)


@dataclass(frozen=True, slots=True, eq=False)
class Weather:
    """Growth by week and draw over that of the mean year. Both of shape (weeks, draws).

    Attributes
    ----------
    growth
        Of all weather. [-]
    slow
        Of its slow part, which shows in the weight of crops that wait for ripeness. [-]
    """

    growth: Series
    slow: Series


def weather(
    streams: Streams, spread: Spread, horizon: Horizon, years: Sequence[YearFactor]
) -> Weather:
    """Draw the weather of the horizon's weeks.

    Where years of the place are given, each calendar year of a draw is one of them; the judged
    spread is then added at 1/√n of its size, for n years do not show all that a year can be.
    """
    weeks = horizon.weeks
    size = 1 / np.sqrt(len(years)) if years else 1.0
    slow = streams.wandering(
        "weather/season", spread.season_growth * size, spread.season_memory_weeks, weeks
    )
    quick = streams.wandering(
        "weather/week", spread.week_growth * size, spread.week_memory_weeks, weeks
    )
    if years:
        drawn = _drawn_years(streams, horizon, years)
        slow = slow + _smooth(drawn, spread.season_memory_weeks)
        quick = quick + drawn - _smooth(drawn, spread.season_memory_weeks)
    return Weather(growth=np.exp(slow + quick), slow=np.exp(slow * spread.yield_season_share))


def _drawn_years(streams: Streams, horizon: Horizon, years: Sequence[YearFactor]) -> Series:
    """Log of growth by week and draw, each calendar year taken from one of the years given."""
    found = np.empty((horizon.weeks, streams.draws))
    picks: dict[int, NDArray[np.int64]] = {}
    for week in range(horizon.weeks):
        day = horizon.monday(week) + MIDWEEK
        if day.year not in picks:
            stream = streams.of(f"weather/year {day.year}")
            picks[day.year] = stream.integers(0, len(years), streams.draws)
        factors = np.log([year.of(day) for year in years])
        found[week] = factors[picks[day.year]]
    return found


def _smooth(values: Series, memory_weeks: float) -> Series:
    """Running mean over as many weeks as the slow weather remembers, shorter at the ends."""
    weeks = len(values)
    half = max(1, round(memory_weeks / 2))
    sums = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    first = np.maximum(0, np.arange(weeks) - half)
    last = np.minimum(weeks, np.arange(weeks) + half + 1)
    return np.asarray((sums[last] - sums[first]) / (last - first)[:, None])
