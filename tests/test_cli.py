"""The command: what it prints, where faults go, what it exits with, and that it loses no file."""

import ctypes
import json
import os
import re
import shutil
import signal
from collections.abc import Iterator
from datetime import date
from itertools import count
from pathlib import Path
from typing import Any

import pytest
import typer
from click.testing import Result
from typer.testing import CliRunner

from planner import planning, writing
from planner.cli import app
from planner.season.search import Search
from planner.tables import load_crops, load_fish, load_sources
from tests import planchecks

TINY_FARM = """\
name = "Tiny"
crops = ["lettuce_butterhead"]

[site]
latitude = 46.8
longitude = -92.1
timezone = "America/Chicago"
climate = "duluth_mn"

[house]
set_points = 18

[water]
volumes = { tank = 0.5, trough = 0.5 }
temperatures = 22
biofilter_area = 20
nitrate_n = 30
nitrate_tested = 2027-05-03

[[tank]]
name = "tank"
volume = 0.5

[[zone]]
name = "board"
method = "raft"
places = 2
area = 1.44
sites = 28
parts = 4

[nursery]
cells = 100

[labour]
hours_week = 10

[rules]
horizon_weeks = 8
tail_weeks = 4
"""
TINY_ORDERS = """\
line,customer,crop,unit,quantity,first_week,last_week,price
A,table,lettuce_butterhead,head,4,2027-05-03,2028-05-01,2.50
"""
TINY_GROWING = """\
id,crop,zone,places,parts,sow,transplant,as_of
first,lettuce_butterhead,board,1,2,2027-03-16,2027-04-06,2027-05-03
"""
TINY_FISH = """\
tank,species,count,mean_weight,as_of
tank 1,perch_yellow,30,60 g,2027-05-03
"""
FROM = "2027-05-04"  # a Tuesday
WRITTEN = {
    "plan.html", "plan.json", "tasks.ics", "tables/batches.csv", "tables/deliveries.csv",
    "tables/fish.csv", "tables/fish_list.csv", "tables/forecast.csv", "tables/harvest.csv",
    "tables/jobs.csv",
    "tables/orders.csv", "tables/produce.csv", "tables/setting_out.csv", "tables/shopping.csv",
    "tables/sowing.csv", "tables/weeks.csv",
}  # fmt: skip


def run(*args: object) -> Result:
    return CliRunner().invoke(app, [str(arg) for arg in args])


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    """A folder with one crop, one zone and one tank, planned for eight weeks."""
    folder = tmp_path / "tiny farm"
    folder.mkdir()
    (folder / "farm.toml").write_text(TINY_FARM)
    (folder / "orders.csv").write_text(TINY_ORDERS)
    (folder / "growing.csv").write_text(TINY_GROWING)
    (folder / "cohorts.csv").write_text(TINY_FISH)
    return folder


@pytest.fixture(scope="module")
def tiny_files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Files of any plan, to be written."""
    return {"plan.html": b"page", "tasks.ics": b"jobs", "plan.json": b"{}", "tables/jobs.csv": b"a"}


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def commands() -> list[str]:
    return list(typer.main.get_command(app).commands)  # type: ignore[attr-defined]


# Help and wrong usage


@pytest.mark.parametrize("command", ["", *commands()])
def test_every_command_has_help(command: str) -> None:
    result = run(*command.split(), "--help")
    assert result.exit_code == 0
    assert "Usage:" in result.stdout
    assert len(result.stdout.splitlines()) > 5


def test_the_commands_are_these() -> None:
    assert sorted(commands()) == sorted(
        ["init", "check", "plan", "record", "book", "promise", "serve", "review", "tables"]
    )


@pytest.mark.parametrize(
    "args",
    [
        ("nonsense",),
        ("plan",),
        ("init",),
        ("plan", ".", "--from", "soon"),
        ("plan", ".", "--from", "2027-02-30"),
        ("check", ".", "--from", "1066-10-14"),
        ("plan", ".", "--work", "-1"),
        ("plan", ".", "--seed", "x"),
        ("plan", ".", "--seconds", "0"),
        ("plan", ".", "--seconds", "nan"),
        ("tables", "cows"),
    ],
)
def test_wrong_usage_exits_2_and_says_why(args: tuple[str, ...]) -> None:
    result = run(*args)
    assert result.exit_code == 2
    assert "Usage:" in result.stderr
    assert "Traceback" not in result.stderr


# From a starter farm to a plan


def test_a_starter_farm_is_made_checked_and_planned(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    made = run("init", folder)
    assert made.exit_code == 0
    assert str(folder / "farm.toml") in made.stdout.splitlines()
    assert f"sowstock plan {folder}" in made.stdout

    checked = run("check", folder)
    assert (checked.exit_code, checked.stderr) == (0, "")
    assert checked.stdout == "Starter farm: no faults, 0 doubts\n"

    planned = run("plan", folder, "--work", "0")
    assert planned.exit_code == 0
    assert "relaxation" in planned.stderr
    assert f"jobs: {folder / 'plan'}" in planned.stdout
    assert re.search(r"value .*, bound .*, gap .*%, stopped by (work|proven)", planned.stdout)
    files = contents(folder / "plan")
    assert files.keys() == WRITTEN
    document = json.loads(files["plan.json"])
    assert planchecks.faults(document, files["tasks.ics"], files["plan.html"].decode()) == []
    assert date.fromisoformat(document["made_on"]) <= date.today()


def test_a_starter_farm_begun_on_any_weekday_is_sound(tmp_path: Path) -> None:
    """Fish counted and batches seen after the week's Monday are told as they are."""
    from planner import starter
    from planner.season.effort import Effort

    today = date(2027, 6, 19)  # a Saturday
    starter.write(tmp_path, today=today)
    bundle = planning.make_plan(tmp_path, today=today, effort=Effort(work=0))
    document = json.loads(bundle.files["plan.json"])
    assert planchecks.faults(document, bundle.files["tasks.ics"]) == []
    weights = {c["tank"]: c["weeks"][0]["mean_g"] for c in document["cohorts"][:2]}
    assert weights == {"fish tank 1": 140, "fish tank 2": 60}


def test_a_farm_in_use_is_not_overwritten(farm: Path) -> None:
    before = contents(farm)
    result = run("init", farm)
    assert result.exit_code == 1
    assert "not empty" in result.stderr
    assert contents(farm) == before


def test_same_input_gives_the_same_bytes_but_for_the_seconds(farm: Path, tmp_path: Path) -> None:
    found = []
    for name in ("one", "two"):
        same = shutil.copytree(farm, tmp_path / f"farm {name}")
        assert run("plan", same, "--from", FROM, "--out", tmp_path / name).exit_code == 0
        files = contents(tmp_path / name)
        document = json.loads(files.pop("plan.json"))
        assert document["solver"].pop("seconds") > 0
        found.append((files, document))
    assert found[0] == found[1]
    assert found[0][0].keys() == WRITTEN - {"plan.json"}
    assert not (same / "plan").exists()


def test_options_reach_the_plan(farm: Path) -> None:
    result = run("plan", farm, "--from", FROM, "--seed", "7", "--seconds", "60")
    assert result.exit_code == 0
    document = json.loads((farm / "plan" / "plan.json").read_text("utf-8"))
    assert document["made_on"] == FROM
    assert document["horizon"] == {"start": "2027-05-03", "weeks": 8}
    assert document["solver"]["seed"] == 7
    assert planchecks.faults(document, (farm / "plan" / "tasks.ics").read_bytes()) == []


def test_notes_of_the_plan_are_printed(farm: Path) -> None:
    (farm / "growing.csv").write_text(TINY_GROWING.replace("04-06,2027-05-03", "04-06,2027-04-10"))
    result = run("plan", farm, "--from", FROM)
    assert result.exit_code == 0
    assert 'note: growing.csv: batch "first": as_of is 2027-04-10, over 14 days' in result.stdout


def test_names_that_a_plan_would_give_are_not_given_twice(farm: Path) -> None:
    """A grower may have called batches just as the planner would."""
    assert run("plan", farm, "--from", FROM).exit_code == 0
    first = json.loads((farm / "plan" / "plan.json").read_text("utf-8"))
    new = next(row["id"] for row in first["batches"] if row["state"] == "planned")
    (farm / "growing.csv").write_text(
        TINY_GROWING
        + "trays,lettuce_butterhead,board,,4,2027-04-20,,2027-05-03\n"
        + "trays-a,lettuce_butterhead,board,1,1,2027-03-16,2027-04-06,2027-05-03\n"
        + "perch_yellow-27w18,lettuce_butterhead,board,1,1,2027-03-16,2027-04-06,2027-05-03\n"
        + f"{new},lettuce_butterhead,board,2,1,2027-04-01,2027-04-20,2027-05-03\n"
    )
    assert run("plan", farm, "--from", FROM).exit_code == 0
    document = json.loads((farm / "plan" / "plan.json").read_text("utf-8"))
    ids = [row["id"] for row in (*document["batches"], *document["cohorts"])]
    assert len(set(ids)) == len(ids)
    assert {"first", "trays-a", "perch_yellow-27w18", new} <= set(ids)
    assert planchecks.faults(document, (farm / "plan" / "tasks.ics").read_bytes()) == []


# Faults


def test_faults_go_to_standard_error_all_at_once_and_nothing_is_written(farm: Path) -> None:
    text = TINY_FARM.replace("set_points = 18", "set_points = 181").replace("duluth_mn", "dulut_mn")
    (farm / "farm.toml").write_text(text)
    (farm / "orders.csv").write_text(TINY_ORDERS.replace("butterhead", "buterhead"))
    before = contents(farm)
    for command in ("check", "plan"):
        result = run(command, farm)
        assert result.exit_code == 1
        assert result.stdout == ""
        assert "181" in result.stderr
        assert 'did you mean "duluth_mn"?' in result.stderr
        assert "orders.csv line 2" in result.stderr
        assert "Traceback" not in result.stderr
    assert contents(farm) == before


def test_check_counts_doubts(farm: Path) -> None:
    result = run("check", farm, "--from", "2027-06-01")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[-1] == f"Tiny: no faults, {len(lines) - 1} doubts"
    assert len(lines) == 4
    assert all(line.startswith("doubt: ") for line in lines[:-1])


@pytest.mark.parametrize("command", ["check", "plan"])
def test_what_was_counted_after_the_plan_date_is_a_fault(farm: Path, command: str) -> None:
    result = run(command, farm, "--from", "2027-05-02")
    assert result.exit_code == 1
    for words in ('growing.csv: batch "first"', "cohorts.csv: tank 1", "nitrate_tested"):
        assert words in result.stderr


@pytest.mark.parametrize("command", ["check", "plan"])
def test_what_is_no_farm_is_told(tmp_path: Path, command: str) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").write_text("")
    for name, words in (("none", "no such folder"), ("empty", "no farm.toml"), ("file", "a file")):
        result = run(command, tmp_path / name)
        assert result.exit_code == 1
        assert words in result.stderr
        assert result.stdout == ""
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty", "file"]


def test_a_search_that_is_cut_too_short_asks_for_more_time(
    farm: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It must not say that no plan is possible."""
    monkeypatch.setattr("planner.season.effort.Clock.over", True)
    monkeypatch.setattr("planner.season.search.SMALL_WHOLE", 0)
    monkeypatch.setattr("planner.season.search.Search._take", lambda *_: False)
    result = run("plan", farm, "--from", FROM, "--seconds", "1")
    assert result.exit_code == 1
    assert "more time" in result.stderr
    assert not (farm / "plan").exists()


def test_an_interrupt_keeps_the_best_plan_and_marks_it(
    farm: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first Ctrl-C comes after the first plan, before its rounds of improvement."""
    monkeypatch.setattr("planner.season.search.SMALL_WHOLE", 0)
    asks = iter([2])

    def interrupting(self: Search) -> None:
        os.kill(os.getpid(), signal.SIGINT)
        for _ in asks:
            usual(self)

    usual = Search._improve
    monkeypatch.setattr(Search, "_improve", interrupting)
    handler = signal.getsignal(signal.SIGINT)
    result = run("plan", farm, "--from", FROM, "--work", "50")
    assert result.exit_code == 0
    assert "Ctrl-C again" in result.stderr
    assert "stopped by interrupt" in result.stdout
    assert json.loads((farm / "plan" / "plan.json").read_text())["solver"]["work"] <= 1
    assert "the search was ended by hand" in (farm / "plan" / "plan.html").read_text()
    assert signal.getsignal(signal.SIGINT) is handler


@pytest.mark.parametrize("times", [1, 2])
def test_an_interrupt_before_the_first_plan_writes_nothing(
    farm: Path, monkeypatch: pytest.MonkeyPatch, times: int
) -> None:
    monkeypatch.setattr("planner.season.search.SMALL_WHOLE", 0)
    usual = Search._decide_in_turn

    def interrupted(self: Search, relaxed: Any) -> None:
        for _ in range(times):
            os.kill(os.getpid(), signal.SIGINT)
        usual(self, relaxed)

    monkeypatch.setattr(Search, "_decide_in_turn", interrupted)
    result = run("plan", farm, "--from", FROM)
    assert result.exit_code == 1
    assert "nothing was written" in result.stderr
    assert not (farm / "plan").exists()


# Writing


def test_a_plan_is_replaced_whole(tmp_path: Path, tiny_files: dict[str, bytes]) -> None:
    out = tmp_path / "plan"
    writing.write({**tiny_files, "tables/old.csv": b"b"}, out)
    writing.write(tiny_files, out)
    assert contents(out) == tiny_files
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


@pytest.mark.parametrize("number", [1, 2, 4])
@pytest.mark.parametrize("fault", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_stop_half_way_leaves_the_last_plan_whole(
    farm: Path, monkeypatch: pytest.MonkeyPatch, number: int, fault: BaseException
) -> None:
    plan = farm / "plan"
    (plan / "tables").mkdir(parents=True)
    (plan / "plan.html").write_text("the last one")
    (plan / "tables" / "jobs.csv").write_text("date")
    before = contents(farm)
    calls, usual = count(1), Path.open

    def failing(self: Path, mode: str = "r", *args: Any, **named: Any) -> Any:
        if mode == "wb" and next(calls) == number:
            raise fault
        return usual(self, mode, *args, **named)

    monkeypatch.setattr(Path, "open", failing)
    result = run("plan", farm, "--from", FROM)
    assert result.exit_code == 1
    assert (
        "No space left" if isinstance(fault, OSError) else "nothing was written"
    ) in result.stderr
    assert contents(farm) == before
    assert {path.name for path in farm.iterdir()} == {p.partition("/")[0] for p in before}


class _OtherSystem:
    """A C library without the call that exchanges two names."""

    def __init__(self, name: object) -> None:
        pass


@pytest.mark.parametrize("fails", [False, True])
def test_where_names_cannot_be_exchanged_the_last_plan_is_put_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tiny_files: dict[str, bytes], fails: bool
) -> None:
    out = tmp_path / "plan"
    writing.write({"plan.html": b"old"}, out)
    monkeypatch.setattr(ctypes, "CDLL", _OtherSystem)
    usual = Path.rename

    def failing(self: Path, target: Path) -> Path:
        if fails and target == out and not self.name.endswith("-old"):
            raise OSError(5, "Input/output error")
        return usual(self, target)

    monkeypatch.setattr(Path, "rename", failing)
    if fails:
        with pytest.raises(writing.PlannerError, match="Input/output"):
            writing.write(tiny_files, out)
    else:
        writing.write(tiny_files, out)
    assert contents(out) == ({"plan.html": b"old"} if fails else tiny_files)
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


def test_a_plan_behind_a_link_is_written_where_the_link_leads(
    tmp_path: Path, tiny_files: dict[str, bytes]
) -> None:
    (tmp_path / "there").mkdir()
    (tmp_path / "plan").symlink_to(tmp_path / "there")
    writing.write(tiny_files, tmp_path / "plan")
    writing.write(tiny_files, tmp_path / "plan")
    assert (tmp_path / "plan").is_symlink()
    assert contents(tmp_path / "there") == tiny_files
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plan", "there"]


@pytest.mark.parametrize("name", ["notes.txt", "tables/notes.txt", "photos/fish.jpg", "tables/x/y"])
def test_a_folder_with_something_else_in_it_is_not_replaced(
    farm: Path, tmp_path: Path, name: str
) -> None:
    out = tmp_path / "out"
    (out / name).parent.mkdir(parents=True)
    (out / name).write_text("mine")
    result = run("plan", farm, "--from", FROM, "--out", out)
    assert result.exit_code == 1
    assert str(Path(name).parts[0]) in result.stderr
    assert "relaxation" not in result.stderr  # told before the search
    assert contents(out) == {name: b"mine"}


def test_the_farm_itself_is_not_replaced_by_its_plan(farm: Path) -> None:
    before = contents(farm)
    result = run("plan", farm, "--from", FROM, "--out", farm)
    assert result.exit_code == 1
    assert "would be lost" in result.stderr
    assert contents(farm) == before


def test_a_file_in_the_way_is_left_alone(farm: Path, tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_text("mine")
    for out in (path, path / "plan"):
        result = run("plan", farm, "--from", FROM, "--out", out)
        assert result.exit_code == 1
        assert str(out) in result.stderr
    assert path.read_text() == "mine"


@pytest.fixture
def locked(tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "locked"
    folder.mkdir(mode=0o555)
    yield folder
    folder.chmod(0o755)


def test_a_folder_that_may_not_be_written_is_told_before_the_search(
    farm: Path, locked: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if os.geteuid() == 0:  # root may write anywhere
        monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != locked)
    result = run("plan", farm, "--from", FROM, "--out", locked / "plan")
    assert result.exit_code == 1
    assert "may write to" in result.stderr
    assert "relaxation" not in result.stderr
    assert list(locked.iterdir()) == []


# Tables


@pytest.mark.parametrize(("what", "table"), [("crops", load_crops()), ("fish", load_fish())])
def test_tables_show_every_row_and_what_its_sources_are(what: str, table: dict[str, Any]) -> None:
    result = run("tables", what)
    assert result.exit_code == 0
    rows, _, sources = result.stdout.partition("Sources (what was read of them)\n")
    assert [line.partition(":")[0] for line in rows.splitlines() if line[:1].strip()] == [*table]
    told = {line.split(":")[0].strip() for line in sources.splitlines()}
    used = {key for row in table.values() for key in row.sources.split(";")}
    assert told == used
    known = load_sources()
    assert all(known[key].citation in sources for key in used)
    for row in table.values():
        body = rows.partition(f"{row.id}: ")[2].partition("\n\n")[0]
        assert row.sources in body
        memory = row.from_memory.removeprefix("from memory: ")
        assert f"From memory: {memory}" in body or not memory


def test_tables_tell_the_figures_of_a_row() -> None:
    crop = run("tables").stdout.partition("lettuce_butterhead: ")[2].partition("\n\n")[0]
    for words in (
        "butterhead lettuce (Lactuca sativa, Asteraceae)",
        "21 in the nursery, ripe 30 after setting out; cut once, stands 7 more",
        "best 15 to 22, grows 7 to 26, base 4, bolts above 24",
        "target 17 mol/m² a day, least 8",
        "bed 20 a m², possible (",
        "raft 24 a m², good; tower 1 a slot, good",
        "0.25 kg a plant, 8 % lost, sold 0.25 kg a head; keeps 7 days at 1 °C",
        "0.64 g a plant",
    ):
        assert words in crop
    fish = run("tables", "fish").stdout.partition("perch_yellow: ")[2].partition("\n\n")[0]
    for words in ("best 21 to 24", "0.45 (0.35 to 0.55)", "at most 15 kg/m³", "Law: Native"):
        assert words in fish


def test_tables_show_a_farms_own_rows(farm: Path) -> None:
    (farm / "crops.csv").write_text("id,days_to_harvest\nlettuce_butterhead,33\n")
    result = run("tables", "--farm", farm)
    assert "ripe 33 after setting out" in result.stdout
    assert "OWN: The grower's own records" in result.stdout
    (farm / "crops.csv").write_text("id,days_to_harvest\nlettuce_butterhead,many\n")
    assert (
        run("tables", "--farm", farm).exit_code,
        run("tables", "fish", "--farm", farm).exit_code,
    ) == (1, 0)
    assert run("tables", "--farm", farm / "none").exit_code == 1
