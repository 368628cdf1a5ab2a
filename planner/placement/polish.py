"""Better layouts from a first one: a few places at a time are set again by a beam search."""

import random
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from operator import itemgetter

from planner.placement.lots import COMPANY, NEAR_CROP, NEAR_LOT, PIECE, REPEAT, Held, Lot

BEAM = 10  # layouts carried along
AT_ONCE = (3, 3, 4)  # places set again together
LOOK_BACK = (8, 1000, 1000)  # setting days before a fault from which places are set again
DRAWS = 12  # for places that have something to exchange
SLACK = 1e-6
_KINDS = 1 << 16
_ANY_PRICE = 1e12

# Parts held, as day free × _KINDS + kind, and the families of the parts that are free.
Place = tuple[tuple[int, ...], tuple[int, ...]]
Trail = tuple["Trail", tuple[int, ...]] | None
State = tuple[float, tuple[Place, ...], Trail]
Ways = Mapping[int, tuple[int, ...]]  # by lot: its parts in each of some places


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """Some places and what they hold, each lot as one; by lot in `order` unless said otherwise.

    Attributes
    ----------
    order
        Lots in the order in which they are set.
    kind
        Family, crop (blank where company does not matter) and whether it is a loner.
    near
        Price of the neighbours outside, by place.
    """

    where: tuple[int, ...]
    order: Sequence[int]
    now: Ways
    kind: Mapping[int, int]
    kinds: Sequence[tuple[int, str, bool]]
    near: Mapping[int, tuple[float, ...]]


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
        self.family = [families[lot.family] if rotate else 0 for lot in lots]
        self.stays = [
            bool(lot.places) and {place - 1 for place in lot.places} == places
            for lot, places in zip(lots, self.places_of, strict=True)
        ]
        self._of_crop: dict[str, list[int]] = {}
        for n, lot in enumerate(lots):
            self._of_crop.setdefault(lot.crop, []).append(n)
        self._kin: dict[int, frozenset[int]] = {}

    def run(self, tries: int, fewest_repeats: int) -> None:
        """Try up to `tries` times, each from one of the faults left."""
        draw = random.Random(0)
        prices = [self._price(place) for place in range(len(self.held))]
        split = {n for n in range(len(self.lots)) if self._is_split(n)}
        for _ in range(tries):
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
                n = draw.choice(sorted(self.held[dear[k - len(split)]]))
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
        task = self._task((place,), with_near=False)
        found = self._search(task, task.now, 1, _ANY_PRICE)
        return found[0] - PIECE * len(task.order) if found else 0.0

    def _add_companions(self, where: set[int], n: int, draw: random.Random) -> None:
        """Add places in which something starts or ends when lot `n` does."""
        wanted = min(draw.choice(AT_ONCE), len(self.held))
        days = {self.starts[n], self.ends[n]}
        for k in range(DRAWS * wanted):
            if len(where) >= wanted:
                return
            place = draw.randrange(len(self.held))
            if k >= DRAWS or any(
                self.starts[m] in days or self.ends[m] in days for m in self.held[place]
            ):
                where.add(place)

    def _task(self, where: tuple[int, ...], *, with_near: bool = True) -> _Task:
        numbers = {n for place in where for n in self.held[place]}
        order = sorted(numbers, key=lambda n: (self.starts[n], not self.stays[n], self.ends[n], n))
        company = any(self.lots[n].alone for n in order)
        kind = {
            n: (self.family[n], self.lots[n].crop if company else "", self.lots[n].alone)
            for n in order
        }
        kinds = sorted(set(kind.values()))
        near = (0.0,) * len(where)
        return _Task(
            where=where,
            order=order,
            now={n: tuple(self.held[place].get(n, 0) for place in where) for n in order},
            kind={n: kinds.index(kind[n]) for n in order},
            kinds=kinds,
            near={n: self._near(n, where) if with_near else near for n in order},
        )

    def _set_again(self, where: tuple[int, ...], since: int) -> bool:
        """Set the lots of some places that start on day `since` or later again, if not dearer."""
        task = self._task(where)
        present = self._search(task, task.now, 1, _ANY_PRICE)
        early = {n: w for n, w in task.now.items() if self.starts[n] < since or self.stays[n]}
        found = present and self._search(task, early, BEAM, present[0] + SLACK)
        if not found:
            return False
        for place in where:
            self.held[place].clear()
        trail = found[2]
        for n in reversed(task.order):
            if trail is not None:
                trail, way = trail
                self.places_of[n] -= set(where)
                for place, count in zip(where, way, strict=True):
                    if count:
                        self.held[place][n] = count
                        self.places_of[n].add(place)
        return True

    def _search(self, task: _Task, fixed: Ways, width: int, limit: float) -> State | None:
        """Return the cheapest way found to set the lots, some fixed; None if all are dearer."""
        total = {n: sum(way) for n, way in task.now.items()}
        beside = [(k, k + 1) for k, (p, q) in enumerate(pairwise(task.where)) if p + 1 == q]
        least = {
            n: PIECE * -(-total[n] // self.parts) + sum(task.near[n]) + 2 * NEAR_LOT * len(beside)
            for n in task.order
        }
        rest = sum(least.values())
        company = any(loner for _, _, loner in task.kinds)
        beam: list[State] = [(0.0, (((), (0,) * self.parts),) * len(task.where), None)]
        day = -1
        for n in task.order:
            rest -= least[n]
            if self.starts[n] != day:
                day = self.starts[n]
                beam = [(price, _freed(places, day, task), trail) for price, places, trail in beam]
            lane = self.ends[n] * _KINDS + task.kind[n]
            family = self.family[n] or -1
            near = task.near[n]
            reached: dict[tuple[Place, ...], State] = {}
            for before, places, trail in beam:
                if n in fixed:
                    ways: tuple[tuple[int, ...], ...] = (fixed[n],)
                else:
                    ways = _splits(tuple([len(place[1]) for place in places]), total[n])
                for way in ways:
                    price = before + rest
                    after = list(places)
                    for k, count in enumerate(way):
                        if not count:
                            continue
                        held, free = places[k]
                        if count > len(free):
                            price = _ANY_PRICE
                            break
                        repeats, left = _taken(free, family, count)
                        price += PIECE + REPEAT * repeats + near[k]
                        if company and held:
                            price += _company(held, task.kind[n], task.kinds)
                        after[k] = (tuple(sorted(held + (lane,) * count)), left)
                    for k, m in beside:
                        if way[k] and way[m]:
                            price += 2 * NEAR_LOT
                    if price >= limit:
                        continue
                    price -= rest
                    key = tuple(sorted(after))
                    if key not in reached or price < reached[key][0]:
                        reached[key] = (price, tuple(after), (trail, way))
            if not reached:
                return None
            beam = sorted(reached.values(), key=itemgetter(0))[:width]
        return beam[0]

    def _near(self, n: int, where: tuple[int, ...]) -> tuple[float, ...]:
        """Return by place the price of the neighbours outside that lot `n` would have there."""
        if n not in self._kin:
            lots = self._of_crop[self.lots[n].crop]
            begun = lots[: bisect_left(lots, self.ends[n], key=self.starts.__getitem__)]
            self._kin[n] = frozenset(m for m in begun if self.ends[m] > self.starts[n])
        prices = []
        for place in where:
            price = 0.0
            for beside in (place - 1, place + 1):
                if beside not in where and 0 <= beside < len(self.held):
                    content = self.held[beside]
                    if n in content:
                        price += NEAR_LOT
                    elif not self._kin[n].isdisjoint(content):
                        price += NEAR_CROP
            prices.append(price)
        return tuple(prices)


def _freed(places: tuple[Place, ...], day: int, task: _Task) -> tuple[Place, ...]:
    """Return the places with the parts that are free on `day`."""
    bound = (day + 1) * _KINDS
    after = []
    for held, free in places:
        due = 0
        while due < len(held) and held[due] < bound:
            due += 1
        if due:
            families = [task.kinds[lane % _KINDS][0] for lane in held[:due]]
            after.append((held[due:], tuple(sorted([*free, *families]))))
        else:
            after.append((held, free))
    return tuple(after)


def _company(held: tuple[int, ...], kind: int, kinds: Sequence[tuple[int, str, bool]]) -> float:
    """Return the price of a loner among other crops, or of another crop beside a loner."""
    _, crop, alone = kinds[kind]
    for lane in held:
        _, other, loner = kinds[lane % _KINDS]
        if other != crop and (alone or loner):
            return COMPANY
    return 0.0


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
    repeats = max(0, count - len(others))
    left = others[count:] + [family] * (len(free) - len(others) - repeats)
    return repeats, tuple(sorted(left))
