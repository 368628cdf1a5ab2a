"""The search keeps what it has decided when its time is up."""

from datetime import date
from pathlib import Path

import pytest

from planner.farmfile import doubts, read_farm
from planner.plan import violations, worth
from planner.problem import SeasonProblem, build
from planner.season.decide import season_plan
from planner.season.effort import Effort
from planner.season.search import SMALL_WHOLE, Search
from tests.farms import write_small_farm

MONDAY = date(2027, 3, 1)


@pytest.fixture(scope="module")
def problem(tmp_path_factory: pytest.TempPathFactory) -> SeasonProblem:
    """The small farm over twenty weeks: too large for the solver to take whole."""
    folder = write_small_farm(tmp_path_factory.mktemp("farm") / "small")
    with (folder / "farm.toml").open("a", encoding="utf-8") as file:
        file.write("\n[rules]\nhorizon_weeks = 20\ntail_weeks = 4\n")
    inputs = read_farm(folder)
    return build(inputs.farm, inputs.crops, inputs.fish, inputs.station, MONDAY)


@pytest.mark.parametrize("seconds", [0.01, 0.5])
def test_any_time_gives_a_plan_that_keeps_the_rules(problem: SeasonProblem, seconds: float) -> None:
    assert int(Search(problem, Effort()).model.whole.sum()) > SMALL_WHOLE
    plan = season_plan(problem, Effort(seconds=seconds, work=1))
    assert violations(problem, plan) == []
    assert plan.stopped_by in {"seconds", "work", "proven"}
    assert plan.value == pytest.approx(worth(problem, plan), rel=1e-6, abs=1e-3)


def test_more_work_is_never_worse(problem: SeasonProblem) -> None:
    values = [season_plan(problem, Effort(work=work)).value for work in (0, 2)]
    assert values[1] >= values[0] - 1e-6


def test_fish_promised_before_they_are_taken_are_doubted(tmp_path: Path) -> None:
    line = "9,stand,tilapia_nile,kg,1,2027-03-01,2027-08-02,4,mon,3,9,0,yes\n"
    text = write_small_farm(tmp_path / "a").joinpath("orders.csv").read_text("utf-8")
    species = read_farm(tmp_path / "a").farm.fingerlings[0].species
    folder = write_small_farm(
        tmp_path / "b", orders_csv=text + line.replace("tilapia_nile", species)
    )
    found = [doubt for doubt in doubts(read_farm(folder), MONDAY) if "Thursdays" in doubt]
    assert len(found) == 1
    assert "9" in found[0]
