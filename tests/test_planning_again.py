"""The search after a plan in force: kept when it fits, else decided anew, and how."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from planner import planning
from planner.plan import gap, violations
from planner.planning import Bundle
from planner.season import search
from planner.season.decide import season_plan
from planner.season.effort import Effort
from planner.season.search import Search
from tests.shortfarm import MONDAY, copied, kept, planned, write_short_farm

WEEKS = 26
MUCH = "Z1,Market hall,lettuce_butterhead,head,40,2027-08-02,2027-08-30,1,fri,1,4.00,0,yes\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Half a year of the farm, with a plan in force that the solver decided at once."""
    folder = write_short_farm(
        tmp_path_factory.mktemp("again") / "farm",
        toml={"horizon_weeks = 16": f"horizon_weeks = {WEEKS}"},
    )
    kept(folder)
    return folder


@pytest.fixture
def large(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every house is decided in the way of large ones."""
    monkeypatch.setattr(search, "SMALL_WHOLE", -1)


def counted(monkeypatch: pytest.MonkeyPatch, name: str) -> list[str]:
    """Count the calls of a step of the search."""
    calls: list[str] = []
    usual = getattr(Search, name)

    def told(self: Search, *arguments: Any, **keys: Any) -> Any:
        calls.append(name)
        return usual(self, *arguments, **keys)

    monkeypatch.setattr(Search, name, told)
    return calls


@pytest.mark.usefixtures("large")
def test_a_week_later_without_news_the_plan_is_kept(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    anew = counted(monkeypatch, "_decide_in_turn")
    bundle = planned(folder, MONDAY + timedelta(weeks=1))
    assert anew == []
    told = bundle.document["changes"]
    assert told is not None
    assert (told["moved"], told["items"]) == (0, [])
    assert told["kept"] > 10


@pytest.mark.usefixtures("large")
def test_orders_far_ahead_that_no_old_start_can_fill_are_planned_for_all_the_same(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm = copied(folder, tmp_path / "farm")
    with (farm / "orders.csv").open("a", encoding="utf-8") as file:
        file.write(MUCH)
    anew = counted(monkeypatch, "_decide_in_turn")
    bundle = planned(farm, MONDAY + timedelta(weeks=1))
    assert len(anew) == 2, "after the guide, and after the relaxation"
    assert gap(bundle.problem, bundle.plan.value, bundle.plan.bound) < 0.1
    rows = [row for row in bundle.document["orders"] if row["line"] == "Z1"]
    assert len(rows) > 3
    assert sum(row["planned"] for row in rows) > 0.5 * sum(row["ordered"] for row in rows)


@pytest.mark.usefixtures("large")
def test_lost_starts_are_made_good_after_the_guide_alone(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm = copied(folder, tmp_path / "farm")
    text = (farm / "orders.csv").read_text("utf-8")
    (farm / "orders.csv").write_text(text.replace(",head,14,", ",head,40,"), "utf-8")
    anew = counted(monkeypatch, "_decide_in_turn")
    bundle = planned(farm, MONDAY + timedelta(weeks=1))
    assert len(anew) >= 1
    assert violations(bundle.problem, bundle.plan) == []
    whole = season_plan(bundle.problem, Effort(work=2))
    assert gap(bundle.problem, bundle.plan.value, whole.bound) < 0.1


@pytest.fixture(scope="module")
def first(folder: Path) -> Bundle:
    return planning.make_plan(folder, today=MONDAY, effort=Effort(work=0), fresh=True)


@pytest.mark.usefixtures("large")
def test_a_block_of_weeks_that_comes_out_badly_is_halved(
    first: Bundle, monkeypatch: pytest.MonkeyPatch
) -> None:
    usual = season_plan(first.problem, Effort(work=0))
    monkeypatch.setattr(search, "LOST", -1.0)
    blocks = counted(monkeypatch, "_decide_weeks")
    plan = season_plan(first.problem, Effort(work=0))
    assert len(blocks) >= 8
    assert violations(first.problem, plan) == []
    assert gap(first.problem, plan.value, usual.bound) < 0.1
