"""The command `review`: a farm's book in, a page and tables out, all or none."""

import json
from datetime import date
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner, Result

from planner import terminal, writing
from planner.book import Delivery, Harvest, open_book
from planner.reviewcommand import review
from tests.farms import write_small_farm
from tests.reviews import LETTUCE, NOW, march, plan

app = typer.Typer()
app.command()(review)


@pytest.fixture
def farm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The small farm with a plan in its book, on 18 April 2027."""
    monkeypatch.setattr(terminal, "today", lambda: date(2027, 4, 18))
    folder = write_small_farm(tmp_path / "farm")
    document = plan()
    with open_book(folder / "book.db", create=True) as book:
        made_on = date.fromisoformat(document["made_on"])
        book.keep_plan(json.dumps(document), made_on=made_on, now=NOW, ledger={})
    return folder


@pytest.fixture
def kept(farm: Path) -> Path:
    """The same with a harvest and a delivery."""
    with open_book(farm / "book.db") as book:
        book.record(
            [
                Harvest(on=march(13), crop=LETTUCE, batch="B0001", kg=12.0, last=True),
                Delivery(on=march(13), line="L1", customer="Corner Kitchen", crop=LETTUCE,
                         quantity=24, unit="head"),
            ],
            now=NOW,
        )  # fmt: skip
    return farm


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def names(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_a_review_is_a_page_tables_and_a_few_words(kept: Path) -> None:
    result = run(kept)
    assert result.exit_code == 0, result.output
    assert "Small farm: 2 entries from Wed 3 Mar 2027 to Sun 18 Apr 2027" in result.output
    assert "12 kg of 14 kg planned" in result.output
    written = names(kept / "review")
    assert {"review.html", "tables/batches.csv", "tables/orders.csv"} <= written
    assert "Season review" in (kept / "review" / "review.html").read_text("utf-8")
    again = {name: (kept / "review" / name).read_bytes() for name in written}
    assert run(kept).exit_code == 0
    assert {name: (kept / "review" / name).read_bytes() for name in written} == again


def test_days_and_folder_may_be_given(kept: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    result = run(kept, "--from", "2027-03-10", "--to", "2027-03-31", "--out", out)
    assert result.exit_code == 0, result.output
    assert "from Wed 10 Mar 2027 to Wed 31 Mar 2027" in result.output
    assert "review.html" in names(out)
    assert not (kept / "review").exists()
    assert run(kept, "--from", "soon").exit_code == 2


def test_nothing_recorded_is_told_and_nothing_is_written(farm: Path) -> None:
    result = run(farm)
    assert result.exit_code == 1
    assert "nothing is recorded from 2027-03-03 to 2027-04-18" in result.stderr
    assert "sowstock record FARM" in result.stderr
    assert not (farm / "review").exists()


def test_a_farm_without_a_book_is_told_to_plan_and_record(tmp_path: Path) -> None:
    result = run(write_small_farm(tmp_path / "farm"))
    assert result.exit_code == 1
    assert "sowstock plan FARM" in result.stderr
    assert "sowstock record FARM" in result.stderr


def test_a_folder_with_something_else_is_left_alone(kept: Path) -> None:
    (kept / "review").mkdir()
    (kept / "review" / "plan.html").write_text("mine")
    result = run(kept)
    assert result.exit_code == 1
    assert "plan.html, which is no part of a review" in result.stderr
    assert names(kept / "review") == {"plan.html"}


def test_a_plan_is_not_written_over_a_review(tmp_path: Path) -> None:
    out = tmp_path / "out"
    writing.write({"review.html": b"page"}, out, kind=writing.REVIEW)
    with pytest.raises(writing.PlannerError, match=r"review\.html, which is no part of a plan"):
        writing.write({"plan.html": b"page"}, out)
    assert (out / "review.html").read_bytes() == b"page"


def test_a_stop_half_way_leaves_the_last_review_whole(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run(kept).exit_code == 0
    before = {name: (kept / "review" / name).read_bytes() for name in names(kept / "review")}
    with open_book(kept / "book.db") as book:
        book.record([Harvest(on=march(16), crop=LETTUCE, kg=1.0)], now=NOW)
    usual = Path.open

    def failing(self: Path, mode: str = "r", *args: object, **named: object) -> object:
        if mode == "wb" and self.name == "orders.csv":
            raise OSError(28, "No space left on device")
        return usual(self, mode, *args, **named)  # type: ignore[call-overload]

    monkeypatch.setattr(Path, "open", failing)
    result = run(kept)
    assert result.exit_code == 1
    assert "No space left" in result.stderr
    assert {
        name: (kept / "review" / name).read_bytes() for name in names(kept / "review")
    } == before
    assert not [path for path in kept.iterdir() if path.name.startswith(".review")]
