"""Whatever a farm folder holds, planning ends in a plan that keeps its rules, or in sentences.

And what is written is whole: after an error the output folder is as it was before.
"""

import errno
import json
import os
import re
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest.mock import patch

import numpy as np
from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st

from planner import farmfile, planning, problem
from planner.errors import ImpossiblePlanError, InputError, PlannerError
from planner.season.rows import SeasonRows
from planner.season.search import Effort
from planner.season.solvers import Limits, Solver, solve
from tests import planchecks
from tests.farms import FILES, write_small_farm
from tests.fuzzfarms import FarmFolder, farm_folders
from tests.test_farmfuzz import CHANGES, MORE_FILES, Change

LEAST = Effort(work=0)
LARGE_PAGE = 300_000  # signs; a house of thousands of places, too slow to parse here
TOO_LONG_WEEKS = 12  # a mutated horizon of years is for other tests
EARLIER = {"plan.html": b"<p>last week's plan</p>", "plan.json": b"{}", "tables/jobs.csv": b"a\n"}
SHORT = """\
[rules]
horizon_weeks = 5
tail_weeks = 1

[nursery]
"""


def contents(folder: Path) -> dict[str, bytes]:
    """Return all that lies in a folder, empty folders too."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else b""
        for path in folder.rglob("*")
    }


@contextmanager
def disk_full_after(files: int | None) -> Iterator[None]:
    """Let the disk take so many files and no more; None for all."""
    left = [files]
    keep = os.fsync

    def full(file: int) -> None:
        if left[0] == 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        if left[0] is not None:
            left[0] -= 1
        keep(file)

    with patch.object(os, "fsync", full):
        yield


def ending(
    folder: Path, *, today: date, asked: date | None, earlier: bool, full_after: int | None
) -> str:
    """Plan a folder and write the plan; return how it ends, once all is found to be in order."""
    with TemporaryDirectory() as outer:
        house, out = Path(outer), Path(outer) / "plan"
        if earlier:
            planning.write(EARLIER, out)
        before = contents(house)
        try:
            with disk_full_after(full_after):
                bundle = planning.make_plan(folder, today=today, plan_date=asked, effort=LEAST)
                planning.write(bundle.files, out)
        except PlannerError as error:
            assert contents(house) == before
            return told(error, folder, today, asked)
        assert full_after is None or full_after >= len(bundle.files)
        written = {name: text for name, text in contents(out).items() if (out / name).is_file()}
        assert written == bundle.files
        assert {path.name for path in house.iterdir()} == {"plan"}
    page = bundle.files["plan.html"].decode()
    document = json.loads(bundle.files["plan.json"])
    assert document["violations"] == []
    assert (
        planchecks.faults(
            document,
            bundle.files["tasks.ics"],
            page if len(page) < LARGE_PAGE else None,
            crops=bundle.problem.crops,
            species=bundle.problem.fish,
        )
        == []
    )
    return "plan with batches" if document["batches"] else "plan"


def told(error: PlannerError, folder: Path, today: date, asked: date | None) -> str:
    """Return the kind of an error, once its sentences are found to be worth reading."""
    if isinstance(error, InputError):
        assert error.faults
        assert len(set(error.faults)) == len(error.faults)
        assert all(re.match(r"[a-z.]+\.(toml|csv)\b", fault) for fault in error.faults)
        return "faults"
    if isinstance(error, ImpossiblePlanError):
        assert re.match(r'No plan keeps these rules together: "\w', str(error))
        assert impossible(folder, today, asked)
        return "impossible"
    assert re.search("cannot be written .*[Nn]o space left", str(error)), str(error)
    return "disk full"


def impossible(folder: Path, today: date, asked: date | None) -> bool:
    """Whether another solver finds no plan either, whatever it would be worth."""
    inputs = farmfile.read_farm(folder)
    made_on = planning.plan_date_of(inputs, asked, today)
    season = problem.build(inputs.farm, inputs.crops, inputs.fish, inputs.station, made_on)
    model = SeasonRows(season).model
    worthless = replace(model, worth=np.zeros(model.columns))
    return solve(worthless, solver=Solver.SCIP, limits=Limits(nodes=1000)).infeasible


FULL_AFTER = st.none() | st.none() | st.none() | st.integers(0, 14)
CALM = settings(
    deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
)


def test_any_drawn_farm_ends_in_a_plan_or_in_sentences(tmp_path: Path) -> None:
    ends: Counter[str] = Counter()

    @settings(CALM, max_examples=400)
    @given(farm=farm_folders(), earlier=st.booleans(), full_after=FULL_AFTER)
    def plan(farm: FarmFolder, earlier: bool, full_after: int | None) -> None:
        for name in FILES:
            (tmp_path / name).unlink(missing_ok=True)
        for name, text in farm.files.items():
            note(f"--- {name}\n{text}")
            (tmp_path / name).write_text(text, encoding="utf-8")
        end = ending(
            tmp_path, today=farm.today, asked=farm.asked, earlier=earlier, full_after=full_after
        )
        ends[end] += 1

    plan()
    assert ends["plan with batches"] > 100, ends
    assert ends["faults"] < 120, ends
    assert min(ends["plan"], ends["faults"], ends["impossible"], ends["disk full"]) > 0, ends


def test_any_broken_farm_ends_in_a_plan_or_in_sentences(tmp_path: Path) -> None:
    ends: Counter[str] = Counter()
    short = {"[nursery]\n": SHORT, 'climate = "duluth_mn"': 'climate = "here.csv"'}

    @settings(CALM, max_examples=250)
    @given(
        changes=st.lists(
            st.tuples(st.sampled_from([*FILES, *MORE_FILES]), CHANGES), min_size=1, max_size=2
        ),
        asked=st.none() | st.dates(date(2027, 2, 26), date(2027, 5, 1)),
        earlier=st.booleans(),
        full_after=FULL_AFTER,
    )
    def plan(
        changes: list[tuple[str, Change]],
        asked: date | None,
        earlier: bool,
        full_after: int | None,
    ) -> None:
        write_small_farm(tmp_path, farm_toml=short)
        for name, text in MORE_FILES.items():
            (tmp_path / name).write_text(text)
        for name, change in changes:
            path = tmp_path / name
            path.write_bytes(change(path.read_bytes()))
        for name in dict.fromkeys(name for name, _ in changes):
            note(f"--- {name}\n{(tmp_path / name).read_bytes()!r}")
        if is_long(tmp_path):
            return
        end = ending(
            tmp_path,
            today=date(2027, 3, 1),
            asked=asked,
            earlier=earlier,
            full_after=full_after,
        )
        ends[end] += 1

    plan()
    assert ends["plan with batches"] > 50, ends
    assert ends["faults"] > 50, ends


def is_long(folder: Path) -> bool:
    """Whether a mutated farm is in order, but plans so many weeks that it takes long."""
    try:
        return farmfile.read_farm(folder).farm.rules.horizon_weeks > TOO_LONG_WEEKS
    except InputError:
        return False
