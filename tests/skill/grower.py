"""What a batch really gives when a grower follows a plan for it.

A batch is first cut when it is ripe or when it was planned, whichever is later; nothing is cut on
Sundays. A crop cut once is weighed out as heads fit to sell, and spoils when it stands too long.
Leaf that grows again is cut plant by plant, as far as it has grown; fruit is picked as it ripens.
A grower waits two weeks for what is late, and then takes it as it is.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import NormalDist

import numpy as np

from planner.farm import Zone
from planner.tables import Crop
from tests.skill.nature import Luck, Nature, Series, tail

LONGEST_WAIT = 14  # days for what is late
# of a head's weight that is fit to sell, and of single heads; so that a spread of mean weight shows
# in what is sold in about the share that `counted_share` says, more below than above
FIT, SINGLE_CV = 0.6, 0.25
LIGHT_SHARE = 0.3  # of the log of growth over the even year's that shows in weight
MOST_LEAF = 1.8  # cuts of leaf that stand on a plant at most
LEAST_LEAF, LEAST_KG = 0.02, 1e-3  # of a cut, worth writing down
SPARE_LEAF = 0.3  # cuts left standing for the next time; more is taken with the plan's
PICK_DAYS = 7
WEEKLY = 0.5  # of the variance of a batch's weight that is of single cuts, not of the batch
USUAL_WAIT = 3.0  # days from ripeness to the first cut of leaf that the table's yield is for
LIT = 0.15  # either way of the least light, over which fruit set comes and goes
SPOILT = 1.5  # harvest windows past the first in which about two thirds are spoilt

HEAD_UNITS = {"head", "each"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batch:
    """A batch as it stands: what of it is not the grower's to choose."""

    key: str
    crop: Crop  # as the tables have it
    zone: Zone
    set_out: date
    plants: int
    from_tray: bool


@dataclass(frozen=True, slots=True)
class RealCut:
    """A cut that was made: when, how much, for which planned day, and the cuts of leaf left."""

    day: date
    kg: float
    planned_on: date
    left: float = 0.0


def no_sunday(day: date) -> date:
    """Return the day, or the Monday after a Sunday."""
    return day + timedelta(days=day.weekday() == 6)


def ripe_on(nature: Nature, batch: Batch) -> date:
    """Return the day on which a batch is truly ripe."""
    luck = nature.luck(batch.crop, batch.key, batch.plants)
    return nature.date_of(nature.ripe_day(batch.crop, batch.zone, batch.set_out, luck))


def sound_plants(nature: Nature, batch: Batch, luck: Luck) -> float:
    """Return the plants that live to be cut. [-]"""
    lost = nature.lost_share(batch.crop, batch.zone.method.value, luck)
    return batch.plants * (luck.up if batch.from_tray else 1.0) * (1 - lost)


def full_kg(nature: Nature, batch: Batch, until: date) -> float:
    """Return what the batch is worth by its plants: all that it gives in an even season. [kg]"""
    crop = batch.crop
    luck = nature.luck(crop, batch.key, batch.plants)
    log_weight = nature.habit(crop, batch.zone.method.value).yields + luck.weight * (
        1.0 if crop.harvest_kind == "once" else np.sqrt(1 - WEEKLY)
    )
    log_weight += LIGHT_SHARE * _season(nature, batch, until)
    weight = float(np.exp(log_weight))
    if crop.harvest_kind == "once" and crop.yield_unit in HEAD_UNITS:
        weight = heads_fit(weight)
    return sound_plants(nature, batch, luck) * crop.yield_kg_per_plant * weight


def heads_fit(weight: float) -> float:
    """Return heads fit to sell over those of the table's weight, at a mean weight over it. [-]"""
    bell = NormalDist(0, SINGLE_CV)
    return (1 - bell.cdf(FIT / weight - 1)) / (1 - bell.cdf(FIT - 1))


def _season(nature: Nature, batch: Batch, until: date) -> float:
    """Log of light over the even year's from set-out to a day."""
    first, last = nature.day_of(batch.set_out), nature.day_of(until)
    return float(np.log(nature.sun[max(0, first) : max(first + 7, last)].mean()))


def cuts(
    nature: Nature,
    batch: Batch,
    planned: Sequence[tuple[date, float]],
    past: Sequence[RealCut],
    first_cut: date | None = None,
) -> list[RealCut]:
    """Return the cuts that come of planned ones, after those of the past.

    Parameters
    ----------
    planned
        Days still to come, and how much: of leaf in whole cuts, else the share of what stands.
    first_cut
        When cutting began, of a batch that the house began with.
    """
    ripe = ripe_on(nature, batch)
    if batch.crop.harvest_kind == "once":
        return _once(nature, batch, planned, past, ripe)
    return _again(nature, batch, planned, past, first_cut or ripe)


def _once(
    nature: Nature,
    batch: Batch,
    planned: Sequence[tuple[date, float]],
    past: Sequence[RealCut],
    ripe: date,
) -> list[RealCut]:
    crop, found = batch.crop, []
    left = 1.0 if not past else 0.0
    for day, share in planned:
        when = no_sunday(max(day, min(ripe, day + timedelta(days=LONGEST_WAIT))))
        kg = full_kg(nature, batch, when) * share * left
        if when < ripe:
            luck = nature.luck(crop, batch.key, batch.plants)
            rate = nature.rate(crop, batch.zone)[nature.day_of(batch.set_out) : nature.day_of(when)]
            kg *= min(1.0, rate.sum() / (crop.days_to_harvest * np.exp(luck.days))) ** 2
        over = (when - ripe).days - crop.harvest_window_days
        kg *= np.exp(-((max(0, over) / (SPOILT * max(1, crop.harvest_window_days))) ** 2))
        left *= 1 - share
        found.append(RealCut(day=when, kg=float(kg), planned_on=day))
    return found


def _again(
    nature: Nature,
    batch: Batch,
    planned: Sequence[tuple[date, float]],
    past: Sequence[RealCut],
    ripe: date,
) -> list[RealCut]:
    """Leaf or fruit: what has grown since the last cut, or since ripeness, is cut."""
    crop = batch.crop
    fruit = crop.harvest_kind == "picking"
    luck = nature.luck(crop, batch.key, batch.plants)
    rate = nature.rate(crop, batch.zone) * np.exp(-luck.days)
    gone = np.concatenate([[0.0], np.cumsum(rate * (_set(nature, batch) if fruit else 1.0))])
    window, every = crop.harvest_window_days, max(1, crop.regrowth_interval_days)
    most = 1 + int(window // every) if crop.harvest_kind != "perennial" else 240 / every
    one_kg = full_kg(nature, batch, ripe) / (window if fruit else most)  # a day, or a cut
    noise = nature.spread.yield_batch * np.sqrt(WEEKLY)
    standing, at = 1 - USUAL_WAIT / every, nature.day_of(ripe)
    ends = gone[at] + window
    if past:
        standing, at = past[-1].left, nature.day_of(past[-1].day)
    found: list[RealCut] = []
    for day, share in planned:
        when = day if (found or past) else no_sunday(max(day, ripe))
        last = found[-1].day if found else (past[-1].day if past else None)
        if last is not None and when <= last:
            continue
        now = min(nature.day_of(when), len(gone) - PICK_DAYS - 1)
        if now < at:
            continue
        if fruit:  # picked all week, and written down together
            stands = min(gone[now + PICK_DAYS], ends) - min(gone[now], ends)
            took = stands * share
        else:  # plant by plant: as much as the plan wants, and what would stand too long
            stands = min(standing + (gone[now] - gone[at]) / every, MOST_LEAF)
            took = min(stands, share) + max(0.0, stands - share - SPARE_LEAF)
            standing = stands - took
        at = now
        weigh = tail(nature.stream(f"cut {batch.key} {when.isocalendar()[:2]}"), noise)
        kg = one_kg * took * np.exp(weigh)
        if took >= LEAST_LEAF and kg > LEAST_KG:
            found.append(RealCut(day=when, kg=float(kg), planned_on=day, left=float(standing)))
    return found


def _set(nature: Nature, batch: Batch) -> Series:
    """Share of fruit that sets, by day: by the light of four weeks, from none to all."""
    environment, zone = nature.environment, batch.zone
    lit = environment.dli_house_mol * zone.light_share * nature.sun
    sums = np.cumsum(np.concatenate([np.full(28, lit[0]), lit]))
    mean = (sums[28:] - sums[:-28]) / 28
    least = max(1e-9, batch.crop.dli_min_mol)
    return np.asarray(np.clip((mean / least - (1 - LIT)) / (2 * LIT), 0.0, 1.0))
