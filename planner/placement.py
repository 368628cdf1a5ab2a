"""Lots → numbered places of one zone: which bed, board or tower each batch stands in, part by part.

Counts are decided before; a layout then always exists, since lots taken by their first day find as
many free parts as the counts allow. Three steps choose a good one:

1. *Rotation.* A min-cost flow of parts over "this family follows that one" gives the fewest family
   repeats that any layout of these lots can have, and from which families each may take over.
2. *Sweep.* Lots are set by their first day, each into the places that cost least: few places a lot,
   no family after itself, loners by themselves, parts of a place that come free on one day, the
   same crop side by side. Standing lots are set first, where they stand.
3. *Polish.* Two to four places are set again from some day on by a beam search; what costs no more
   is kept.

Exact: each lot gets its parts, no place is overfull, standing lots stay where they are, the same
lots give the same layout, and repeats are the fewest of any layout where a place has one part.
Heuristic: where a place has more, the places of a lot, repeats and loners' company; cutting lots
into few places is a packing problem. Neighbours are a wish, which gives way to all others.

That a family should not follow itself in the same gravel, that mint and perennials have beds of
their own and that a crop stands side by side is common practice; the prices of these wishes are
judgement.
"""

import random
from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

__all__ = ["Lot", "Placement", "assign", "share_places"]

PIECE = 100.0  # each place that a lot lies in
REPEAT = 50.0  # each part in which a family follows itself
COMPANY = 300.0  # a loner in a place with another crop
LEAVE = 200.0  # a place that a lot held before and does not get
ASTRAY = 3.0  # each part that follows another family than the flow says
GAP = 8.0  # each part left over in a place that is not filled
OPEN_WEEK = 2.0  # each week for which a place is held only by this lot, which does not fill it
TOGETHER = -6.0  # each other part of the place that comes free on the same day
NEAR_LOT = -3.0  # each neighbouring place with the same lot
NEAR_CROP = -1.0  # each neighbouring place with the same crop
NEVER = 1e9

TRIES = 240  # of the polish
BEAM = 6  # layouts carried along in a try
LOOK_BACK = (0, 0, 3, 8, 1000)  # setting days before a fault from which places are set again
COMPANIONS = (2, 3, 3, 4)  # places in a try

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """A batch as it holds its places.

    Parameters
    ----------
    parts
        Parts of places that it holds. [-]
    start, end
        First day held, and first day free again, sanitation days included.
    places
        Place number, from 1, to parts, for a lot that stands already; empty for others.
    alone
        Whether it should share no place with another crop, such as mint and perennials.
    """

    id: str
    crop: str
    family: str
    parts: int
    start: date
    end: date
    places: Mapping[int, int]
    alone: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """Where the lots of a zone stand.

    Attributes
    ----------
    where
        By lot id: (place number from 1, parts), by place.
    family_repeats
        Parts that pass from a lot to a later one of its family, when the parts of each place are
        handed on as well as they can be; 0 where rotation does not matter. [-]
    moves
        Standing lots that could not stay. [-]
    """

    where: Mapping[str, tuple[tuple[int, int], ...]]
    family_repeats: int
    moves: int


def assign(lots: Sequence[Lot], *, places: int, parts: int, rotate: bool) -> Placement:
    """Return where each lot of a zone of `places` places with `parts` parts each stands.

    Parameters
    ----------
    rotate
        Whether a family should not follow itself: gravel.

    Raises
    ------
    ValueError
        Lots contradict themselves, or hold more parts on some day than the zone has.
    """
    _check(lots, places, parts)
    ordered = sorted(lots, key=lambda lot: (lot.start, lot.id))
    rotation = _rotation([_piece(lot, lot.parts) for lot in ordered], places * parts)
    held = _Sweep(ordered, places, parts, rotation.takeover if rotate else None).held_by_place()
    polish = _Polish(ordered, held, parts, rotate)
    polish.run(rotation.repeats if rotate else 0)
    where = {
        lot.id: tuple((place + 1, held[place][n]) for place in sorted(polish.places_of[n]))
        for n, lot in enumerate(ordered)
    }
    contents = [[_piece(ordered[n], held[n]) for n in sorted(held)] for held in held]
    repeats = sum(_rotation(pieces, parts).repeats for pieces in contents) if rotate else 0
    moves = sum(bool(lot.places) and dict(where[lot.id]) != dict(lot.places) for lot in ordered)
    return Placement(where=MappingProxyType(where), family_repeats=repeats, moves=moves)


def share_places(places: Mapping[int, int], counts: Sequence[int]) -> tuple[dict[int, int], ...]:
    """Share out the places of a standing batch that is cleared in several goes.

    Parameters
    ----------
    places
        Place number to parts of the whole batch.
    counts
        Parts of each lot that it is cleared in; they come to the batch's parts.

    Raises
    ------
    ValueError
        The counts do not come to the batch's parts.
    """
    if sum(counts) != sum(places.values()) or min(counts, default=1) < 1:
        raise ValueError(f"{list(counts)} do not share out {sum(places.values())} parts")
    left = dict(sorted(places.items()))
    shares: dict[int, dict[int, int]] = {}
    for number in sorted(range(len(counts)), key=lambda n: (-counts[n], n)):
        shares[number] = {}
        while rest := counts[number] - sum(shares[number].values()):
            place = min(left, key=lambda p: (-min(left[p], rest), left[p], p))
            shares[number][place] = min(left[place], rest)
            left[place] -= shares[number][place]
            if left[place] == 0:
                del left[place]
    return tuple(dict(sorted(shares[number].items())) for number in range(len(counts)))


def _check(lots: Sequence[Lot], places: int, parts: int) -> None:
    """Raise ValueError with all that is wrong with the lots."""
    faults = [f"lot {id!r} stands twice" for id, n in Counter(x.id for x in lots).items() if n > 1]
    changes: Counter[date] = Counter()
    for lot in lots:
        if lot.end <= lot.start:
            faults.append(f"lot {lot.id!r} ends on {lot.end}, but starts on {lot.start}")
            continue
        if lot.parts < 1:
            faults.append(f"lot {lot.id!r} has {lot.parts} parts; at least 1")
        if lot.places and sum(lot.places.values()) != lot.parts:
            faults.append(f"lot {lot.id!r} has {lot.parts} parts; its places hold another number")
        if any(not (1 <= p <= places and 1 <= n <= parts) for p, n in lot.places.items()):
            faults.append(f"lot {lot.id!r} stands in places or parts that the zone does not have")
        changes[lot.start] += lot.parts
        changes[lot.end] -= lot.parts
    held = 0
    for day in sorted(changes):
        held += changes[day]
        if held > places * parts:
            faults.append(f"lots hold {held} parts on {day}; the zone has {places * parts}")
            break
    if faults:
        raise ValueError("\n".join(faults))


class _Piece(NamedTuple):
    """Parts of a lot: family, parts, first day held and first day free."""

    family: str
    parts: int
    start: int
    end: int


def _piece(lot: Lot, parts: int) -> _Piece:
    return _Piece(lot.family, parts, lot.start.toordinal(), lot.end.toordinal())


class _Rotation(NamedTuple):
    """Fewest family repeats; (family, first day) → parts to take over, by family (None: fresh)."""

    repeats: int
    takeover: Mapping[tuple[str, int], Counter[str | None]]


def _rotation(pieces: Sequence[_Piece], tracks: int) -> _Rotation:
    """Hand `tracks` parts on from piece to piece with the fewest family repeats.

    Exact, as a min-cost flow: parts that come free wait in a pool of their family, and pieces that
    start draw from the pools.
    """
    days = sorted({piece.start for piece in pieces})
    families: list[str | None] = [None, *sorted({piece.family for piece in pieces})]
    pool = {
        (family, day): n * len(days) + k + 1
        for n, family in enumerate(families)
        for k, day in enumerate(days)
    }
    supply: Counter[int] = Counter({0: -tracks})
    drawn: Counter[tuple[str, int]] = Counter()
    if days:
        supply[pool[None, days[0]]] = tracks
    for piece in pieces:
        drawn[piece.family, piece.start] += piece.parts
        after = bisect_left(days, piece.end)
        supply[pool[piece.family, days[after]] if after < len(days) else 0] += piece.parts
    arcs = [(pool[f, day], pool[f, later], tracks, 0) for f in families for day, later in pairwise(days)]
    arcs += [(pool[f, days[-1]], 0, tracks, 0) for f in families if days]
    draws = [(family, start, f) for family, start in drawn for f in families]
    node = {draw: len(pool) + 1 + n for n, draw in enumerate(drawn)}
    arcs += [
        (pool[f, start], node[family, start], drawn[family, start], int(f == family))
        for family, start, f in draws
    ]
    ...
