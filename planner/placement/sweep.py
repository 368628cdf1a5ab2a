"""The first layout: lots by their first day, each into the places that cost least."""

from bisect import bisect_left
from collections.abc import Mapping, Sequence

import numpy as np

from planner.placement.handing import Flags, Handing
from planner.placement.lots import (
    COMPANY,
    LEAVE,
    NEAR_CROP,
    OPEN_WEEK,
    PIECE,
    RUN,
    TOGETHER,
    Held,
    Lot,
)
from planner.placement.offers import Offer
from planner.placement.rotation import Numbers, Rotation


class Sweep:
    """Sets lots one after another.

    `held` and those of `by_crop` are parts by setting day and place; the latter have a blank place
    at both ends. `loners` are crops that should be alone.
    """

    def __init__(self, lots: Sequence[Lot], places: int, parts: int, best: Rotation | None) -> None:
        self.lots, self.parts = lots, parts
        days = sorted({lot.start.toordinal() for lot in lots})
        self.starts = [lot.start.toordinal() for lot in lots]
        self.ends = [lot.end.toordinal() for lot in lots]
        self.spans = [
            slice(bisect_left(days, start), bisect_left(days, end))
            for start, end in zip(self.starts, self.ends, strict=True)
        ]
        self.weeks = np.diff(days, append=days[-1] + 7 if days else 0) / 7
        few = np.min_scalar_type(-parts - 1)
        self.held = np.zeros((len(days), places), dtype=few)
        crops = {lot.crop for lot in lots}
        self.by_crop = {crop: np.zeros((len(days), places + 2), dtype=few) for crop in crops}
        self.loners = {lot.crop for lot in lots if lot.alone}
        self.handing = Handing(lots, places, parts, best)
        self.where: dict[int, dict[int, int]] = {}

    def held_by_place(self) -> Held:
        """Set every lot and return what each place holds."""
        for n, lot in enumerate(self.lots):
            if lot.places:
                stays = {place - 1: count for place, count in lot.places.items()}
                if (self._room(n)[list(stays)] >= list(stays.values())).all():
                    self._set(n, stays)
        for n, lot in enumerate(self.lots):
            if lot.alone and self.parts > 1 and n not in self.where:
                room = self._room(n)
                if room.sum() >= lot.parts:
                    self._set(n, self._offer(n, room).choose(lot.parts))
        ahead = dict(self.where)
        for n in sorted(range(len(self.lots)), key=lambda n: self._turn(n, ahead)):
            if n not in self.where:
                room = self._room_made(n, ahead)
                self._set(n, self._offer(n, room).choose(self.lots[n].parts))
            ahead.pop(n, None)
            self.handing.hand_over(self.lots[n], self.where[n])
        held: Held = [{} for _ in range(self.held.shape[1])]
        for n, where in sorted(self.where.items()):
            for place, count in where.items():
                held[place][n] = count
        return held

    def _turn(self, n: int, ahead: Mapping[int, object]) -> tuple[object, ...]:
        lot = self.lots[n]
        return self.starts[n], n not in ahead, -lot.parts, self.ends[n], lot.crop, lot.id

    def _room(self, n: int) -> Numbers:
        """Return by place the parts that are free for the whole of the lot's days."""
        room: Numbers = self.parts - self.held[self.spans[n]].max(axis=0).astype(np.int64)
        return room

    def _room_made(self, n: int, ahead: dict[int, dict[int, int]]) -> Numbers:
        """Return the room for a lot; takes out lots set ahead of their turn until it suffices.

        Loners go first, then lots that were to stay, the latest first. Without any of them the
        room suffices, since all others began no later than this lot.
        """
        lot = self.lots[n]
        room = self._room(n)
        if room.sum() >= lot.parts:
            return room
        rivals = [k for k in ahead if self.starts[k] < self.ends[n]]
        rivals.sort(key=lambda k: (not self.lots[k].places, self.starts[k], k))
        while room.sum() < lot.parts:
            rival = rivals.pop()
            self._set(rival, ahead.pop(rival), -1)
            del self.where[rival]
            room = self._room(n)
        return room

    def _set(self, n: int, where: dict[int, int], sign: int = 1) -> None:
        lot, span = self.lots[n], self.spans[n]
        self.where[n] = where
        at = np.array(list(where))
        counts = sign * np.array(list(where.values()), dtype=self.held.dtype)
        self.held[span, at] += counts
        self.by_crop[lot.crop][span, at + 1] += counts

    def _offer(self, n: int, room: Numbers) -> Offer:
        """Price the places with room for a lot."""
        lot, span = self.lots[n], self.spans[n]
        at = np.flatnonzero(room)
        room, needed = room[at], -(-lot.parts // self.parts)
        kin = self.by_crop[lot.crop][span].max(axis=0) > 0
        base = PIECE + NEAR_CROP * kin[at] + NEAR_CROP * kin[at + 2]
        whole = room == self.parts
        base[whole] += RUN * np.minimum(_runs(at[whole]), needed) / needed
        if lot.places:
            base += LEAVE * ~np.isin(at + 1, list(lot.places))
        shared = np.flatnonzero(~whole)
        there, weeks = at[shared], self.weeks[span]
        held = self.held[span][:, there]
        base[shared] += COMPANY * self._company(lot, held, span, there)
        unfilled = np.full(len(at), OPEN_WEEK * weeks.sum())
        together = self.handing.free_on(self.ends[n], there)
        unfilled[shared] = OPEN_WEEK * (weeks @ (held == 0)) + TOGETHER * together
        offer = Offer(at, room, self.parts, base, unfilled)
        if wanted := self.handing.wanted:
            before, own = self.handing.before(lot, at), self.handing.number[lot.family]
            offer.rotate(before, wanted[lot.family, self.starts[n]], own)
        return offer

    def _company(self, lot: Lot, held: Numbers, span: slice, at: Numbers) -> Flags:
        """Return by place whether the lot would be a loner with others, or beside one."""
        company = np.zeros(len(at), dtype=bool)
        for crop in {lot.crop} if lot.alone else self.loners - {lot.crop}:
            parts = self.by_crop[crop][span][:, at + 1]
            company |= (held > parts if lot.alone else parts > 0).any(axis=0)
        return company


def _runs(places: Numbers) -> Numbers:
    """Return by place the length of the run of neighbouring places that it belongs to."""
    breaks = np.flatnonzero(places[1:] - places[:-1] != 1) + 1
    edges = np.concatenate(([0], breaks, [len(places)]))
    lengths = edges[1:] - edges[:-1]
    return np.repeat(lengths, lengths)
