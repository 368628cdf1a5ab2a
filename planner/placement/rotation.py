"""Rotation: the fewest times that parts must pass from a family to itself."""

from bisect import bisect_left
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

from planner.placement.lots import Lot

Numbers = NDArray[np.int64]


class Piece(NamedTuple):
    """Some parts of a lot; days as ordinals."""

    family: str
    parts: int
    start: int
    end: int


def piece_of(lot: Lot, parts: int) -> Piece:
    """Return `parts` parts of a lot."""
    return Piece(lot.family, parts, lot.start.toordinal(), lot.end.toordinal())


class Rotation(NamedTuple):
    """Fewest repeats; by (family, first day): parts to take over, by number in `families`.

    The first of `families` is "", that of fresh parts.
    """

    repeats: int
    families: tuple[str, ...]
    takeover: Mapping[tuple[str, int], Numbers]


def rotation(pieces: Sequence[Piece], tracks: int) -> Rotation:
    """Hand `tracks` parts on from piece to piece with the fewest family repeats.

    A min-cost flow: parts that come free wait in a pool of their family, and pieces that start draw
    from the pools.
    """
    families = ("", *sorted({piece.family for piece in pieces}))
    days = sorted({piece.start for piece in pieces})
    if not days:
        return Rotation(0, families, {})
    drawn: Counter[tuple[str, int]] = Counter()
    for piece in pieces:
        drawn[piece.family, piece.start] += piece.parts
    number = {family: k for k, family in enumerate(families)}
    day_number = {day: k for k, day in enumerate(days)}
    # Nodes: pools by family and day, draws, the sink.
    pools = np.arange(len(families) * len(days)).reshape(len(families), len(days))
    draws = pools.size + np.arange(len(drawn))
    sink = pools.size + len(drawn)
    supply = np.zeros(sink + 1, dtype=np.int64)
    supply[pools[0, 0]] += tracks
    supply[sink] -= tracks
    supply[draws] = [-parts for parts in drawn.values()]
    for piece in pieces:
        after = bisect_left(days, piece.end)
        supply[pools[number[piece.family], after] if after < len(days) else sink] += piece.parts
    flow = SimpleMinCostFlow()
    for start, end in ((pools[:, :-1].ravel(), pools[:, 1:].ravel()), (pools[:, -1], sink)):
        flow.add_arcs_with_capacity_and_unit_cost(*_arcs(start, end, tracks, 0))
    own = np.array([number[family] for family, _ in drawn])
    at = [day_number[day] for _, day in drawn]
    most = np.array(list(drawn.values()))[:, None]
    cost = own[:, None] == np.arange(len(families))
    arcs = _arcs(pools[:, at].T, draws[:, None], most, cost)
    taken = flow.add_arcs_with_capacity_and_unit_cost(*arcs)
    flow.set_nodes_supplies(np.arange(len(supply)), supply)
    if flow.solve() != flow.OPTIMAL:
        raise RuntimeError("the parts cannot be handed on, though the counts fit")
    flows = np.asarray(flow.flows(taken), dtype=np.int64).reshape(len(drawn), len(families))
    return Rotation(int(flow.optimal_cost()), families, dict(zip(drawn, flows, strict=True)))


def _arcs(*columns: Numbers | NDArray[np.bool_] | int) -> tuple[Numbers, ...]:
    """Return the columns of some arcs (from, to, capacity, cost), flat and of one length."""
    return tuple(
        np.ascontiguousarray(column, dtype=np.int64).ravel()
        for column in np.broadcast_arrays(*columns)
    )
