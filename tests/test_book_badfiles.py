"""A file that is no book, or no longer a sound one, is told and left as it is."""

import contextlib
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from planner.book import BookError, open_book
from planner.book.schema import MIGRATIONS
from tests.books import DAY, NOW, ONE_OF_EACH


def _text(path: Path) -> None:
    path.write_text("Dear packer, the book is in the other drawer. " * 20)


def _spreadsheet(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE sales (kg REAL)")


def _someone_elses(path: Path) -> None:
    _spreadsheet(path)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA application_id = 77")
        connection.execute("PRAGMA user_version = 1")


def _book(path: Path) -> None:
    with open_book(path, create=True) as book:
        book.record(ONE_OF_EACH, now=NOW)


def _cut_short(path: Path) -> None:
    _book(path)
    path.write_bytes(path.read_bytes()[:60])


def _half(path: Path) -> None:
    _book(path)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])


def _first_page_spoilt(path: Path) -> None:
    _book(path)
    content = bytearray(path.read_bytes())
    content[100:4096] = b"\xaa" * 3996
    path.write_bytes(content)


def _all_tables_spoilt(path: Path) -> None:
    _book(path)
    content = bytearray(path.read_bytes())
    content[4096:] = b"\xaa" * (len(content) - 4096)
    path.write_bytes(content)


def _newer(path: Path) -> None:
    _book(path)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (_text, "no book of this program"),
        (_spreadsheet, "no book of this program"),
        (_someone_elses, "no book of this program"),
        (_cut_short, "damaged"),
        (_half, "damaged"),
        (_first_page_spoilt, "damaged"),
        (_all_tables_spoilt, "damaged"),
        (_newer, "written by a newer version of this program"),
        (Path.mkdir, "is a folder"),
        (Path.touch, "no book yet"),
        (lambda path: None, "no book yet"),
    ],
)
def test_a_bad_file_is_told_and_left_as_it_is(
    tmp_path: Path, make: Callable[[Path], None], message: str
) -> None:
    path = tmp_path / "book.db"
    make(path)
    before = path.read_bytes() if path.is_file() else None
    with pytest.raises(BookError, match=message) as caught, open_book(path) as book:
        book.check()
    assert "book.db" in str(caught.value)
    assert (path.read_bytes() if path.is_file() else None) == before


@pytest.mark.parametrize("make", [_text, _spreadsheet, _someone_elses, _newer, _cut_short])
def test_no_book_is_made_over_another_file(tmp_path: Path, make: Callable[[Path], None]) -> None:
    path = tmp_path / "book.db"
    make(path)
    before = path.read_bytes()
    with pytest.raises(BookError):
        open_book(path, create=True)
    assert path.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["book.db"]


def test_a_newer_version_that_stands_only_in_the_log_is_seen(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    _book(path)
    before = path.read_bytes()
    with closing(sqlite3.connect(path, isolation_level=None)) as newer:
        newer.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
        assert path.read_bytes() == before
        shutil.copytree(tmp_path, tmp_path.with_name("as if killed"))
    path = tmp_path.with_name("as if killed") / "book.db"
    with pytest.raises(BookError, match="newer version"):
        open_book(path)
    assert path.read_bytes() == before


def test_an_entry_that_only_a_newer_version_knows_is_told(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    _book(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as newer:
        newer.execute(
            "INSERT INTO entries (written_at, kind, on_day, who, content)"
            " VALUES ('2027-03-01T08:30:00+00:00', 'photo', '2027-03-01', '', '{}')"
        )
    with open_book(path) as book:
        with pytest.raises(BookError, match='the kind "photo", which this version'):
            book.entries()
        assert book.highest() == len(ONE_OF_EACH) + 1


@pytest.mark.parametrize(
    ("kind", "content"),
    [("feed", "{}"), ("feed", '{"kg": -1}'), ("note", '{"text": "a", "kg": 3}')],
)
def test_an_entry_that_says_nothing_sound_is_told(tmp_path: Path, kind: str, content: str) -> None:
    path = tmp_path / "book.db"
    _book(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute(
            "INSERT INTO entries (written_at, kind, on_day, who, content)"
            " VALUES ('2027-03-01T08:30:00+00:00', ?, '2027-03-01', '', ?)",
            (kind, content),
        )
    with open_book(path) as book, pytest.raises(BookError, match="entry 12 cannot be read"):
        book.check()


def test_a_spoilt_plan_is_told(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with open_book(path, create=True) as book:
        book.keep_plan("{}", made_on=DAY, now=NOW, ledger={})
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute(
            "INSERT INTO plans (made_on, kept_at, content)"
            " SELECT made_on, kept_at, substr(content, 1, 5) FROM plans"
        )
    with open_book(path) as book, pytest.raises(BookError, match="plan 2 cannot be read"):
        book.check()


def test_no_file_is_left_open_after_a_fault(tmp_path: Path) -> None:
    handles = Path("/proc/self/fd")
    if not handles.exists():
        pytest.skip("the system does not tell")
    _newer(tmp_path / "book.db")
    _half(tmp_path / "half.db")
    before = len(list(handles.iterdir()))
    for name in ("book.db", "half.db", "none.db"):
        with contextlib.suppress(BookError), open_book(tmp_path / name) as book:
            book.check()
    assert len(list(handles.iterdir())) == before
