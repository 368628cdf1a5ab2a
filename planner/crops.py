"""How a batch grows: set-out day and environment give harvests and nitrogen uptake.

Growth is counted by day in *progress days*: a day at the table's temperature and light is one
progress day, a day at other conditions more or less, so the same lettuce takes four weeks in May
and nine in December. Everything here is for one plant.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from planner.tables import Crop

Series = NDArray[np.float64]

LOWEST_LIGHT_FACTOR = 0.4  # days grow at most 2.5-fold for want of light; common practice
LONGEST_STAND = 3  # times the table's days to first harvest and window; judgement
PERENNIAL_YEAR_DAYS = 240  # the table's yield and nitrogen of a perennial are for these days
LIGHT_MEMORY_DAYS = 28  # fruit set answers to the mean light of four weeks; judgement
ESTABLISHMENT_SHARE = 0.10  # of a strawberry's nitrogen, before the first pick [2]_

LEAFY = (9.0, 0.78)  # k and x0 of the logistic, fitted to [1]_
HEADING = (8.0, 0.60)  # cabbage family heads, fitted to [3]_
FRUITING = (6.0, 0.50)  # to the end of picking, [4]_ in words


def progress_per_day(crop: Crop, air_c: Series, dli_mol: Series) -> Series:
    """Return progress days gained on each day.

    f(temperature) = (min(T, opt_high) − base) / (ref − base), none below growth_min; times
    f(light) = min(1, max(0.4, DLI / target)) to the power of the crop's light exponent.

    Parameters
    ----------
    air_c, dli_mol
        Daily mean air temperature [°C] and light [mol m⁻² d⁻¹], same length.

    References
    ----------
    Degree-days above a base: McMaster and Wilhelm, Agricultural and Forest Meteorology
    87:291-300, 1997. Light below the target: common practice, about 1 % growth for 1 % light.
    """
    capped = np.minimum(air_c, crop.growth_opt_high_c)
    warmth = (capped - crop.base_temp_c) / (crop.ref_temp_c - crop.base_temp_c)
    warmth = np.where(air_c < crop.growth_min_c, 0.0, np.maximum(warmth, 0.0))
    share = np.clip(dli_mol / crop.dli_target_mol, LOWEST_LIGHT_FACTOR, 1.0)
    return np.asarray(warmth * share**crop.light_exponent, dtype=np.float64)


def logistic_share(x: Series, shape: tuple[float, float]) -> Series:
    """Return the share of a batch's nitrogen taken up by the share `x` of its life, both 0 to 1.

    References
    ----------
    .. [1] Bottoms and others 2012 in UC Davis, Lettuce: 70-80 % of N in the last month; Zink and
       Yamaguchi, California Agriculture 17(6):13-14, 1963.
    .. [2] UC Davis, Strawberry nitrogen uptake and partitioning (Bottoms 2013).
    .. [3] Everaarts, Scientia Horticulturae 83:173-186, 2000.
    .. [4] UC Davis, Tomato (Hartz and Bottoms 2009).
    """
    k, x0 = shape
    ends = 1 / (1 + np.exp(-k * (np.array([0.0, 1.0]) - x0)))
    value = 1 / (1 + np.exp(-k * (np.clip(x, 0, 1) - x0)))
    return np.asarray((value - ends[0]) / (ends[1] - ends[0]), dtype=np.float64)


def uptake_shape(crop: Crop) -> tuple[float, float]:
    """Return the logistic of a crop: leafy, cabbage family heads (35 days or more), fruiting."""
    if crop.family == "Brassicaceae" and crop.harvest_kind == "once" and crop.days_to_harvest >= 35:
        return HEADING
    return FRUITING if crop.harvest_kind == "picking" else LEAFY


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Growth:
    """One plant of a batch from set-out to its last possible harvest; days count from `first_day`.

    Attributes
    ----------
    ripe_day
        First day on which it may be harvested.
    cut_days, cut_kg
        Days from which each successive harvest may be taken, and what each gives. [kg plant⁻¹]
        A crop cut once has one.
    last_day
        Last day it may stand.
    uptake_g_n
        Nitrogen taken up each day from set-out; ends with the last harvest. [g plant⁻¹ d⁻¹]
    """

    first_day: int
    ripe_day: int
    cut_days: tuple[int, ...]
    cut_kg: tuple[float, ...]
    last_day: int
    uptake_g_n: Series

    def uptake_until(self, day: int) -> Series:
        """Return daily uptake to the end of the last cut taken before or on `day`. [g plant⁻¹]"""
        return self.uptake_g_n[: max(0, day - self.first_day)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GrowthModel:
    """A crop in one zone's daily climate; `growth(day)` follows a batch set out on that day.

    Parameters
    ----------
    progress
        Progress days of each day, as `progress_per_day`.
    dli_mol
        Light of the zone by day, for the fruit set of picked crops. [mol m⁻² d⁻¹]
    """

    crop: Crop
    progress: Series
    dli_mol: Series

    def _cumulated(self) -> Series:
        return np.concatenate([[0.0], np.cumsum(self.progress)])

    def growth(self, first_day: int, first_cut_day: int | None = None) -> Growth | None:
        """Follow a plant set out (or sown in place) on `first_day`.

        Parameters
        ----------
        first_cut_day
            Day of the first cut where it is known, for batches already being cut.

        Returns
        -------
        None when it is not ripe within `LONGEST_STAND` times the table's days, or not within the
        days that the series cover.
        """
        crop = self.crop
        cumulated = self._cumulated()
        longest = LONGEST_STAND * (crop.days_to_harvest + crop.harvest_window_days)
        end = min(first_day + longest, len(self.progress))
        if crop.harvest_kind == "perennial":
            end = min(first_day + crop.renew_after_days, len(self.progress))
        ripe = first_cut_day
        if ripe is None:
            goal = cumulated[first_day] + crop.days_to_harvest - 1e-9
            ripe = int(np.searchsorted(cumulated, goal))
        if ripe > end or ripe >= len(self.progress):
            return None
        if crop.harvest_kind == "once":
            return self._cut_once(first_day, ripe, cumulated, end)
        if crop.harvest_kind == "picking":
            return self._picked(first_day, ripe, cumulated, end)
        return self._cut_again(first_day, ripe, cumulated, end)

    def _to_first(self, first_day: int, ripe: int, cumulated: Series) -> Series:
        """Share of the first stage's nitrogen taken up on each day from set-out to ripeness."""
        gone = cumulated[first_day : ripe + 1] - cumulated[first_day]
        total = gone[-1] if gone[-1] > 0 else 1.0
        shape = LEAFY if self.crop.harvest_kind != "once" else uptake_shape(self.crop)
        return np.asarray(np.diff(logistic_share(gone / total, shape)), dtype=np.float64)

    def _cut_once(self, first_day: int, ripe: int, cumulated: Series, end: int) -> Growth:
        crop = self.crop
        return Growth(
            first_day=first_day,
            ripe_day=ripe,
            cut_days=(ripe,),
            cut_kg=(crop.yield_kg_per_plant,),
            last_day=min(ripe + crop.harvest_window_days, end, len(self.progress) - 1),
            uptake_g_n=crop.n_uptake_g_per_plant * self._to_first(first_day, ripe, cumulated),
        )

    def _cut_again(self, first_day: int, ripe: int, cumulated: Series, end: int) -> Growth:
        """Cuts every regrowth interval in progress days; each takes an equal share."""
        crop = self.crop
        every = max(1, crop.regrowth_interval_days)
        if crop.harvest_kind == "perennial":
            share = every / PERENNIAL_YEAR_DAYS
            most = 10_000
        else:
            most = 1 + int(crop.harvest_window_days // every)
            share = 1 / most
        goals = cumulated[ripe] + every * np.arange(1, most) - 1e-9
        later = np.searchsorted(cumulated, goals[goals <= cumulated[end]])
        cut_days = [ripe, *(int(day) for day in later if day < len(self.progress))]
        total = crop.n_uptake_g_per_plant * share
        uptake = [total * self._to_first(first_day, ripe, cumulated)]
        for before, after in pairwise(cut_days):
            gained = self.progress[before:after]
            uptake.append(total * gained / gained.sum())
        return Growth(
            first_day=first_day,
            ripe_day=ripe,
            cut_days=tuple(cut_days),
            cut_kg=(crop.yield_kg_per_plant * share,) * len(cut_days),
            last_day=cut_days[-1],
            uptake_g_n=np.concatenate(uptake),
        )

    def _picked(self, first_day: int, ripe: int, cumulated: Series, end: int) -> Growth:
        """Picks every seven days; each takes the share of the window's progress since the last.

        A pick whose four weeks of light before it were below the crop's least is lost: it brings
        no kilograms and takes no nitrogen.
        """
        crop = self.crop
        window = crop.harvest_window_days
        stop = int(np.searchsorted(cumulated, cumulated[ripe] + window - 1e-9))
        stop = min(stop, end, len(self.progress) - 1)
        # each pick takes what ripened in the seven days that begin with it
        days = range(ripe, max(stop, ripe + 1), 7)
        life = crop.days_to_harvest + window
        strawberry = crop.family == "Rosaceae"
        # the first pick ends the first stage, whether the model or the grower dates it
        young = cumulated[first_day:ripe] - cumulated[first_day]
        young = young * crop.days_to_harvest / max(cumulated[ripe] - cumulated[first_day], 1e-9)
        borne = np.minimum(cumulated[ripe : stop + 1] - cumulated[ripe], window)
        gone = np.concatenate([young, crop.days_to_harvest + borne])
        if strawberry:
            shares = np.where(
                gone < crop.days_to_harvest,
                ESTABLISHMENT_SHARE * gone / crop.days_to_harvest,
                ESTABLISHMENT_SHARE
                + (1 - ESTABLISHMENT_SHARE) * (gone - crop.days_to_harvest) / window,
            )
        else:
            shares = logistic_share(gone / life, FRUITING)
        uptake = crop.n_uptake_g_per_plant * np.diff(shares)
        kilograms = []
        for day in days:
            until = min(day + 7, stop)
            share = (borne[until - ripe] - borne[day - ripe]) / window
            memory = self.dli_mol[max(0, day - LIGHT_MEMORY_DAYS) : day]
            if memory.size and memory.mean() < crop.dli_min_mol:
                share = 0.0
                uptake[day - first_day : until - first_day] = 0.0
            kilograms.append(crop.yield_kg_per_plant * share)
        return Growth(
            first_day=first_day,
            ripe_day=ripe,
            cut_days=tuple(days),
            cut_kg=tuple(kilograms),
            last_day=stop,
            uptake_g_n=uptake,
        )


def doubts(crop: Crop, air_c: Series, dli_mol: Series) -> tuple[str, ...]:
    """Say in words what the climate of a batch's days makes doubtful; empty when nothing does."""
    found = []
    limit_c = crop.bolts_above_c
    if limit_c is not None and np.count_nonzero(air_c > limit_c) > 0.25 * air_c.size:
        found.append(f"may bolt: over {limit_c:g} °C for a quarter of its days")
    if (air_c > crop.growth_max_c).any():
        found.append(f"days above its limit of {crop.growth_max_c:g} °C")
    if dli_mol.size and dli_mol.mean() < crop.dli_min_mol:
        found.append(
            f"little light: {dli_mol.mean():.1f} mol a day on average, "
            f"{crop.dli_min_mol:g} is the least for good quality"
        )
    return tuple(found)
