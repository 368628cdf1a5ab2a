"""The first layout: lots by their first day, each into the places that cost least."""

from bisect import bisect_left
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from planner.placement.lots import (
    ASTRAY,
    COMPANY,
    GAP,
    LEAVE,
    NEAR_CROP,
    NEAR_LOT,
    OPEN_WEEK,
    PIECE,
    RUN,
    REPEAT,
    TOGETHER,
    Held,
    Lot,
)

NEVER = 1e9
_HELD, _NO_FAMILY = -1, -2

Numbers = NDArray[np.int64]


class Sweep:
    """The first layout: lots by their first day, each where it costs least.

    `held`, `lone` and those of `by_crop` are parts by place and setting day. Each part of a place
    has the day from which it is free and the family that had it last.
    """

    def __init__(
        self,
        lots: Sequence[Lot],
        places: int,
        parts: int,
        takeover: Mapping[tuple[str, int], Counter[str]] | None,
    ) -> None:
        self.lots, self.parts = lots, parts
        days = sorted({lot.start.toordinal() for lot in lots})
        self.spans = [
            slice(bisect_left(days, lot.start.toordinal()), bisect_left(days, lot.end.toordinal()))
            for lot in lots
        ]
        self.weeks = np.diff(days, append=days[-1] + 7 if days else 0) / 7
        self.held = np.zeros((places, len(days)), dtype=np.int64)
        self.lone = np.zeros_like(self.held)
        self.by_crop = {lot.crop: np.zeros_like(self.held) for lot in lots}
        families = ["", *sorted({lot.family for lot in lots})]
        self.families = {family: n for n, family in enumerate(families)}
        self.takeover = takeover and {
            draw: Counter({self.families[family]: n for family, n in wanted.items()})
            for draw, wanted in takeover.items()
        }
        self.free_from = np.zeros((places, parts), dtype=np.int64)
        self.last_family = np.zeros((places, parts), dtype=np.int64)
        self.where: dict[int, dict[int, int]] = {}

    def held_by_place(self) -> Held:
        """Set every lot and return what each place holds."""
        for n, lot in enumerate(self.lots):
            stays = {place - 1: count for place, count in lot.places.items()}
            if stays and all(self._room(n)[place] >= count for place, count in stays.items()):
                self._set(n, stays)
        for n, lot in enumerate(self.lots):
            loner = lot.alone and self.parts > 1 and n not in self.where
            if loner and self._room(n).sum() >= lot.parts:
                self._set(n, self._choice(n))
        ahead = dict(self.where)
        for n in sorted(range(len(self.lots)), key=lambda n: self._turn(n, ahead)):
            if n not in self.where:
                self._make_room(n, ahead)
                self._set(n, self._choice(n))
            ahead.pop(n, None)
            self._hand_over(n)
        held: Held = [{} for _ in self.held]
        for n, where in sorted(self.where.items()):
            for place, count in where.items():
                held[place][n] = count
        return held

    def _turn(self, n: int, ahead: Mapping[int, object]) -> tuple[object, ...]:
        lot = self.lots[n]
        return lot.start, n not in ahead, not lot.alone, -lot.parts, lot.end, lot.crop, lot.id

    def _room(self, n: int) -> Numbers:
        """Return the parts free for the whole of the lot's days, by place."""
        most: Numbers = self.held[:, self.spans[n]].max(axis=1)
        return self.parts - most

    def _make_room(self, n: int, ahead: dict[int, dict[int, int]]) -> None:
        """Take out lots set ahead of their turn, loners and the latest first, until it fits."""
        lot = self.lots[n]
        rivals = sorted(ahead, key=lambda k: (not self.lots[k].places, self.lots[k].start, k))
        while self._room(n).sum() < lot.parts:
            rival = rivals.pop()
            if self.lots[rival].start < lot.end:
                self._set(rival, ahead.pop(rival), -1)
                del self.where[rival]

    def _set(self, n: int, where: Mapping[int, int], sign: int = 1) -> None:
        lot, span = self.lots[n], self.spans[n]
        self.where[n] = dict(where)
        for place, count in where.items():
            self.held[place, span] += sign * count
            self.by_crop[lot.crop][place, span] += sign * count
            if lot.alone:
                self.lone[place, span] += sign * count

    def _choice(self, n: int) -> dict[int, int]:
        """Return the parts by place that cost least, place by place."""
        lot, span = self.lots[n], self.spans[n]
        room = self._room(n)
        at = np.flatnonzero(room)
        needed = -(-lot.parts // self.parts)
        runs = np.minimum(_runs(room == self.parts), needed)[at] / needed
        room, held = room[at], self.held[at, span]
        mine = self.by_crop[lot.crop][:, span]
        others = held if lot.alone else self.lone[at, span]
        same = mine.any(axis=1).astype(np.int64)
        beside = np.convolve(same, [1, 0, 1], "same")[at]
        together = (self.free_from[at] == lot.end.toordinal()).sum(axis=1)
        fixed = COMPANY * (others > mine[at]).any(axis=1) + NEAR_CROP * beside
        fixed += RUN * runs
        fixed += LEAVE * ~np.isin(at + 1, list(lot.places)) if lot.places else 0
        open_weeks = (held == 0) @ self.weeks[span]
        handed = self._handed(n, at)
        new = np.ones(len(at))
        chosen: dict[int, int] = {}
        left = lot.parts
        while left:
            best: tuple[float, int, int] = (NEVER, 0, 0)
            for take in (np.minimum(room, left), np.minimum(np.minimum(room, left), handed.fresh)):
                cost = PIECE * (new + np.ceil((left - take) / self.parts)) + fixed
                cost += REPEAT * np.maximum(0, take - handed.fresh)
                cost += self._astray * np.maximum(0, take - handed.expected)
                filled = GAP * (room - take) + OPEN_WEEK * open_weeks
                filled += TOGETHER * np.minimum(together, self.parts - take)
                cost += np.where(take < self.parts, filled, 0.0)
                cost[take == 0] = NEVER
                k = int(cost.argmin())
                best = min(best, (float(cost[k]), k, int(take[k])))
            _, k, count = best
            chosen[int(at[k])] = chosen.get(int(at[k]), 0) + count
            left -= count
            room[k] -= count
            new[k] = 0
            handed.take(k, count)
            fixed = fixed + NEAR_LOT * (np.abs(at - at[k]) == 1)
        return chosen

    @property
    def _astray(self) -> float:
        """Price of leaving the flow's course: with one part to a place it is the best course."""
        return ASTRAY if self.parts > 1 else NEVER / 1e3

    def _handed(self, n: int, places: Numbers) -> "_Handed":
        lot = self.lots[n]
        start = lot.start.toordinal()
        last = np.where(self.free_from[places] <= start, self.last_family[places], _HELD)
        if self.takeover is None:
            return _Handed(last, _NO_FAMILY, None)
        return _Handed(last, self.families[lot.family], self.takeover[lot.family, start])

    def _hand_over(self, n: int) -> None:
        """Give the lot the parts of its places that it takes over."""
        lot = self.lots[n]
        places = np.array(sorted(self.where[n]), dtype=np.int64)
        handed = self._handed(n, places)
        for k, place in enumerate(places):
            for part in handed.take(k, self.where[n][int(place)]):
                self.free_from[place, part] = lot.end.toordinal()
                self.last_family[place, part] = self.families[lot.family]
        if self.takeover is not None and handed.wanted is not None:
            self.takeover[lot.family, lot.start.toordinal()] = handed.wanted


def _runs(whole: NDArray[np.bool_]) -> Numbers:
    """Return by place the length of the run of whole places that it belongs to."""
    edges = np.flatnonzero(np.diff(whole, prepend=False, append=False))
    lengths = edges[1::2] - edges[::2]
    runs = np.zeros(len(whole), dtype=np.int64)
    runs[whole] = np.repeat(lengths, lengths)
    return runs


class _Handed:
    """Parts that a lot may take over at some places; `last` is the family before, or `_HELD`.

    Attributes
    ----------
    fresh
        By place, free parts that another family had.
    expected
        By place, free parts of the families that the flow wants it to take over from.
    """

    def __init__(self, last: Numbers, family: int, wanted: Counter[int] | None) -> None:
        self.last, self.family = last, family
        self.wanted = None if wanted is None else wanted.copy()
        self._count()

    def take(self, k: int, count: int) -> list[int]:
        """Take `count` free parts of place `k`: other families' first, as the flow wants."""
        taken = []
        wanted = self.wanted or Counter[int]()
        for _ in range(count):
            part = min(
                (int(part) for part in np.flatnonzero(self.last[k] != _HELD)),
                key=lambda part: (
                    self.last[k, part] == self.family,
                    wanted[int(self.last[k, part])] <= 0,
                ),
            )
            wanted[int(self.last[k, part])] -= 1
            self.last[k, part] = _HELD
            taken.append(part)
        self._count()
        return taken

    def _count(self) -> None:
        self.fresh = ((self.last != _HELD) & (self.last != self.family)).sum(axis=1)
        self.expected = self.fresh
        if self.wanted is not None:
            counts = [
                np.minimum(parts, (self.last == family).sum(axis=1))
                for family, parts in self.wanted.items()
                if parts > 0
            ]
            self.expected = sum(counts, np.zeros(len(self.last), dtype=np.int64))
