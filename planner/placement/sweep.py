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
    REPEAT,
    RUN,
    TOGETHER,
    Held,
    Lot,
)

NEVER = 1e9
_HELD, _NO_FAMILY = -1, -2

Numbers = NDArray[np.int64]


class Sweep:
    """Sets lots one after another.

    `held`, `lone` and those of `by_crop` are parts by setting day and place; `free_from` and
    `last_family` are by part and place: the day from which it is free, and who had it last.
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
        self.held = np.zeros((len(days), places), dtype=np.int64)
        self.lone = np.zeros_like(self.held)
        self.by_crop = {crop: np.zeros_like(self.held) for crop in {lot.crop for lot in lots}}
        families = ["", *sorted({lot.family for lot in lots})]
        self.families = {family: n for n, family in enumerate(families)}
        self.wanted: dict[tuple[str, int], Counter[int]] | None = None
        if takeover is not None:
            self.wanted = {
                draw: Counter({self.families[family]: n for family, n in wanted.items()})
                for draw, wanted in takeover.items()
            }
        self.free_from = np.zeros((parts, places), dtype=np.int64)
        self.last_family = np.zeros((parts, places), dtype=np.int64)
        self.where: dict[int, dict[int, int]] = {}

    def held_by_place(self) -> Held:
        """Set every lot and return what each place holds."""
        for n, lot in enumerate(self.lots):
            stays = {place - 1: count for place, count in lot.places.items()}
            if stays:
                room = self._room(n)
                if all(room[place] >= count for place, count in stays.items()):
                    self._set(n, stays)
        for n, lot in enumerate(self.lots):
            if lot.alone and self.parts > 1 and n not in self.where:
                room = self._room(n)
                if room.sum() >= lot.parts:
                    self._set(n, self._choice(n, room))
        ahead = dict(self.where)
        for n in sorted(range(len(self.lots)), key=lambda n: self._turn(n, ahead)):
            if n not in self.where:
                self._set(n, self._choice(n, self._room_made(n, ahead)))
            ahead.pop(n, None)
            self._hand_over(n)
        held: Held = [{} for _ in range(self.held.shape[1])]
        for n, where in sorted(self.where.items()):
            for place, count in where.items():
                held[place][n] = count
        return held

    def _turn(self, n: int, ahead: Mapping[int, object]) -> tuple[object, ...]:
        lot = self.lots[n]
        return lot.start, n not in ahead, -lot.parts, lot.end, lot.crop, lot.id

    def _room(self, n: int) -> Numbers:
        """Return the parts free for the whole of the lot's days, by place."""
        most: Numbers = self.held[self.spans[n]].max(axis=0)
        return self.parts - most

    def _room_made(self, n: int, ahead: dict[int, dict[int, int]]) -> Numbers:
        """Return the room for a lot; takes out lots set ahead of their turn until it suffices.

        Loners go first, then lots that were to stay, the latest first. Without any of them the
        room suffices, since all others began no later than this lot.
        """
        lot = self.lots[n]
        room = self._room(n)
        if room.sum() >= lot.parts:
            return room
        rivals = sorted(ahead, key=lambda k: (not self.lots[k].places, self.lots[k].start, k))
        while room.sum() < lot.parts:
            rival = rivals.pop()
            if self.lots[rival].start < lot.end:
                self._set(rival, ahead.pop(rival), -1)
                del self.where[rival]
                room = self._room(n)
        return room

    def _set(self, n: int, where: dict[int, int], sign: int = 1) -> None:
        lot, span = self.lots[n], self.spans[n]
        self.where[n] = where
        for place, count in where.items():
            self.held[span, place] += sign * count
            self.by_crop[lot.crop][span, place] += sign * count
            if lot.alone:
                self.lone[span, place] += sign * count

    def _choice(self, n: int, room: Numbers) -> dict[int, int]:
        """Return the parts by place that cost least, place by place."""
        lot, span = self.lots[n], self.spans[n]
        at = np.flatnonzero(room)
        held, mine = self.held[span][:, at], self.by_crop[lot.crop][span]
        others = held > mine[:, at] if lot.alone else self.lone[span][:, at] > 0
        beside = np.convolve(mine.any(axis=0).astype(np.int64), [1, 0, 1], "same")[at]
        together = (self.free_from[:, at] == lot.end.toordinal()).sum(axis=0)
        open_weeks = self.weeks[span] @ (held == 0)
        needed = -(-lot.parts // self.parts)
        runs = np.minimum(_runs(room == self.parts), needed)[at] / needed
        fixed = COMPANY * others.any(axis=0) + NEAR_CROP * beside + RUN * runs
        if lot.places:
            fixed += LEAVE * ~np.isin(at + 1, list(lot.places))
        room, new, left = room[at], np.ones(len(at)), lot.parts
        handed = self._handed(n, at)
        astray = ASTRAY if self.parts > 1 else NEVER / 1e3  # with one part the flow's way is best
        chosen: dict[int, int] = {}
        while left:
            best: tuple[float, int, int] = (NEVER, 0, 0)
            most = np.minimum(room, left)
            for take in (most, np.minimum(most, handed.fresh)):
                cost = PIECE * (new + np.ceil((left - take) / self.parts)) + fixed
                cost += REPEAT * np.maximum(0, take - handed.fresh)
                cost += astray * np.maximum(0, take - handed.expected)
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

    def _handed(self, n: int, places: Numbers) -> "_Handed":
        lot = self.lots[n]
        start = lot.start.toordinal()
        free = self.free_from[:, places] <= start
        last = np.where(free, self.last_family[:, places], _HELD)
        if self.wanted is None:
            return _Handed(last, _NO_FAMILY, None)
        return _Handed(last, self.families[lot.family], self.wanted[lot.family, start])

    def _hand_over(self, n: int) -> None:
        """Give a lot the parts of its places that it takes over."""
        lot = self.lots[n]
        places = np.array(list(self.where[n]), dtype=np.int64)
        handed = self._handed(n, places)
        for k, place in enumerate(self.where[n]):
            for part in handed.take(k, self.where[n][place]):
                self.free_from[part, place] = lot.end.toordinal()
                self.last_family[part, place] = self.families[lot.family]
        if self.wanted is not None and handed.wanted is not None:
            self.wanted[lot.family, lot.start.toordinal()] = handed.wanted


def _runs(whole: NDArray[np.bool_]) -> Numbers:
    """Return by place the length of the run of whole places that it belongs to."""
    edges = np.flatnonzero(np.diff(whole, prepend=False, append=False))
    lengths = edges[1::2] - edges[::2]
    runs = np.zeros(len(whole), dtype=np.int64)
    runs[whole] = np.repeat(lengths, lengths)
    return runs


class _Handed:
    """Parts of some places that a lot may take over; `last` is the family before, or `_HELD`.

    Attributes
    ----------
    wanted
        Parts to take over by family before; None where rotation does not matter.
    fresh
        By place, free parts that another family had.
    expected
        By place, free parts of the families that are wanted.
    """

    def __init__(self, last: Numbers, family: int, wanted: Counter[int] | None) -> None:
        self.last, self.family = last, family
        self.wanted = None if wanted is None else wanted.copy()
        self._count()

    def take(self, k: int, count: int) -> list[int]:
        """Take `count` free parts of the `k`th place: other families' first, wanted ones first."""
        last = self.last[:, k].tolist()
        taken = []
        for _ in range(count):
            ranks = [
                (family == self.family, self.wanted is not None and self.wanted[family] <= 0, part)
                for part, family in enumerate(last)
                if family != _HELD
            ]
            part = min(ranks)[-1]
            if self.wanted is not None:
                self.wanted[last[part]] -= 1
            last[part] = _HELD
            taken.append(part)
        self.last[:, k] = last
        self._count()
        return taken

    def _count(self) -> None:
        self.fresh = ((self.last != _HELD) & (self.last != self.family)).sum(axis=0)
        self.expected = self.fresh
        if self.wanted is not None:
            counts: list[Numbers] = [
                np.minimum(parts, (self.last == family).sum(axis=0))
                for family, parts in self.wanted.items()
                if parts > 0
            ]
            self.expected = sum(counts, np.zeros_like(self.fresh))
