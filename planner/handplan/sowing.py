"""What a grower does with what stands, and what is sown for the orders."""

import math
from collections import defaultdict

import numpy as np
from numpy.typing import NDArray

from planner import demand
from planner.calendarrules import set_out_weekday
from planner.handplan.book import NEAR, Book
from planner.handplan.habits import Habit, habit
from planner.problem import SeasonProblem

Series = NDArray[np.float64]

MARGIN = 1.10  # sown beyond what is wanted; common practice


def keep_standing(book: Book) -> None:
    """Keep each batch that stands to the end of its harvests, as far as hours to clear it allow.

    What nobody takes is cleared as soon as it may be.
    """
    problem = book.problem
    wanted = demand.sold(problem.farm)

    def gives(n: int) -> tuple[float, int]:
        option = problem.batches[n]
        if option.crop not in wanted:
            return 0.0, -option.last_day
        kg = sum(cut.kg for cut in option.cuts) + option.tail_kg
        return round(kg, 6), option.last_day

    for options, parts, stands in problem.batch_groups:
        if not stands:
            continue
        ranked = sorted(options, key=gives, reverse=True)
        left = parts
        for n in ranked:
            kept = min(left, book.hands(n))
            book.sow(n, kept)
            left -= kept
        book.sow(ranked[0], left)  # they stand, whatever the hours


def set_out_trays(book: Book) -> None:
    """Set out what waits in the nursery, in the first week in which it may be and finds room."""
    problem = book.problem
    wanted = demand.sold(problem.farm)
    for options, parts, stands in problem.batch_groups:
        by_week: dict[int, list[int]] = defaultdict(list)
        for n in options:
            if not stands and problem.batches[n].crop in wanted:
                by_week[problem.batches[n].start].append(n)
        left = parts
        for week in sorted(by_week):
            for n in book.by_table(by_week[week]):
                kept = min(left, book.room(n))
                book.sow(n, kept)
                left -= kept


def _sown_for(problem: SeasonProblem) -> dict[int, str]:
    """The crop that is sown for each order: the first of its crops that can be grown."""
    cells = problem.farm.nursery.cells
    grown = {b.crop for b in problem.batches if b.standing is None and b.cells <= cells}
    found = {}
    for number, order in enumerate(problem.orders):
        crop = next((crop for crop in order.crops if crop in grown), None)
        if crop is not None:
            found[number] = crop
    return found


def crops_in_turn(problem: SeasonProblem) -> list[str]:
    """Return the crops that are sown for orders, in the order in which they are given places.

    Those that few zones carry come first, then by priority and worth of their orders.
    """
    zones: dict[str, set[int]] = defaultdict(set)
    for option in problem.batches:
        if option.standing is None:
            zones[option.crop].add(option.zone)
    priority: dict[str, int] = {}
    worth: dict[str, float] = defaultdict(float)
    for number, crop in _sown_for(problem).items():
        order = problem.orders[number]
        rank = problem.farm.orders[order.line].priority
        priority[crop] = min(rank, priority.get(crop, rank))
        worth[crop] += order.ordered * order.price
    return sorted(priority, key=lambda c: (len(zones[c]), priority[c], -worth[c], c))


def wanted_kg(problem: SeasonProblem, crop: str) -> Series:
    """Return what the orders for which `crop` is sown want of it, by week. [kg]

    Of crops cut again, what is delivered every few weeks counts evenly over those weeks.
    """
    wanted: Series = np.zeros(problem.weeks)
    once = habit(problem.crops[crop]).once
    for number, server in _sown_for(problem).items():
        if server != crop:
            continue
        order = problem.orders[number]
        every = 1 if once else problem.farm.orders[order.line].every_weeks
        kg = order.ordered * order.kg_per_unit[order.crops.index(crop)]
        wanted[max(0, order.week - every + 1) : order.week + 1] += kg / every
    return wanted


def sow_for_orders(book: Book, crop: str) -> None:
    """Sow a crop for every stretch of weeks that what stands and is sown already leaves short."""
    problem = book.problem
    ways = habit(problem.crops[crop])
    wanted = wanted_kg(problem, crop)
    supply = book.supply_kg[crop]
    for week in np.flatnonzero(wanted).tolist():
        gives = _gives_kg(book, ways, week)
        weeks = np.flatnonzero(gives)
        weeks = weeks[: ways.every_weeks if ways.once else max(1, weeks.size - 1)]  # whole weeks
        weeks = weeks[wanted[weeks] > 0]
        for zone in range(len(problem.farm.zones)):
            if supply[week] >= wanted[week] - NEAR:
                break
            n = _option(book, crop, zone, week)
            if n is None:
                continue
            short = np.maximum(0, wanted[weeks] * MARGIN - supply[weeks]).sum()
            one = gives[week] if ways.once else gives[weeks].sum()
            plants = problem.batches[n].plants
            parts = min(math.ceil(short / (one * plants) - NEAR), book.room(n))
            book.sow(n, parts)
            given = gives * plants * parts
            supply += _in_turn(given, wanted * MARGIN - supply) if ways.once else given


def _gives_kg(book: Book, ways: Habit, week: int) -> Series:
    """What a plant that is ripe when `week` begins gives by the table, by week. [kg]

    Of a crop cut once, all of it in each week in which it may be cut.
    """
    kg: Series = np.zeros(book.problem.weeks)
    if ways.once:
        kg[week : week + 1 + ways.cut_days // 7] = ways.kg
        return kg
    counted = np.minimum(np.cumsum(book.counted(week)), ways.cut_days)
    kg[week:] = np.diff(counted, prepend=0.0) * ways.kg
    return kg


def _in_turn(most_kg: Series, short_kg: Series) -> Series:
    """Share one harvest over the weeks in which it may be cut, the first that are short first."""
    given = np.zeros_like(most_kg)
    left = float(most_kg.max(initial=0.0))
    for week in np.flatnonzero(most_kg).tolist():
        given[week] = min(left, max(0.0, float(short_kg[week])))
        left -= given[week]
    return given


def _option(book: Book, crop: str, zone: int, week: int) -> int | None:
    """The option that by the table is ripe when `week` begins, None when it cannot be."""
    problem = book.problem
    horizon = problem.horizon
    ripen_days = problem.crops[crop].days_to_harvest
    latest = book.set_out_by(horizon.monday(week), ripen_days)
    weekday = set_out_weekday(problem.farm.zones[zone].sanitation_days)
    start = ((latest - horizon.start).days - weekday) // 7
    options = book.new.get((crop, zone), {}).get(start)
    return book.by_table(options)[0] if options else None
