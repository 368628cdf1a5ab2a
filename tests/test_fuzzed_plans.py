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
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st
from ortools.math_opt.python import mathopt

from planner import farmfile, planning, problem, starting, writing
from planner.errors import ImpossiblePlanError, InputError, PlannerError
from planner.season import solvers
from planner.season.effort import Effort
from planner.season.rows import SeasonRows
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
            writing.write(EARLIER, out)
        before = contents(house)
        try:
            with disk_full_after(full_after):
                bundle = planning.make_plan(folder, today=today, plan_date=asked, effort=LEAST)
                writing.write(bundle.files, out)
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
        assert 1 <= len(re.findall(r'"[a-z ]+"', str(error))) <= 4, str(error)
        assert impossible(folder, today, asked)
        return "impossible"
    assert re.search("cannot be written .*[Nn]o space left", str(error)), str(error)
    return "disk full"


def impossible(folder: Path, today: date, asked: date | None) -> bool:
    """Whether another solver finds no plan either, whatever it would be worth."""
    inputs = farmfile.read_farm(folder)
    made_on = starting.plan_date_of(inputs, asked, today)
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

    @settings(CALM, max_examples=200)
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
    assert ends["plan with batches"] > 50, ends
    assert ends["faults"] < 120, ends
    assert min(ends["plan"], ends["faults"], ends["disk full"]) > 0, ends


def test_any_broken_farm_ends_in_a_plan_or_in_sentences(tmp_path: Path) -> None:
    ends: Counter[str] = Counter()
    short = {"[nursery]\n": SHORT, 'climate = "duluth_mn"': 'climate = "here.csv"'}

    @settings(CALM, max_examples=150)
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
    assert ends["plan with batches"] > 15, ends
    assert ends["faults"] > 30, ends


def is_long(folder: Path) -> bool:
    """Whether a mutated farm is in order, but plans so many weeks that it takes long."""
    try:
        return farmfile.read_farm(folder).farm.rules.horizon_weeks > TOO_LONG_WEEKS
    except InputError:
        return False


# What such farms once brought to light


def short_farm(folder: Path, toml: dict[str, str] | None = None, **lists: str) -> Path:
    """Write the small farm with a horizon of 5 weeks and a tail of 1, and other changes."""
    return write_small_farm(folder, farm_toml={"[nursery]\n": SHORT} | (toml or {}), **lists)


def planned(folder: Path, asked: date | None = None) -> planning.Bundle:
    bundle = planning.make_plan(folder, today=date(2027, 3, 1), plan_date=asked, effort=LEAST)
    document = json.loads(bundle.files["plan.json"])
    assert planchecks.faults(document, bundle.files["tasks.ics"]) == []
    return bundle


def test_trays_that_find_no_room_on_the_plan_date_are_faults(tmp_path: Path) -> None:
    growing = (
        "id,crop,zone,parts,places,sow,transplant,as_of\n"
        "G1,basil_genovese,towers,8,1-4,2027-02-01,2027-03-08,2027-02-26\n"
        "G2,basil_genovese,towers,1,,2027-02-01,2027-03-08,2027-02-26\n"
    )
    farm = short_farm(tmp_path, {"plan_date = 2027-03-01\n": ""}, growing_csv=growing)
    assert planned(farm, date(2027, 3, 5)).document["batches"]
    with pytest.raises(InputError) as found:
        planned(farm, date(2027, 3, 9))
    assert found.value.faults == (
        'growing.csv: zone "towers": the batches set out in it by 2027-03-09 hold 9 parts; it has '
        "8",
        'growing.csv: batch "G1": place "towers 1" would hold 2 parts on 2027-03-09; it has 1 (the '
        "parts of a row are spread evenly over its places); 3 more of its places are overfull",
    )


def test_seedlings_that_will_never_ripen_are_no_hindrance(tmp_path: Path) -> None:
    growing = (
        "crop,zone,parts,sow,transplant,as_of\n"
        "tomato_cherry_indet,north gravel,1,2027-02-15,2027-03-29,2027-02-26\n"
    )
    cold = {"[15, 15, 16, 17, 18, 19, 20, 20, 18, 17, 15, 15]": "2", "transmission = 0.60": ""}
    arctic = "month,tmin_c,tmax_c,ghi_mj_m2_d\n" + "".join(f"{m},-9,-5,1\n" for m in range(1, 13))
    farm = short_farm(
        tmp_path,
        cold | {'climate = "duluth_mn"': 'climate = "here.csv"'},
        growing_csv=growing,
        here_csv=arctic,
    )
    assert "tomato_cherry_indet" not in {b["crop"] for b in planned(farm).document["batches"]}


def test_fish_counted_long_ago_are_followed_for_104_weeks(tmp_path: Path) -> None:
    cohorts = "tank,species,count,mean_weight,as_of\nfish tank 1,tilapia_nile,5,90,2025-03-03\n"
    farm = short_farm(tmp_path, cohorts_csv=cohorts)
    document = planned(farm, date(2027, 3, 1)).document
    (cohort,) = (c for c in document["cohorts"] if c["tank"] == "fish tank 1" and c["taken"])
    assert cohort["weeks"][0]["mean_g"] > 600
    assert any("as_of is 2025-03-03, over 14 days" in text for text in document["warnings"])
    with pytest.raises(InputError, match=r"over 104 weeks before .* count and weigh anew"):
        planned(farm, date(2027, 3, 2))


def test_fish_at_hand_without_a_biofilter_are_planned(tmp_path: Path) -> None:
    document = planned(short_farm(tmp_path, {"area = 400": "area = 0"})).document
    assert document["weeks"][0]["tan_g_day"] > 0
    assert document["weeks"][0]["inherited"]


def test_each_species_has_its_own_limit_in_a_tank_that_holds_one_after_another(
    tmp_path: Path,
) -> None:
    """Densities of the shipped fish table: tilapia 20, koi 5 kg/m3."""
    koi = {
        'species = "tilapia_nile"': 'species = "koi"',
        "lead_weeks = 3": "lead_weeks = 1",
        "price = 1.2": "price = 0",
        "least_count = 30": "least_count = 5",
        "tilapia_nile = 9.0": "tilapia_nile = 9.0\nkoi = 100",
        "[nursery]\n": SHORT.replace("tail_weeks = 1", "tail_weeks = 3"),
    }
    cohorts = "tank,species,count,mean_weight,as_of\n" + "".join(
        f"fish tank {tank},tilapia_nile,28,640,2027-02-26\n" for tank in (1, 2)
    )
    outlets = "outlet,crop,most_per_week,price_kg\nFarm stand,tilapia_nile,60,8\n"
    farm = short_farm(tmp_path, koi, cohorts_csv=cohorts, outlets_csv=outlets)
    document = planned(farm).document
    tanks = {cohort["tank"] for cohort in document["cohorts"] if cohort["species"] == "koi"}
    assert tanks
    limits = {cohort["species"]: cohort["max_kg_m3"] for cohort in document["cohorts"]}
    assert limits == {"tilapia_nile": 20, "koi": 5}


def test_rules_that_only_fractions_keep_are_named_alone(tmp_path: Path) -> None:
    """A place cleared takes 10 minutes; 6 minutes a week would do for half a place."""
    growing = (
        "crop,zone,parts,sow,transplant,as_of\n"
        "lettuce_butterhead,towers,1,2026-12-28,2027-01-18,2027-02-26\n"
    )
    hours = {"hours_week = 20": "hours_week = 0.1"}
    farm = short_farm(tmp_path, hours, growing_csv=growing, cohorts_csv=None)
    with pytest.raises(ImpossiblePlanError) as found:
        planned(farm)
    assert re.findall('"(.*?)"', str(found.value)) == ["hours of work", "batches in the house"]


def test_a_search_that_does_not_better_its_first_plan_keeps_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("planner.season.search.WHOLE_NODES", 1)
    longer = {"horizon_weeks = 5": "horizon_weeks = 12", "tail_weeks = 1": "tail_weeks = 4"}
    rules = SHORT
    for old, new in longer.items():
        rules = rules.replace(old, new)
    solver = planned(short_farm(tmp_path, {"[nursery]\n": rules})).document["solver"]
    assert solver["stopped_by"] == "work"
    assert solver["bound"] >= solver["value"]


def linear_answers(folder: Path) -> list[float]:
    """Return what the relaxation of a farm is worth by the barrier method and by another."""
    inputs = farmfile.read_farm(short_farm(folder))
    season = problem.build(inputs.farm, inputs.crops, inputs.fish, inputs.station, date(2027, 3, 1))
    model = SeasonRows(season).model
    loose = np.zeros(model.columns, dtype=bool)
    methods = (mathopt.LPAlgorithm.BARRIER, None)
    return [solve(model, whole=loose, linear_method=method).worth for method in methods]


def test_a_barrier_method_that_does_not_converge_gives_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(solvers, "MOST_BARRIER_STEPS", 1)
    barrier, other = linear_answers(tmp_path)
    assert barrier == pytest.approx(other, rel=1e-9)


@pytest.mark.parametrize("fault", [RuntimeError, AttributeError])
def test_a_solver_that_contradicts_itself_gives_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: type[Exception]
) -> None:
    """OR-Tools 9.15 reports so with a RuntimeError, or fails at it with an AttributeError."""
    sound = linear_answers(tmp_path)
    run = mathopt.solve

    def stumbles(model: mathopt.Model, kind: mathopt.SolverType, **more: Any) -> Any:
        if kind is mathopt.SolverType.HIGHS:
            raise fault
        return run(model, kind, **more)

    monkeypatch.setattr(mathopt, "solve", stumbles)
    assert linear_answers(tmp_path) == pytest.approx(sound, rel=1e-6)
