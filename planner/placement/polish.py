"""Better layouts from a first one: a few places at a time are set again by a beam search."""

import random
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from operator import itemgetter

from planner.placement.lots import COMPANY, NEAR_CROP, NEAR_LOT, PIECE, REPEAT, Held, Lot

TRIES = 240
BEAM = 6  # layouts carried along
LOOK_BACK = (0, 0, 3, 8, 1000)  # setting days before a fault from which places are set again
AT_ONCE = (2, 3, 3, 4)  # places set again at once
DRAWS = 12  # for places that have something to exchange
SLACK = 1e-6
_KINDS = 1 << 16

# Parts held, as day free × _KINDS + kind, and the families of the parts that are free.
Place = tuple[tuple[int, ...], tuple[int, ...]]
Trail = tuple["Trail", tuple[int, ...]] | None
State = tuple[float, tuple[Place, ...], Trail]


class Polish:
    """Lowers the price of a layout; `held` is changed in place."""

    def __init__(self, lots: Sequence[Lot], held: Held, parts: int, rotate: bool) -> None:
        self.lots, self.held, self.parts = lots, held, parts
        self.places_of: list[set[int]] = [set() for _ in lots]
        for place, content in enumerate(held):
            for n in content:
                self.places_of[n].add(place)
        self.starts = [lot.start.toordinal() for lot in lots]
        self.ends = [lot.end.toordinal() for lot in lots]
        self.days = sorted(set(self.starts))
        families = {family: k + 1 for k, family in enumerate(sorted({x.family for x in lots}))}
        self.family = [families[lot.family] if rotate else -1 for lot in lots]
        self.company = any(lot.alone for lot in lots)
        kinds = [
            (max(0, family), lot.crop if self.company else "", lot.alone)
            for family, lot in zip(self.family, lots, strict=True)
        ]
        self.kinds = sorted(set(kinds))
        numbers = {kind: k for k, kind in enumerate(self.kinds)}
        self.kind = [numbers[kind] for kind in kinds]
        self.stays = [
            bool(lot.places) and {place - 1 for place in lot.places} == places
            for lot, places in zip(lots, self.places_of, strict=True)
        ]

    def run(self, fewest_repeats: int) -> None:
        """Try `TRIES` times, each from one of the faults left."""
        draw = random.Random(0)
        prices = [self._price(place) for place in range(len(self.held))]
        split = {n for n in range(len(self.lots)) if self._is_split(n)}
        for _ in range(TRIES):
            dear = [place for place, price in enumerate(prices) if price > 0]
            if sum(prices) <= REPEAT * fewest_repeats:
                dear = []
            if not split and not dear:
                return
            k = draw.randrange(len(split) + len(dear))
            if k < len(split):
                n = sorted(split)[k]
                some = [p for p in sorted(self.places_of[n]) if self.held[p][n] < self.parts]
                where = set(draw.sample(some, min(2, len(some))))
            else:
                where = {dear[k - len(split)]}
                n = draw.choice([n for place in where for n in sorted(self.held[place])])
            self._add_companions(where, n, draw)
            back = self.days.index(self.starts[n]) - draw.choice(LOOK_BACK)
            if self._set_again(tuple(sorted(where)), self.days[max(0, back)]):
                for place in where:
                    prices[place] = self._price(place)
                    for n in self.held[place]:
                        (split.add if self._is_split(n) else split.discard)(n)

    def _is_split(self, n: int) -> bool:
        return not self.stays[n] and len(self.places_of[n]) > -(-self.lots[n].parts // self.parts)

    def _price(self, place: int) -> float:
        """Return the price of repeats and company in a place."""
        total = self.held[place]
        order = self._order(total)
        fixed = {n: (total[n],) for n in order}
        found = self._search((place,), order, total, fixed, 1, PIECE * 1e6, bare=True)
        return found[0] - PIECE * len(total) if found else 0.0

    def _add_companions(self, where: set[int], n: int, draw: random.Random) -> None:
        """Add places in which something starts or ends when lot `n` does."""
        wanted = min(draw.choice(AT_ONCE), len(self.held))
        days = {self.starts[n], self.ends[n]}
        for k in range(DRAWS * wanted):
            place = draw.randrange(len(self.held))
            if k >= DRAWS or any(
                self.starts[m] in days or self.ends[m] in days for m in self.held[place]
            ):
                where.add(place)
            if len(where) >= wanted:
                return

    def _order(self, numbers: Iterable[int]) -> list[int]:
        return sorted(numbers, key=lambda n: (self.starts[n], not self.stays[n], self.ends[n], n))

    def _set_again(self, where: tuple[int, ...], since: int) -> bool:
        """Set the lots of some places that start on day `since` or later again, if not dearer."""
        total: dict[int, int] = {}
        for place in where:
            for n, count in self.held[place].items():
                total[n] = total.get(n, 0) + count
        order = self._order(total)
        now = {n: tuple(self.held[place].get(n, 0) for place in where) for n in order}
        present = self._search(where, order, total, now, 1, PIECE * 1e6)
        early = {n: now[n] for n in order if self.starts[n] < since or self.stays[n]}
        if present is None:
            return False
        found = self._search(where, order, total, early, BEAM, present[0] + SLACK)
        if found is None:
            return False
        trail = found[2]
        for place in where:
            self.held[place].clear()
        for n in reversed(order):
            assert trail is not None
            trail, taken = trail
            self.places_of[n] -= set(where)
            for place, count in zip(where, taken, strict=True):
                if count:
                    self.held[place][n] = count
                    self.places_of[n].add(place)
        return True

    def _search(
        self,
        where: tuple[int, ...],
        order: Sequence[int],
        total: Mapping[int, int],
        fixed: Mapping[int, tuple[int, ...]],
        width: int,
        limit: float,
        *,
        bare: bool = False,
    ) -> State | None:
        """Return the cheapest way found to set lots in places; None if none is within `limit`.

        `bare` leaves neighbours out of the price.
        """
        none = (0.0,) * len(where)
        near = [none if bare else self._near(n, where) for n in order]
        low = [
            PIECE * -(-total[n] // self.parts) + sum(prices) + 2 * NEAR_LOT * (len(where) - 1)
            for n, prices in zip(order, near, strict=True)
        ]
        rest = sum(low)
        beam: list[State] = [(0.0, (((), (0,) * self.parts),) * len(where), None)]
        day = -1
        pairs = [
            (k, k + 1) for k in range(len(where) - 1) if where[k] + 1 == where[k + 1] and not bare
        ]
        for n, prices, least in zip(order, near, low, strict=True):
            rest -= least
            if self.starts[n] != day:
                day = self.starts[n]
                beam = [(c, tuple(self._freed(p, day) for p in ps), t) for c, ps, t in beam]
            lane = self.ends[n] * _KINDS + self.kind[n]
            family = self.family[n]
            reached: dict[tuple[Place, ...], State] = {}
            for cost, places, trail in beam:
                if n in fixed:
                    ways = [fixed[n]]
                else:
                    ways = _splits(tuple(len(place[1]) for place in places), total[n])
                for way in ways:
                    price = cost
                    after = list(places)
                    for k, count in enumerate(way):
                        if not count:
                            continue
                        held, free = places[k]
                        if count > len(free):
                            price = limit + 1e9
                            break
                        repeats, left = _taken(free, family, count)
                        price += PIECE + REPEAT * repeats + prices[k]
                        if self.company:
                            price += self._company(held, self.kind[n])
                        after[k] = (tuple(sorted(held + (lane,) * count)), left)
                    for k, m in pairs:
                        if way[k] and way[m]:
                            price += 2 * NEAR_LOT
                    if price + rest > limit:
                        continue
                    key = tuple(sorted(after))
                    if key not in reached or price < reached[key][0]:
                        reached[key] = (price, tuple(after), (trail, way))
            if not reached:
                return None
            beam = sorted(reached.values(), key=itemgetter(0))[:width]
        return beam[0]

    def _freed(self, place: Place, day: int) -> Place:
        """Return a place with the parts that are free on `day`."""
        held, free = place
        bound = (day + 1) * _KINDS
        if not held or held[0] >= bound:
            return place
        gone = [lane for lane in held if lane < bound]
        families = [self.kinds[lane % _KINDS][0] for lane in gone]
        return held[len(gone) :], tuple(sorted([*free, *families]))

    def _company(self, held: tuple[int, ...], kind: int) -> float:
        _, crop, alone = self.kinds[kind]
        for lane in held:
            _, other, loner = self.kinds[lane % _KINDS]
            if other != crop and (alone or loner):
                return COMPANY
        return 0.0

    def _near(self, n: int, where: tuple[int, ...]) -> tuple[float, ...]:
        """Return by place the price of the neighbours that lot `n` would have there."""
        prices = []
        crop, start, end = self.lots[n].crop, self.starts[n], self.ends[n]
        for place in where:
            price = 0.0
            for beside in (place - 1, place + 1):
                if beside in where or not 0 <= beside < len(self.held):
                    continue
                content = self.held[beside]
                if n in content:
                    price += NEAR_LOT
                elif any(
                    self.lots[m].crop == crop and self.starts[m] < end and start < self.ends[m]
                    for m in content
                ):
                    price += NEAR_CROP
            prices.append(price)
        return tuple(prices)


@lru_cache(maxsize=20_000)
def _splits(rooms: tuple[int, ...], count: int) -> tuple[tuple[int, ...], ...]:
    """Return all ways to set `count` parts into `rooms`, those with fewest places first."""
    if len(rooms) == 1:
        return ((count,),) if count <= rooms[0] else ()
    ways = [
        (here, *others)
        for here in range(min(rooms[0], count), -1, -1)
        for others in _splits(rooms[1:], count - here)
    ]
    return tuple(sorted(ways, key=lambda way: sum(map(bool, way))))


@lru_cache(maxsize=20_000)
def _taken(free: tuple[int, ...], family: int, count: int) -> tuple[int, tuple[int, ...]]:
    """Return repeats and the parts left when a family takes `count`, those of others first."""
    others = [last for last in free if last != family]
    own = len(free) - len(others)
    repeats = max(0, count - len(others))
    left = others[count:] + [family] * (own - repeats)
    return repeats, tuple(sorted(left))
