"""Who had each part of each place last: parts are handed on from lot to lot."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from planner.placement.lots import Lot
from planner.placement.rotation import Numbers, Rotation

Flags = NDArray[np.bool_]


class Handing:
    """Parts of places as they pass from lot to lot, in the order of their first days.

    `free_from` and `last` are by part and place: the day from which it is free, and the number of
    the family that had it last. `wanted` is, by family and first day, how many parts are still to
    be taken over, by number of the family before; it is empty where families do not matter.
    `repeats` counts, by place, parts that a family took over from itself.
    """

    def __init__(self, lots: Sequence[Lot], places: int, parts: int, best: Rotation | None) -> None:
        self.wanted: dict[tuple[str, int], Numbers] = {}
        self.number = {lot.family: 0 for lot in lots}
        if best is not None:
            self.wanted = {draw: parts.copy() for draw, parts in best.takeover.items()}
            self.number = {family: k for k, family in enumerate(best.families)}
        self.free_from = np.zeros((parts, places), dtype=np.int64)
        self.last = np.zeros((parts, places), dtype=np.int64)
        self.repeats = np.zeros(places, dtype=np.int64)

    def free_on(self, day: int, at: Numbers) -> Numbers:
        """Return by place how many parts come free on a day."""
        free: Numbers = (self.free_from[:, at] == day).sum(axis=0)
        return free

    def before(self, lot: Lot, at: Numbers) -> Numbers:
        """Return by family before and place the parts that are free when a lot starts."""
        free = self.free_from[:, at] <= lot.start.toordinal()
        key = self.last[:, at] * len(at) + np.arange(len(at))
        counts = np.bincount(key[free], minlength=len(self.number) * len(at))
        return counts.reshape(len(self.number), len(at))

    def hand_over(self, lot: Lot, where: Mapping[int, int]) -> None:
        """Give a lot the parts of its places that it takes over."""
        start, own = lot.start.toordinal(), self.number[lot.family]
        at, counts = np.array(list(where)), np.array(list(where.values()))
        taken = self.free_from[:, at] <= start
        if self.wanted:
            self._choose(taken, self.last[:, at], counts, self.wanted[lot.family, start], own)
            self.repeats[at] += (taken & (self.last[:, at] == own)).sum(axis=0)
        else:
            taken &= taken.cumsum(axis=0) <= counts
        part, k = np.nonzero(taken)
        self.free_from[part, at[k]] = lot.end.toordinal()
        self.last[part, at[k]] = own

    def _choose(
        self, taken: Flags, last: Numbers, counts: Numbers, wanted: Numbers, own: int
    ) -> None:
        """Leave as many parts of each place in `taken` as a lot wants; takes them off `wanted`."""
        whole = taken.sum(axis=0) == counts
        wanted -= np.bincount(last[:, whole][taken[:, whole]], minlength=len(wanted))
        np.maximum(wanted, 0, out=wanted)
        for k in np.flatnonzero(~whole):
            free = np.flatnonzero(taken[:, k])
            left = np.bincount(last[free, k], minlength=len(wanted))
            due = drawn(left, int(counts[k]), wanted, own)
            np.maximum(wanted - due, 0, out=wanted)
            for part in free:
                due[last[part, k]] -= 1
                taken[part, k] = due[last[part, k]] >= 0


def drawn(before: Numbers, count: int, wanted: Numbers, own: int) -> Numbers:
    """Return by family before which parts of a place a lot of family `own` takes over.

    Those of other families first, and among them those that are wanted.
    """
    left, due = before.tolist(), wanted.tolist()
    others = [family for family, parts in enumerate(left) if parts and family != own]
    for family, most in [*((k, due[k]) for k in others), *((k, count) for k in [*others, own])]:
        taken = min(left[family], most, count)
        left[family] -= taken
        count -= taken
    taken_over: Numbers = before - np.array(left)
    return taken_over
