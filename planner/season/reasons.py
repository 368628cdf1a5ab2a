"""Why an order is short: the rule that has to give way before it can be filled.

The crops of one line are planned again by themselves, beside all else as the plan has it: first
with every rule, then with one rule loosened at a time, in fractions of a part and, where those
fill the order, in whole parts. A rule is the reason when the order can be filled without it and
not with it.
"""

from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from planner.plan import TOLERANCE
from planner.season.linear import LinearModel
from planner.season.margins import TRAY_CELLS
from planner.season.search import WORKERS, Search
from planner.season.solvers import Limits, solve
from planner.season.steps import NEAR

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]

FILLED = 0.5  # of what was short: when so much can come, the rule was what stood in the way
EFFORT = 1e-6  # of an order's whole shortage: price of a part, a tank or a tray, and of a sowing
NEXT_TO_NOTHING = 1e-3  # of the price of nitrate out of its band
BESIDES = 1e-4  # of the farm's money, against an order's whole shortage
SHORTAGE = 100.0
MOST_OPEN = 100  # options of which any number is tried; of others, the whole numbers near fractions
WHOLE_NODES = 20  # of a search for whole parts
WHOLE_GAP = 1e-4


class Rule(StrEnum):
    """What stands in the way of an order."""

    TIME = "time"  # nothing can be ripe in that week
    PLACES = "places"
    NURSERY = "nursery"
    HOURS = "hours"
    TANKS = "tanks"
    FILTER = "filter"
    NITRATE_MOST = "nitrate_most"
    BAND_LOW = "band_low"
    BAND_HIGH = "band_high"
    TOGETHER = "together"  # more than one rule
    WORTH = "worth"  # it could be filled, but costs more than it brings
    SEARCH = "search"  # it could be filled; the search did not come so far


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why an order of a week is short.

    Attributes
    ----------
    zone
        Number of the zone whose places are full; None for other rules.
    weeks
        First and last week in which the rule would have to give way; the first week in which
        anything sown or stocked by this plan can serve the line, for `Rule.TIME`. Empty where
        neither is known.
    """

    rule: Rule
    zone: int | None = None
    weeks: tuple[int, ...] = ()


def _nothing() -> Numbers:
    return np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Family:
    """A rule that can be loosened: the bounds of some columns and rows, by week.

    `own` are the line's columns that the same limit bounds: no more parts follow one option than
    the zone has.
    """

    rule: Rule
    zone: int | None = None
    columns: Numbers = field(default_factory=_nothing)
    rows: Numbers = field(default_factory=_nothing)
    own: Numbers = field(default_factory=_nothing)


def reasons(search: Search) -> dict[int, Reason]:
    """Return the reason of every order week that is short beyond its tolerance, by its number."""
    problem = search.problem
    if search.best is None:
        return {}
    lacking = _lacking(search, search.best)
    lines: dict[int, list[int]] = defaultdict(list)
    for number, order in enumerate(problem.orders):
        if lacking[number] > TOLERANCE * max(1.0, order.least):
            lines[order.line].append(number)
    found: dict[int, Reason] = {}
    if lines:
        hangs = _hanging_together(search)
        todo = [_Line(search, search.best, lacking, some, hangs) for some in lines.values()]
        todo.sort(key=lambda line: -len(line.own))  # the longest first: no worker waits for it
        with ThreadPoolExecutor(WORKERS) as pool:
            for of_one in pool.map(_Line.reasons, todo):
                found |= of_one
    return found


def _lacking(search: Search, values: Floats) -> Floats:
    """Return what each order week lacks of its least, whether a shortage costs or not. [unit]"""
    lacking: Floats = np.array([order.least for order in search.problem.orders])
    for number, order in enumerate(search.problem.orders):
        for crop, weight in zip(order.crops, order.kg_per_unit, strict=True):
            lacking[number] -= values[search.rows.order_kg[number, crop]] / weight
    return np.asarray(np.maximum(0.0, lacking))


def _hanging_together(search: Search) -> tuple[Numbers, Numbers]:
    """Return a mark for each row and column; what can move together has the same one.

    Whole numbers hold still here, and hours of work tie nothing: each moves by itself.
    """
    model = search.model
    rows = np.array([rule != "hours of work" for rule in model.rules], dtype=np.float64)
    moving = sparse.diags(rows) @ abs(model.matrix) @ sparse.diags((~model.whole).astype(float))
    graph = sparse.bmat([[None, moving], [moving.T, None]])
    _, marks = connected_components(graph, directed=False)
    return marks[: len(rows)], marks[len(rows) :]


class _Line:
    """The short weeks of one order line."""

    def __init__(
        self,
        search: Search,
        best: Floats,
        lacking: Floats,
        numbers: list[int],
        hangs: tuple[Numbers, Numbers],
    ) -> None:
        problem, rows, model = search.problem, search.rows, search.model
        self.search, self.problem, self.best = search, problem, best
        self.lacking, self.numbers = lacking, numbers
        self.crops = set(problem.orders[numbers[0]].crops)
        weeks = {problem.orders[number].week for number in numbers}
        used, fish, near = [], [], []  # columns: parts and tanks, fish, what serves other weeks
        for column, batch in zip(rows.sown, problem.batches, strict=True):
            if batch.crop in self.crops:
                kept = problem.shelf_weeks[batch.crop]
                serves = any(c.first <= w <= c.last + kept for c in batch.cuts for w in weeks)
                used.append(column)
                near += [] if serves else [column]
        for tank, stocked, cohort in zip(rows.tanks, rows.stocked, problem.cohorts, strict=True):
            if cohort.species in self.crops:
                own = [tank] if stocked is None else [tank, stocked]
                used.append(tank)
                fish += own[1:]
                near += [] if cohort.kg[sorted(weeks)].any() else own
        self.used: Numbers = np.array(used, dtype=np.int64)
        self.own: Numbers = np.array(used + fish, dtype=np.int64)
        self.near: Numbers = np.array(near, dtype=np.int64)
        if len(self.own) <= MOST_OPEN:
            self.near = _nothing()
        elif len(self.own) - len(near) > MOST_OPEN:
            self.near = self.own
        row_marks, column_marks = hangs
        touched = np.unique(model.matrix[:, self.own].tocoo().row)
        free = np.isin(column_marks, row_marks[touched]) & ~model.whole
        free[self.own] = True
        self.low = np.where(free, model.low, best)
        self.high = np.where(free, model.high, best)
        self.low[rows.short] = 0.0
        self.high[rows.short] = np.minimum(best[rows.short], lacking)  # none may be robbed

    def _wish(self, numbers: set[int]) -> Floats:
        """Fill some weeks with as few places, trays and sowings as can be, money apart."""
        rows, model = self.search.rows, self.search.model
        money = max(1.0, float(np.abs(model.worth).max()), 1e-3 * self.problem.orders_worth)
        wish = BESIDES * SHORTAGE * model.worth / money
        wish[rows.short] = 0.0
        for used in (self.used, *rows.held):
            wish[used] -= EFFORT * SHORTAGE
        wish[rows.cells] -= EFFORT * SHORTAGE / TRAY_CELLS
        for number in numbers:
            wish[rows.short[number]] = -SHORTAGE / max(1e-6, self.problem.orders[number].least)
        return wish

    def reasons(self) -> dict[int, Reason]:
        """Return the reason of each of the line's short weeks."""
        left = set(self.numbers)
        found: dict[int, Reason] = {}

        def settle(filled: set[int], reason: Reason) -> None:
            found.update(dict.fromkeys(filled & left, reason))
            left.difference_update(filled)

        families = tuple(self._families())
        ever, _ = self._filled(families, left, whole=False)
        for number in left - set(ever):
            settle({number}, Reason(rule=Rule.TIME, weeks=self._first_week(number)))
        parts, kept = self._filled((), left, whole=False)
        able = set(parts)  # in fractions of a part
        better = self.search.improved(self.own) if able else None
        if better is not None:
            settle(self._now_filled(better), Reason(rule=Rule.SEARCH))
        able &= left
        possible = set(self._filled((), able)[0])
        for family in families:
            tried = left - possible if self._binds(family, kept) else left & able - possible
            for number, values in self._filled((family,), tried)[0].items():
                reason = self._reason(family, values, number)
                if reason.weeks:
                    settle({number}, reason)
                else:  # nothing had to give way
                    possible.add(number)
        if possible:
            for reason, filled in self._priced_out(possible):
                settle(filled, reason)
        settle(set(left), Reason(rule=Rule.TOGETHER))
        return found

    def _families(self) -> Iterator[_Family]:
        rows, problem = self.search.rows, self.problem
        zones: dict[int, list[int]] = {}
        for column, option in zip(rows.sown, problem.batches, strict=True):
            if option.crop in self.crops:
                new = zones.setdefault(option.zone, [])
                new += [column] if option.standing is None else []
        for zone, new in sorted(zones.items()):
            own = np.array(new, dtype=np.int64)
            yield _Family(rule=Rule.PLACES, zone=zone, columns=rows.held[zone], own=own)
        if zones:
            yield _Family(rule=Rule.NURSERY, columns=rows.cells)
        yield _Family(rule=Rule.HOURS, rows=rows.hours)
        if rows.tank_rows and not zones:
            bought = [
                column
                for tank, fish, option in zip(
                    rows.tanks, rows.stocked, problem.cohorts, strict=True
                )
                if fish is not None and option.species in self.crops
                for column in (tank, fish)
            ]
            yield _Family(
                rule=Rule.TANKS,
                rows=np.concatenate(rows.tank_rows),
                own=np.array(bought, dtype=np.int64),
            )
        yield _Family(rule=Rule.FILTER, rows=rows.ammonia)
        yield _Family(rule=Rule.NITRATE_MOST, rows=rows.nitrate_most)

    def _binds(self, family: _Family, values: Floats) -> bool:
        """Whether nothing is left of a rule's limit in some week, or of what bounds one option."""
        model = self.search.model
        used = np.concatenate(
            [values[family.columns], values[family.own], model.matrix[family.rows] @ values]
        )
        most = np.concatenate(
            [model.high[family.columns], model.high[family.own], model.row_high[family.rows]]
        )
        return bool(np.any(used * (1 + TOLERANCE) + TOLERANCE >= most))

    def _filled(
        self, loose: tuple[_Family, ...], wanted: set[int], *, whole: bool = True
    ) -> tuple[dict[int, Floats], Floats]:
        """Return the weeks that can be filled when some rules are loosened, and how.

        Those that are not are tried again by themselves, without the others. Returns the values
        of the last try too.
        """
        model, left = self.search.model, set(wanted)
        high, row_high = self.high.copy(), model.row_high.copy()
        for family in loose:
            high[family.columns] = high[family.own] = np.inf
            row_high[family.rows] = np.inf
        found: dict[int, Floats] = {}
        values = self.best
        while left:
            wish = replace(model, worth=self._wish(left), row_high=row_high)
            values = self._relaxed(wish, high)
            now = self._now_filled(values) & left
            if now and whole:
                values = self._in_whole(wish, high, values)
                now = self._now_filled(values) & left
            if not now:
                break
            found |= dict.fromkeys(now, values)
            left -= now
        return found, values

    def _relaxed(self, model: LinearModel, high: Floats) -> Floats:
        """Return the best values in fractions of a part; those of the plan where none are found."""
        none = np.zeros(model.columns, dtype=bool)
        answer = solve(model, low=self.low, high=high, whole=none, seed=self.search.effort.seed)
        return self.best if answer.values is None else answer.values

    def _in_whole(self, model: LinearModel, high: Floats, parts: Floats) -> Floats:
        """Return the best values in whole parts, tanks and fish, with those in fractions known."""
        near, whole = self.near, np.zeros(model.columns, dtype=bool)
        whole[self.own] = True
        low, high = self.low.copy(), high.copy()
        below, above = np.floor(parts[near] + NEAR), np.ceil(parts[near] - NEAR)
        low[near] = np.maximum(low[near], np.minimum(below, self.best[near]))
        high[near] = np.minimum(high[near], np.maximum(above, self.best[near]))
        answer = solve(
            model,
            low=low,
            high=high,
            whole=whole,
            seed=self.search.effort.seed,
            limits=Limits(nodes=WHOLE_NODES, relative_gap=WHOLE_GAP),
        )
        return self.best if answer.values is None else answer.values

    def _now_filled(self, values: Floats) -> set[int]:
        left = _lacking(self.search, values)
        return {
            number
            for number in self.numbers
            if left[number] <= (1 - FILLED) * self.lacking[number] + TOLERANCE
        }

    def _priced_out(self, able: set[int]) -> Iterator[tuple[Reason, set[int]]]:
        """Part the weeks that no hard rule keeps short by what makes them too dear."""
        model, outside = self.search.model, self.search.rows.outside
        worth = model.worth.copy()
        worth[outside] *= NEXT_TO_NOTHING
        values = self._at(worth)
        under = values[outside[:, 0]] + values[outside[:, 2]] > (
            self.best[outside[:, 0]] + self.best[outside[:, 2]] + 0.01
        )
        over = values[outside[:, 1]] > self.best[outside[:, 1]] + 0.01
        filled = self._now_filled(values) & able - self._now_filled(self._at(model.worth))
        if under.any():
            yield Reason(rule=Rule.BAND_LOW, weeks=_span(under)), filled
        elif over.any():
            yield Reason(rule=Rule.BAND_HIGH, weeks=_span(over)), filled
        yield Reason(rule=Rule.WORTH), able

    def _at(self, worth: Floats) -> Floats:
        """Return the best values in whole parts at the prices given."""
        model = replace(self.search.model, worth=worth)
        return self._in_whole(model, self.high, self._relaxed(model, self.high))

    def _reason(self, family: _Family, values: Floats, number: int) -> Reason:
        """Say in which weeks a loosened rule was broken by what fills the order."""
        model = self.search.model
        if len(family.columns):
            used, most = values[family.columns], model.high[family.columns]
        else:
            used, most = model.matrix[family.rows] @ values, model.row_high[family.rows]
        beyond = np.asarray(used > most + TOLERANCE * np.maximum(1.0, most))
        if family.rule is Rule.TANKS:
            beyond = np.asarray(beyond.reshape(len(self.problem.farm.tanks), -1).any(axis=0))
        last = self.problem.orders[number].week
        weeks = _span(beyond[: last + 1]) or _span(beyond)  # later: others would lack it
        return Reason(rule=family.rule, zone=family.zone, weeks=weeks)

    def _first_week(self, number: int) -> tuple[int, ...]:
        """The first week in which anything that this plan sows or stocks can serve the line."""
        weeks = [
            cut.first
            for option in self.problem.batches
            if option.standing is None and option.crop in self.crops
            for cut in option.cuts
        ]
        weeks += [
            int(np.flatnonzero(option.kg)[0])
            for option in self.problem.cohorts
            if option.at_hand is None and option.species in self.crops and option.kg.any()
        ]
        first = min(weeks, default=None)
        return () if first is None or first <= self.problem.orders[number].week else (first,)


def _span(weeks: NDArray[np.bool_]) -> tuple[int, ...]:
    """Return the first and last of the latest weeks that are marked, one after another."""
    found = np.flatnonzero(weeks)
    if not len(found):
        return ()
    breaks = np.flatnonzero(np.diff(found) > 1)
    first = found[breaks[-1] + 1] if len(breaks) else found[0]
    return int(first), int(found[-1])
