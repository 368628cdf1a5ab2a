"""Rotation: the fewest times that parts must pass from a family to itself."""

from bisect import bisect_left
from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from ortools.graph.python.min_cost_flow import SimpleMinCostFlow

from planner.placement.lots import Lot


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
    """Fewest repeats; by (family, first day): parts to take over, by family ("" for fresh ones)."""

    repeats: int
    takeover: Mapping[tuple[str, int], Counter[str]]


def rotation(pieces: Sequence[Piece], tracks: int) -> Rotation:
    """Hand `tracks` parts on from piece to piece with the fewest family repeats.

    A min-cost flow: parts that come free wait in a pool of their family, and pieces that start draw
    from the pools.
    """
    days = sorted({piece.start for piece in pieces})
    families = ["", *sorted({piece.family for piece in pieces})]
    drawn: Counter[tuple[str, int]] = Counter()
    for piece in pieces:
        drawn[piece.family, piece.start] += piece.parts
    nodes = {("", 0): 0}  # the sink, then pools by family and day, then draws
    for key in [(f, day) for f in families for day in days]:
        nodes[key] = len(nodes)
    draw_nodes = {draw: len(nodes) + n for n, draw in enumerate(drawn)}
    supply = np.zeros(len(nodes) + len(drawn), dtype=np.int64)
    supply[0] -= tracks
    supply[nodes["", days[0]] if days else 0] += tracks
    for piece in pieces:
        after = bisect_left(days, piece.end)
        supply[nodes[piece.family, days[after]] if after < len(days) else 0] += piece.parts
    for draw, parts in drawn.items():
        supply[draw_nodes[draw]] -= parts
    ways = [(nodes[f, a], nodes[f, b], tracks, 0) for f in families for a, b in pairwise(days)]
    ways += [(nodes[f, days[-1]], 0, tracks, 0) for f in families if days]
    first = len(ways)
    draws = [(f, draw) for draw in drawn for f in families]
    ways += [(nodes[f, w[1]], draw_nodes[w], drawn[w], int(f == w[0])) for f, w in draws]
    flow = SimpleMinCostFlow()
    arcs = flow.add_arcs_with_capacity_and_unit_cost(*np.array(ways, np.int64).reshape(-1, 4).T)
    flow.set_nodes_supplies(np.arange(len(supply)), supply)
    if flow.solve() != flow.OPTIMAL:
        raise RuntimeError("the parts cannot be handed on, though the counts fit")
    takeover: dict[tuple[str, int], Counter[str]] = {draw: Counter() for draw in drawn}
    for (family, draw), parts in zip(draws, flow.flows(arcs[first:]), strict=True):
        takeover[draw][family] = int(parts)
    return Rotation(int(flow.optimal_cost()), takeover)
