"""A plan after a plan: what was done stays, what happened counts, nothing is lost on the way."""

import html
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping
from contextlib import suppress
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import icalendar
import pytest
from click.testing import Result
from typer.testing import CliRunner

from planner import history, writing
from planner.book import BookError, Done, Loss, Skipped, WaterTest, Weigh, open_book
from planner.cli import app
from planner.document import ChangesDoc, CohortDoc, PlaceDoc, PlanDoc
from planner.layout import PROMISED_WEEKS
from planner.planning import Bundle
from tests.shortfarm import (
    MONDAY,
    coming,
    content,
    copied,
    kept,
    planned,
    record,
    start_of,
    write_short_farm,
    written,
)

ROOT = Path(__file__).resolve().parent.parent
SOWING = "lettuce_butterhead-27w12-1a"  # the first sowing of the first plan, on 2 March
OTHER = "lettuce_butterhead-27w12-1b"  # another of that day
NEXT = MONDAY + timedelta(weeks=1)


def day(month: int, number: int) -> date:
    return date(2027, month, number)


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Bundle]:
    """The farm with its first plan kept and written."""
    folder = write_short_farm(tmp_path_factory.mktemp("replanning") / "farm")
    bundle = written(folder)
    sown = {batch["id"]: batch["sow"] for batch in coming(bundle.document)}
    assert sown[SOWING] == sown[OTHER] == "2027-03-02"
    return folder, bundle


@pytest.fixture
def farm(first: tuple[Path, Bundle], tmp_path: Path) -> Path:
    """A copy of the farm with its first plan."""
    return copied(first[0], tmp_path / "farm")


def changes_of(document: PlanDoc) -> ChangesDoc:
    found = document["changes"]
    assert found is not None
    return found


def house(document: PlanDoc) -> dict[str, dict[str, Any]]:
    return {row["id"]: row for row in document["house"]["standing"]}


def jobs_of(bundle: Bundle, id: str) -> list[tuple[str, date]]:
    return [(line.step, job.day) for job in bundle.jobs for line in job.lines if line.batch == id]


def parts_of(document: PlanDoc, origin: str) -> int:
    return sum(row["parts"] for row in document["batches"] if row["origin"] == origin)


def fish_of(document: PlanDoc, tank: str) -> CohortDoc:
    return next(row for row in document["cohorts"] if row["tank"] == tank and row["at_hand"])


def run(*args: object) -> Result:
    return CliRunner().invoke(app, [str(arg) for arg in args])


def test_a_sowing_that_was_done_stands_in_the_house_and_is_not_sown_again(
    farm: Path, first: tuple[Path, Bundle]
) -> None:
    record(farm, day(3, 4), Done(on=day(3, 4), step="sow", batch=SOWING, planned_on=day(3, 2)))
    bundle = planned(farm, NEXT)
    parts = next(row["parts"] for row in first[1].document["batches"] if row["id"] == SOWING)
    row = house(bundle.document)[SOWING]
    assert (row["sow"], row["parts"]) == ("2027-03-04", parts), "on the day that was recorded"
    assert parts_of(bundle.document, SOWING) == parts
    batches = [row for row in bundle.document["batches"] if row["origin"] == SOWING]
    assert {batch["state"] for batch in batches} == {"sown"}
    assert {step for batch in batches for step, _ in jobs_of(bundle, batch["id"])} >= {"set out"}
    assert not [1 for batch in batches for step, _ in jobs_of(bundle, batch["id"]) if step == "sow"]
    assert all(batch["sow"] >= NEXT.isoformat() for batch in coming(bundle.document))
    taken_as_done = " ".join(bundle.document["warnings"])
    assert "27w12-1b" in taken_as_done, "the other sowing of the day has no record"
    assert "27w12-1a" not in taken_as_done
    assert any("27w12-1a" in text for text in bundle.document["happened"]), "it was late"


def test_a_sowing_that_was_not_done_is_not_in_the_house(farm: Path) -> None:
    skipped = Skipped(
        on=day(3, 2), step="sow", batch=SOWING, planned_on=day(3, 2), cause="no seed left"
    )
    record(farm, day(3, 2), skipped)
    document = planned(farm, NEXT).document
    assert SOWING not in house(document)
    assert OTHER in house(document), "it is taken as done"
    assert parts_of(document, SOWING) == 0
    assert any("not sown on Tue 2 Mar (no seed left)" in text for text in document["happened"])
    assert any(
        "fewer in the week of Mon 22 Mar" in i["text"] for i in changes_of(document)["items"]
    )


def test_a_lost_batch_gives_nothing_and_is_cleared(farm: Path, first: tuple[Path, Bundle]) -> None:
    before = next(row for row in first[1].document["batches"] if row["id"] == "G1")
    assert sum(week["kg"] for week in before["harvest"]) > 1
    record(farm, day(3, 9), Loss(on=day(3, 9), batch="G1", cause="root rot"))
    today = day(3, 10)
    bundle = kept(farm, today)
    (lost,) = [row for row in bundle.document["batches"] if row["origin"] == "G1"]
    assert sum(week["kg"] for week in lost["harvest"]) == 0
    assert jobs_of(bundle, lost["id"]) == [("clear", today)]
    assert house(bundle.document)["G1"]["finished"] is True
    assert "butterhead lettuce G1: lost on Tue 9 Mar (root rot)" in bundle.document["happened"]
    record(farm, today, Done(on=today, step="clear", batch="G1", planned_on=today))
    after = planned(farm, day(3, 11))
    assert "G1" not in house(after.document)
    assert jobs_of(after, "G1") == []


def test_a_weighing_moves_the_fish_of_the_plan(farm: Path) -> None:
    before = fish_of(planned(farm, NEXT).document, "fish tank 1")["weeks"][0]["mean_g"]
    assert before < 345
    record(farm, NEXT, Weigh(on=NEXT, tank="fish tank 1", mean_g=400.0, sampled=10))
    document = planned(farm, NEXT).document
    (row,) = [row for row in document["house"]["cohorts"] if row["tank"] == "fish tank 1"]
    assert row["mean_weight"] == 400.0
    assert row["count"] == 34
    weighed = fish_of(document, "fish tank 1")["weeks"]
    assert weighed[0]["mean_g"] >= 400
    assert weighed[0]["mean_g"] - before == pytest.approx(400 - 329, abs=15)
    assert any("fish tank 1" in text and "400 g" in text for text in document["happened"])


def test_a_weighing_of_some_days_ago_is_carried_on_to_the_plan_date(farm: Path) -> None:
    record(farm, day(3, 4), Weigh(on=day(3, 4), tank="fish tank 1", mean_g=400.0))
    (row,) = planned(farm, NEXT).document["house"]["cohorts"]
    assert 402 < row["mean_weight"] < 420, "four days of growth"


def test_nitrate_as_tested_is_where_the_plan_begins(farm: Path) -> None:
    record(farm, NEXT, WaterTest(on=NEXT, nitrate_n_mg_l=22.0))
    document = planned(farm, NEXT).document
    assert document["house"]["nitrate_n_mg_l"] == 22.0
    assert document["water"]["nitrate_n_start_mg_l"] == 22.0
    assert document["weeks"][0]["nitrate_n_mg_l"] == pytest.approx(22, abs=3)
    assert any("nitrate-N 22 mg/L on Mon 8 Mar" in text for text in document["happened"])
    record(farm, NEXT, WaterTest(on=NEXT, ph=6.9))
    assert planned(farm, NEXT).document["house"]["nitrate_n_mg_l"] == 22.0, "not tested again"


def after_a_mishap(folder: Path, toml: Mapping[str, str]) -> tuple[Bundle, Bundle]:
    """A plan, and the one of a week later: a tray was lost, and more lettuce is ordered."""
    write_short_farm(folder, toml=toml)
    before = kept(folder)
    sunday = NEXT - timedelta(days=1)
    record(folder, sunday, Loss(on=sunday, batch=OTHER, cause="snails"))
    orders = folder / "orders.csv"
    orders.write_text(orders.read_text().replace("head,14,", "head,18,"))
    return before, planned(folder, NEXT)


@pytest.fixture(scope="module")
def mishaps(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Bundle, Bundle]]:
    """The mishap where changes are free, where they are dear, and where five weeks are frozen."""
    part, fish = "change_part = 5.0", "change_fish = 0.5"
    prices = {
        "free": {part: "change_part = 0", fish: "change_fish = 0"},
        "usual": {part: part},
        "dear": {part: "change_part = 60", fish: "change_fish = 5"},
        "frozen": {"freeze_weeks = 1": "freeze_weeks = 5"},
    }
    folder = tmp_path_factory.mktemp("mishaps")
    return {name: after_a_mishap(folder / name, toml) for name, toml in prices.items()}


def test_the_dearer_changes_are_the_fewer_starts_change(
    mishaps: dict[str, tuple[Bundle, Bundle]],
) -> None:
    changed = {name: changes_of(now.document) for name, (_, now) in mishaps.items()}
    moved = {name: found["moved"] for name, found in changed.items()}
    assert moved["dear"] <= moved["usual"] <= moved["free"]
    assert moved["dear"] < moved["free"], "the mishap gives something to change"
    assert changed["free"]["cost"] == 0
    assert changed["dear"]["kept"] > changed["free"]["kept"]


def starts(document: PlanDoc, first_day: date, end: date) -> dict[tuple[str, str, date], int]:
    """Parts by crop, zone and day of setting out, of what is sown from a day on."""
    found: dict[tuple[str, str, date], int] = {}
    for batch in document["batches"]:
        if batch["origin"] is None and first_day <= date.fromisoformat(batch["sow"]) < end:
            key = (batch["crop"], batch["zone"], start_of(batch))
            found[key] = found.get(key, 0) + batch["parts"]
    return found


def test_sowings_in_frozen_weeks_stay_when_nothing_forces_them(
    mishaps: dict[str, tuple[Bundle, Bundle]],
) -> None:
    def given_up(name: str) -> list[tuple[str, str, date]]:
        before, now = mishaps[name]
        was = starts(before.document, NEXT, NEXT + timedelta(weeks=5))
        is_now = starts(now.document, NEXT, NEXT + timedelta(weeks=5))
        assert len(was) > 2
        return [key for key, parts in was.items() if is_now.get(key, 0) < parts]

    assert given_up("frozen") == []
    assert given_up("free"), "else this proves nothing"


def places_of(document: PlanDoc, until: date) -> dict[tuple[str, str, str, int], list[PlaceDoc]]:
    """Places of the sowings to come, by crop, zone, day of setting out and parts, where unique."""
    found: dict[tuple[str, str, str, int], list[list[PlaceDoc]]] = defaultdict(list)
    for row in document["batches"]:
        set_out = row["transplant"] or row["sow"]
        if NEXT.isoformat() <= set_out < until.isoformat():
            found[row["crop"], row["zone"], set_out, row["parts"]].append(row["places"])
    return {key: places[0] for key, places in found.items() if len(places) == 1}


def test_what_is_set_out_soon_stands_where_the_plan_in_force_has_it(
    farm: Path, first: tuple[Path, Bundle]
) -> None:
    cleared = [row for row in first[1].document["batches"] if row["state"] == "growing"]
    lost = [Loss(on=day(3, 5), batch=row["id"], cause="frost") for row in cleared]
    record(farm, day(3, 5), *lost)
    soon = NEXT + timedelta(weeks=PROMISED_WEEKS)
    was, is_now = places_of(first[1].document, soon), places_of(planned(farm, NEXT).document, soon)
    same = was.keys() & is_now.keys()
    assert len(same) > 2
    assert {key: is_now[key] for key in same} == {key: was[key] for key in same}


def test_what_happened_and_changed_stands_on_the_page_and_the_terminal(farm: Path) -> None:
    record(farm, day(3, 7), Loss(on=day(3, 7), batch=OTHER, cause="snails"))
    orders = farm / "orders.csv"
    orders.write_text(orders.read_text().replace("head,14,", "head,18,"))
    result = run("plan", farm, "--from", NEXT, "--work", 0)
    assert result.exit_code == 0, result.output
    document = json.loads((farm / "plan" / "plan.json").read_text())
    happened, changed = document["happened"], changes_of(document)
    assert happened == ["butterhead lettuce 27w12-1b: lost on Sun 7 Mar (snails)"]
    assert len(changed["items"]) > 2
    page = html.unescape((farm / "plan" / "plan.html").read_text())
    for text in (*happened, *(item["text"] for item in changed["items"])):
        assert text in page
    lines = result.stdout.splitlines()
    assert f"happened: {happened[0]}" in lines
    assert [line for line in lines if line.startswith("changed: ")] == [
        f"changed: {item['text']}" for item in changed["items"]
    ]
    counted = f"{changed['kept']} starts kept, {changed['moved']} changed against the plan of"
    assert any(line.startswith(f"{counted} 2027-03-01, charged ") for line in lines)


def test_every_plan_is_kept_in_the_book(farm: Path, first: tuple[Path, Bundle]) -> None:
    record(farm, NEXT, Weigh(on=NEXT, tank="fish tank 1", mean_g=333.0))
    second = kept(farm, NEXT)
    third = kept(farm, day(3, 15))
    with open_book(farm / "book.db") as book:
        plans = book.plans()
        highest = book.highest()
    assert [plan.made_on for plan in plans] == [MONDAY, NEXT, day(3, 15)]
    for plan, bundle in zip(plans, (first[1], second, third), strict=True):
        assert plan.text.encode() == bundle.files["plan.json"]
    assert [json.loads(plan.text)["book_entries"] for plan in plans] == [0, highest, highest]
    assert changes_of(third.document)["before"] == NEXT.isoformat()
    assert changes_of(third.document)["moved"] <= 2, "nothing happened in between"


Stamps = tuple[int, datetime]


def events_of(feed: bytes) -> dict[str, tuple[dict[str, str], Stamps]]:
    """What each event says and its stamps, by UID."""
    found = {}
    for event in icalendar.Calendar.from_ical(feed).walk("VEVENT"):
        stamps = (int(event.get("SEQUENCE", 0)), event.decoded("DTSTAMP"))
        said = {
            name: value.to_ical().decode() if hasattr(value, "to_ical") else str(value)
            for name, value in event.property_items(recursive=False)
            if name not in {"BEGIN", "END", "SEQUENCE", "DTSTAMP", "LAST-MODIFIED", "CREATED"}
        }
        found[str(event["UID"])] = (said, stamps)
    return found


def test_an_event_keeps_its_stamps_until_what_it_says_changes(
    farm: Path, first: tuple[Path, Bundle]
) -> None:
    record(farm, day(3, 9), Loss(on=day(3, 9), batch="G1", cause="root rot"))
    second = kept(farm, day(3, 10))
    third = kept(farm, day(3, 17))
    same = changed = 0
    stamps: dict[str, Stamps] = {}
    for earlier, later in ((first[1], second), (second, third)):
        before, after = events_of(earlier.files["tasks.ics"]), events_of(later.files["tasks.ics"])
        for uid in {*before} & {*after}:
            (was, old), (is_now, new) = before[uid], after[uid]
            if was == is_now:
                assert new == old, was["SUMMARY"]
                same += 1
            else:
                assert new[0] == old[0] + 1, was["SUMMARY"]
                assert new[1] > old[1], was["SUMMARY"]
                changed += 1
        for uid in {*after} - {*before} - {*stamps}:
            assert after[uid][1][0] == 0, "an event that is new"
        stamps |= {uid: found[1] for uid, found in (before | after).items()}
    assert same > 5
    assert changed > 5


def test_a_plan_of_an_earlier_day_than_the_plan_in_force_says_so(farm: Path) -> None:
    earlier = day(2, 27)
    result = run("plan", farm, "--from", earlier, "--work", 0)
    assert result.exit_code == 0, result.output
    document = json.loads((farm / "plan" / "plan.json").read_text())
    said = "the plan in force was made on 2027-03-01, after 2027-02-27, and is left aside"
    assert any(said in text for text in document["warnings"])
    assert f"note: {said}" in result.stdout
    assert document["changes"] is None
    assert document["made_on"] == earlier.isoformat()


@pytest.mark.parametrize("spoiled", ["a text", "half of it", "pages of it"])
def test_with_a_broken_book_nothing_is_written(farm: Path, spoiled: str) -> None:
    book = farm / "book.db"
    whole = book.read_bytes()
    if spoiled == "a text":
        book.write_text("on Monday we cut the basil\n" * 40)
    elif spoiled == "half of it":
        book.write_bytes(whole[: len(whole) // 2])
    else:
        book.write_bytes(whole[:4096] + b"\xa5" * (len(whole) - 4096))
    before, broken = content(farm / "plan"), book.read_bytes()
    result = run("plan", farm, "--from", NEXT, "--work", 0)
    assert result.exit_code == 1
    assert isinstance(result.exception, SystemExit), "no traceback"
    assert "book.db" in result.stderr
    assert "damaged" in result.stderr or "no book" in result.stderr
    assert content(farm / "plan") == before
    assert book.read_bytes() == broken


@pytest.fixture
def no_writing(monkeypatch: pytest.MonkeyPatch, farm: Path) -> Iterator[None]:
    """The farm's folder may not be written to; who may write everywhere is told so."""
    if os.geteuid() != 0:
        farm.chmod(0o555)
        yield
        farm.chmod(0o755)
        return
    allowed = os.access

    def access(path: Any, mode: int, **more: Any) -> bool:
        return not (mode & os.W_OK and Path(path) == farm) and allowed(path, mode, **more)

    monkeypatch.setattr(writing.os, "access", access)
    yield


@pytest.mark.usefixtures("no_writing")
def test_in_a_folder_that_may_only_be_read_nothing_is_written(farm: Path) -> None:
    before = content(farm)
    result = run("plan", farm, "--from", NEXT, "--work", 0)
    assert result.exit_code == 1
    assert "cannot be written" in result.stderr
    assert str(farm) in result.stderr
    assert "relaxation" not in result.stderr, "it is said before the search"
    assert content(farm) == before


def test_when_the_book_cannot_be_written_the_last_plan_stays(
    farm: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = content(farm / "plan")

    def full(*args: object, **more: object) -> None:
        raise BookError("the disk is full; nothing was entered. Make room and enter it again")

    monkeypatch.setattr(history, "keep", full)
    result = run("plan", farm, "--from", NEXT, "--work", 0)
    assert result.exit_code == 1
    assert "the disk is full" in result.stderr
    assert content(farm / "plan") == before
    assert [path.name for path in farm.iterdir() if path.name.startswith(".")] == []


def spawned(folder: Path) -> "subprocess.Popen[bytes]":
    command = [sys.executable, "-m", "planner", "plan", str(folder), "--from", NEXT.isoformat()]
    return subprocess.Popen(
        [*command, "--work", "0"],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )


def assert_whole(folder: Path, old: dict[str, bytes]) -> bool:
    """Check that the plan's folder is the old one or a whole new one, and the book can be read.

    Returns whether it is the new one.
    """
    with open_book(folder / "book.db") as book:
        book.check()
        plans = book.plans()
    assert 1 <= len(plans) <= 2
    found = content(folder / "plan")
    if found == old:
        return False
    assert {*found} == {*old}
    assert found["plan.json"] == plans[-1].text.encode(), "the plan that the book has in force"
    assert json.loads(found["plan.json"])["made_on"] == NEXT.isoformat()
    assert found["plan.html"].rstrip().endswith(b"</html>")
    assert found["tasks.ics"].endswith(b"END:VCALENDAR\r\n")
    return True


def marks(folder: Path) -> set[tuple[str, int, int]]:
    """What changes when a file of a folder, or the folder, is written or exchanged."""
    found = set()
    for path in (folder, *folder.rglob("*")):
        try:
            state = path.stat()
        except FileNotFoundError:
            continue
        found.add((str(path), state.st_ino, state.st_mtime_ns))
    return found


@pytest.mark.parametrize("when", ["some time", "writing", "well into writing", "written"])
def test_a_plan_that_is_killed_leaves_a_whole_plan_and_a_readable_book(
    first: tuple[Path, Bundle], farm: Path, when: str, request: pytest.FixtureRequest
) -> None:
    """Killed while it reads or searches, while it writes the new files, or right after."""
    old, was = content(farm / "plan"), marks(farm / "plan")
    dice = random.Random(request.node.name)
    with spawned(farm) as process:
        if when == "some time":
            with suppress(subprocess.TimeoutExpired):
                process.wait(dice.uniform(0.5, 3))
        elif when != "written":
            while process.poll() is None and not [*farm.glob(".plan-*")]:
                time.sleep(0.0005)
            time.sleep(dice.uniform(0, 0.01) + (0.03 if when.startswith("well") else 0))
        else:
            while process.poll() is None and marks(farm / "plan") == was:
                time.sleep(0.003)
        process.send_signal(signal.SIGKILL)
        _, said = process.communicate()
    assert process.returncode in (0, -signal.SIGKILL), said
    new = assert_whole(farm, old)
    assert new or when != "written"
    again = written(farm, NEXT)
    assert content(farm / "plan")["plan.json"] == again.files["plan.json"], "it goes on from here"
