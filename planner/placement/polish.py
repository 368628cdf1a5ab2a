"""Better layouts from a first one: a few places at a time are set again by a beam search."""

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations, pairwise
from operator import itemgetter

from planner.placement.lots import COMPANY, NEAR_CROP, NEAR_LOT, PIECE, REPEAT, Held, Lot

BEAM = 10  # layouts carried along
AT_ONCE = (3, 3, 4)  # places set again together
LOOK_BACK = (8, 1000, 1000)  # setting days before a fault from which places are set again
DRAWS = 12  # for places that have something to exchange
WORK = 300_000  # ways to set a lot, each some 4 µs: a second
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
        Price of the neighbours outside, by place; 0 at first.
    """

    where: tuple[int, ...]
    order: Sequence[int]
    now: Ways
    kind: Mapping[int, int]
    kinds: Sequence[tuple[int, str, bool]]
    near: Mapping[int, Sequence[float]]


class Polish:
    """Lowers the price of a layout; `held` is changed in place.

    `prices` are those of repeats and company, by place: where none of the `repeats` is known and no
    loner has others beside it, there are none. `work` counts ways to set a lot.
    """

    def __init__(
        self, lots: Sequence[Lot], held: Held, parts: int, rotate: bool, repeats: Sequence[int]
    ) -> None:
        self.lots, self.held, self.parts = lots, held, parts
        self.places_of: list[set[int]] = [set() for _ in lots]
        for place, content in enumerate(held):
            for n in content:
                self.places_of[n].add(place)
        self.starts = [lot.start.toordinal() for lot in lots]
        self.ends = [lot.end.toordinal() for lot in lots]
        self.days = sorted(set(self.starts))
        self.work = 0
        families = {family: k + 1 for k, family in enumerate(sorted({x.family for x in lots}))}
        self.family = [families[lot.family] if rotate else 0 for lot in lots]
        self.stays = [
            bool(lot.places) and {place - 1 for place in lot.places} == places
            for lot, places in zip(lots, self.places_of, strict=True)
        ]
        doubtful = {place for place, count in enumerate(repeats) if count}
        for n, lot in enumerate(lots):
            if lot.alone:
                doubtful |= {p for p in self.places_of[n] if self._has_others(p, lot.crop)}
        self.prices = [self._price(p) if p in doubtful else 0.0 for p in range(len(held))]

    def run(self, tries: int, fewest_repeats: int) -> None:
        """Try up to `tries` times, each from one of the faults left, while `work` allows it."""
        draw = random.Random(0)
        prices = self.prices
        split = {n for n in range(len(self.lots)) if self._is_split(n)}
        for _ in range(tries):
            dear = [place for place, price in enumerate(prices) if price > 0]
            if sum(prices) <= REPEAT * fewest_repeats:
                dear = []
            if (not split and not dear) or self.work > WORK:
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

    def _has_others(self, place: int, crop: str) -> bool:
        return any(self.lots[n].crop != crop for n in self.held[place])

    def _price(self, place: int) -> float:
        """Return the price of repeats and company in a place."""
        if not any(self.family[n] or self.lots[n].alone for n in self.held[place]):
            return 0.0
        task = self._task((place,))
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

    def _task(self, where: tuple[int, ...]) -> _Task:
        numbers = {n for place in where for n in self.held[place]}
        order = sorted(numbers, key=lambda n: (self.starts[n], not self.stays[n], self.ends[n], n))
        company = any(self.lots[n].alone for n in order)
        kind = {
            n: (self.family[n], self.lots[n].crop if company else "", self.lots[n].alone)
            for n in order
        }
        kinds = sorted(set(kind.values()))
        return _Task(
            where=where,
            order=order,
            now={n: tuple(self.held[place].get(n, 0) for place in where) for n in order},
            kind={n: kinds.index(kind[n]) for n in order},
            kinds=kinds,
            near=dict.fromkeys(order, [0.0] * len(where)),
        )

    def _set_again(self, where: tuple[int, ...], since: int) -> bool:
        """Set the lots of some places that start on day `since` or later again, if not dearer."""
        task = self._task(where)
        task = replace(task, near=self._near(task.order, where))
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
                self.work += len(ways)
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

    def _near(self, order: Sequence[int], where: tuple[int, ...]) -> dict[int, list[float]]:
        """Return by lot and place the price of the neighbours outside that it would have there."""
        prices = {n: [0.0] * len(where) for n in order}
        for k, place in enumerate(where):
            for beside in {place - 1, place + 1} - set(where):
                content = self.held[beside] if 0 <= beside < len(self.held) else {}
                of_crop: dict[str, list[int]] = {}
                for m in content:
                    of_crop.setdefault(self.lots[m].crop, []).append(m)
                for n in order:
                    if n in content:
                        prices[n][k] += NEAR_LOT
                    elif any(
                        self.starts[m] < self.ends[n] and self.starts[n] < self.ends[m]
                        for m in of_crop.get(self.lots[n].crop, ())
                    ):
                        prices[n][k] += NEAR_CROP
        return prices


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
    """Return ways to set `count` parts into `rooms`, those with fewest places first.

    They are all that fill every place that they use but one.
    """
    ways = set()
    for last in range(len(rooms)):
        others = [k for k, room in enumerate(rooms) if room and k != last]
        for used in range(len(others) + 1):
            for filled in combinations(others, used):
                left = count - sum(rooms[k] for k in filled)
                if 0 < left <= rooms[last]:
                    whole = [room if k in filled else 0 for k, room in enumerate(rooms)]
                    ways.add((*whole[:last], left, *whole[last + 1 :]))
    return tuple(sorted(ways, key=lambda way: (sum(map(bool, way)), [-parts for parts in way])))


@lru_cache(maxsize=20_000)
def _taken(free: tuple[int, ...], family: int, count: int) -> tuple[int, tuple[int, ...]]:
    """Return repeats and the parts left when a family takes `count`, those of others first."""
    others = [last for last in free if last != family]
    repeats = max(0, count - len(others))
    left = others[count:] + [family] * (len(free) - len(others) - repeats)
    return repeats, tuple(sorted(left))
