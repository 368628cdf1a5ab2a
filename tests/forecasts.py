"""A plan with its lots, tanks and flows, for tests of the forecast."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from planner import farmfile, problem
from planner.forecast import Drawn, Forecast, draw, forecast
from planner.lots import Flows, Lot, flows, lots
from planner.plan import SeasonPlan
from planner.problem import SeasonProblem
from planner.schools import School, schools
from planner.season.decide import season_plan
from planner.season.effort import Effort


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """A planned season."""

    problem: SeasonProblem
    plan: SeasonPlan
    lots: tuple[Lot, ...]
    schools: tuple[School, ...]
    flows: Flows

    def forecast(self, lots: Sequence[Lot] | None = None, **options: Any) -> Forecast:
        """Its forecast, with other lots if any are given."""
        given = self.lots if lots is None else lots
        return forecast(self.problem, self.plan, given, self.schools, self.flows, **options)

    def draw(self, lots: Sequence[Lot] | None = None, **options: Any) -> Drawn:
        """Its draws, with other lots if any are given."""
        given = self.lots if lots is None else lots
        return draw(self.problem, self.plan, given, self.schools, self.flows, **options)


def case(folder: Path) -> Case:
    """A quick plan of a farm folder on its own plan date, without the book."""
    inputs = farmfile.read_farm(folder)
    made_on = inputs.farm.plan_date
    assert made_on is not None
    season = problem.build(inputs.farm, inputs.crops, inputs.fish, inputs.station, made_on)
    return case_of(season, season_plan(season, Effort(work=0)))


def case_of(season: SeasonProblem, plan: SeasonPlan) -> Case:
    """A plan with its lots, tanks and flows."""
    all_lots, fish = lots(season, plan), schools(season, plan)
    taken: dict[tuple[str, int], list[tuple[str, date, float]]] = defaultdict(list)
    for school in fish:
        for take in school.option.takes:
            if take.saleable:
                kg = take.share * school.fish * take.mean_g / 1000
                taken[school.option.species, take.week].append((school.id, take.day, kg))
    return Case(
        problem=season,
        plan=plan,
        lots=all_lots,
        schools=fish,
        flows=flows(season, plan, all_lots, taken),
    )
