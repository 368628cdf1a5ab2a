"""How much to search, how far it has come, and when to stop."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from planner.season.solvers import Solver

WHOLE_A_ROUND = 12_000  # so many whole numbers are decided again in half a minute
MOST_ROUNDS = 12
AT_ONCE_S = 0.01  # for a solve that begins when time is up

Progress = Callable[[str, float | None, float, float], None]


def quiet(stage: str, value: float | None, bound: float, seconds: float) -> None:
    """Say nothing of progress."""


def never() -> bool:
    """Never ask the search to stop."""
    return False


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """How much to search.

    Parameters
    ----------
    work
        Rounds of improvement; None for as many as end within half a minute on 2 cores.
    seconds
        Cap on the whole search; None for none. [s]
    seed
        Of the solver and the order of neighbourhoods.
    solver
        Which of the solvers inside OR-Tools decides.
    """

    work: int | None = None
    seconds: float | None = None
    seed: int = 0
    solver: Solver = Solver.HIGHS

    def rounds(self, whole: int) -> int:
        """Return the rounds for a model of so many whole numbers, which makes their length."""
        if self.work is not None:
            return self.work
        return max(1, min(MOST_ROUNDS, WHOLE_A_ROUND // max(1, whole)))


@dataclass(slots=True)
class Clock:
    """Time gone and left, and whether someone asked the search to stop."""

    cap: float | None
    stopped: Callable[[], bool] = never
    began: float = field(default_factory=time.monotonic)

    @property
    def gone(self) -> float:
        """Since the search began. [s]"""
        return time.monotonic() - self.began

    @property
    def left(self) -> float | None:
        """Until the cap, None when there is none. [s]"""
        if self.stopped():
            return AT_ONCE_S
        return None if self.cap is None else self.cap - self.gone

    @property
    def over(self) -> bool:
        """Whether to stop."""
        return self.stopped() or (self.cap is not None and self.gone >= self.cap)
