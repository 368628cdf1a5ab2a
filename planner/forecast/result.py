"""What the forecast says."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.forecast.bands import Band

Series = NDArray[np.float64]


class Dates(NamedTuple):
    """The range of a day; None: later than the horizon, or never."""

    p10: date | None
    p50: date | None
    p90: date | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forecast:
    """Ranges and chances of a plan; weeks are those of the horizon.

    Arrays are of shape (3, weeks): the p10, p50 and p90 of each week.

    Attributes
    ----------
    start
        The horizon's first Monday.
    produce_kg
        By produce: what is cut, or taken of fish. [kg]
    batch_kg
        By lot and week. [kg]
    first_harvest
        By lot: day of its first cut.
    chance
        By number of the order: share of the draws in which it gets its least. [-]
    nitrate_mg_l
        At each week's end. [mg N/L]
    mean_g, fish_kg
        By cohort and week: on its Monday. [g], [kg]
    feed_kg, feed_total_kg
        Of all fish, by week and over the horizon. [kg]
    """

    draws: int
    seed: int
    start: date
    produce_kg: Mapping[str, Series]
    batch_kg: Mapping[str, Mapping[int, Band]]
    first_harvest: Mapping[str, Dates]
    chance: Mapping[int, float]
    nitrate_mg_l: Series
    mean_g: Mapping[str, Mapping[int, Band]]
    fish_kg: Mapping[str, Mapping[int, Band]]
    feed_kg: Series
    feed_total_kg: Band
