"""From decisions to cohorts in named tanks."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from planner.calendarrules import TANK_REST_DAYS
from planner.plan import SeasonPlan
from planner.problem import SeasonProblem
from planner.stays import CohortOption


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class School:
    """The fish of one tank from stocking to the day it is empty."""

    id: str
    option: CohortOption
    tank: str
    fish: int

    @property
    def empty(self) -> date | None:
        """The day the tank is empty; None when that is after the tail."""
        return self.option.takes[-1].day if self.option.takes else None


def schools(problem: SeasonProblem, plan: SeasonPlan) -> tuple[School, ...]:
    """Give every tankful of fish a tank and a name, in order of stocking."""
    farm = problem.farm
    free_from: dict[str, date] = {name: date.min for tank in farm.tanks for name in tank.tank_names}
    found: list[School] = []
    chosen = sorted(
        (int(n) for n in np.flatnonzero(plan.tanks)),
        key=lambda n: (problem.cohorts[n].at_hand is None, problem.cohorts[n].stock, n),
    )
    names: dict[str, int] = defaultdict(int)
    taken = {batch.id for batch in farm.standing}  # a batch and a cohort never share a name
    for n in chosen:
        option = problem.cohorts[n]
        tanks = int(plan.tanks[n])
        each, more = divmod(int(plan.fish[n]), tanks)
        for number in range(tanks):
            fish = each + (number < more)
            if fish == 0:
                continue
            if option.at_hand is not None:
                tank = farm.cohorts[option.at_hand].tank
            else:
                names_of_tanks = farm.tanks[option.tank].tank_names
                open_tanks = [t for t in names_of_tanks if free_from[t] <= option.stock]
                tank = max(open_tanks, key=lambda t: (free_from[t], -names_of_tanks.index(t)))
            year, week, _ = option.stock.isocalendar()
            base = f"{option.species}-{year % 100:02d}w{week:02d}"
            name = base
            while name in taken:
                names[base] += 1
                name = f"{base}-{names[base] + 1}"
            taken.add(name)
            school = School(id=name, option=option, tank=tank, fish=fish)
            empty = school.empty
            rest = timedelta(days=TANK_REST_DAYS)
            free_from[tank] = date.max if empty is None else empty + rest
            found.append(school)
    return tuple(found)


def order_by(problem: SeasonProblem, school: School) -> date | None:
    """Return the last day on which fish still to come can be ordered, a past one when they are."""
    option = school.option
    if option.offer is None:
        return None
    last = option.stock - timedelta(weeks=problem.farm.fingerlings[option.offer].lead_weeks)
    if option.ordered is None:
        return last
    return min(last, problem.horizon.plan_date - timedelta(days=1))
