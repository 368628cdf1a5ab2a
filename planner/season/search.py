"""How a season is decided: relaxation, fish, crops, then improvement.

1. The linear relaxation gives a true bound, and tells which options are worth looking at.
2. A plan in force that still fits is kept, when it is near the bound; else the season is decided
   anew: the tanks with the crops as in the relaxation, then all crops at once among those options,
   in fractions and in the whole numbers next to them.
3. Rounds of improvement: a neighbourhood is freed, everything else stays, both cores at work; the
   workers meet at the end of a round, so the same input gives the same plan.

All limits are work (nodes, rounds), so that a slower machine gives the same plan later.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

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

FIRST_GAP = 0.005  # of a first plan
WINDOW_WEEKS = 10
WINDOW_STEP = 6
PROVEN_GAP = 1e-4
SMALL_WHOLE = 400  # a model of so few whole numbers is given to the solver at once
WHOLE_NODES = 2000
FISH_NODES = 60
ROOT = 1  # nodes: the root of the tree, where most is found
ROUND_GAP = 0.001
NEAR = 1e-6  # of a whole number
WORKERS = 2
HOPS = 3
KEPT_GAP = 0.02  # of a plan in force that still fits: else the season is decided anew beside it
KEPT_ROUNDS = 3  # in the time that a plan in force saves
ANEW_ROUNDS = 0  # when the time went into the try to keep it


class Search:
    """One search: the model, the best values so far and the bound."""

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

    def run(self) -> str:
        """Search until proven, out of work or out of time; return what stopped it."""
        if not self.problem.batches and not self.problem.cohorts:
            self._solve_whole(self._relaxation())
            return "proven"
        relaxed = self._relaxation()
        kept = self._keep_on(relaxed)
        if int(self.model.whole.sum()) <= SMALL_WHOLE and self._solve_whole(relaxed):
            return "proven"
        most = self.effort.rounds(int(self.model.whole.sum()))
        if self.best is None or not self._near(self.worth):
            self._decide_in_turn(relaxed)
            kept = False
        if self.effort.work is None and self.problem.changes.as_before is not None:
            most = KEPT_ROUNDS if kept else ANEW_ROUNDS
        while self.rounds < most and not self._clock.over and not self.proven:
            self._improve()
        if self.proven:
            return "proven"
        if self._clock.stopped():
            return "interrupt"
        return "seconds" if self._clock.over else "work"

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
        return self._solve(low, high, whole, ROOT, gap)

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

    def _solve_whole(self, relaxed: Floats) -> bool:
        """Give a small model to the solver at once; True when it is solved."""
        answer = self._solve(
            self.model.low, self.model.high, np.flatnonzero(self.model.whole), WHOLE_NODES, 0.0
        )
        if answer.infeasible:
            raise ImpossiblePlanError(collision(self.model, whole=True))
        if answer.values is None:
            return False
        self.bound = min(self.bound, answer.bound)
        self._take(answer.values)
        return self.best is not None and (answer.optimal or self.proven)

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

    def _near(self, worth: float) -> bool:
        """Whether a worth is so near to the bound that a plan in force may stay."""
        return gap(self.problem, worth, self.bound) <= KEPT_GAP

    def _decide_in_turn(self, relaxed: Floats) -> None:
        """Decide the tanks with the crops as relaxed, then the crops."""
        low, high = self.model.low.copy(), self.model.high.copy()
        low[self._sown] = high[self._sown] = relaxed[self._sown]
        answer = self._solve(low, high, self._tanks, FISH_NODES, 0.001)
        self._go_on()
        if answer.values is None:
            self._start_bare()
            return
        values = answer.values
        values[self._tanks] = values[self._tanks].round()
        values[self._fish] = np.floor(values[self._fish] + NEAR)  # no rule needs more fish
        self._tell("fish")
        self._decide_crops(values, self._promising(relaxed), self._sown)

    def _keep_on(self, relaxed: Floats) -> bool:
        """Begin from the plan in force: its starts stay, what stands and what it leaves is decided.

        False when that does not fit the house as it is now, or is far from the best.
        """
        before = self.problem.changes.as_before
        if before is None:
            return False
        low, high = self.model.low.copy(), self.model.high.copy()
        told = self._sown[before.parts_told]
        low[told] = high[told] = before.parts[before.parts_told]
        for number, (tanks, fish) in enumerate(
            zip(self.rows.tanks, self.rows.stocked, strict=True)
        ):
            if before.tanks_told[number] and fish is not None:
                low[tanks], low[fish] = before.tanks[number], before.fish[number]
        standing = np.array([o.standing is not None for o in self.problem.batches], dtype=bool)
        whole = np.concatenate([self._sown[standing], self._fish])
        if (low > self.model.high + NEAR).any():
            return False
        answer = self._solve(low, high, None, ROOT, 0.0)
        if answer.values is None or not self._near(answer.worth):
            return False
        answer = self._solve_near(low, high, whole, FIRST_GAP)
        self._go_on()
        if answer.values is None:
            return False
        self._tell("plan in force")
        values = answer.values
        values[whole] = values[whole].round()
        most = self._promising(relaxed, values)
        self._decide_crops(values, most, self._sown[~(standing | before.parts_told)])
        return self.best is not None

    def _decide_crops(self, values: Floats, most: Floats, columns: Numbers) -> None:
        """Decide all `columns` at once, the other whole numbers as in `values`, and keep it."""
        low, high = self.model.low.copy(), most.copy()
        others = np.setdiff1d(np.flatnonzero(self.model.whole), columns)
        low[others] = high[others] = values[others]
        answer = self._solve_near(low, high, columns, FIRST_GAP)
        if answer.values is None:
            answer = self._solve(low, high, columns, ROOT, FIRST_GAP)
        self._go_on()
        if answer.values is None or not self._take(answer.values):
            self._start_bare()
        self._tell("first plan")

    def _starting(self, first: int, stop: int) -> Numbers:
        """Columns of the options that begin in weeks `first` up to, not including, `stop`."""
        return self._sown[(self._starts >= first) & (self._starts < stop)]

    def _start_bare(self) -> None:
        """Begin from a house where nothing new is sown or stocked, unless there is a plan."""
        if self.best is not None:
            return
        low, high = self.model.low.copy(), self.model.high.copy()
        new = [
            column
            for option, column in zip(self.problem.batches, self.rows.sown, strict=True)
            if option.standing is None
        ]
        new += [column for column in self.rows.stocked if column is not None]
        new += [
            tank
            for tank, fish in zip(self.rows.tanks, self.rows.stocked, strict=True)
            if fish is not None
        ]
        high[new] = 0
        answer = self._solve(
            low, high, np.flatnonzero(self.model.whole), WHOLE_NODES, 0.01, timed=False
        )
        found = answer.values is not None and self._take(answer.values)
        if not found and not self._clock.over:
            raise ImpossiblePlanError(collision(replace(self.model, high=high), whole=True))

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

    def _neighbourhood(self, turn: int) -> Numbers:
        """Whole columns freed in a turn: a window of weeks of all crops, or the fish."""
        spots = -(-self.problem.weeks // WINDOW_STEP)
        if turn % (spots + 1) == spots:
            return self._fish
        first = (turn % (spots + 1)) * WINDOW_STEP
        return self._starting(first, first + WINDOW_WEEKS)

    def _near_best(self, whole: Numbers) -> Answer:
        """Decide some whole numbers again, all else as in the best plan."""
        assert self.best is not None
        free = self.freed(whole)
        low = np.where(free, self.model.low, self.best)
        high = np.where(free, self.model.high, self.best)
        return self._solve_near(low, high, whole, ROUND_GAP, self.best)

    def improved(self, whole: Numbers) -> Floats | None:
        """Return better values that differ from the best plan in some whole numbers, if any."""
        answer = self._near_best(whole)
        return answer.values if answer.worth > self.worth + NEAR else None

    def _improve(self) -> None:
        """One round: two neighbourhoods at once, then both answers together if they fit."""
        assert self.best is not None
        spots = -(-self.problem.weeks // WINDOW_STEP) + 1
        turns = (self.rounds % spots, (self.rounds + spots // 2) % spots)
        freed = [self._neighbourhood(turn) for turn in turns]
        self.rounds += 1

        with ThreadPoolExecutor(WORKERS) as pool:
            answers = list(pool.map(self._near_best, freed))
        better = [
            (whole, answer.values)
            for whole, answer in zip(freed, answers, strict=True)
            if answer.values is not None and answer.worth > self.worth + 1e-6
        ]
        if not better:
            return
        together = self.best.copy()
        for whole, values in better:
            together[whole] = values[whole]
        if not self._take(together):
            for _, values in better:
                self._take(values)
        self._tell(f"round {self.rounds}")
