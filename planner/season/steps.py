"""Solving steps that all parts of a search share, and what the search knows so far."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from ortools.math_opt.python import mathopt

from planner.errors import ImpossiblePlanError, StoppedError
from planner.plan import gap
from planner.problem import SeasonProblem
from planner.season.collision import collision
from planner.season.effort import Clock, Effort, Progress, never, quiet
from planner.season.linear import LinearModel
from planner.season.rows import SeasonRows
from planner.season.solvers import Answer, Limits, Solver, solve

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Numbers = NDArray[np.int64]

PROVEN_GAP = 1e-4
ROOT = 1  # nodes: the root of the tree, where most is found
NEAR = 1e-6  # of a whole number
HOPS = 3


class Steps:
    """The model, the best values so far and the bound, and steps to better ones."""

    def __init__(
        self,
        problem: SeasonProblem,
        effort: Effort,
        progress: Progress = quiet,
        stopped: Callable[[], bool] = never,
    ) -> None:
        self.problem, self.effort, self.progress = problem, effort, progress
        self.rows = SeasonRows(problem)
        self.model: LinearModel = self.rows.model
        self.bound = np.inf
        self.best: Floats | None = None
        self.worth = -np.inf
        self.prices: Floats | None = None  # of the rows, in the relaxation
        self.rounds = 0
        self._clock = Clock(effort.seconds, stopped)
        fish = [column for column in self.rows.stocked if column is not None]
        self._sown: Numbers = np.array(self.rows.sown, dtype=np.int64)
        self._tanks: Numbers = np.array(self.rows.tanks, dtype=np.int64)
        self._fish: Numbers = np.array([*self.rows.tanks, *fish], dtype=np.int64)
        self._starts: Numbers = np.array(
            [max(0, option.start) for option in problem.batches], dtype=np.int64
        )
        pattern = self.model.matrix.copy()
        pattern.data[:] = 1
        self._rows_of, self._columns_of = pattern, pattern.T.tocsr()

    @property
    def proven(self) -> bool:
        """Whether the best plan is as good as any, within the proven gap."""
        return gap(self.problem, self.worth, self.bound) <= PROVEN_GAP

    def _relaxation(self) -> Floats:
        """Solve without whole numbers: a bound on any plan, and a guide to good ones."""
        self._tell("relaxation")
        marks = np.zeros(self.model.columns, dtype=bool)
        answer = solve(
            self.model,
            whole=marks,
            linear_method=mathopt.LPAlgorithm.BARRIER
            if self.effort.solver == Solver.HIGHS
            else None,
            solver=self.effort.solver,
        )
        if answer.values is None:
            raise ImpossiblePlanError(collision(self.model))
        self.bound, self.prices = answer.bound, answer.prices
        self._go_on()
        self._tell("relaxation")
        return answer.values

    def _go_on(self) -> None:
        """Give up when asked to stop before there is a whole plan."""
        if self._clock.stopped():
            raise StoppedError("Stopped before there was a plan; nothing was written.")

    def _tell(self, stage: str) -> None:
        value = self.worth if self.best is not None else None
        self.progress(stage, value, self.bound, self._clock.gone)

    def _solve(
        self,
        low: Floats,
        high: Floats,
        whole: Numbers | None,
        nodes: int,
        relative_gap: float,
        *,
        timed: bool = True,
    ) -> Answer:
        """Solve with some columns whole, within the work of one step and the time left, if any."""
        marks = np.zeros(self.model.columns, dtype=bool)
        if whole is not None:
            marks[whole] = True
        limits = Limits(
            nodes=nodes, relative_gap=relative_gap, seconds=self._clock.left if timed else None
        )
        return solve(
            self.model,
            low=low,
            high=high,
            whole=marks,
            limits=limits,
            seed=self.effort.seed,
            solver=self.effort.solver,
        )

    def _solve_near(
        self, low: Floats, high: Floats, whole: Numbers, gap: float, kept: Floats | None = None
    ) -> Answer:
        """Solve in fractions, then in whole numbers next to them, or between them and `kept`.

        Few whole numbers are left to decide, so that a large part of the season can be freed.
        """
        low, high = low.copy(), high.copy()
        relaxed = self._solve(low, high, None, ROOT, 0.0)
        if relaxed.values is None or (kept is not None and relaxed.worth <= self.worth + NEAR):
            return relaxed
        below, above = np.floor(relaxed.values[whole] + NEAR), np.ceil(relaxed.values[whole] - NEAR)
        if kept is not None:
            below, above = np.minimum(below, kept[whole]), np.maximum(above, kept[whole])
        low[whole], high[whole] = np.maximum(low[whole], below), np.minimum(high[whole], above)
        return self._solve(low, self._without_idle_cuts(high), whole, ROOT, gap)

    def _take(self, values: Floats) -> bool:
        """Round the whole numbers, solve for what follows from them, and keep it when better."""
        low, high = self.model.low.copy(), self.model.high.copy()
        columns = np.flatnonzero(self.model.whole)
        low[columns] = high[columns] = np.clip(values[columns].round(), low[columns], high[columns])
        answer = self._solve(low, high, None, 1, 0.0, timed=False)
        if answer.values is None or answer.worth <= self.worth + 1e-9:
            return False
        self.best, self.worth = answer.values, answer.worth
        return True

    def _promising(self, *guides: Floats) -> Floats:
        """Upper bounds that leave only the options that a guide uses, and standing ones."""
        high = self.model.high.copy()
        used = np.any([guide[self._sown] > 1e-7 for guide in guides], axis=0)
        standing = np.array([o.standing is not None for o in self.problem.batches], dtype=bool)
        high[self._sown[~(used | standing)]] = 0
        return self._without_idle_cuts(high)

    def _without_idle_cuts(self, high: Floats) -> Floats:
        """Close the harvests that no open option can bring."""
        problem = self.problem
        open_classes = {
            (option.crop, cut.first, cut.last)
            for option, column in zip(problem.batches, self.rows.sown, strict=True)
            if high[column] > 0
            for cut in option.cuts
        }
        for (number, _), column in self.rows.harvest_kg.items():
            if problem.cut_classes[number] not in open_classes:
                high[column] = 0
        return high

    def _starting(self, first: int, stop: int) -> Numbers:
        """Columns of the options that begin in weeks `first` up to, not including, `stop`."""
        return self._sown[(self._starts >= first) & (self._starts < stop)]

    def freed(self, whole: Numbers, without: str = "") -> Mask:
        """Columns that may follow when `whole` ones move: quantities that share rows with them.

        Rows of the rule `without` are not followed.
        """
        free = np.zeros(self.model.columns, dtype=bool)
        free[whole] = True
        followed = np.array([rule != without for rule in self.model.rules], dtype=bool)
        for _ in range(HOPS):
            rows = ((self._rows_of @ free) > 0) & followed
            free |= ((self._columns_of @ rows) > 0) & ~self.model.whole
        return free
