"""The starter farm: complete, commented truly, ready to plan on any day, written whole or not."""

import re
import tomllib
from datetime import date
from itertools import count
from pathlib import Path
from types import UnionType
from typing import Any, get_args, get_origin

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from planner import farmfile, starter
from planner.errors import PlannerError
from planner.farm import CohortAtHand, Farm, Order, Outlet, Standing
from planner.tables import load_stations

TODAY = date(2027, 3, 3)  # a Wednesday


def toml(today: date = TODAY) -> str:
    return starter.rendered(today)["farm.toml"]


def models_in(kind: Any) -> list[type[BaseModel]]:
    """Models that a field's type holds."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return [kind]
    if get_origin(kind) in (tuple, dict, UnionType):
        return [model for part in get_args(kind) for model in models_in(part)]
    return []


def keys_of(model: type[BaseModel]) -> set[str]:
    """Every key that may be written in a model and in what it holds."""
    found = set()
    for name, field in model.model_fields.items():
        found.add(field.alias or name)
        for inner in models_in(field.annotation):
            found |= keys_of(inner)
    return found


def meant(text: str) -> dict[str, Any]:
    """What a farm file says, with what a zone's method says where the zone is silent."""
    farm = Farm.model_validate(tomllib.loads(text))
    zones = [
        zone.model_dump()
        | {
            "light": zone.light_share,
            "sanitation": zone.sanitation_days,
            "trellis": zone.carries_trellis,
        }
        for zone in farm.zones
    ]
    return farm.model_dump() | {"zones": zones}


def test_every_key_and_every_column_is_spoken_of() -> None:
    made_here = {"parts_in", "orders", "outlets", "standing", "cohorts", "doubts", "crop_text"}
    made_here |= {"ordered", "cohort", "mean_g"}  # fish on order come from the plan in force
    wanted = {
        key for model in (Farm, Order, Outlet, Standing, CohortAtHand) for key in keys_of(model)
    }
    assert len(wanted) > 80
    missing = {key for key in wanted - made_here if not re.search(rf"\b{key}\b", toml())}
    assert missing == set()


def test_what_is_commented_out_is_the_default() -> None:
    text = toml()
    bare, lines = re.subn(r"^# (?=[a-z_]+ = )", "", text, flags=re.MULTILINE)
    assert lines > 35
    assert meant(bare) == meant(text)


def test_every_shipped_station_is_named() -> None:
    assert all(f'"{id}"' in toml() for id in load_stations())


def test_every_table_begins_with_a_remark_and_lines_are_not_endless() -> None:
    lines = toml().splitlines()
    sections = [n for n, line in enumerate(lines) if re.match(r"\[+[a-z_]+\]+", line)]
    assert len(sections) >= 13
    for number in sections:
        around = lines[number - 3 : number + 2]
        assert any("#" in line for line in around), lines[number]
    assert max(len(line) for line in lines if not line.startswith("set_points")) <= 160


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(today=st.dates(min_value=date(2024, 1, 1), max_value=date(2040, 12, 31)))
def test_it_is_without_faults_and_doubts_on_any_day(
    tmp_path_factory: pytest.TempPathFactory, today: date
) -> None:
    folder = tmp_path_factory.mktemp("farms") / "new"
    starter.write(folder, today=today)
    inputs = farmfile.read_farm(folder)
    assert farmfile.doubts(inputs, today) == ()
    assert inputs.farm.plan_date is None
    assert inputs.farm.orders
    assert inputs.farm.outlets
    assert inputs.farm.standing
    assert inputs.farm.cohorts


def test_it_writes_the_files_it_names_into_a_new_folder(tmp_path: Path) -> None:
    folder = tmp_path / "a" / "my farm"
    names = starter.write(folder, today=TODAY)
    assert names == tuple(str(folder / name) for name in starter.FILES)
    assert sorted(path.name for path in folder.iterdir()) == sorted(starter.FILES)
    texts = {path.name: path.read_text("utf-8") for path in folder.iterdir()}
    assert texts == starter.rendered(TODAY)


def test_an_empty_folder_will_do(tmp_path: Path) -> None:
    assert len(starter.write(tmp_path, today=TODAY)) == len(starter.FILES)


def test_a_folder_in_use_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(PlannerError, match="not empty"):
        starter.write(tmp_path, today=TODAY)
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_a_file_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "farm"
    path.write_text("mine")
    for folder in (path, path / "below"):
        with pytest.raises(PlannerError, match="farm"):
            starter.write(folder, today=TODAY)
    assert path.read_text() == "mine"


@pytest.mark.parametrize("method", ["open", "rename"])
@pytest.mark.parametrize("there", [True, False])
def test_a_stop_half_way_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, method: str, there: bool
) -> None:
    folder = tmp_path / "a" / "b"
    if there:
        folder.mkdir(parents=True)
    calls, usual = count(1), getattr(Path, method)

    def failing(self: Path, *args: Any, **named: Any) -> Any:
        if folder in self.parents and next(calls) == 3:
            raise OSError(28, "No space left on device")
        return usual(self, *args, **named)

    monkeypatch.setattr(Path, method, failing)
    with pytest.raises(PlannerError, match="No space left"):
        starter.write(folder, today=TODAY)
    assert list(tmp_path.rglob("*")) == ([folder.parent, folder] if there else [])
