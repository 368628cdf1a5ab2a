"""What each place would cost a lot, and which it takes."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planner.placement.handing import drawn
from planner.placement.lots import ASTRAY, GAP, NEAR_LOT, PIECE, REPEAT
from planner.placement.rotation import Numbers

NEVER = 1e9

Prices = NDArray[np.float64]


class Offer:
    """The places with room for a lot; all vectors are by such place.

    Parameters
    ----------
    at
        Their numbers, in order.
    room
        Parts that the lot may have.
    base
        Price of lying there at all, without neighbouring parts of the lot itself.
    unfilled
        Price of a place that is not filled.
    """

    def __init__(
        self, at: Numbers, room: Numbers, parts: int, base: Prices, unfilled: Prices
    ) -> None:
        self.at, self.room, self.parts = at, room, parts
        self.base, self.unfilled = base, unfilled
        self.before: Numbers | None = None

    def rotate(self, before: Numbers, wanted: Numbers, own: int) -> None:
        """Let families matter: free parts by family before and place, those wanted, the lot's."""
        self.before, self.wanted, self.own = before, wanted.copy(), own
        self.fresh = before.sum(axis=0) - before[own]
        # With one part to a place the flow's way is the best one.
        self.astray = ASTRAY if self.parts > 1 else NEVER / 1e3

    def choose(self, left: int) -> dict[int, int]:
        """Take `left` parts where they cost least, place by place; return them by place."""
        chosen: dict[int, int] = {}
        cost, take = self._priced(left)
        while left:
            k = int(cost.argmin())
            place, count = int(self.at[k]), int(take[k])
            if place not in chosen:
                self.base[k] -= PIECE
                for beside in (k - 1, k + 1):
                    if 0 <= beside < len(self.at) and abs(self.at[beside] - place) == 1:
                        self.base[beside] += NEAR_LOT
                        cost[beside] += NEAR_LOT
            chosen[place] = chosen.get(place, 0) + count
            left -= count
            self.room[k] -= count
            cost[k] = NEVER  # filled; unless something else has changed, the others cost the same
            if left and (self._take_over(k, count) or count < self.parts or left < self.parts):
                cost, take = self._priced(left)
        return chosen

    def _take_over(self, k: int, count: int) -> bool:
        """Take parts of a place; return whether that makes any family scarce elsewhere."""
        if self.before is None:
            return False
        taken = drawn(self.before[:, k], count, self.wanted, self.own)
        self.before[:, k] -= taken
        self.fresh[k] = self.before[:, k].sum() - self.before[self.own, k]
        taken = np.minimum(taken, self.wanted)
        self.wanted -= taken
        return bool(((taken > 0) & (self.wanted < self.parts)).any())

    def _priced(self, left: int) -> tuple[Prices, Numbers]:
        """Return by place the least price while `left` parts are left, and the parts to take."""
        take = np.minimum(self.room, left)
        if self.before is None:
            return self._prices(left, take), take
        expected = np.minimum(self.before, self.wanted[:, None]).sum(axis=0)
        cost = self._prices(left, take) + self._passing(take, expected)
        fresh = np.minimum(take, self.fresh)
        if (fresh < take).any():
            other = self._prices(left, fresh) + self._passing(fresh, expected)
            take = np.where(other <= cost, fresh, take)
            cost = np.minimum(cost, other)
        return cost, take

    def _prices(self, left: int, take: Numbers) -> Prices:
        """Return the price of lying in few places and of what is left over, by place."""
        # While a lot has more parts left than fill a place, only the odd ones make a difference.
        odd = left if left < self.parts else self.parts + left % self.parts
        prices: Prices = _left_over(self.parts, odd)[self.room, take]
        return prices + self.base + self.unfilled * (take < self.parts)

    def _passing(self, take: Numbers, expected: Numbers) -> Prices:
        """Return the price of families that follow themselves or others than the flow says."""
        repeats, strays = np.maximum(take - self.fresh, 0), np.maximum(take - expected, 0)
        prices: Prices = REPEAT * repeats + self.astray * strays
        return prices


@lru_cache(maxsize=1000)
def _left_over(parts: int, left: int) -> Prices:
    """Return, by room and parts taken, the price of what the place and the lot have left over."""
    room, take = np.arange(parts + 1)[:, None], np.arange(parts + 1)
    gap = np.where(take < parts, GAP * (room - take), 0.0)
    return np.where(take == 0, NEVER, gap + PIECE * np.ceil((left - take) / parts))
