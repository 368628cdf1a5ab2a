"""Lots → numbered places of one zone: which bed, board or tower each batch stands in, part by part.

Counts are decided before; a layout then always exists, since lots taken by their first day find as
many free parts as the counts allow. Three steps choose a good one:

1. `rotation`: a min-cost flow of parts over "this family follows that one" gives the fewest family
   repeats that any layout of these lots can have, and from which families each may take over.
2. `sweep`: lots are set by their first day, each into the places that cost least: few places a lot,
   no family after itself, loners by themselves, parts of a place that come free on one day, the
   same crop side by side. Standing lots are set first, where they stand. The places with room are
   priced together, and once for all places that a lot fills, so thousands of them take seconds.
3. `polish`: three or four places at a time are set again by a beam search; what is not dearer is
   kept.

Exact: each lot gets its parts, no place is overfull, standing lots stay where they are, the same
lots give the same layout, and `family_repeats` are those of the layout. Where a place has one part,
they are the fewest of any layout too, unless lots that start later are bound to places.
Heuristic: where a place has more parts, how few places a lot lies in, repeats and loners' company;
to cut lots into few places is a packing problem. Neighbours are a wish everywhere.

That a family should not follow itself in the same gravel, that mint and perennials have beds of
their own, and that one crop stands side by side is common practice; the prices of these wishes
(`lots`) are judgement.
"""

from collections.abc import Sequence
from types import MappingProxyType

from planner.placement.lots import Lot, Placement, check, share_places
from planner.placement.polish import Polish
from planner.placement.rotation import piece_of, rotation
from planner.placement.sweep import Sweep

__all__ = ["Lot", "Placement", "assign", "share_places"]

TRIES = 140


def assign(
    lots: Sequence[Lot], *, places: int, parts: int, rotate: bool, tries: int = TRIES
) -> Placement:
    """Return where each lot of a zone of `places` places with `parts` parts each stands.

    Parameters
    ----------
    rotate
        Whether a family should not follow itself: gravel.
    tries
        Of the polish, each a few milliseconds; in places with many parts its work ends it sooner.

    Raises
    ------
    ValueError
        Lots contradict themselves, or hold more parts on some day than the zone has.
    """
    check(lots, places, parts)
    ordered = sorted(lots, key=lambda lot: (lot.start, lot.id))
    pieces = [piece_of(lot, lot.parts) for lot in ordered]
    best = rotation(pieces, places * parts) if rotate else None
    sweep = Sweep(ordered, places, parts, best)
    held = sweep.held_by_place()
    polish = Polish(ordered, held, parts, rotate, sweep.handing.repeats.tolist())
    polish.run(tries, best.repeats if best else 0)
    where = {
        lot.id: tuple((place + 1, held[place][n]) for place in sorted(polish.places_of[n]))
        for n, lot in enumerate(ordered)
    }
    repeats = 0
    for content, price in zip(held, polish.prices, strict=True):
        if rotate and price:
            pieces = [piece_of(ordered[n], count) for n, count in sorted(content.items())]
            repeats += rotation(pieces, parts).repeats
    moves = sum(bool(lot.places) and dict(where[lot.id]) != dict(lot.places) for lot in ordered)
    return Placement(where=MappingProxyType(where), family_repeats=repeats, moves=moves)
