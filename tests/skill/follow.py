"""A fixed list of sowings, put into a season's problem in the place of the search.

It is the same in the second year as in the first, so that every method foretells the same batches
and last year's week has something to say.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from planner.batches import BatchOption
from planner.horizon import monday_of
from planner.plan import SeasonPlan
from planner.problem import SeasonProblem
from planner.stays import CohortOption

YEAR = timedelta(weeks=52)
EVERY_WEEKS = {"once": 2, "cut-and-come": 6, "picking": 8, "perennial": 26}
LONGEST = 1.8  # times the table's days that a batch is grown for
LONGEST_CUT_WEEKS = 12
FISH_A_TANK = 34


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A batch of the stream, by the name that a plan gives it.

    Attributes
    ----------
    wait
        Weeks from ripeness to its cut, for a crop cut once; else to clearing.
    """

    id: str
    crop: str
    zone: int
    set_out: date
    parts: int
    wait: int


@dataclass(slots=True)
class Promised:
    """What the plans so far have told: first cut's Monday and clearing day, by batch.

    A batch that stands keeps to it; one that is not set out yet is dated anew by each plan.
    """

    cut: dict[str, date] = field(default_factory=dict)
    clear: dict[str, date] = field(default_factory=dict)


def sowings(season: SeasonProblem) -> tuple[Item, ...]:
    """Return what stands in the house and a list of sowings for two years, the second as the first.

    Crops cut once are cut as soon as they are ripe: a search would let them wait for their orders,
    and nearly every first cut would come on its day. Batches that would stand over winter are left
    out, as a grower would.
    """
    found = [
        Item(id=row.id, crop=row.crop, zone=0, set_out=row.transplant or row.sow, parts=0, wait=0)
        for row in season.farm.standing
    ]
    days: dict[tuple[str, int], list[date]] = {}
    for option in season.batches:
        table = season.crops[option.crop]
        quick = (option.ripe - option.set_out).days <= LONGEST * table.days_to_harvest
        year = option.set_out < season.horizon.start + YEAR
        if option.standing is None and (option.cuts or option.tail_kg > 0) and quick and year:
            days.setdefault((option.crop, option.zone), []).append(option.set_out)
    for (crop, zone), known in sorted(days.items()):
        row = season.crops[crop]
        every = EVERY_WEEKS[row.harvest_kind]
        first = sorted(set(known))[:: max(1, every)]
        most = row.harvest_window_days // 7 - 1
        wait = 0 if row.harvest_kind == "once" else int(min(LONGEST_CUT_WEEKS, max(2, most)))
        found += [
            Item(id=_name(crop, zone, day), crop=crop, zone=zone, set_out=day, parts=2, wait=wait)
            for again in (timedelta(0), YEAR)
            for day in (set_out + again for set_out in first)
        ]
    return tuple(found)


def _name(crop: str, zone: int, set_out: date) -> str:
    """The name that `lots` gives a batch that is cleared in one week."""
    year, week, _ = set_out.isocalendar()
    return f"{crop}-{year % 100:02d}w{week:02d}-{zone + 1}a"


def follow(
    season: SeasonProblem,
    items: Mapping[str, Item],
    promised: Promised,
    empty: SeasonPlan,
) -> SeasonPlan:
    """Return the plan of a stream from the season's start on; what was told before is kept to.

    Parameters
    ----------
    empty
        Any plan; only its account of the search is taken over.
    """
    parts = np.zeros(len(season.batches), dtype=np.int64)
    for number, row in enumerate(season.farm.standing):
        options, _, _ = season.batch_groups[number]
        found = _choose(season, options, items.get(row.id), row.id, promised)
        if found is not None:
            parts[found] = row.parts
    by_key: dict[tuple[str, int, date], list[int]] = {}
    for number, option in enumerate(season.batches):
        if option.standing is None:
            key = option.crop, option.zone, option.set_out
            by_key.setdefault(key, []).append(number)
    here = {row.id for row in season.farm.standing}
    for item in items.values():
        options_of = by_key.get((item.crop, item.zone, item.set_out), [])
        if item.id not in here and options_of:
            found = _choose(season, options_of, item, item.id, promised)
            if found is not None:
                parts[found] = item.parts
    tanks, fish = _fish(season)
    return replace(
        empty,
        parts=parts,
        tanks=tanks,
        fish=fish,
        harvest_kg=_harvests(season, parts),
        order_kg={},
        outlet_kg={},
        cooler_kg={},
    )


def _choose(
    season: SeasonProblem,
    options: Sequence[int],
    item: Item | None,
    name: str,
    promised: Promised,
) -> int | None:
    """Return the option of a batch that is nearest to what the stream and earlier plans say."""
    if item is not None:  # a tray is set out when the stream says
        due = [n for n in options if season.batches[n].set_out == item.set_out]
        options = due or options
    batches, horizon = season.batches, season.horizon
    cutting = [n for n in options if batches[n].cuts]
    if not cutting:
        growing = [n for n in options if batches[n].tail_kg > 0]
        return min(growing or options, default=None)
    wait = 0 if item is None else item.wait
    stands = batches[cutting[0]].set_out < horizon.plan_date
    if season.crops[batches[cutting[0]].crop].harvest_kind == "once":
        first = batches[cutting[0]].cuts[0].first
        told = promised.cut.get(name) if stands else None
        week = first + wait if told is None else max(first, horizon.week_of(told))
        found = min(cutting, key=lambda n: (abs(batches[n].cuts[0].last - week), n))
        promised.cut[name] = horizon.monday(batches[found].cuts[0].last)
        return found
    clear = (promised.clear.get(name) if stands else None) or monday_of(
        max(batches[cutting[0]].ripe, horizon.plan_date) + timedelta(weeks=wait)
    )
    found = min(cutting, key=lambda n: (abs((batches[n].clear - clear).days), n))
    promised.clear[name] = clear if stands else batches[found].clear
    return found


def cut_week(season: SeasonProblem, option: BatchOption, number: int) -> int:
    """Week in which a cut of an option is made: crops cut once wait for their last week."""
    cut = option.cuts[number]
    return cut.last if season.crops[option.crop].harvest_kind == "once" else cut.first


def _harvests(season: SeasonProblem, parts: np.ndarray) -> dict[tuple[int, int], float]:
    numbers = {key: number for number, key in enumerate(season.cut_classes)}
    found: dict[tuple[int, int], float] = {}
    for n in np.flatnonzero(parts).tolist():
        option = season.batches[n]
        for at, cut in enumerate(option.cuts):
            key = numbers[option.crop, cut.first, cut.last], cut_week(season, option, at)
            found[key] = found.get(key, 0.0) + cut.kg * int(parts[n])
    return found


def _fish(season: SeasonProblem) -> tuple[np.ndarray, np.ndarray]:
    """Fish at hand stay to market weight; a tank that is emptied is stocked again at once."""
    tanks = np.zeros(len(season.cohorts), dtype=np.int64)
    fish = np.zeros(len(season.cohorts), dtype=np.int64)
    free: dict[int, list[date]] = {
        number: [season.horizon.plan_date] * tank.places
        for number, tank in enumerate(season.farm.tanks)
    }
    for group in season.cohort_groups:
        found = min(group, key=lambda n: _staying(season.cohorts[n]))
        option = season.cohorts[found]
        tanks[found], fish[found] = 1, option.count
        free[option.tank].remove(season.horizon.plan_date)
        if option.takes:
            free[option.tank].append(option.takes[-1].day + timedelta(days=7))
    for number, days in free.items():
        for day in days:
            offered = [
                n
                for n, option in enumerate(season.cohorts)
                if option.at_hand is None and option.tank == number and option.stock >= day
            ]
            if offered:
                soonest = min(season.cohorts[n].stock for n in offered)
                same = [n for n in offered if season.cohorts[n].stock == soonest]
                found = min(same, key=lambda n: _staying(season.cohorts[n]))
                tanks[found] += 1
                fish[found] += min(FISH_A_TANK, season.cohorts[found].most_fish)
    return tanks, fish


def _staying(option: CohortOption) -> tuple[bool, bool, int, int]:
    """Order of preference: taken all at once and saleable, soonest; else staying on."""
    takes = option.takes
    light = bool(takes) and not takes[0].saleable
    return light, not takes, len(takes), takes[-1].week if takes else 0
