"""Growth, survival and feed of fish, by day, for one fish as stocked.

Growth follows the thermal growth coefficient [1]_ with a temperature gate. The cube root of weight
rises in proportion to warmth, which presumes that weight goes with the cube of length [2]_. Use it
from fingerling weight to 1.5 times market weight.

References
----------
.. [1] Iwama, G. K., Tautz, A. F., "A simple growth model for salmonids in hatcheries", Can. J.
   Fish. Aquat. Sci. 38, 1981, 649-656 (from memory).
.. [2] Jobling, M., "The thermal growth coefficient (TGC) model of fish growth: a cautionary
   note", Aquaculture Research 34, 2003, 581-584.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner.tables import Fish

Floats = NDArray[np.float64]

LEAST_WARMTH = 1 / 3  # of temp_opt_low, for the grow-out days of survival; judgement
DAYS_A_WEEK = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What one stocked fish does, day by day; multiply by the fish stocked.

    Parameters
    ----------
    weight_g
        Weight of a live fish at each day's start, one more than days. [g]
    alive
        Share of the stocked fish still alive at each day's start, one more than days. [-]
    feed_g
        Feed of each day for those alive at its start. [g per stocked fish]
    gain_g
        Live weight put on in each day by those alive at its start. [g per stocked fish]
    """

    weight_g: Floats
    alive: Floats
    feed_g: Floats
    gain_g: Floats


def effective_temperature_c(water_c: ArrayLike, fish: Fish) -> Floats:
    """Return the warmth that counts for growth, of the shape of `water_c`. [°C]

    It is the water temperature inside the best range, falls in a straight line to nothing at
    `temp_min_feed_c` below and at `temp_max_c` above, and is nothing beyond. The shape is a choice
    of this planner: the plain model would let fish grow at any temperature above 0 °C.

    Raises
    ------
    ValueError
        The row's temperatures do not rise.
    """
    corners = (fish.temp_min_feed_c, fish.temp_opt_low_c, fish.temp_opt_high_c, fish.temp_max_c)
    if not corners[0] < corners[1] <= corners[2] < corners[3]:
        raise ValueError(f"{fish.id}: temperatures must rise, got {corners}")
    warmth = (0.0, fish.temp_opt_low_c, fish.temp_opt_high_c, 0.0)
    effective: Floats = np.interp(np.asarray(water_c, dtype=float), corners, warmth)
    return effective


def grow_g(fish: Fish, start_g: float, water_c: ArrayLike) -> Floats:
    """Return the weight at the start of each day and at the end of the last, days + 1 values. [g]

    Parameters
    ----------
    start_g
        Weight at the start of the first day, above 0. [g]
    water_c
        Daily mean water temperature. [°C]

    Raises
    ------
    ValueError
        The row has no thermal growth coefficient, or the start weight is not above 0.
    """
    if not start_g > 0:
        raise ValueError(f"start_g must be above 0, got {start_g}")
    warmth_c = effective_temperature_c(np.atleast_1d(np.asarray(water_c, dtype=float)), fish)
    degree_days = np.concatenate(([0.0], np.cumsum(warmth_c)))
    root = np.cbrt(start_g) + _coefficient(fish) / 1000 * degree_days
    weight_g: Floats = root**3
    weight_g[degree_days == 0] = start_g
    return weight_g


def growth_coefficient(start_g: float, end_g: float, degree_days: float) -> float:
    """Return the thermal growth coefficient that a growth from `start_g` to `end_g` shows.

    In the convention of the fish table: per 1000 degree-days, base 0 °C. Tables that print 0.13
    to 0.20 count per 100. [1000 g^(1/3) / (°C d)]
    """
    if not degree_days > 0:
        raise ValueError(f"degree_days must be above 0, got {degree_days}")
    return float(1000 * (np.cbrt(end_g) - np.cbrt(start_g)) / degree_days)


def days_to_market(fish: Fish, weights_g: Floats) -> int | None:
    """Return the first day whose weight reaches market weight, or None when none does."""
    reached = np.flatnonzero(weights_g >= fish.market_g)
    return int(reached[0]) if reached.size else None


def growout_days(fish: Fish, water_c: ArrayLike) -> float:
    """Return the days from fingerling to market weight in this water, for `survival`.

    At the mean effective temperature of the days given, which counts as no less than a third of
    the low end of the best range: fish that stand cold do not live the longer for it (judgement).
    """
    warmth_c = float(np.mean(effective_temperature_c(water_c, fish))) if np.size(water_c) else 0.0
    warmth_c = max(warmth_c, LEAST_WARMTH * fish.temp_opt_low_c)
    rise = np.cbrt(fish.market_g) - np.cbrt(fish.fingerling_g)
    return float(rise * 1000 / (_coefficient(fish) * warmth_c))


def survival(fish: Fish, days: int, growout_days: float) -> Floats:
    """Return the share alive at the start of each day and at the end of the last, days + 1 values.

    Deaths are even: `survival_growout_fraction` of the fish are alive after `growout_days`.
    """
    if not growout_days > 0:
        raise ValueError(f"growout_days must be above 0, got {growout_days}")
    share = np.arange(days + 1) / growout_days
    alive: Floats = fish.survival_growout_fraction**share
    return alive


def course(
    fish: Fish, start_g: float, water_c: ArrayLike, survival_days: float | None = None
) -> Course:
    """Return growth, survivors and feed over all the days given.

    Feed is the feed conversion ratio times the gain, so there is none in water too cold to feed.

    Parameters
    ----------
    start_g
        Weight at the start of the first day, above 0. [g]
    water_c
        Daily mean water temperature. [°C]
    survival_days
        Days over which the table's survival is spread; by default `growout_days` of this water,
        whatever the start weight. [d]
    """
    weight_g = grow_g(fish, start_g, water_c)
    days = weight_g.size - 1
    spread = growout_days(fish, water_c) if survival_days is None else survival_days
    alive = survival(fish, days, spread)
    gain_g = alive[:-1] * np.diff(weight_g)
    return Course(weight_g=weight_g, alive=alive, feed_g=fish.fcr * gain_g, gain_g=gain_g)


def weeks_below_feeding(fish: Fish, water_c: ArrayLike) -> int:
    """Return how many weeks, counted from the first day, are too cold to feed.

    A week counts when its mean is at or below `temp_min_feed_c`; so does a part-week at the end.
    """
    water = np.atleast_1d(np.asarray(water_c, dtype=float))
    weeks = [water[first : first + DAYS_A_WEEK] for first in range(0, water.size, DAYS_A_WEEK)]
    return sum(bool(np.mean(week) <= fish.temp_min_feed_c) for week in weeks)


def lethal(fish: Fish, water_c: ArrayLike) -> bool:
    """Return whether any day is below `temp_lethal_low_c`, or at or over `temp_max_c`."""
    water = np.asarray(water_c, dtype=float)
    return bool(np.any((water < fish.temp_lethal_low_c) | (water >= fish.temp_max_c)))


def _coefficient(fish: Fish) -> float:
    if fish.tgc_per_1000_degree_days is None:
        raise ValueError(f"{fish.id}: no growth coefficient, so its growth cannot be computed")
    return fish.tgc_per_1000_degree_days
