"""How much to search, how far it has come, and when to stop."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from planner.season.solvers import Solver

DEFAULT_WORK = 1  # rounds of improvement
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
        Rounds of improvement.
    seconds
        Cap on the whole search; None for none. [s]
    seed
        Of the solver and the order of neighbourhoods.
    solver
        Which of the solvers inside OR-Tools decides.
    """

    work: int = DEFAULT_WORK
    seconds: float | None = None
    seed: int = 0
    solver: Solver = Solver.HIGHS


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
