"""What is placed and what comes out: lots, placements, and the prices of what a grower wishes."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

Held = list[dict[int, int]]  # by place: number of the lot → parts

PIECE = 100.0  # each place that a lot lies in
REPEAT = 50.0  # each part in which a family follows itself
COMPANY = 300.0  # a loner in a place with another crop
LEAVE = 200.0  # a place that a lot held before and does not get
ASTRAY = 3.0  # each part that follows another family than the flow says
GAP = 8.0  # each part left over in a place that is not filled
OPEN_WEEK = 2.0  # each week for which a place is held only by this lot, which does not fill it
TOGETHER = -6.0  # each other part of the place that comes free on the same day
RUN = -2.0  # a first place beside as many empty ones as the lot needs
NEAR_LOT = -5.0  # each neighbouring place with the same lot
NEAR_CROP = -1.5  # each neighbouring place with the same crop


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
        Place number, from 1, to parts, for a lot that stands already or is promised its places;
        empty for others.
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


def share_places(places: Mapping[int, int], counts: Sequence[int]) -> tuple[dict[int, int], ...]:
    """Share out the places of a standing batch that is cleared in several goes.

    Parameters
    ----------
    places
        Place number to parts of the whole batch; empty when it is not known where it stands.
    counts
        Parts of each lot that it is cleared in; they come to the batch's parts.

    Raises
    ------
    ValueError
        The counts do not come to the batch's parts.
    """
    if not places:
        return tuple({} for _ in counts)
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
    return tuple(dict(sorted(shares[number].items())) for number in range(len(counts)))


def check(lots: Sequence[Lot], places: int, parts: int) -> None:
    """Raise ValueError with all that is wrong with the lots."""
    faults = [f"lot {id!r} stands twice" for id, n in Counter(x.id for x in lots).items() if n > 1]
    changes: Counter[date] = Counter()
    for lot in lots:
        if lot.end <= lot.start:
            faults.append(f"lot {lot.id!r} ends on {lot.end}, but starts on {lot.start}")
            continue
        if lot.parts < 1:
            faults.append(f"lot {lot.id!r} has {lot.parts} parts; at least 1")
        if not lot.family:
            faults.append(f"lot {lot.id!r} has no family")
        if lot.places and sum(lot.places.values()) != lot.parts:
            faults.append(
                f"lot {lot.id!r} has {lot.parts} parts, in its places {sum(lot.places.values())}"
            )
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
