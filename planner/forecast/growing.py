"""When a crop of a zone is ripe in each draw, and how fast it grew between two days."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.crops import progress_per_day
from planner.environment import zone_air_c, zone_dli_mol
from planner.farm import Zone
from planner.problem import SeasonProblem
from planner.tables import Crop

Series = NDArray[np.float64]
Days = NDArray[np.int64]

NEVER = 1_000_000  # a day beyond every horizon


@dataclass(frozen=True, slots=True, eq=False)
class Clock:
    """Growth of one crop in one zone; days count from the horizon's first Monday.

    Attributes
    ----------
    planned
        Progress days gained before each day, from `first` on. [d]
    first
        The day that `planned` begins with, before the horizon. [d]
    extra
        What each draw has gained beyond the plan by each Monday; shape (weeks + 1, draws). [d]
    mondays, total
        What the plan and what each draw has gained by each Monday. [d]
    """

    planned: Series
    first: int
    extra: Series
    mondays: Series
    total: Series

    @property
    def weeks(self) -> int:
        """Weeks followed. [-]"""
        return len(self.extra) - 1

    def at(self, day: int) -> float:
        """Return the progress days that the plan has gained before `day`."""
        return float(self.planned[min(max(0, day - self.first), len(self.planned) - 1)])

    def extra_at(self, day: int) -> Series:
        """Return what each draw has gained beyond the plan before `day`."""
        week, rest = divmod(min(max(0, day), self.weeks * 7), 7)
        if rest == 0:
            return np.asarray(self.extra[week])
        step = self.extra[week + 1] - self.extra[week]
        return np.asarray(self.extra[week] + step * (rest / 7))

    def pace(self, first: int, last: int) -> Series:
        """Return growth between two days over the plan's; 1 where the plan has none. [-]"""
        gained = self.at(last) - self.at(first)
        if gained <= 0:
            return np.ones(self.extra.shape[1])
        return np.asarray(1 + (self.extra_at(last) - self.extra_at(first)) / gained)

    def ripe(self, origin: int, ripe: int, speed: Series) -> Days:
        """Return the day on which each draw is ripe; `NEVER` when that is beyond the weeks.

        Parameters
        ----------
        origin
            The day from which growth may differ from the plan.
        ripe
            The day on which the plan has it ripe; 0 or later means within or after the horizon.
        speed
            Growth over the plan's, the weather aside, by draw. [-]
        """
        start = self.at(origin)
        goal = start + (self.at(ripe) - start) / speed + self.extra_at(origin)
        before = _place(self.total, goal)
        planned = _place(self.mondays[:, None], np.array([self.at(ripe)]))
        late = np.rint(before - planned)
        return np.where(before >= 7 * self.weeks, NEVER, ripe + late).astype(np.int64)


def _place(mondays: Series, goal: Series) -> Series:
    """Return the day on which a rising line through the Mondays' values reaches a goal.

    The line goes on before the first Monday and after the last as steep as beside them.
    """
    weeks = len(mondays) - 1
    week = np.minimum((mondays[1:] < goal).sum(axis=0), weeks - 1)
    column = np.arange(mondays.shape[1])
    low, high = mondays[week, column], mondays[week + 1, column]
    return np.asarray(7 * (week + (goal - low) / np.maximum(high - low, 1e-9)))


def clock(problem: SeasonProblem, crop: Crop, zone: Zone, growth: Series) -> Clock:
    """Return the clock of a crop in a zone for drawn weather of shape (weeks, draws)."""
    environment = problem.environment
    progress = progress_per_day(
        crop, zone_air_c(environment, zone), zone_dli_mol(environment, zone)
    )
    start, weeks = problem.day_of_start, problem.horizon.weeks
    weekly = progress[start : start + 7 * weeks].reshape(weeks, 7).sum(axis=1)
    extra = np.zeros((weeks + 1, growth.shape[1]))
    np.cumsum(weekly[:, None] * (growth - 1), axis=0, out=extra[1:])
    planned = np.concatenate([[0.0], np.cumsum(progress)])
    mondays = planned[start : start + 7 * weeks + 1 : 7]
    return Clock(
        planned=planned,
        first=-start,
        extra=extra,
        mondays=mondays,
        total=mondays[:, None] + extra,
    )
