"""What repeats: the same farm gives the same plan byte for byte, and a year ends as it began.

The search of the backyard example works on both cores; it is run again beside a busy thread,
with its workers held up at random, so that they meet in another order.
"""

import os
import random
import re
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from planner import writing
from planner.document import PlanDoc
from planner.plan import SeasonPlan
from planner.planning import Bundle, make_plan
from planner.season import steps
from planner.season.effort import Effort
from planner.season.search import SMALL_WHOLE, WORKERS, Search
from planner.season.solvers import Answer, solve
from tests.farms import write_small_farm

BACKYARD = Path(__file__).parents[1] / "examples" / "backyard"
TODAY = date(2027, 3, 1)
EFFORT = Effort(work=2, seed=3)
YEAR_WEEKS = 52
LAST_WEEKS = 8


@contextmanager
def busy_thread() -> Iterator[None]:
    """Keep a thread at work that takes turns with those of the search."""
    over = threading.Event()

    def work() -> None:
        while not over.is_set():
            sum(range(2000))

    thread = threading.Thread(target=work)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def backyard(folder: Path, *, weeks: int) -> Path:
    """The backyard example with another horizon, in a folder of its own."""
    shutil.copytree(BACKYARD, folder, ignore=shutil.ignore_patterns("plan"))
    with (folder / "farm.toml").open("a", encoding="utf-8") as file:
        file.write(f"\n[rules]\nhorizon_weeks = {weeks}\n")
    return folder


def without_seconds(files: dict[str, bytes]) -> dict[str, bytes]:
    """The files with the elapsed time of plan.json taken out, which is nowhere else."""
    text, times = re.subn(rb'"seconds": [0-9.e-]+', b'"seconds": 0', files["plan.json"])
    assert times == 1
    return {**files, "plan.json": text}


def read_files(folder: Path) -> dict[str, bytes]:
    """All files under a folder, by their names in it."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_two_runs_write_the_same_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The decisions and all files of the backyard's half year, but for the time it took."""
    farm = backyard(tmp_path / "farm", weeks=26)
    one = make_plan(farm, today=TODAY, effort=EFFORT)
    assert int(Search(one.problem, EFFORT).model.whole.sum()) > SMALL_WHOLE
    assert one.plan.work == EFFORT.work
    assert WORKERS == 2
    delay, solves = random.Random(11), []

    def held_up(*arguments: Any, **keys: Any) -> Answer:
        time.sleep(delay.uniform(0, 0.05))
        answer = solve(*arguments, **keys)
        solves.append(threading.get_ident())
        return answer

    monkeypatch.setattr(steps, "solve", held_up)
    with busy_thread():
        other = make_plan(farm, today=TODAY, effort=EFFORT)
    assert len(set(solves)) >= 3  # both workers and the thread that calls them
    for field in fields(SeasonPlan):
        if field.name != "seconds":
            np.testing.assert_equal(
                getattr(one.plan, field.name), getattr(other.plan, field.name), field.name
            )
    for name, bundle in (("one", one), ("other", other)):
        writing.write(bundle.files, tmp_path / name)
    files = [without_seconds(read_files(tmp_path / name)) for name in ("one", "other")]
    assert {"plan.html", "tasks.ics", "plan.json", "tables/batches.csv"} <= files[0].keys()
    assert files[0].keys() == files[1].keys()
    assert [name for name in files[0] if files[0][name] != files[1][name]] == []


def test_a_new_process_writes_the_same_bytes(tmp_path: Path) -> None:
    """With another order of sets: the command is run with two hash seeds."""
    farm = write_small_farm(tmp_path / "farm")
    with (farm / "farm.toml").open("a", encoding="utf-8") as file:
        file.write("\n[rules]\nhorizon_weeks = 12\ntail_weeks = 4\n")
    found, same = [], tmp_path / "same farm"
    for seed in ("1", "77"):
        out = tmp_path / seed
        shutil.rmtree(same, ignore_errors=True)
        shutil.copytree(farm, same)
        command = ["plan", str(same), "--work", "1", "--seed", "5", "--out", str(out)]
        subprocess.run(
            [sys.executable, "-m", "planner", *command],
            check=True,
            capture_output=True,
            env=os.environ | {"PYTHONHASHSEED": seed},
            cwd=Path(__file__).parents[1],
        )
        found.append(without_seconds(read_files(out)))
    assert b'"seed": 5' in found[0]["plan.json"]
    assert found[0] == found[1]


@pytest.fixture(scope="module")
def two_years(tmp_path_factory: pytest.TempPathFactory) -> Bundle:
    """The backyard over 104 weeks, its orders of a year given again for those that follow."""
    folder = backyard(tmp_path_factory.mktemp("two") / "backyard", weeks=2 * YEAR_WEEKS)
    head, *rows = (folder / "orders.csv").read_text(encoding="utf-8").splitlines()
    lines = [again for row in rows for again in _each_year(row, head.split(","))]
    (folder / "orders.csv").write_text("\n".join([head, *lines, ""]), encoding="utf-8")
    return make_plan(folder, today=TODAY, effort=Effort(work=0))


def _each_year(row: str, keys: list[str], years: int = 3) -> Iterator[str]:
    """Yield an order line for each year, 52 weeks apart; one that runs all year runs on."""
    line = dict(zip(keys, row.split(","), strict=True))
    first, last = (date.fromisoformat(line[key]) for key in ("first_week", "last_week"))
    if (last - first).days // 7 + 1 >= YEAR_WEEKS:
        whole = line | {"last_week": str(last + timedelta(weeks=YEAR_WEEKS * (years - 1)))}
        yield ",".join(whole.values())
        return
    for year in range(years):
        later = timedelta(weeks=YEAR_WEEKS * year)
        when = {"first_week": str(first + later), "last_week": str(last + later)}
        yield ",".join((line | {"line": f"{line['line']}-{year + 1}"} | when).values())


def _weeks(document: PlanDoc) -> list[date]:
    return [date.fromisoformat(week["week"]) for week in document["weeks"]]


def parts_in_use(document: PlanDoc, zone: str) -> NDArray[np.float64]:
    """Mean parts held in each week. [-]"""
    days = np.zeros(7 * len(document["weeks"]))
    start = _weeks(document)[0]
    for batch in document["batches"]:
        if batch["zone"] == zone:
            held = date.fromisoformat(batch["transplant"] or batch["sow"])
            first = max(0, (held - start).days)
            stop = max(0, (date.fromisoformat(batch["clear"]) - start).days)
            days[first:stop] += batch["parts"]
    return days.reshape(-1, 7).mean(axis=1)


def fish_kg(document: PlanDoc) -> NDArray[np.float64]:
    """Live weight of all fish on each Monday. [kg]"""
    numbers = {str(week): number for number, week in enumerate(_weeks(document))}
    found = np.zeros(len(numbers))
    for cohort in document["cohorts"]:
        for week in cohort["weeks"]:
            found[numbers[week["week"]]] += week["biomass_kg"]
    return found


def feed_kg(document: PlanDoc) -> NDArray[np.float64]:
    """Feed of each week. [kg]"""
    return np.array([week["feed_kg"] for week in document["weeks"]])


def a_year_later(series: NDArray[np.float64]) -> float:
    """Share of the last 8 weeks in the same weeks of the year before. [-]"""
    before = series[-LAST_WEEKS - YEAR_WEEKS : -YEAR_WEEKS]
    return float(series[-LAST_WEEKS:].sum() / before.sum())


def test_the_house_is_not_run_down_at_the_end(two_years: Bundle) -> None:
    """In its last 8 weeks a plan of 104 uses the house as a year before.

    Tolerances are the test's own choice: 25 % on the parts in use of each zone, 35 % on fish and
    feed, which come in few cohorts. The house is full enough in both for that to say something.
    """
    document = two_years.document
    assert len(document["weeks"]) == 2 * YEAR_WEEKS
    found = {}
    for zone in document["zones"]:
        parts = parts_in_use(document, zone["name"])
        assert parts.max() <= zone["places"] * zone["parts"]
        assert parts[-LAST_WEEKS:].mean() > 0.5 * zone["places"] * zone["parts"]
        found[zone["name"]] = a_year_later(parts)
    assert {name: share for name, share in found.items() if not 0.75 <= share <= 1.25} == {}
    for series in (fish_kg(document), feed_kg(document)):
        assert series[-LAST_WEEKS:].min() > 0
        assert a_year_later(series) == pytest.approx(1, abs=0.35)
