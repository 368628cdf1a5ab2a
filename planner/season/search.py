"""How a season is decided: relaxation, fish, crops, then improvement.

1. The linear relaxation gives a true bound, and tells which options are worth looking at. After a
   plan in force, a relaxation of what it starts, and of what is new soon, tells that sooner, while
   the bound is reckoned beside it.
2. A plan in force that still fits is kept, when it is near that; else the season is decided anew:
   the tanks with the crops as relaxed, then the crops among their options, by blocks of weeks with
   all weeks to come relaxed, in fractions and in the whole numbers next to them. A block that does
   not come out well is halved.
3. Rounds of improvement: a neighbourhood is freed, everything else stays, both cores at work; the
   workers meet at the end of a round, so the same input gives the same plan.

All limits are work (nodes, rounds), so that a slower machine gives the same plan later.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from planner.errors import ImpossiblePlanError
from planner.plan import gap
from planner.season.collision import collision
from planner.season.solvers import Answer
from planner.season.steps import NEAR, ROOT, Floats, Numbers, Steps

FIRST_GAP = 0.005  # of a first plan
BLOCK_WEEKS = 32
LEAST_WEEKS = 4  # of a block that is halved no more
LOST = 0.04  # of a season's worth, in one block: so much is not for want of whole numbers
WINDOW_WEEKS = 10
WINDOW_STEP = 6
SMALL_WHOLE = 400  # a model of so few whole numbers is given to the solver at once
WHOLE_NODES = 2000
FISH_NODES = 60
ROUND_GAP = 0.001
WORKERS = 2
KEPT_GAP = 0.02  # of a plan in force that still fits: else the season is decided anew
KEPT_ROUNDS = 2  # in the time that a plan in force saves
ANEW_ROUNDS = 0  # when the season was decided anew after a plan in force


class Search(Steps):
    """One search for a season."""

    def run(self) -> str:
        """Search until proven, out of work or out of time; return what stopped it."""
        whole = int(self.model.whole.sum())
        most = self.effort.rounds(whole)
        if self.problem.changes.as_before is None or whole <= SMALL_WHOLE:
            if self._plan_first(whole):
                return "proven"
        else:
            kept = self._plan_again()
            if self.effort.work is None:
                most = KEPT_ROUNDS if kept else ANEW_ROUNDS
        while self.rounds < most and not self._clock.over and not self.proven:
            self._improve()
        if self.proven:
            return "proven"
        if self._clock.stopped():
            return "interrupt"
        return "seconds" if self._clock.over else "work"

    def _plan_first(self, whole: int) -> bool:
        """Make a first plan from the relaxation; True when it is proven to be the best."""
        relaxed = self._relaxation()
        if not self.problem.batches and not self.problem.cohorts:
            return self._solve_whole() or True
        self._keep_on(relaxed, self.bound)
        if whole <= SMALL_WHOLE and self._solve_whole():
            return True
        if self.best is None or not self._near(self.worth, self.bound):
            self._decide_in_turn(relaxed)
        return False

    def _plan_again(self) -> bool:
        """Make a plan after a plan in force; True when that was kept."""
        with ThreadPoolExecutor(1) as beside:
            relaxation = beside.submit(self._relaxation)
            guide = self._guide()
            kept = guide.values is not None and self._keep_on(guide.values, guide.worth)
            if guide.values is not None and not kept:
                self._decide_in_turn(guide.values, brief=True)
            relaxed = relaxation.result()
        if self.best is None or not self._near(guide.worth, self.bound):
            self._decide_in_turn(relaxed)
            return False
        return kept

    def _guide(self) -> Answer:
        """Relax the season with no far starts that the plan in force has not."""
        before = self.problem.changes.as_before
        assert before is not None
        high = self.model.high.copy()
        high[self._sown[before.far_new]] = 0
        return self._solve(self.model.low, self._without_idle_cuts(high), None, ROOT, 0.0)

    def _near(self, worth: float, bound: float) -> bool:
        """Whether a worth is so near to a bound that a plan in force may stay."""
        return gap(self.problem, worth, bound) <= KEPT_GAP

    def _decide_in_turn(self, guide: Floats, *, brief: bool = False) -> None:
        """Decide the tanks with the crops as in `guide`, then the crops.

        When `brief`, the tanks are first tried with all sales of crops as they are, too.
        """
        ways = [np.isin(np.arange(self.model.columns), self._sown, invert=True)]
        if brief:
            ways.insert(0, self.freed(self._fish, without="hours of work"))
        for free in ways:
            low = np.where(free, self.model.low, guide)
            high = np.where(free, self.model.high, guide)
            answer = self._solve(low, high, self._tanks, FISH_NODES, 0.001)
            if answer.values is not None:
                break
        self._go_on()
        if answer.values is None:
            self._start_bare()
            return
        values = answer.values
        values[self._tanks] = values[self._tanks].round()
        values[self._fish] = np.floor(values[self._fish] + NEAR)  # no rule needs more fish
        self._tell("fish")
        self._decide_crops(values, self._promising(guide), self._sown)

    def _keep_on(self, guide: Floats, worth: float) -> bool:
        """Begin from the plan in force: its starts stay, what stands and what it leaves is decided.

        False when that does not fit the house as it is now, or is far from a guide's `worth`.
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
        if answer.values is None or not self._near(answer.worth, worth):
            return False
        answer = self._solve_near(low, high, whole, FIRST_GAP)
        self._go_on()
        if answer.values is None:
            return False
        self._tell("plan in force")
        values = answer.values
        values[whole] = values[whole].round()
        most = self._promising(guide, values)
        self._decide_crops(values, most, self._sown[~(standing | before.parts_told)])
        return self.best is not None

    def _decide_crops(self, values: Floats, most: Floats, columns: Numbers) -> None:
        """Decide all `columns` by blocks, the other whole numbers as in `values`, and keep it."""
        for first in range(0, self.problem.weeks, BLOCK_WEEKS):
            stop = min(first + BLOCK_WEEKS, self.problem.weeks)
            decided = self._decide_weeks(values, most, columns, first, stop)
            self._go_on()
            if decided is None:  # out of time: nothing more is sown than is decided
                values[np.intersect1d(columns, self._starting(first, self.problem.weeks))] = 0
                break
            values = decided
            self._tell(f"weeks {first + 1} to {stop}")
        if not self._take(values):
            self._start_bare()
        self._tell("first plan")

    def _decide_weeks(
        self, values: Floats, most: Floats, columns: Numbers, first: int, stop: int
    ) -> Floats | None:
        """Decide the columns that start in weeks `first` up to `stop`, those after it relaxed."""
        block = np.intersect1d(columns, self._starting(first, stop))
        moving = np.intersect1d(columns, self._starting(first, self.problem.weeks))
        low, high = self.model.low.copy(), most.copy()
        still = np.setdiff1d(np.flatnonzero(self.model.whole), moving)
        low[still] = high[still] = values[still]
        answer = self._solve_near(low, high, block, FIRST_GAP)
        found = answer.values is not None
        lost = gap(self.problem, answer.worth, answer.bound) if found else np.inf
        if lost > LOST and stop - first > LEAST_WEEKS and not self._clock.over:
            middle = (first + stop) // 2
            half = self._decide_weeks(values, most, columns, first, middle)
            return None if half is None else self._decide_weeks(half, most, columns, middle, stop)
        if answer.values is None:
            return None
        answer.values[block] = answer.values[block].round()
        return answer.values

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

    def _solve_whole(self) -> bool:
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
