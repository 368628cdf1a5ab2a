"""From decisions to lots: named batches with their cuts, and which lot serves which delivery.

The season model counts; here each batch option with parts becomes a lot with a name, what is cut
of a kind is shared over its lots, and every kilogram goes from a lot to an order, an outlet, the
cooler or waste, day by day.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import count
from string import ascii_lowercase

import numpy as np

from planner.batches import BatchOption
from planner.calendarrules import FISH_WEEKDAY, cut_day
from planner.demand import cut_days
from planner.plan import SeasonPlan, cooler_kg
from planner.problem import SeasonProblem

LEAST_KG = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lot:
    """A batch: parts of one option; `harvest_kg` by week of horizon and tail. [kg]"""

    id: str
    option: BatchOption
    parts: int
    harvest_kg: Mapping[int, float]
    ripe_in: Mapping[int, date]  # week -> day from which that week's cut is ripe


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """What one source gives one delivery: `kg` of a batch or cohort for an order week."""

    order: int
    crop: str
    source: str
    day: date
    kg: float


@dataclass(slots=True)
class Flows:
    """Where everything goes: deliveries, and what is cut of each source on each day. [kg]"""

    served: list[Served] = field(default_factory=list)
    cut: dict[tuple[str, date], float] = field(default_factory=lambda: defaultdict(float))


def _suffix(number: int) -> str:
    """Return a, b, ... z, aa, ab, ..."""
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = ascii_lowercase[rest] + text
    return text


def _names(problem: SeasonProblem, chosen: Iterable[int]) -> dict[int, str]:
    """Name the lots: a new one has crop, set-out week and zone, a standing one keeps its name.

    Of a standing batch that is cleared in several weeks the first lot keeps the name.
    """
    shared: dict[tuple[bool, str], list[int]] = defaultdict(list)
    for number in chosen:
        option = problem.batches[number]
        if option.standing is not None:
            shared[False, problem.farm.standing[option.standing].id].append(number)
        else:
            year, week, _ = option.set_out.isocalendar()
            base = f"{option.crop}-{year % 100:02d}w{week:02d}-{option.zone + 1}"
            shared[True, base].append(number)
    names: dict[int, str] = {}
    taken = {batch.id for batch in problem.farm.standing}  # the grower may have used any name
    for (new, base), numbers in shared.items():
        if not new:
            names[numbers[0]] = base
            numbers = numbers[1:]
        letters = (
            f"{base}{'' if new else '-'}{_suffix(place)}" for place in count(0 if new else 1)
        )
        free = (name for name in letters if name not in taken)
        for number, name in zip(numbers, free, strict=False):
            names[number] = name
            taken.add(name)
    return names


def lots(problem: SeasonProblem, plan: SeasonPlan) -> tuple[Lot, ...]:
    """Return the lots of a plan, in order of set-out, zone and crop."""
    chosen = sorted(
        (int(n) for n in np.flatnonzero(plan.parts)),
        key=lambda n: (problem.batches[n].set_out, problem.batches[n].zone, n),
    )
    names = _names(problem, chosen)
    shares: dict[int, dict[int, float]] = {n: defaultdict(float) for n in chosen}
    ripe_in: dict[int, dict[int, date]] = {n: {} for n in chosen}
    of_class: dict[tuple[str, int, int], list[tuple[int, float, date]]] = defaultdict(list)
    for n in chosen:
        option = problem.batches[n]
        for cut in option.cuts:
            key = (option.crop, cut.first, cut.last)
            of_class[key].append((n, cut.kg * int(plan.parts[n]), cut.ripe))
    by_class: dict[int, list[tuple[int, float]]] = defaultdict(list)
    for (number, week), kilograms in sorted(plan.harvest_kg.items()):
        by_class[number].append((week, kilograms))
    for number, weeks in by_class.items():
        sources = of_class[problem.cut_classes[number]]
        left = [kilograms for _, kilograms, _ in sources]
        for week, wanted in weeks:
            for at, (n, _, ripe) in enumerate(sources):
                taken = min(wanted, left[at])
                if taken > LEAST_KG:
                    shares[n][week] += taken
                    ripe_in[n][week] = min(ripe, ripe_in[n].get(week, ripe))
                    left[at] -= taken
                    wanted -= taken
    return tuple(
        Lot(
            id=names[n],
            option=problem.batches[n],
            parts=int(plan.parts[n]),
            harvest_kg=dict(shares[n]),
            ripe_in=ripe_in[n],
        )
        for n in chosen
    )


@dataclass(slots=True)
class _Source:
    """Kilograms at hand in a week; `ripe` is None for what is in the cooler already."""

    id: str
    kg: float
    ripe: date | None


def _deliveries(
    problem: SeasonProblem, plan: SeasonPlan
) -> dict[tuple[str, int], list[tuple[date, int, float]]]:
    """By produce and week: day, order and weight of each delivery, earliest first."""
    found: dict[tuple[str, int], list[tuple[date, int, float]]] = defaultdict(list)
    for (number, crop), kilograms in sorted(plan.order_kg.items()):
        order = problem.orders[number]
        for weekday in order.weekdays:
            day = problem.horizon.monday(order.week) + timedelta(days=weekday)
            found[crop, order.week].append((day, number, kilograms / len(order.weekdays)))
    return {key: sorted(deliveries) for key, deliveries in found.items()}


def _take(sources: list[_Source], wanted: float) -> Iterator[tuple[_Source, float]]:
    """Take from the sources in their order until enough."""
    for source in sources:
        taken = min(source.kg, wanted)
        if taken > LEAST_KG:
            source.kg -= taken
            wanted -= taken
            yield source, taken


def flows(
    problem: SeasonProblem,
    plan: SeasonPlan,
    all_lots: tuple[Lot, ...],
    fish_taken: Mapping[tuple[str, int], list[tuple[str, date, float]]],
) -> Flows:
    """Send every kilogram from its lot to where it goes.

    Parameters
    ----------
    fish_taken
        By species and week: cohort, day and saleable weight. [kg]
    """
    horizon = problem.horizon
    result = Flows()
    ready: dict[tuple[str, int], list[_Source]] = defaultdict(list)
    for lot in all_lots:
        for week, kilograms in sorted(lot.harvest_kg.items()):
            source = _Source(lot.id, kilograms, lot.ripe_in[week])
            ready[lot.option.crop, week].append(source)
    for (species, week), catches in fish_taken.items():
        for cohort, day, kilograms in catches:
            ready[species, week].append(_Source(cohort, kilograms, day))
    deliveries = _deliveries(problem, plan)
    kept = cooler_kg(problem, plan)
    for name in problem.produce:
        weekday = (
            FISH_WEEKDAY if name in problem.fish else cut_days(problem.farm, name).first_weekday
        )
        cooler: list[_Source] = []
        for week in range(problem.weeks):
            fresh = sorted(ready[name, week], key=lambda source: (source.ripe, source.id))
            usual = horizon.monday(week) + timedelta(days=weekday)
            for day, number, kilograms in deliveries.get((name, week), []):
                for source, taken in _take(cooler + fresh, kilograms):
                    result.served.append(
                        Served(order=number, crop=name, source=source.id, day=day, kg=taken)
                    )
                    if source.ripe is not None:
                        when = cut_day(horizon, day, source.ripe)
                        result.cut[source.id, when] += taken
            for source in fresh:  # what no order takes is cut with the rest of the week's
                if source.kg > LEAST_KG and source.ripe is not None:
                    when = max(usual, source.ripe, horizon.plan_date)
                    days = [
                        d for d in _days_of(horizon.monday(week)) if (source.id, d) in result.cut
                    ]
                    result.cut[source.id, days[-1] if days else when] += source.kg
            keep = float(kept[name][week])
            left = [source for source in reversed(cooler + fresh) if source.kg > LEAST_KG]
            cooler = [_Source(s.id, taken, None) for s, taken in _take(left, keep)][::-1]
    return result


def _days_of(monday: date) -> list[date]:
    return [monday + timedelta(days=n) for n in range(7)]
