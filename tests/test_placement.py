"""Lots find their places: never too many, standing ones stay, families rotate, lots lie together.

The wishes tested here (a family not after itself in gravel, mint by itself, one crop side by side)
are common practice.
"""

import random
from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.sparse import coo_array

from planner.placement import Lot, Placement, assign, offers, polish, share_places
from planner.placement.rotation import piece_of, rotation

PLAN_DATE = date(2027, 1, 4)
FAMILIES = {
    "tomato": "Solanaceae", "pepper": "Solanaceae", "kale": "Brassicaceae",
    "mint": "Lamiaceae", "basil": "Lamiaceae", "parsley": "Apiaceae",
}  # fmt: skip


def lot(id: str, crop: str, parts: int, start: int, end: int, **places: int) -> Lot:
    """A lot with days counted from the plan date; `p3=2` stands with two parts in place 3."""
    return Lot(
        id=id,
        crop=crop,
        family=FAMILIES[crop],
        parts=parts,
        start=PLAN_DATE + timedelta(days=start),
        end=PLAN_DATE + timedelta(days=end),
        places={int(name[1:]): count for name, count in places.items()},
        alone=crop == "mint",
    )


def overlap(one: Lot, other: Lot) -> bool:
    return one.start < other.end and other.start < one.end


def faults(lots: Sequence[Lot], found: Placement, places: int, parts: int) -> Iterator[str]:
    """Recheck a layout on every day on which a lot begins: no place fills up on any other."""
    if set(found.where) != {x.id for x in lots}:
        yield "some lots have no places, or others do"
    held: Counter[tuple[int, date]] = Counter()
    days = sorted({x.start for x in lots})
    for x in lots:
        where = found.where[x.id]
        if list(where) != sorted(where) or len({place for place, _ in where}) < len(where):
            yield f"{x.id}: places are not in order, each once: {where}"
        if sum(count for _, count in where) != x.parts:
            yield f"{x.id}: {where} are not {x.parts} parts"
        for place, count in where:
            if not 1 <= place <= places or count < 1:
                yield f"{x.id}: no such place or parts: {place}, {count}"
            for day in days[bisect_left(days, x.start) : bisect_left(days, x.end)]:
                held[place, day] += count
    yield from (f"place {p} holds {n} on {day}" for (p, day), n in held.items() if n > parts)
    if found.moves != sum(bool(x.places) and dict(found.where[x.id]) != x.places for x in lots):
        yield f"{found.moves} moves are not those of the layout"


def fits(lots: Sequence[Lot], room: int) -> bool:
    return all(
        sum(x.parts for x in lots if x.start <= day < x.end) <= room
        for day in {x.start for x in lots}
    )


@cache
def fewest(
    pieces: tuple[tuple[date, date, str, int], ...], tracks: tuple[tuple[date, str], ...]
) -> int:
    """Enumerate every way to hand tracks on; pieces in order, tracks as (free from, family)."""
    if not pieces:
        return 0
    (start, end, family, parts), later = pieces[0], pieces[1:]
    free = [k for k, (day, _) in enumerate(tracks) if day <= start]
    best = 10**6
    for taken in combinations(free, parts):
        repeats = sum(tracks[k][1] == family for k in taken)
        after = tuple(sorted([
            *((end, family) for _ in taken), *(t for k, t in enumerate(tracks) if k not in taken)
        ]))  # fmt: skip
        best = min(best, repeats + fewest(later, after))
    return best


def fewest_repeats(lots: Sequence[Lot], tracks: int) -> int:
    pieces = sorted((x.start, x.end, x.family, x.parts) for x in lots)
    return fewest(tuple(pieces), ((date.min, ""),) * tracks)


def repeats_of(lots: Sequence[Lot], found: Placement, parts: int) -> int:
    """Recount the repeats of a layout, each place by enumeration."""
    by_place: dict[int, list[Lot]] = {}
    for x in lots:
        for place, count in found.where[x.id]:
            by_place.setdefault(place, []).append(replace(x, parts=count))
    return sum(fewest_repeats(content, parts) for content in by_place.values())


def pieces_over(lots: Sequence[Lot], found: Placement, parts: int) -> int:
    """Places beyond the fewest that lots without a place of their own could lie in."""
    return sum(len(found.where[x.id]) - -(-x.parts // parts) for x in lots if not x.places)


def company(lots: Sequence[Lot], found: Placement) -> int:
    """Pairs of a loner and another crop in one place at one time."""
    return sum(
        len({p for p, _ in found.where[x.id]} & {p for p, _ in found.where[y.id]})
        for x in lots
        for y in lots
        if x.alone and y.crop != x.crop and overlap(x, y)
    )


@st.composite
def zones(
    draw: st.DrawFn, *, most_parts: int = 4, most_lots: int = 14, standing: bool = True
) -> tuple[list[Lot], int, int]:
    """A zone of some places and parts, and lots whose counts fit; some stand already."""
    places, parts = draw(st.integers(1, 5)), draw(st.integers(1, most_parts))
    crops = st.sampled_from(sorted(FAMILIES))
    lots: list[Lot] = []
    if standing:
        for k in range(draw(st.integers(0, 4))):
            room = {
                p: n
                for p in range(1, places + 1)
                if (n := parts - sum(x.places.get(p, 0) for x in lots)) > 0
            }
            if not room:
                break
            chosen = draw(st.lists(st.sampled_from(sorted(room)), min_size=1, unique=True))
            where = {p: draw(st.integers(1, room[p])) for p in sorted(chosen)}
            ago, end = draw(st.integers(0, 30)), draw(st.integers(1, 60))
            stays = lot(f"s{k}", draw(crops), sum(where.values()), -ago, end)
            lots.append(replace(stays, places=where))
        if lots and draw(st.booleans()):
            k = draw(st.integers(0, len(lots) - 1))
            lots[k] = replace(lots[k], places={})  # the grower did not say where
    for k in range(draw(st.integers(0, most_lots))):
        start, length = draw(st.integers(0, 50)), draw(st.integers(1, 40))
        new = lot(f"n{k}", draw(crops), draw(st.integers(1, 2 * parts)), start, start + length)
        if fits([*lots, new], places * parts):
            lots.append(new)
    return lots, places, parts


@given(zones(), st.booleans())
@settings(max_examples=150, deadline=None)
def test_every_lot_is_placed_and_no_place_is_overfull(zone, rotate):
    lots, places, parts = zone
    found = assign(lots, places=places, parts=parts, rotate=rotate, tries=15)
    assert list(faults(lots, found, places, parts)) == []
    assert found.moves == 0
    if not rotate:
        assert found.family_repeats == 0


@given(zones(most_lots=20), st.data())
@settings(max_examples=80, deadline=None)
def test_wishes_that_cannot_all_be_met_still_give_a_layout(zone, data):
    # Lots to come may be bound to any places, as after a change of plan, even where others stand.
    lots, places, parts = zone
    bound = []
    for x in lots:
        if x.id.startswith("n") and data.draw(st.booleans()):
            left, where = x.parts, {}
            for place in data.draw(st.permutations(range(1, places + 1))):
                if left:
                    where[place] = min(left, parts)
                    left -= where[place]
            x = replace(x, places=where)
        bound.append(x)
    found = assign(bound, places=places, parts=parts, rotate=True, tries=15)
    assert list(faults(bound, found, places, parts)) == []
    standing = [x for x in bound if x.id.startswith("s") and x.places]
    assert all(dict(found.where[x.id]) == x.places for x in standing)


@given(zones(most_parts=1, most_lots=10), st.integers(0, 8))
@settings(max_examples=100, deadline=None)
def test_with_one_part_to_a_place_repeats_are_the_fewest(zone, tries):
    lots, places, parts = zone
    found = assign(lots, places=places, parts=parts, rotate=True, tries=tries)
    assert found.family_repeats == fewest_repeats(lots, places)
    assert found.family_repeats == repeats_of(lots, found, parts)


@pytest.mark.parametrize("seed", [0, 1, 2, 14, 34])
def test_with_one_part_to_a_place_repeats_are_the_fewest_in_a_full_zone(seed):
    lots = season(random.Random(seed), places=5, parts=1, weeks=40, load=1)
    found = assign(lots, places=5, parts=1, rotate=True, tries=0)
    assert found.family_repeats == fewest_repeats(lots, 5)


@given(zones(most_parts=3, most_lots=8))
@settings(max_examples=80, deadline=None)
def test_repeats_are_those_of_the_layout(zone):
    lots, places, parts = zone
    if places * parts > 9:
        places = 9 // parts
        lots = [x for x in lots if x.parts <= parts and not x.places]
        lots = [x for k, x in enumerate(lots) if fits(lots[: k + 1], places * parts)]
    found = assign(lots, places=places, parts=parts, rotate=True, tries=10)
    assert found.family_repeats == repeats_of(lots, found, parts)
    assert found.family_repeats >= fewest_repeats(lots, places * parts)


@given(zones(standing=False, most_lots=20), st.booleans())
@settings(max_examples=80, deadline=None)
def test_lots_of_whole_places_are_never_split(zone, alone):
    lots, places, parts = zone
    whole = [replace(x, parts=parts * -(-x.parts // parts), alone=alone) for x in lots]
    kept: list[Lot] = []
    for x in whole:
        if fits([*kept, x], places * parts):
            kept.append(x)
    found = assign(kept, places=places, parts=parts, rotate=False, tries=5)
    assert pieces_over(kept, found, parts) == 0


@given(zones(), st.randoms(use_true_random=False))
@settings(max_examples=40, deadline=None)
def test_same_lots_same_layout_in_any_order(zone, chance):
    lots, places, parts = zone
    shuffled = chance.sample(lots, len(lots))
    first = assign(lots, places=places, parts=parts, rotate=True, tries=15)
    again = assign(shuffled, places=places, parts=parts, rotate=True, tries=15)
    assert (dict(first.where), first.family_repeats) == (dict(again.where), again.family_repeats)


def test_no_lots_no_places():
    found = assign([], places=3, parts=4, rotate=True)
    assert (dict(found.where), found.family_repeats, found.moves) == ({}, 0, 0)


def test_families_change_beds():
    # Two beds come free on one day; pepper goes where kale stood. Common practice.
    lots = [
        lot("a", "tomato", 4, -30, 20, p1=4),
        lot("b", "kale", 4, -30, 20, p2=4),
        lot("c", "pepper", 4, 20, 60),
        lot("d", "parsley", 4, 20, 60),
    ]
    found = assign(lots, places=2, parts=4, rotate=True)
    assert found.where["c"] == ((2, 4),)
    assert found.where["d"] == ((1, 4),)
    assert found.family_repeats == 0


def test_rotation_looks_ahead():
    # Parsley could take either bed; only the tomatoes' leaves the other for peppers a day later.
    lots = [
        lot("a", "kale", 1, -30, 20, p1=1),
        lot("b", "tomato", 1, -30, 20, p2=1),
        lot("c", "parsley", 1, 20, 60),
        lot("d", "pepper", 1, 21, 60),
    ]
    found = assign(lots, places=2, parts=1, rotate=True)
    assert found.where["c"] == ((2, 1),)
    assert found.family_repeats == 0


def test_a_repeat_that_cannot_be_helped_is_counted_by_parts():
    lots = [lot("a", "tomato", 3, -30, 20, p1=3), lot("b", "pepper", 4, 20, 60)]
    found = assign(lots, places=1, parts=4, rotate=True)
    assert found.family_repeats == 3
    assert assign(lots, places=1, parts=4, rotate=False).family_repeats == 0


def test_a_lot_lies_in_few_places():
    # Three parts are free in bed 1, two in bed 2; the lot of two leaves the three together.
    lots = [
        lot("a", "kale", 1, -30, 50, p1=1),
        lot("b", "kale", 2, -30, 50, p2=2),
        lot("c", "tomato", 2, 0, 45),
        lot("d", "parsley", 3, 7, 50),
    ]
    found = assign(lots, places=2, parts=4, rotate=False, tries=0)
    assert found.where["c"] == ((2, 2),)
    assert found.where["d"] == ((1, 3),)


def test_parts_of_a_place_come_free_together():
    lots = [
        lot("a", "kale", 2, -30, 50, p1=2),
        lot("b", "kale", 2, -30, 40, p2=2),
        lot("c", "tomato", 2, 0, 40),
    ]
    found = assign(lots, places=2, parts=4, rotate=False, tries=0)
    assert found.where["c"] == ((2, 2),)


def test_a_place_is_not_held_open_by_a_few_parts():
    # In bed 1 the tomatoes would stand alone from day 10 on, and no lot would find a whole bed.
    lots = [
        lot("a", "kale", 2, -30, 10, p1=2),
        lot("b", "kale", 2, -30, 60, p2=2),
        lot("c", "tomato", 2, 0, 50),
        lot("d", "parsley", 4, 14, 50),
    ]
    found = assign(lots, places=2, parts=4, rotate=False, tries=0)
    assert found.where["c"] == ((2, 2),)
    assert found.where["d"] == ((1, 4),)


def test_a_lot_of_many_places_lies_side_by_side():
    lots = [
        lot("a", "kale", 4, -30, 50, p2=4),
        lot("b", "tomato", 12, 0, 40),
        lot("c", "parsley", 4, 0, 40),
    ]
    found = assign(lots, places=6, parts=4, rotate=True, tries=0)
    assert [place for place, _ in found.where["b"]] == [3, 4, 5]


def test_a_lot_lies_beside_its_crop_and_beside_itself():
    lots = [lot("a", "tomato", 4, -30, 50, p5=4), lot("b", "tomato", 8, 0, 50)]
    found = assign(lots, places=6, parts=4, rotate=False, tries=0)
    assert found.where["b"] == ((3, 4), (4, 4))


def test_one_crop_stands_side_by_side():
    lots = [lot("a", "kale", 4, -30, 50, p5=4), lot("b", "kale", 4, 7, 50)]
    found = assign(lots, places=6, parts=4, rotate=True, tries=0)
    assert found.where["b"] == ((4, 4),)


@pytest.mark.parametrize("tries", [0, 40])
def test_mint_keeps_to_itself(tries):
    # Common practice: mint runs; two parts of it get a bed though both would fit beside kale.
    lots = [lot("a", "kale", 2, -30, 50, p1=2), lot("m", "mint", 2, 0, 300)]
    found = assign(lots, places=2, parts=4, rotate=True, tries=tries)
    assert found.where["m"] == ((2, 2),)


@pytest.mark.parametrize("tries", [0, 40])
def test_nothing_is_set_beside_mint(tries):
    lots = [
        lot("m", "mint", 2, -30, 300, p1=2),
        lot("a", "kale", 2, -30, 50, p2=2),
        lot("c", "parsley", 2, 7, 50),
    ]
    found = assign(lots, places=2, parts=4, rotate=True, tries=tries)
    assert found.where["c"] == ((2, 2),)


def test_mint_shares_where_counts_leave_no_other_way():
    lots = [lot("m", "mint", 2, 0, 300), lot("k", "kale", 6, 0, 50)]
    found = assign(lots, places=2, parts=4, rotate=True)
    assert list(faults(lots, found, 2, 4)) == []


def test_a_bed_is_kept_for_mint_to_come():
    # Parsley would take the bed where no parsley stood, but mint will need one whole bed.
    lots = [
        lot("a", "parsley", 4, -30, 7, p1=4),
        lot("t", "tomato", 2, 7, 60),
        lot("p", "parsley", 2, 8, 60),
        lot("m", "mint", 4, 20, 300),
    ]
    found = assign(lots, places=2, parts=4, rotate=True, tries=0)
    [(bed, parts)] = found.where["m"]
    assert parts == 4
    assert {place for id in "tp" for place, _ in found.where[id]} == {3 - bed}


def test_lots_to_come_keep_the_places_of_the_last_plan():
    chance = random.Random(5)
    lots = season(chance, places=12, parts=4, weeks=30, load=0.95)
    first = assign(lots, places=12, parts=4, rotate=True, tries=20)
    dropped = {x.id for x in chance.sample(lots, 15)}
    kept = [replace(x, places=dict(first.where[x.id])) for x in lots if x.id not in dropped]
    again = assign(kept, places=12, parts=4, rotate=True, tries=20)
    assert again.moves == 0
    assert dict(again.where) == {x.id: first.where[x.id] for x in kept}


def test_a_lot_to_come_gives_way_and_is_counted():
    # Only bed 2 is free now, for longer than until parsley was to have it; parsley goes to bed 1.
    lots = [
        lot("k", "kale", 4, -5, 20, p1=4),
        lot("t", "tomato", 4, 0, 40),
        lot("p", "parsley", 4, 20, 60, p2=4),
    ]
    found = assign(lots, places=2, parts=4, rotate=True)
    assert dict(found.where) == {"k": ((1, 4),), "t": ((2, 4),), "p": ((1, 4),)}
    assert found.moves == 1


def test_a_lot_that_gives_way_keeps_what_it_can():
    lots = [
        *(lot(f"k{n}", "kale", 4, -5, 20, **{f"p{n}": 4}) for n in (1, 2, 4)),
        lot("t", "tomato", 4, 0, 40),
        lot("p", "parsley", 8, 20, 60, p3=4, p4=4),
    ]
    found = assign(lots, places=4, parts=4, rotate=False, tries=0)
    assert (4, 4) in found.where["p"]
    assert found.moves == 1


def test_two_lots_cannot_stand_in_one_place():
    lots = [lot("a", "kale", 3, -9, 9, p1=3), lot("b", "tomato", 3, -5, 9, p1=3)]
    found = assign(lots, places=2, parts=4, rotate=True)
    assert list(faults(lots, found, 2, 4)) == []
    assert found.moves == 1


def test_too_many_parts_are_refused_with_the_day():
    lots = [lot("a", "kale", 5, 0, 9), lot("b", "kale", 4, 3, 9)]
    with pytest.raises(ValueError, match="hold 9 parts on 2027-01-07; the zone has 8"):
        assign(lots, places=2, parts=4, rotate=True)
    back_to_back = [lots[0], lot("b", "kale", 4, 9, 12)]
    assert len(assign(back_to_back, places=2, parts=4, rotate=True).where) == 2


def test_all_faults_of_lots_are_named_at_once():
    lots = [
        lot("a", "kale", 1, 3, 3),
        lot("b", "kale", 0, 0, 3),
        lot("c", "kale", 2, 0, 3, p1=1),
        lot("d", "kale", 1, 0, 3, p9=1),
        lot("d", "kale", 1, 0, 3),
        replace(lot("e", "kale", 1, 0, 3), family=""),
    ]
    with pytest.raises(ValueError, match="stands twice") as caught:
        assign(lots, places=2, parts=4, rotate=True)
    text = str(caught.value)
    for words in (
        "'a' ends on 2027-01-07, but starts on 2027-01-07",
        "'b' has 0 parts",
        "'c' has 2 parts, in its places 1",
        "'d' stands in places or parts that the zone does not have",
        "'e' has no family",
    ):
        assert words in text


@given(st.lists(st.integers(1, 4), min_size=1, max_size=5), st.data())
@settings(deadline=None)
def test_a_standing_batch_is_shared_out_to_its_lots(held, data):
    places = {3 + 2 * k: parts for k, parts in enumerate(held)}
    cuts = data.draw(st.sets(st.integers(1, sum(held) - 1))) if sum(held) > 1 else set()
    edges = [0, *sorted(cuts), sum(held)]
    counts = [b - a for a, b in pairwise(edges)]
    shares = share_places(places, counts)
    assert [sum(share.values()) for share in shares] == counts
    assert dict(sum((Counter(share) for share in shares), Counter())) == places
    assert all(parts > 0 for share in shares for parts in share.values())


def test_shares_fill_places_where_they_can():
    assert share_places({3: 3, 4: 3}, [2, 4]) == ({4: 2}, {3: 3, 4: 1})
    assert share_places({1: 4, 2: 4}, [4, 4]) == ({1: 4}, {2: 4})
    assert share_places({}, [2, 4]) == ({}, {})
    with pytest.raises(ValueError, match="do not share out 6 parts"):
        share_places({3: 3, 4: 3}, [2, 5])


def season(
    chance: random.Random,
    *,
    places: int,
    parts: int,
    weeks: int,
    load: float,
    sizes: Sequence[int] = (1, 1, 2, 2, 3, 4, 4, 6, 8),
) -> list[Lot]:
    """Invented lots that fill a zone week by week, each for some weeks."""
    lots: list[Lot] = []
    held = 0
    ends: Counter[int] = Counter()
    for week in range(weeks):
        held -= ends[week]
        while (free := int(load * places * parts) - held) > 0:
            crop = chance.choice([c for c in sorted(FAMILIES) if c != "mint"])
            count = min(free, chance.choice(sizes))
            stay = chance.randrange(4, 16)
            lots.append(lot(f"{len(lots):05}", crop, count, 7 * week, 7 * (week + stay)))
            held += count
            ends[week + stay] += count
    return lots


def settled(lots: Sequence[Lot], parts: int) -> list[Lot]:
    """The lots, of which those of the plan date stand since a month, packed from place 1 on."""
    place, used, after = 1, 0, []
    for x in lots:
        if x.start == PLAN_DATE:
            where: dict[int, int] = {}
            while (left := x.parts - sum(where.values())) > 0:
                where[place] = min(left, parts - used)
                used += where[place]
                if used == parts:
                    place, used = place + 1, 0
            x = replace(x, start=x.start - timedelta(days=30), places=where)
        after.append(x)
    return after


def grown(lots: Sequence[Lot], parts: int, times: int) -> list[Lot]:
    """The lots of a house that is some times as large, each so many times its size."""
    return settled([replace(x, parts=times * x.parts, places={}) for x in lots], parts)


def test_polish_lowers_split_lots_and_repeats():
    rough = polished = (0, 0)
    for seed in range(4):
        lots = season(random.Random(seed), places=16, parts=4, weeks=40, load=0.9)
        for tries in (0, 60):
            found = assign(lots, places=16, parts=4, rotate=True, tries=tries)
            over = pieces_over(lots, found, 4)
            if tries:
                polished = polished[0] + over, polished[1] + found.family_repeats
            else:
                rough = rough[0] + over, rough[1] + found.family_repeats
    assert polished[0] < rough[0] / 2
    assert polished[1] < rough[1]


def test_polish_parts_loners_from_other_crops():
    rough = polished = 0
    for seed in range(4):
        lots = season(random.Random(seed), places=16, parts=4, weeks=40, load=0.9)
        lots = [replace(x, alone=x.crop == "basil") for x in lots]
        rough += company(lots, assign(lots, places=16, parts=4, rotate=False, tries=0))
        polished += company(lots, assign(lots, places=16, parts=4, rotate=False, tries=60))
    assert polished < rough / 2


def test_a_season_of_seven_hundred_lots():
    lots = season(random.Random(1), places=90, parts=4, weeks=64, load=0.98)[:700]
    assert len(lots) == 700
    found = assign(lots, places=90, parts=4, rotate=True)
    assert list(faults(lots, found, 90, 4)) == []
    rough = assign(lots, places=90, parts=4, rotate=True, tries=0)
    assert pieces_over(lots, found, 4) < pieces_over(lots, rough, 4)
    assert pieces_over(lots, found, 4) < 0.2 * len(lots)
    assert found.family_repeats < 0.1 * sum(x.parts for x in lots)


TIMES = 64  # a house so many times as large as one of 24 beds, 32 boards and 72 towers
LARGE = [(24, 4, True), (32, 4, False), (72, 2, False)]


@pytest.mark.parametrize(("places", "parts", "rotate"), LARGE)
def test_a_house_64_times_as_large_with_as_many_lots(places, parts, rotate):
    lots = season(random.Random(2), places=places, parts=parts, weeks=30, load=0.97)
    large = grown(lots, parts, TIMES)
    found = assign(large, places=TIMES * places, parts=parts, rotate=rotate)
    assert list(faults(large, found, TIMES * places, parts)) == []
    assert found.moves == 0
    assert pieces_over(large, found, parts) == 0
    if rotate:  # what the small house can do, the large one can 64 times
        small = assign(settled(lots, parts), places=places, parts=parts, rotate=True)
        assert found.family_repeats <= TIMES * small.family_repeats


@pytest.mark.parametrize(("places", "parts", "rotate"), LARGE)
def test_a_house_64_times_as_large_with_many_lots(places, parts, rotate):
    chance = random.Random(3)
    places *= TIMES
    lots = season(chance, places=places, parts=parts, weeks=25, load=0.97, sizes=range(1, 40))
    lots = settled(lots, parts)
    assert len(lots) > 700
    assert sum(bool(x.places) for x in lots) > 0.1 * len(lots)
    found = assign(lots, places=places, parts=parts, rotate=rotate)
    assert list(faults(lots, found, places, parts)) == []
    assert found.moves == 0
    assert pieces_over(lots, found, parts) <= 0.01 * len(lots)
    assert found.family_repeats <= 0.002 * sum(x.parts for x in lots)


@pytest.mark.parametrize("sizes", [range(1, 40), range(64, 641, 64)])
def test_with_one_part_to_a_place_repeats_are_the_fewest_in_a_large_house(sizes):
    lots = season(random.Random(4), places=1536, parts=1, weeks=30, load=1, sizes=sizes)
    lots = settled(lots, 1)
    found = assign(lots, places=1536, parts=1, rotate=True)
    assert list(faults(lots, found, 1536, 1)) == []
    best = rotation([piece_of(x, x.parts) for x in lots], 1536)
    assert found.family_repeats == best.repeats > 0
    after: dict[int, list[str]] = {}
    for x in sorted(lots, key=lambda x: x.start):
        for place, _ in found.where[x.id]:
            after.setdefault(place, []).append(x.family)
    assert found.family_repeats == sum(
        one == other for families in after.values() for one, other in pairwise(families)
    )


def test_loners_of_a_large_house_keep_to_themselves():
    lots = season(random.Random(5), places=1536, parts=4, weeks=25, load=0.7, sizes=range(1, 40))
    lots = [replace(x, alone=x.crop == "basil") for x in lots]
    assert sum(x.alone and x.parts % 4 > 0 for x in lots) > 50
    found = assign(lots, places=1536, parts=4, rotate=True)
    assert list(faults(lots, found, 1536, 4)) == []
    assert company(lots, found) == 0


def fewest_by_program(lots: Sequence[Lot], tracks: int) -> float:
    """The fewest repeats by a linear program: parts that pass from one lot to another."""
    passes = [(i, j) for i, x in enumerate(lots) for j, y in enumerate(lots) if x.end <= y.start]
    fresh = [(len(lots), j) for j in range(len(lots))]
    giver, taker = np.array(passes + fresh).T
    ways = np.arange(len(giver))
    cost = [i < len(lots) and lots[i].family == lots[j].family for i, j in passes + fresh]
    parts = [x.parts for x in lots]
    found = linprog(
        cost,
        A_eq=coo_array((np.ones(len(ways)), (taker, ways))),
        b_eq=parts,
        A_ub=coo_array((np.ones(len(ways)), (giver, ways))),
        b_ub=[*parts, tracks],
    )
    assert found.status == 0
    return found.fun


@pytest.mark.parametrize("seed", range(4))
def test_the_fewest_repeats_are_those_of_a_linear_program(seed):
    lots = season(random.Random(seed), places=20, parts=1, weeks=30, load=1, sizes=range(1, 6))
    best = rotation([piece_of(x, x.parts) for x in lots], 20)
    assert best.repeats > 0
    assert best.repeats == pytest.approx(fewest_by_program(lots, 20))


@pytest.mark.parametrize("rotate", [False, True])
def test_places_are_not_priced_anew_for_each_that_a_lot_takes(rotate, monkeypatch):
    priced = []
    price = offers.Offer._priced
    monkeypatch.setattr(
        offers.Offer, "_priced", lambda offer, left: priced.append(left) or price(offer, left)
    )
    lots = [lot("a", "kale", 4 * 3000 + 1, -30, 20), lot("b", "tomato", 4 * 2000 + 2, 20, 60)]
    found = assign(lots, places=4000, parts=4, rotate=rotate, tries=0)
    assert list(faults(lots, found, 4000, 4)) == []
    assert pieces_over(lots, found, 4) == 0
    assert len(priced) <= 2 * len(lots)  # once for whole places, once for what is left over


def test_polish_ends_when_its_work_is_done(monkeypatch):
    lots = season(random.Random(6), places=12, parts=20, weeks=30, load=0.95, sizes=range(1, 30))
    rough = assign(lots, places=12, parts=20, rotate=True, tries=0)
    looked = []
    search = polish.Polish._search

    def counted(self, *args):
        before = self.work
        found = search(self, *args)
        looked.append(self.work - before)
        return found

    monkeypatch.setattr(polish.Polish, "_search", counted)
    monkeypatch.setattr(polish, "WORK", 40_000)
    found = assign(lots, places=12, parts=20, rotate=True, tries=1000)
    assert list(faults(lots, found, 12, 20)) == []
    assert sum(looked) < 40_000 + 3 * max(looked)
    assert pieces_over(lots, found, 20) < pieces_over(lots, rough, 20)


@given(zones(most_parts=20, most_lots=12), st.booleans())
@settings(max_examples=40, deadline=None)
def test_places_may_have_many_parts(zone, rotate):
    lots, places, parts = zone
    found = assign(lots, places=places, parts=parts, rotate=rotate, tries=15)
    assert list(faults(lots, found, places, parts)) == []
    assert found.moves == 0
