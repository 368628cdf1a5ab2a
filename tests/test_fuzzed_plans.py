"""However odd a farm is, planning it ends in a whole plan or in a message, never half written."""

import json
import shutil
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st

from planner.errors import PlannerError
from planner.planning import make_plan, write
from planner.season.search import Effort
from tests import planchecks
from tests.farms import FILES, write_small_farm
from tests.fuzzfarms import FarmFolder, farm_folders
from tests.test_farmfuzz import CHANGES, Change

SMALLEST = Effort(work=0)
MODEST = settings(
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
EARLIER = {"plan.html": b"the earlier page", "plan.json": b"{}"}


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for farms; the earlier plan of each stands in its `plan`."""
    return tmp_path_factory.mktemp("fuzz")


def all_files(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def ends_well(folder: Path, today: date, asked: date | None) -> str:
    """Plan a farm that has an earlier plan; return `plan` or `message` and check what is left."""
    write(EARLIER, folder / "plan")
    before = all_files(folder)
    message = None
    try:
        bundle = make_plan(folder, today=today, plan_date=asked, effort=SMALLEST)
        write(bundle.files, folder / "plan")
    except PlannerError as fault:
        message = str(fault)
    if message is not None:
        assert message.strip()
        assert all_files(folder) == before
        return "message"
    assert {path.name for path in folder.iterdir() if path.name.startswith(".")} == set()
    written = all_files(folder / "plan")
    assert written == dict(bundle.files)
    document = json.loads(written["plan.json"])
    assert document["violations"] == []
    faults = planchecks.faults(
        document,
        written["tasks.ics"],
        crops=bundle.problem.crops,
        species=bundle.problem.fish,
    )
    assert faults == []
    return "plan"


@settings(MODEST, max_examples=380)
@given(case=farm_folders())
def test_odd_farms(place: Path, case: FarmFolder) -> None:
    folder = place / "odd"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, text in case.files.items():
        (folder / name).write_text(text, encoding="utf-8")
        note(f"--- {name}\n{text}")
    note(ends_well(folder, case.today, case.asked))


@settings(MODEST, max_examples=140)
@given(
    changes=st.lists(st.tuples(st.sampled_from(list(FILES)), CHANGES), min_size=1, max_size=2),
    plan_day=st.integers(0, 6),
)
def test_spoilt_farms(place: Path, changes: list[tuple[str, Change]], plan_day: int) -> None:
    folder = place / "spoilt"
    shutil.rmtree(folder, ignore_errors=True)
    write_small_farm(folder)
    with (folder / "farm.toml").open("a", encoding="utf-8") as file:
        file.write("\n[rules]\nhorizon_weeks = 6\ntail_weeks = 2\n")
    for name, change in changes:
        (folder / name).write_bytes(change((folder / name).read_bytes()))
        note(f"--- {name}\n{(folder / name).read_bytes()!r}")
    note(ends_well(folder, date(2027, 3, 1 + plan_day), None))


def test_the_spoilt_farm_is_sound_before_it_is_spoilt(place: Path) -> None:
    """Else the fuzzing would only ever see messages."""
    folder = write_small_farm(place / "sound")
    with (folder / "farm.toml").open("a", encoding="utf-8") as file:
        file.write("\n[rules]\nhorizon_weeks = 6\ntail_weeks = 2\n")
    assert ends_well(folder, date(2027, 3, 1), None) == "plan"
