"""The grower's book: what is sown and stocked so far, and what places, cells and hours are left."""

import math
from collections import defaultdict
from collections.abc import Iterable
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from planner.handplan.habits import counted_days, habit
from planner.problem import SeasonProblem

Series = NDArray[np.float64]
Whole = NDArray[np.int64]

NEAR = 1e-9


class Book:
    """Parts, tanks and fish by option; places, cells and hours left by week.

    `supply_kg` is what the grower expects to cut by crop and week: of batches in the house by what
    is seen of them, of new ones by the crop table.
    """

    def __init__(self, problem: SeasonProblem, sowing_share: float) -> None:
        farm, weeks = problem.farm, problem.weeks
        self.problem = problem
        self.parts: Whole = np.zeros(len(problem.batches), dtype=np.int64)
        self.tanks: Whole = np.zeros(len(problem.cohorts), dtype=np.int64)
        self.fish: Whole = np.zeros(len(problem.cohorts), dtype=np.int64)
        self.hours: Series = np.full(weeks, float(farm.labour.hours_week))
        self.supply_kg: dict[str, Series] = {name: np.zeros(weeks) for name in problem.produce}
        self.new: dict[tuple[str, int], dict[int, list[int]]] = defaultdict(dict)
        for n, option in enumerate(problem.batches):
            if option.standing is None:
                self.new[option.crop, option.zone].setdefault(option.start, []).append(n)
        self._free: Whole = np.array([[zone.all_parts] * weeks for zone in farm.zones])
        self._cells: Whole = np.full(weeks, farm.nursery.cells)
        self._kept_h = farm.labour.hours_week * (1 - sowing_share)
        self._cutting_h: Series = np.zeros(weeks)
        self._days = counted_days(problem.environment, farm.site.latitude)

    def expected_kg(self, n: int) -> Series:
        """Return what an option gives by week, each cut spread over its weeks. [kg part⁻¹]"""
        kg: Series = np.zeros(self.problem.weeks)
        for cut in self.problem.batches[n].cuts:
            kg[cut.first : cut.last + 1] += cut.kg / (cut.last + 1 - cut.first)
        return kg

    def room(self, n: int) -> int:
        """Return how many parts of an option places, cells and hours allow, its cutting too."""
        option = self.problem.batches[n]
        held = slice(max(0, option.start), max(0, option.stop))
        most = int(np.min(self._free[option.zone, held], initial=np.iinfo(np.int64).max))
        if option.nursery is not None and option.cells > 0:
            first, last = option.nursery
            most = min(most, int(self._cells[max(0, first) : last + 1].min()) // option.cells)
        cutting_h = self.expected_kg(n) * self.problem.harvest_h_kg[option.crop]
        left_h = self.hours - self._cutting_h - self._kept_h
        return max(0, min(most, _times(option.labour_h + cutting_h, left_h)))

    def hands(self, n: int) -> int:
        """Return how many parts of an option the hours allow, its cutting left out."""
        return max(0, _times(self.problem.batches[n].labour_h, self.hours))

    def sow(self, n: int, parts: int) -> None:
        """Book parts of an option."""
        option = self.problem.batches[n]
        self.parts[n] += parts
        self._free[option.zone, max(0, option.start) : max(0, option.stop)] -= parts
        if option.nursery is not None:
            self._cells[max(0, option.nursery[0]) : option.nursery[1] + 1] -= option.cells * parts
        self.hours -= option.labour_h * parts
        kg = self.expected_kg(n) * parts
        self._cutting_h += kg * self.problem.harvest_h_kg[option.crop]
        if option.standing is not None:
            self.supply_kg[option.crop] += kg

    def counted(self, first_week: int) -> Series:
        """Return the days that the grower counts in each week from `first_week`. [d]"""
        first = self.problem.day_of_start + 7 * first_week
        by_week = self._days[first::7]
        return np.asarray(np.diff(by_week)[: self.problem.weeks - first_week])

    def set_out_by(self, ripe_by: date, days: int) -> date:
        """Return the last day from which a grower counts `days` days to `ripe_by`."""
        environment = self.problem.environment
        goal = self._days[environment.index(ripe_by)] - days
        return environment.start + timedelta(days=int(np.searchsorted(self._days, goal + NEAR)) - 1)

    def day_after(self, day: date, days: int) -> date:
        """Return the day on which a grower has counted `days` days from `day`."""
        environment = self.problem.environment
        goal = self._days[environment.index(day)] + days
        return environment.start + timedelta(days=int(np.searchsorted(self._days, goal - NEAR)))

    def by_table(self, options: Iterable[int]) -> list[int]:
        """Sort options of a crop by how near to the table's day they are cleared."""

        def days_off(n: int) -> tuple[int, int]:
            option = self.problem.batches[n]
            ways = habit(self.problem.crops[option.crop])
            clear = self.day_after(option.set_out, ways.ripen_days + ways.cut_days)
            return abs((option.clear - clear).days), n

        return sorted(options, key=days_off)


def _times(work_h: Series, left_h: Series) -> int:
    """How many times the work fits into the hours left of every week."""
    busy = work_h > 0
    if not busy.any():
        return int(np.iinfo(np.int64).max)
    return math.floor(float((left_h[busy] / work_h[busy]).min()) + NEAR)
