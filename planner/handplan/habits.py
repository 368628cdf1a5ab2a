"""How a grower counts days, sows and feeds: rules of thumb over the crop table and the calendar."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.environment import Environment
from planner.farm import Farm, Method, Zone
from planner.tables import Crop

WINTER_MONTHS = (11, 12, 1, 2)  # November to February, when crops take twice as long,
WINTER_DAY = 0.5  # so that each day counts half; common practice
HALF_A_YEAR = 6  # months between the winters north and south of the equator
PERENNIAL_YEAR_DAYS = 240  # that the table's yield of a perennial is for

RAFT_FEED_G_M2 = 80.0
TOWER_FEED_G_M2 = 20.0
FILTERED_BED_FEED_G_M2 = 45.0
SOLIDS_BED_FEED_G_M2 = 27.5
SLOTS_A_M2 = 20  # of towers, which have no area of their own; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """How a grower sows a crop, by the crop table.

    Attributes
    ----------
    every_weeks
        From one sowing of a crop cut once to the next, and so the weeks of orders that one is for.
        0 for a crop cut again and again: it is sown anew when the last batch is cut out.
    ripen_days, cut_days
        From setting out (sowing in place) to the first cut, and from there until it is cleared. [d]
    kg
        What a plant gives, losses taken off: in all if cut once, a day if cut again.
    """

    every_weeks: int
    ripen_days: int
    cut_days: int
    kg: float

    @property
    def once(self) -> bool:
        """Whether the crop is cut once."""
        return self.every_weeks > 0


def habit(crop: Crop) -> Habit:
    """Return how a grower sows `crop`.

    A crop cut once is sown at the table's succession interval, or for its harvest window where
    that is shorter, in whole weeks. A crop cut again gives its yield evenly over its cuts.
    """
    kg = crop.yield_kg_per_plant * (1 - crop.loss_pct / 100)
    days, every_weeks = max(1, crop.harvest_window_days), 0
    if crop.harvest_kind == "once":
        days = crop.harvest_window_days
        every_weeks = max(1, min(days, crop.succession_interval_days or days) // 7)
    elif crop.harvest_kind == "perennial":
        days = max(1, crop.renew_after_days - crop.days_to_harvest)
        kg /= PERENNIAL_YEAR_DAYS
    else:
        if crop.harvest_kind == "cut-and-come":
            regrowth = max(1, crop.regrowth_interval_days)
            days = (1 + days // regrowth) * regrowth
        kg /= days
    return Habit(every_weeks=every_weeks, ripen_days=crop.days_to_harvest, cut_days=days, kg=kg)


def counted_days(environment: Environment, latitude: float) -> NDArray[np.float64]:
    """Return the days that a grower has counted by the start of each day of the environment. [d]

    One value more than the environment has days. South of the equator winter is half a year later.
    """
    dates = np.datetime64(environment.start, "D") + np.arange(environment.days)
    month = dates.astype("datetime64[M]").astype(np.int64) % 12
    shift = HALF_A_YEAR if latitude < 0 else 0
    winter = [(number - 1 + shift) % 12 for number in WINTER_MONTHS]
    counted = np.where(np.isin(month, winter), WINTER_DAY, 1.0)
    return np.concatenate([[0.0], np.cumsum(counted)])


def feed_ratio_g_m2(method: Method, solids_kept: bool) -> float:
    """Return the feed that handbooks give for a square metre of plants. [g m⁻² d⁻¹]

    The middle of the published range: 60 to 100 on rafts, and a quarter of that, 15 to 25, in
    thin films of water, as towers are [1]_; 40 to 50 for leaf crops, here for beds whose water is
    filtered [2]_; 15 to 40 in beds that keep the solids (common practice).

    References
    ----------
    .. [1] Rakocy, J. E., "Ten guidelines for aquaponic systems", 2007; rafts also in Southern
       Regional Aquaculture Center publication 454.
    .. [2] Somerville and others, "Small-scale aquaponic food production", FAO Fisheries and
       Aquaculture Technical Paper 589, 2014, section 8.1.
    """
    if method is Method.RAFT:
        return RAFT_FEED_G_M2
    if method is Method.TOWER:
        return TOWER_FEED_G_M2
    return SOLIDS_BED_FEED_G_M2 if solids_kept else FILTERED_BED_FEED_G_M2


def _area_m2(zone: Zone) -> float:
    if zone.method is Method.TOWER:
        return zone.places * (zone.sites or 0) / SLOTS_A_M2
    return zone.places * (zone.area_m2 or 0.0)


def feed_wanted_g_day(farm: Farm) -> float:
    """Return the feed a day that handbooks give for all the plants that a farm carries. [g d⁻¹]"""
    solids_kept = farm.water.solids_kept
    return sum(feed_ratio_g_m2(z.method, solids_kept) * _area_m2(z) for z in farm.zones)
