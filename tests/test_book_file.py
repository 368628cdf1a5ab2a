"""The book's file: marked, append-only for every program, brought up to date, and copied whole."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from planner.book import Book, BookError, open_book
from planner.book.opening import connect
from planner.book.schema import APPLICATION_ID, MIGRATIONS, statements
from tests.books import DAY, LEDGER, NOW, ONE_OF_EACH, note, texts


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "book.db"


@pytest.fixture
def book(path: Path) -> Iterator[Book]:
    with open_book(path, create=True) as book:
        yield book


def sql(path: Path, *statements: str) -> list[Any]:
    """Run statements on the file without the book's help; return the last one's rows."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        return [connection.execute(statement).fetchall() for statement in statements][-1]


@pytest.mark.parametrize("table", ["entries", "plans"])
@pytest.mark.parametrize(
    "statement",
    ["DELETE FROM {t}", "UPDATE {t} SET number = 5", "REPLACE INTO {t} SELECT * FROM {t}"],
)
def test_not_even_other_programs_can_change_what_was_entered(
    path: Path, table: str, statement: str
) -> None:
    with open_book(path, create=True) as book:
        book.record([note("a")], now=NOW)
        book.keep_plan("{}", made_on=DAY, now=NOW, ledger={})
    with pytest.raises(sqlite3.IntegrityError, match="stays"):
        sql(path, statement.format(t=table))
    with open_book(path) as book:
        assert (texts(book), len(book.plans())) == ({1: "a"}, 1)


def test_the_file_is_marked_and_its_tables_are_strict(path: Path) -> None:
    with open_book(path, create=True) as book:
        book.record([note("a")], now=NOW)
    assert sql(path, "PRAGMA application_id") == [(APPLICATION_ID,)]
    assert sql(path, "PRAGMA user_version") == [(len(MIGRATIONS),)]
    assert sql(path, "PRAGMA journal_mode") == [("wal",)]
    tables = sql(path, "PRAGMA table_list")
    strict = {name: strict for schema, name, kind, _, _, strict in tables if kind == "table"}
    assert {name for name in strict if not name.startswith("sqlite_")} == {
        *("entries", "plans", "ledger", "tokens")
    }
    assert all(flag for name, flag in strict.items() if not name.startswith("sqlite_"))


def test_the_connection_waits_and_writes_through(book: Book) -> None:
    asked = ("synchronous", "foreign_keys", "busy_timeout", "recursive_triggers")
    found = [book._connection.execute(f"PRAGMA {name}").fetchone()[0] for name in asked]
    assert found == [2, 1, 10_000, 1]


def test_each_statement_of_a_migration_is_run_by_itself() -> None:
    assert statements("A;\nCREATE TRIGGER t BEGIN\nSELECT 1;\nEND;\n") == [
        "A;",
        "CREATE TRIGGER t BEGIN\nSELECT 1;\nEND;",
    ]
    with pytest.raises(ValueError, match="does not end"):
        statements("A")


def test_a_book_of_an_earlier_version_is_brought_up_to_date(path: Path) -> None:
    with open_book(path, create=True) as book:
        book.record(ONE_OF_EACH, now=NOW)
    later = (*MIGRATIONS, "CREATE TABLE photos (number INTEGER PRIMARY KEY, name TEXT) STRICT;")
    connection, writable = connect(path, create=False, wait_s=1, migrations=later)
    with Book(path, connection, writable=writable) as book:
        assert tuple(recorded.entry for recorded in book.everything()) == ONE_OF_EACH
        assert connection.execute("SELECT count(*) FROM photos").fetchone() == (0,)
        assert connection.execute("PRAGMA user_version").fetchone() == (len(later),)
        book.check()
    with pytest.raises(BookError, match="newer version"):
        open_book(path)


def test_a_migration_that_fails_leaves_the_book_as_it_was(path: Path) -> None:
    with open_book(path, create=True) as book:
        book.record([note("a")], now=NOW)
    broken = (
        *MIGRATIONS,
        "CREATE TABLE photos (name TEXT) STRICT;\nINSERT INTO nowhere VALUES (1);",
    )
    with pytest.raises(BookError):
        connect(path, create=False, wait_s=1, migrations=broken)
    assert sql(path, "SELECT name FROM sqlite_schema WHERE name = 'photos'") == []
    with open_book(path) as book:
        assert texts(book) == {1: "a"}


def test_a_book_that_was_never_finished_is_begun_again(path: Path) -> None:
    sql(path, "PRAGMA journal_mode = WAL")
    with pytest.raises(BookError, match="no book yet"):
        open_book(path)
    with open_book(path, create=True) as book:
        assert book.record([note("a")], now=NOW) == (1,)


# backup


def test_a_backup_is_one_whole_book(book: Book, tmp_path: Path) -> None:
    book.record(ONE_OF_EACH, now=NOW)
    book.keep_plan("{}", made_on=DAY, now=NOW, ledger=LEDGER)
    target = tmp_path / "copy" / "book.db"
    target.parent.mkdir()
    book.backup(target)
    assert [file.name for file in target.parent.iterdir()] == ["book.db"]
    with open_book(target) as copy:
        assert copy.everything() == book.everything()
        assert (copy.plans(), copy.ledger()) == (book.plans(), LEDGER)


def test_a_backup_takes_the_place_of_an_older_one(book: Book, tmp_path: Path) -> None:
    target = tmp_path / "copy.db"
    for n in range(2):
        book.record([note(f"{n}")], now=NOW)
        book.backup(target)
    with open_book(target) as copy:
        assert copy.highest() == 2


def test_a_backup_takes_the_place_of_no_other_file(book: Book, tmp_path: Path) -> None:
    other = tmp_path / "letter.txt"
    other.write_text("dear packer")
    for target, said in [
        (other, "no book"),
        (book.path, "the book itself"),
        (tmp_path, "a folder"),
        (tmp_path / "nowhere" / "copy.db", "no such folder"),
    ]:
        with pytest.raises(BookError, match=said):
            book.backup(target)
    assert other.read_text() == "dear packer"


def test_a_backup_takes_the_place_of_no_book_in_use(book: Book, tmp_path: Path) -> None:
    target = tmp_path / "copy.db"
    with open_book(target, create=True) as used:
        used.record([note("in use")], now=NOW)
        with pytest.raises(BookError, match="in use"):
            book.backup(target)
    with open_book(target) as copy:
        assert texts(copy) == {1: "in use"}
