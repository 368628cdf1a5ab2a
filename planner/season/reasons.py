"""Why an order is short: the rule that has to give way before it can be filled.

The crops of one line are planned again by themselves, beside all else as the plan has it, in
fractions of a part: first with every rule, then with one rule loosened at a time. A rule is the
reason when the order can be filled without it and not with it.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from planner.plan import TOLERANCE
from planner.season.linear import LinearModel
from planner.season.search import Search
from planner.season.solvers import solve

Floats = NDArray[np.float64]
Numbers = NDArray[np.int64]

FILLED = 0.5  # of what was short: when so much can come, the rule was what stood in the way
EFFORT = 1e-3  # price of a place, a cell or a sowing against an order's whole shortage
BESIDES = 1e-4  # of the farm's money, against an order's whole shortage
SHORTAGE = 100.0


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Family:
    """A rule that can be loosened: the bounds of some columns and rows, by week."""

    rule: Rule
    zone: int | None
    columns: Numbers
    rows: Numbers


def reasons(search: Search) -> dict[int, Reason]:
    """Return the reason of every order week that is short beyond its tolerance, by its number."""
    problem, rows = search.problem, search.rows
    if search.best is None:
        return {}
    lacking = search.best[rows.short]
    lines: dict[int, list[int]] = defaultdict(list)
    for number, order in enumerate(problem.orders):
        if lacking[number] > TOLERANCE * max(1.0, order.least):
            lines[order.line].append(number)
    found: dict[int, Reason] = {}
    for numbers in lines.values():
        found |= _Line(search, search.best, numbers).reasons()
    return found


class _Line:
    """The short weeks of one order line."""

    def __init__(self, search: Search, best: Floats, numbers: list[int]) -> None:
        problem, rows = search.problem, search.rows
        self.search, self.problem, self.best = search, problem, best
        self.numbers = numbers
        self.crops = set(problem.orders[numbers[0]].crops)
        own = [
            column
            for column, option in zip(rows.sown, problem.batches, strict=True)
            if option.crop in self.crops
        ]
        for tank, fish, cohort in zip(rows.tanks, rows.stocked, problem.cohorts, strict=True):
            if cohort.species in self.crops:
                own += [tank] if fish is None else [tank, fish]
        self.own: Numbers = np.array(own, dtype=np.int64)
        model = search.model
        free = search.freed(self.own, without="hours of work")
        self.low = np.where(free, model.low, best)
        self.high = np.where(free, model.high, best)
        others = np.array([c for n, c in enumerate(rows.short) if n not in numbers], dtype=np.int64)
        self.high[others] = np.minimum(self.high[others], best[others])  # none may be robbed
        self.wish = self._wish()

    def _wish(self) -> Floats:
        """Fill the line with as few places, cells and sowings as can be, money apart."""
        rows, model = self.search.rows, self.search.model
        wish = BESIDES * SHORTAGE * model.worth / max(1.0, float(np.abs(model.worth).max()))
        wish[rows.short] = 0.0
        wish[self.own] -= EFFORT
        wish[np.concatenate([*rows.held, rows.cells])] -= EFFORT
        for number in self.numbers:
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
        ever, _ = self._filled(families)
        for number in left - ever:
            settle({number}, Reason(rule=Rule.TIME, weeks=self._first_week(number)))
        able, _ = self._filled(())
        if able & left:
            for reason, filled in self._priced_out(able & left):
                settle(filled, reason)
        for family in families:
            if not left:
                break
            if self._binds(family):
                filled, values = self._filled((family,))
                for number in sorted(filled & left):
                    settle({number}, self._reason(family, values, number))
        settle(set(left), Reason(rule=Rule.TOGETHER))
        return found

    def _families(self) -> Iterator[_Family]:
        rows, nothing = self.search.rows, np.zeros(0, dtype=np.int64)
        zones = sorted({o.zone for o in self.problem.batches if o.crop in self.crops})
        for zone in zones:
            yield _Family(rule=Rule.PLACES, zone=zone, columns=rows.held[zone], rows=nothing)
        if zones:
            yield _Family(rule=Rule.NURSERY, zone=None, columns=rows.cells, rows=nothing)
        yield _Family(rule=Rule.HOURS, zone=None, columns=nothing, rows=rows.hours)
        if rows.tank_rows and not zones:
            tanks = np.concatenate(rows.tank_rows)
            yield _Family(rule=Rule.TANKS, zone=None, columns=nothing, rows=tanks)
        yield _Family(rule=Rule.FILTER, zone=None, columns=nothing, rows=rows.ammonia)
        yield _Family(rule=Rule.NITRATE_MOST, zone=None, columns=nothing, rows=rows.nitrate_most)

    def _binds(self, family: _Family) -> bool:
        """Whether the plan leaves nothing of a rule's limit in some week."""
        model, best = self.search.model, self.best
        used = np.concatenate([best[family.columns], model.matrix[family.rows] @ best])
        most = np.concatenate([model.high[family.columns], model.row_high[family.rows]])
        return bool(np.any(used >= 0.9 * most))

    def _filled(self, loose: tuple[_Family, ...]) -> tuple[set[int], Floats]:
        """Return the weeks that can be filled when some rules are loosened, and how."""
        model = self.search.model
        high, row_high = self.high.copy(), model.row_high.copy()
        for family in loose:
            high[family.columns] = np.inf
            row_high[family.rows] = np.inf
        return self._solved(replace(model, worth=self.wish, row_high=row_high), high)

    def _solved(self, model: LinearModel, high: Floats) -> tuple[set[int], Floats]:
        none = np.zeros(model.columns, dtype=bool)
        answer = solve(model, low=self.low, high=high, whole=none, seed=self.search.effort.seed)
        if answer.values is None:
            return set(), self.best
        return self._now_filled(answer.values), answer.values

    def _now_filled(self, values: Floats) -> set[int]:
        short = self.search.rows.short
        return {
            number
            for number in self.numbers
            if values[short[number]] <= (1 - FILLED) * self.best[short[number]] + TOLERANCE
        }

    def _priced_out(self, able: set[int]) -> Iterator[tuple[Reason, set[int]]]:
        """Part the weeks that no hard rule keeps short by what makes them too dear."""
        model, outside = self.search.model, self.search.rows.outside
        worth = model.worth.copy()
        worth[outside] = 0.0
        filled, values = self._solved(replace(model, worth=worth), self.high)
        under = values[outside[:, 0]] + values[outside[:, 2]] > (
            self.best[outside[:, 0]] + self.best[outside[:, 2]] + 0.01
        )
        over = values[outside[:, 1]] > self.best[outside[:, 1]] + 0.01
        with_price, _ = self._solved(model, self.high)
        if under.any():
            yield Reason(rule=Rule.BAND_LOW, weeks=_span(under)), (filled & able) - with_price
        elif over.any():
            yield Reason(rule=Rule.BAND_HIGH, weeks=_span(over)), (filled & able) - with_price
        better = self.search.improved(self.own)
        if better is not None:
            yield Reason(rule=Rule.SEARCH), self._now_filled(better) & able
        yield Reason(rule=Rule.WORTH), able

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
        return Reason(rule=family.rule, zone=family.zone, weeks=_span(beyond[: last + 1]))

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
