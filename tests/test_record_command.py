"""The commands `record` and `book`: what they print, what they write, and what they leave alone."""

import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import typer
from click.testing import Result
from typer.testing import CliRunner

from planner import terminal
from planner.book import Done, Harvest, Note, Recorded, Skipped, open_book
from planner.bookcommands import book, record_app
from tests.farms import write_small_farm
from tests.plandocs import small_plan

TODAY = date(2027, 3, 10)
NOW = datetime(2027, 3, 10, 15, 30, tzinfo=UTC)

app = typer.Typer()
app.add_typer(record_app, name="record")
app.command()(book)


@pytest.fixture(autouse=True)
def _day(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(terminal, "today", lambda: TODAY)
    monkeypatch.setattr(terminal, "now", lambda: NOW)


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    """The small farm, without a book."""
    return write_small_farm(tmp_path / "small farm")


@pytest.fixture
def planned(farm: Path) -> Path:
    """The small farm with the small plan in force."""
    with open_book(farm / "book.db", create=True) as opened:
        text = json.dumps(small_plan())
        opened.keep_plan(text, made_on=date(2027, 3, 3), now=NOW, ledger={})
    return farm


def run(*args: object) -> Result:
    return CliRunner().invoke(app, [str(arg) for arg in args])


def record(farm: Path, *args: object) -> Result:
    return run("record", farm, *args)


def entries(farm: Path) -> tuple[Recorded, ...]:
    with open_book(farm / "book.db") as opened:
        return opened.entries()


def test_the_first_record_makes_the_book_and_says_how_to_take_it_back(farm: Path) -> None:
    result = record(farm, "harvest", "g3", "24", "bunches", "--who", "packer")
    assert result.exit_code == 0
    assert result.stdout == (
        "1. Wed 10 Mar 2027: cut 6 kg (24 bunches) of Swiss chard from G3; by packer"
        f" (to take it back: sowstock record '{farm}' undo 1)\n"
    )
    (only,) = entries(farm)
    assert only.number == 1
    assert only.written_at == NOW
    assert only.entry == Harvest(
        on=TODAY, who="packer", crop="swiss_chard", kg=6.0, batch="G3", units=24, unit="bunch"
    )


def test_every_kind_can_be_recorded_in_one_line(farm: Path) -> None:
    lines = [
        ("done", "set", "out", "G1"),
        ("skip", "cut", "G2", "--until", "2027-03-14", "--cause", "too small"),
        ("harvest", "chard", "1", "lb", "4", "oz"),
        ("loss", "G1", "1", "--cause", "rot"),
        ("weigh", "1", "310", "g", "--sampled", "8"),
        ("weigh", "2", "1.8", "kg", "--sampled", "20", "--total"),
        ("deaths", "2", "1"),
        ("fish", "1", "10", "3.1", "kg"),
        ("feed", "400", "g", "--tank", "2"),
        ("water", "--ph", "6.8", "--nitrate-as-no3", "177", "--temperature", "72 degF"),
        ("delivery", "A1", "14", "heads"),
        ("note", "aphids", "on", "the", "kale"),
    ]
    for number, line in enumerate(lines, 1):
        result = record(farm, *line)
        assert result.exit_code == 0, result.output
        assert result.stdout.splitlines()[-1].startswith(f"{number}. ")
    assert record(farm, "undo", 12).stdout == "13. Wed 10 Mar 2027: took entry 12 back\n"
    assert [recorded.entry.kind for recorded in entries(farm)] == [
        "done", "skipped", "harvest", "loss", "weigh", "weigh", "deaths", "fish_harvest", "feed",
        "water_test", "delivery",
    ]  # fmt: skip


def test_every_kind_of_record_has_help(farm: Path) -> None:
    group = typer.main.get_command(record_app)
    commands = group.commands  # type: ignore[attr-defined]
    assert set(commands) == {
        "jobs", "done", "skip", "harvest", "loss", "weigh", "deaths", "fish", "feed", "water",
        "delivery", "note", "undo",
    }  # fmt: skip
    for name, command in commands.items():
        assert command.help
        assert record(farm, name, "--help").exit_code == 0
    assert not (farm / "book.db").exists()


def test_bad_input_writes_nothing_and_lists_every_fault(farm: Path) -> None:
    result = record(farm, "fish", "9", "none", "12", "--on", "2027-03-11")
    assert result.exit_code == 1
    assert result.stdout == ""
    found = result.stderr.splitlines()
    assert len(found) == 4
    assert 'tank is "9"; there is no such tank; there are "fish tank 1", "fish tank 2"' in found
    assert not (farm / "book.db").exists()


def test_a_farm_with_faults_takes_no_record(farm: Path) -> None:
    (farm / "orders.csv").write_text("line,customer\nA1,x\n")
    result = record(farm, "note", "x")
    assert result.exit_code == 1
    assert "orders.csv" in result.stderr
    assert not (farm / "book.db").exists()


def test_doubts_are_printed_and_the_record_is_kept(farm: Path) -> None:
    result = record(farm, "water", "--ph", "4.2", "--nitrate", "250")
    assert result.exit_code == 0
    first, second, last = result.stdout.splitlines()
    assert first.startswith("doubt: pH 4.2 is under 5")
    assert second.startswith("doubt: nitrate-N of 250 mg/L is over 200")
    assert last.startswith("1. ")
    assert len(entries(farm)) == 1


def test_jobs_are_listed_with_numbers_by_which_they_are_done(planned: Path) -> None:
    listed = record(planned, "jobs").stdout.splitlines()
    numbers = {int(line.split()[0]): line for line in listed if line.startswith("  ")}
    cut = next(number for number, line in numbers.items() if "Cut all: butterhead" in line)
    sow = next(number for number, line in numbers.items() if "Sow salad radish" in line)
    result = record(planned, "done", cut, f"{sow},")
    assert result.exit_code == 0, result.output
    first, second = (recorded.entry for recorded in entries(planned))
    assert first == Done(on=TODAY, step="cut", batch="B0001", planned_on=date(2027, 3, 11))
    assert isinstance(second, Done)
    assert (second.step, second.batch) == ("sow", "B0007")
    after = record(planned, "jobs").stdout.splitlines()
    marked = {int(line.split()[0]): line for line in after if line.startswith("  ")}
    assert marked.keys() == numbers.keys()
    assert "✓ done" in marked[cut]
    assert "✓ done" in marked[sow]
    assert "✓" not in "".join(listed)


def test_jobs_keep_their_numbers_and_old_ones_without_record_stay(
    planned: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = record(planned, "jobs").stdout
    listed = before.splitlines()
    number = next(int(line.split()[0]) for line in listed if "Cut all: butterhead" in line)
    monkeypatch.setattr(terminal, "today", lambda: date(2027, 3, 16))
    later = record(planned, "jobs").stdout
    assert f"{number:6}  Cut all: butterhead" in later  # last week's, with no record
    assert record(planned, "done", number).exit_code == 0
    assert f"{number:6}  " not in record(planned, "jobs").stdout


def test_jobs_not_done_are_marked_with_their_new_day(planned: Path) -> None:
    listed = record(planned, "jobs").stdout.splitlines()
    number = next(int(line.split()[0]) for line in listed if "Cut all: butterhead" in line)
    record(planned, "skip", number, "--until", "2027-03-15")
    (only,) = entries(planned)
    assert only.entry == Skipped(
        on=TODAY, step="cut", batch="B0001", planned_on=date(2027, 3, 11), until=date(2027, 3, 15)
    )
    assert "not done, now planned Mon 15 Mar" in record(planned, "jobs").stdout


def test_an_order_of_fish_is_a_job_like_any_other(planned: Path) -> None:
    listed = record(planned, "jobs").stdout.splitlines()
    number = next(int(line.split()[0]) for line in listed if "Order 50 Nile tilapia" in line)
    assert record(planned, "skip", "order", "C03", "--until", "2027-03-22").exit_code == 0
    assert f"{number:6}  not done, now planned Mon 22 Mar: Order" in record(planned, "jobs").stdout
    assert record(planned, "done", number, "--count", "45").exit_code == 0
    assert entries(planned)[-1].entry == Done(
        on=TODAY, step="order", batch="C03", planned_on=date(2027, 3, 18), count=45,
        tank="fish tank 1",
    )  # fmt: skip
    after = record(planned, "jobs").stdout
    assert f"{number:6}  ✓ done, really 45 fish, on Wed 10 Mar: Order 50" in after
    assert record(planned, "done", "order", "C03", "--count", "48").exit_code == 0
    assert "C03 ordered, 48 fish" in record(planned, "done", "order", "C03", "--count", "48").stdout


def test_unknown_job_numbers_write_nothing(planned: Path) -> None:
    result = record(planned, "done", 1, 9998, 9999)
    assert result.exit_code == 1
    assert result.stderr.count("there is no job") == 2
    assert entries(planned) == ()


def test_jobs_need_a_plan(farm: Path) -> None:
    for words in (("jobs",), ("done", "3")):
        result = record(farm, *words)
        assert result.exit_code == 1
        assert "there is no plan in force yet; run: sowstock plan" in result.stderr


def test_a_correction_replaces_and_taking_back_works_once(farm: Path) -> None:
    record(farm, "feed", "12", "kg")
    result = record(farm, "feed", "1.2", "kg", "--corrects", "1")
    assert "; replaces 1" in result.stdout
    assert [recorded.number for recorded in entries(farm)] == [2]
    again = record(farm, "feed", "1.3", "kg", "--corrects", "1")
    assert again.exit_code == 1
    assert "replaced by entry 2" in again.stderr
    assert record(farm, "undo", 2).exit_code == 0
    assert entries(farm) == ()
    assert record(farm, "undo", 2).exit_code == 1


def test_taking_back_makes_no_book(farm: Path) -> None:
    result = record(farm, "undo", 1)
    assert result.exit_code == 1
    assert "there is no book yet" in result.stderr
    assert not (farm / "book.db").exists()


def test_the_book_lists_its_last_entries_in_words(farm: Path) -> None:
    with open_book(farm / "book.db", create=True) as opened:
        opened.record([Note(on=TODAY, text=f"number {n}") for n in range(1, 25)], now=NOW)
    lines = run("book", farm).stdout.splitlines()
    assert len(lines) == 20
    assert lines[-1] == "24. Wed 10 Mar 2027: note: number 24"
    assert run("book", farm, "--entries", 2).stdout.splitlines() == lines[-2:]


def test_the_book_is_checked_copied_and_carried_over(farm: Path, tmp_path: Path) -> None:
    record(farm, "feed", "1", "kg")
    record(farm, "note", "x")
    copy, sheets = tmp_path / "copy.db", tmp_path / "sheets"
    result = run("book", farm, "--check", "--csv", sheets, "--backup", copy)
    assert result.exit_code == 0, result.output
    assert "is whole: 2 entries, 0 plans" in result.stdout
    assert f"copied to {copy}" in result.stdout
    with open_book(copy) as opened:
        assert opened.entries() == entries(farm)
    other = write_small_farm(tmp_path / "other")
    first, second = (run("book", other, "--import", sheets) for _ in range(2))
    assert f"entered 2 from {sheets}" in first.stdout
    assert f"entered 0 from {sheets}" in second.stdout
    assert entries(other) == entries(farm)


def test_a_book_that_is_not_there_or_is_none_is_told(farm: Path, tmp_path: Path) -> None:
    missing = run("book", farm)
    assert missing.exit_code == 1
    assert "there is no book yet" in missing.stderr
    nowhere = run("book", tmp_path / "nowhere")
    assert nowhere.exit_code == 1
    assert "give the farm's folder" in nowhere.stderr
    (farm / "book.db").write_text("not a book at all, but a text that is long enough to look at")
    broken = record(farm, "note", "x")
    assert broken.exit_code == 1
    assert (farm / "book.db").read_text().startswith("not a book")
