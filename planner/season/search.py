"""How a season is decided: relaxation, fish, crops by blocks of weeks, then improvement.

1. The linear relaxation gives a true bound, and tells which options are worth looking at.
2. The tanks are decided with the crops as in the relaxation.
3. The crops are decided block by block of weeks, the weeks to come relaxed, among those options.
4. Rounds of improvement: a neighbourhood is freed, everything else stays, both cores at work; the
   workers meet at the end of a round, so the same input gives the same plan.

All limits are work (nodes, rounds), so that a slower machine gives the same plan later.
"""

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from ortools.math_opt.python import mathopt

from planner.errors import ImpossiblePlanError
from planner.plan import SeasonPlan, Status, gap
from planner.problem import SeasonProblem
from planner.season.linear import LinearModel
from planner.season.rows import SeasonRows
from planner.season.solvers import Answer, Limits, Solver, solve

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Numbers = NDArray[np.int64]

DEFAULT_WORK = 12  # rounds of improvement
BLOCK_WEEKS = 4
WINDOW_WEEKS = 5
PROVEN_GAP = 1e-4
SMALL_COLUMNS = 2500  # a model of this size is given to the solver whole
WHOLE_NODES = 400
FISH_NODES = 60
BLOCK_NODES = 1
ROUND_NODES = 1
WORKERS = 2
HOPS = 3

Progress = Callable[[str, float | None, float, float], None]


def _quiet(stage: str, value: float | None, bound: float, seconds: float) -> None:
    """Say nothing of progress."""


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
    """

    work: int = DEFAULT_WORK
    seconds: float | None = None
    seed: int = 0


@dataclass(slots=True)
class _Clock:
    cap: float | None
    began: float = field(default_factory=time.monotonic)

    @property
    def gone(self) -> float:
        return time.monotonic() - self.began

    @property
    def left(self) -> float | None:
        return None if self.cap is None else self.cap - self.gone

    @property
    def over(self) -> bool:
        return self.cap is not None and self.gone >= self.cap


@dataclass(slots=True)
class Search:
    """One search: the model, the best values so far and the bound."""

    problem: SeasonProblem
    effort: Effort
    progress: Progress = _quiet
    rows: SeasonRows = field(init=False)
    model: LinearModel = field(init=False)
    bound: float = np.inf
    best: Floats | None = None
    worth: float = -np.inf
    rounds: int = 0

    def __post_init__(self) -> None:
        self.rows = SeasonRows(self.problem)
        self.model = self.rows.model
        self._clock = _Clock(self.effort.seconds)
        self._sown: Numbers = np.array(self.rows.sown, dtype=np.int64)
        fish = [c for c in self.rows.stocked if c is not None]
        self._fish: Numbers = np.array([*self.rows.tanks, *fish], dtype=np.int64)
        self._none: Mask = np.zeros(self.model.columns, dtype=bool)
        pattern = self.model.matrix.copy()
        pattern.data[:] = 1
        self._pattern, self._columns_of_rows = pattern, pattern.T.tocsr()
        self._starts = np.array([max(0, o.start) for o in self.problem.batches], dtype=np.int64)

    __slots__ = (  # noqa: RUF023 - in the order of use
        "_clock",
        "_columns_of_rows",
        "_fish",
        "_none",
        "_pattern",
        "_sown",
        "_starts",
    )
