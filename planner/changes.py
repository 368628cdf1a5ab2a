"""What a new plan would do otherwise than the plan in force, and what that is charged.

Counted are starts: parts set out of a crop in a zone and week, fish stocked in a week, and the week
in which fish at hand begin to be taken. A start moved by a week is two changes: one given up and
one new. The price of a change halves with every `HALVING_WEEKS` to its first work; inside the
farm's freeze weeks, and for fish that are on order, it is `FROZEN_FACTOR` times as high, so that
only what cannot stay is moved.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from types import MappingProxyType
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from planner.batches import BatchOption
from planner.document import PlanDoc
from planner.farm import Farm
from planner.horizon import Horizon, monday_of
from planner.stays import CohortOption

Key = TypeVar("Key", bound=tuple[object, ...])

HALVING_WEEKS = 12  # judgement
FROZEN_FACTOR = 20.0  # judgement
FAR_WEEKS = 12  # ahead; a plan looks first for what it may start sooner; judgement
WORST_SHIFT_WEEKS = 8  # fish taken later or earlier than this are charged no more; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """The starts of the plan in force from a day on; weeks by their Monday.

    Attributes
    ----------
    parts
        Parts set out, by crop, zone and week. [-]
    fish
        Fish stocked, by species and week. [-]
    taken
        First week in which the fish at hand of a tank are taken.
    sowings
        Crop, zone, days of setting out and clearing, and parts of each batch to come.
    stockings
        Species, tank, day of stocking, weeks of taking, and fish of each cohort to come.
    until
        The first Monday that it says nothing of.
    """

    parts: Mapping[tuple[str, str, date], int]
    fish: Mapping[tuple[str, date], int]
    taken: Mapping[str, date]
    sowings: tuple[tuple[str, str, date, date, int], ...]
    stockings: tuple[tuple[str, str, date, tuple[date, ...], int], ...]
    until: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Options that are one start in the plan in force, with `before` of it there.

    Each more or less is charged `price`.
    """

    options: tuple[int, ...]
    before: int
    price: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Changes:
    """What changes are charged.

    Attributes
    ----------
    parts, fish
        Starts of the plan in force, by batch options and by options of new cohorts.
    new_part_cost, new_fish_cost
        By option: what a start that is not in the plan in force is charged. [money part⁻¹],
        [money fish⁻¹]
    taken_cost
        By cohort option: what taking the fish at hand in other weeks is charged. [money]
    as_before
        The plan in force in this problem's options, as a place to begin from; None without one.
    """

    parts: tuple[Group, ...]
    fish: tuple[Group, ...]
    new_part_cost: NDArray[np.float64]
    new_fish_cost: NDArray[np.float64]
    taken_cost: NDArray[np.float64]
    as_before: "AsBefore | None" = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AsBefore:
    """The starts of the plan in force: parts, tanks and fish by option of new batches and cohorts.

    `parts_told`, `tanks_told` mark the options that it speaks of; `far_new` those that set out more
    than `FAR_WEEKS` ahead what it does not set out on that day.
    """

    parts: NDArray[np.int64]
    parts_told: NDArray[np.bool_]
    far_new: NDArray[np.bool_]
    tanks: NDArray[np.int64]
    fish: NDArray[np.int64]
    tanks_told: NDArray[np.bool_]


def none(batches: int, cohorts: int) -> Changes:
    """Return that nothing is charged, for a plan with none before it."""
    return Changes(
        parts=(),
        fish=(),
        new_part_cost=np.zeros(batches),
        new_fish_cost=np.zeros(cohorts),
        taken_cost=np.zeros(cohorts),
    )


def earlier(
    document: PlanDoc, plan_date: date, ordered: Mapping[str, date] = MappingProxyType({})
) -> Earlier:
    """Return what a plan's document says of the starts from `plan_date` on.

    `ordered` gives the day on which cohorts come, by name, that are on order: they are no choice of
    the plan, and are charged by themselves.
    """
    first = monday_of(plan_date)
    parts: dict[tuple[str, str, date], int] = defaultdict(int)
    sowings, stockings = [], []
    for batch in document["batches"]:
        if batch["state"] not in ("planned", "sown"):
            continue
        set_out = date.fromisoformat(batch["transplant"] or batch["sow"])
        if set_out >= plan_date:
            parts[batch["crop"], batch["zone"], monday_of(set_out)] += batch["parts"]
            if batch["state"] == "planned":
                clear = date.fromisoformat(batch["clear"])
                sowings.append((batch["crop"], batch["zone"], set_out, clear, batch["parts"]))
    fish: dict[tuple[str, date], int] = defaultdict(int)
    taken: dict[str, date] = {}
    for cohort in document["cohorts"]:
        planned = date.fromisoformat(cohort["stock"])
        stock = ordered.get(cohort["id"], planned)
        weeks = sorted(date.fromisoformat(take["week"]) for take in cohort["taken"])
        weeks = [week + (monday_of(stock) - monday_of(planned)) for week in weeks]
        if stock >= plan_date:
            count = round(cohort["weeks"][0]["count"]) if cohort["weeks"] else 0
            if cohort["id"] not in ordered:
                fish[cohort["species"], monday_of(stock)] += count
            stockings.append((cohort["species"], cohort["tank"], stock, tuple(weeks), count))
        elif weeks and weeks[-1] >= first:
            taken[cohort["tank"]] = next(week for week in weeks if week >= first)
    start = date.fromisoformat(document["horizon"]["start"])
    until = start + timedelta(weeks=document["horizon"]["weeks"])
    return Earlier(
        parts=dict(parts),
        fish=dict(fish),
        taken=taken,
        sowings=tuple(sowings),
        stockings=tuple(stockings),
        until=until,
    )


def changes(
    farm: Farm,
    horizon: Horizon,
    batches: Sequence[BatchOption],
    cohorts: Sequence[CohortOption],
    before: Earlier,
) -> Changes:
    """Return what changes against the plan in force are charged.

    Starts after the last week that it speaks of are free.
    """
    weights = farm.weights
    parts: dict[tuple[str, str, date], list[int]] = defaultdict(list)
    for number, option in enumerate(batches):
        if option.set_out >= horizon.plan_date and option.set_out < before.until:
            zone = farm.zones[option.zone].name
            parts[option.crop, zone, monday_of(option.set_out)].append(number)
    fish: dict[tuple[str, date], list[int]] = defaultdict(list)
    coming: dict[int, list[int]] = defaultdict(list)
    taken_cost = np.zeros(len(cohorts))
    for number, cohort in enumerate(cohorts):
        if cohort.at_hand is None:
            if cohort.ordered is not None:
                coming[cohort.ordered].append(number)
            elif cohort.stock < before.until:
                fish[cohort.species, monday_of(cohort.stock)].append(number)
            continue
        planned = before.taken.get(farm.cohorts[cohort.at_hand].tank)
        if planned is not None:
            week = horizon.week_of(planned)
            taken = cohort.takes[0].week if cohort.takes else horizon.all_weeks
            shift = min(1.0, abs(taken - week) / WORST_SHIFT_WEEKS)
            price = _price(farm, weights.change_fish, min(taken, week))
            taken_cost[number] = round(price * shift * cohort.count, 4)
    first_work = [o.sow if o.standing is None else o.set_out for o in batches]
    sow_week = [horizon.week_of(max(day, horizon.plan_date)) for day in first_work]
    order_week = [_order_week(farm, horizon, o) for o in cohorts]
    part_groups, new_part_cost = _charged(farm, weights.change_part, parts, before.parts, sow_week)
    fish_groups, new_fish_cost = _charged(farm, weights.change_fish, fish, before.fish, order_week)
    owed = [_owed(farm, number, options, cohorts) for number, options in coming.items()]
    return Changes(
        parts=part_groups,
        fish=(*fish_groups, *owed),
        new_part_cost=new_part_cost,
        new_fish_cost=new_fish_cost,
        taken_cost=taken_cost,
        as_before=_as_before(farm, horizon, batches, cohorts, before),
    )


def _as_before(
    farm: Farm,
    horizon: Horizon,
    batches: Sequence[BatchOption],
    cohorts: Sequence[CohortOption],
    before: Earlier,
) -> AsBefore:
    """Find the options that the plan in force follows, or those nearest to them.

    A sowing keeps its day; where no option clears it on the same day the nearest one is taken.
    """
    of_sowing: dict[tuple[str, str, date], list[int]] = defaultdict(list)
    for n, option in enumerate(batches):
        if option.standing is None:
            of_sowing[option.crop, farm.zones[option.zone].name, option.set_out].append(n)
    parts = np.zeros(len(batches), dtype=np.int64)
    for crop, zone, set_out, clear, count in before.sowings:
        near = [(abs((batches[n].clear - clear).days), n) for n in of_sowing[crop, zone, set_out]]
        if near:
            parts[min(near)[1]] += count
    tank_of = {name: n for n, tank in enumerate(farm.tanks) for name in tank.tank_names}
    of_stocking: dict[tuple[str, int, date], list[int]] = defaultdict(list)
    for n, cohort in enumerate(cohorts):
        if cohort.at_hand is None:
            of_stocking[cohort.species, cohort.tank, cohort.stock].append(n)
    tanks, fish = np.zeros(len(cohorts), dtype=np.int64), np.zeros(len(cohorts), dtype=np.int64)
    for species, tank, stock, weeks, count in before.stockings:
        near = [
            (_apart(cohorts[n], weeks, before.until), n)
            for n in of_stocking[species, tank_of.get(tank, -1), stock]
        ]
        if near:
            best = min(near)[1]
            tanks[best] += 1
            fish[best] += min(count, cohorts[best].most_fish)
    planned = {(crop, zone, set_out) for crop, zone, set_out, _, _ in before.sowings}
    far = horizon.plan_date + timedelta(weeks=FAR_WEEKS)
    told = np.array([o.standing is None and o.set_out < before.until for o in batches], dtype=bool)
    new = [
        o.set_out >= far and (o.crop, farm.zones[o.zone].name, o.set_out) not in planned
        for o in batches
    ]
    return AsBefore(
        parts=parts,
        far_new=told & np.array(new, dtype=bool),
        parts_told=told,
        tanks=tanks,
        fish=fish,
        tanks_told=np.array(
            [o.at_hand is None and o.stock < before.until for o in cohorts], dtype=bool
        ),
    )


def _apart(option: CohortOption, weeks: Sequence[date], until: date) -> int:
    """Days between the first and the last taking of an option and those of a plan. [d]

    Takings of which the plan does not speak come after its last week.
    """
    if not option.takes:
        return 0 if not weeks else 1000
    first, last = monday_of(option.takes[0].day), monday_of(option.takes[-1].day)
    if not weeks:
        return max(0, (until - first).days)
    return abs((first - weeks[0]).days) + abs((last - weeks[-1]).days)


def _order_week(farm: Farm, horizon: Horizon, option: CohortOption) -> int:
    """Week in which the fish are ordered. [-]"""
    lead = 0 if option.offer is None else farm.fingerlings[option.offer].lead_weeks
    return horizon.week_of(option.stock) - lead


def _owed(farm: Farm, number: int, options: list[int], cohorts: Sequence[CohortOption]) -> Group:
    """Fish on order: each that is not stocked is charged as a change of today, and paid for."""
    price = farm.weights.change_fish * FROZEN_FACTOR + cohorts[options[0]].fingerling_price
    return Group(options=tuple(options), before=farm.ordered[number].count, price=round(price, 4))


def _charged(
    farm: Farm,
    price: float,
    options: Mapping[Key, list[int]],
    before: Mapping[Key, int],
    week_of: Sequence[int],
) -> tuple[tuple[Group, ...], NDArray[np.float64]]:
    """Return the groups of starts that are in the plan in force, and the cost of all others."""
    groups: list[Group] = []
    new_cost = np.zeros(len(week_of))
    for key, numbers in options.items():
        charged = round(_price(farm, price, min(week_of[n] for n in numbers)), 4)
        if before.get(key, 0) > 0 and charged > 0:
            groups.append(Group(options=tuple(numbers), before=before[key], price=charged))
        else:
            new_cost[numbers] = charged
    return tuple(groups), new_cost


def _price(farm: Farm, price: float, week: int) -> float:
    """Return the price of a change whose first work is in a week of the horizon."""
    week = max(0, week)
    if week < farm.rules.freeze_weeks:
        return price * FROZEN_FACTOR
    return price * float(0.5 ** (week / HALVING_WEEKS))
