"""The book loses nothing that it acknowledged; a bad file is told and left alone.

`python -m tests.test_book_faults 200` kills a recording process 200 times and prints figures.
"""

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest

from planner.book import Book, BookError, Note, open_book
from planner.book.schema import MIGRATIONS
from tests.books import DAY, NOW, ONE_OF_EACH

ROOT = Path(__file__).resolve().parent.parent
NOBODY = 65534
PAIR = 2  # entries that a child records at once

# Records pairs of notes, from number argv[3] on, argv[4] times; says each pair once it is recorded.
CHILD = """
import os, sys
from datetime import UTC, date, datetime
from pathlib import Path
from planner.book import Note, open_book

path, name, first, times = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
with open_book(path, create=True, wait_s=60) as book:
    os.write(1, b"open\\n")
    for n in range(first, first + times):
        pair = [Note(on=date(2027, 3, 1), who=name, text=f"{n} {half}") for half in "ab"]
        book.record(pair, now=datetime(2027, 3, 1, tzinfo=UTC))
        os.write(1, b"%d\\n" % n)
"""


def recorder(path: Path, name: str, first: int, times: int) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [sys.executable, "-c", CHILD, str(path), name, str(first), str(times)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
    )


def said(book: Book) -> list[tuple[str, str]]:
    """Who wrote and what, of every note."""
    return [
        (recorded.entry.who, recorded.entry.text)
        for recorded in book.everything()
        if isinstance(recorded.entry, Note)
    ]


# processes at once, and killed ones


def test_two_processes_that_record_at_once_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    children = [recorder(path, name, 0, 50) for name in ("grower", "packer")]
    for child in children:
        child.communicate(timeout=120)
        assert child.returncode == 0
    with open_book(path) as book:
        found = said(book)
        assert sorted(found) == sorted(
            (name, f"{n} {half}")
            for name in ("grower", "packer")
            for n in range(50)
            for half in "ab"
        )
        for at in range(0, len(found), PAIR):  # a pair is never torn apart
            assert found[at][1][:-1] == found[at + 1][1][:-1]
        assert [recorded.number for recorded in book.everything()] == list(range(1, 201))
        book.check()


@dataclass(frozen=True, slots=True, kw_only=True)
class Killed:
    """What came of killing a recording process again and again. [-]"""

    kills: int
    acknowledged: int
    found: int
    missing: int
    torn: int  # pairs of which only one entry is there
    unsound: int  # times that the book was not whole
    while_recording: int  # kills that came before the child had ended


def kill_again_and_again(path: Path, times: int, chance: random.Random) -> Killed:
    """Kill a recording process `times` times, each at a random moment, and look at the book."""
    acknowledged, first, unsound, during = set[int](), 0, 0, 0
    for _ in range(times):
        child = recorder(path, "packer", first, 10_000)
        assert child.stdout is not None
        with child.stdout as told:
            wanted = chance.randrange(0, 15)  # sometimes while the book is being made
            for line in told:
                if line != b"open\n":
                    acknowledged.add(int(line))
                if wanted == 0:
                    break
                wanted -= 1
            time.sleep(chance.uniform(0, 0.005))
            during += child.poll() is None
            child.send_signal(signal.SIGKILL)
            acknowledged |= {int(line) for line in told.read().split(b"\n")[:-1] if line != b"open"}
        child.wait()
        first = max(acknowledged, default=first) + 2  # the one under way may be there or not
        try:
            with open_book(path) as book:
                book.check()
        except BookError:
            unsound += 1
    with open_book(path) as book:
        notes = [text for _, text in said(book)]
    whole = {int(text.split()[0]) for text in notes if text.endswith("a")}
    torn = whole ^ {int(text.split()[0]) for text in notes if text.endswith("b")}
    return Killed(
        kills=times,
        acknowledged=len(acknowledged) * PAIR,
        found=len(notes),
        missing=len(acknowledged - whole) * PAIR,
        torn=len(torn),
        unsound=unsound,
        while_recording=during,
    )


@pytest.mark.skipif(os.name != "posix", reason="there is no SIGKILL")
def test_a_killed_process_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    killed = kill_again_and_again(tmp_path / "book.db", 12, random.Random(20270301))
    assert killed.while_recording == 12
    assert killed.acknowledged >= 12
    assert (killed.missing, killed.torn, killed.unsound) == (0, 0, 0)
    # at most the pair under way at each kill was entered and not acknowledged
    assert killed.acknowledged <= killed.found <= killed.acknowledged + 12 * PAIR


def test_a_backup_while_another_process_writes_is_a_whole_book(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    child = recorder(path, "packer", 0, 10_000)
    assert child.stdout is not None
    with child.stdout as told:
        assert told.readline() == b"open\n"
        try:
            with open_book(path) as book:
                for n in range(5):
                    acknowledged = int(told.readline())
                    target = tmp_path / f"copy {n}.db"
                    book.backup(target)
                    with open_book(target) as copy:
                        copy.check()
                        found = [text for _, text in said(copy)]
                    pairs = len(found) // PAIR
                    assert pairs > acknowledged
                    assert found == [f"{n} {half}" for n in range(pairs) for half in "ab"]
                assert child.poll() is None  # it wrote all the while
        finally:
            child.kill()
            child.wait()


def test_a_writer_that_finds_the_book_busy_waits_for_its_turn(tmp_path: Path) -> None:
    with open_book(tmp_path / "book.db", create=True) as book:
        with closing(sqlite3.connect(book.path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            waiting = threading.Thread(target=book.record, args=(ONE_OF_EACH,), kwargs={"now": NOW})
            waiting.start()
            time.sleep(0.2)
            assert waiting.is_alive()
            other.execute("COMMIT")
            waiting.join()
        assert book.highest() == len(ONE_OF_EACH)


def test_a_book_that_stays_busy_is_told_and_can_still_be_read(tmp_path: Path) -> None:
    with open_book(tmp_path / "book.db", create=True, wait_s=0.1) as book:
        book.record([Note(on=DAY, text="before")], now=NOW)
        with closing(sqlite3.connect(book.path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(BookError, match="busy for too long; nothing was entered"):
                book.record([Note(on=DAY, text="lost?")], now=NOW)
            assert said(book) == [("", "before")]
            with open_book(book.path) as reader:  # does not wait for its turn to write
                assert said(reader) == [("", "before")]
                assert reader.writable
        assert book.record([Note(on=DAY, text="after")], now=NOW) == (2,)


# no room, no right to write


def test_a_full_disk_is_told_and_nothing_is_entered(tmp_path: Path) -> None:
    """SQLite gives the same fault for the most pages that it may use as for a full disk."""
    with open_book(tmp_path / "book.db", create=True) as book:
        book.record([Note(on=DAY, text="before")], now=NOW)
        pages = book._connection.execute("PRAGMA page_count").fetchone()[0]
        book._connection.execute(f"PRAGMA max_page_count = {pages}")
        many = [Note(on=DAY, text="x" * 1000)] * 100
        with pytest.raises(BookError, match="the disk is full; nothing was entered"):
            book.record(many, now=NOW)
        with pytest.raises(BookError, match="the disk is full"):
            book.keep_plan(
                random.Random(1).randbytes(50_000).hex(), made_on=DAY, now=NOW, ledger={}
            )
        assert (said(book), book.plans()) == ([("", "before")], ())
        book.check()
        book._connection.execute("PRAGMA max_page_count = 100000")
        assert len(book.record(many, now=NOW)) == 100


@contextmanager
def _files_no_larger_than(octets: int) -> Iterator[None]:
    """Let the system refuse to write beyond `octets` of any file."""
    resource = pytest.importorskip("resource")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (octets, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_disk_that_takes_no_more_is_told_and_nothing_is_entered(tmp_path: Path) -> None:
    path = tmp_path / "book.db"
    with open_book(path, create=True) as book:
        book.record([Note(on=DAY, text="before")], now=NOW)
        log = path.with_name("book.db-wal").stat().st_size
        with _files_no_larger_than(log + 5000):
            with pytest.raises(BookError, match="nothing was entered"):
                book.record([Note(on=DAY, text="x" * 1000)] * 100, now=NOW)
            assert said(book) == [("", "before")]
        assert book.record([Note(on=DAY, text="after")], now=NOW) == (2,)
        with _files_no_larger_than(5000), pytest.raises(BookError, match=r"copy\.db"):
            book.backup(tmp_path / "copy.db")
        assert {file.name for file in tmp_path.iterdir()} == {
            *("book.db", "book.db-wal", "book.db-shm")
        }
        book.check()


@contextmanager
def _as_someone_without_rights() -> Iterator[None]:
    """Act as an ordinary user, whom the system refuses what it would allow to root."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def kept() -> Iterator[Path]:
    """A book in a folder that others may read and enter, but not write to."""
    if os.name != "posix":
        pytest.skip("rights are of another kind here")
    folder = Path(tempfile.mkdtemp())
    with open_book(folder / "book.db", create=True) as book:
        book.record([Note(on=DAY, text="before")], now=NOW)
    (folder / "book.db").chmod(0o444)
    folder.chmod(0o555)
    yield folder / "book.db"
    folder.chmod(0o755)
    shutil.rmtree(folder)


def test_a_book_that_may_not_be_written_to_can_be_read(kept: Path) -> None:
    before = kept.read_bytes()
    with _as_someone_without_rights(), open_book(kept) as book:
        assert not book.writable
        assert said(book) == [("", "before")]
        book.check()
        with pytest.raises(BookError, match="may only be read; nothing was entered"):
            book.record([Note(on=DAY, text="lost?")], now=NOW)
    assert kept.read_bytes() == before
    assert [file.name for file in kept.parent.iterdir()] == ["book.db"]


def test_a_book_of_ones_own_in_a_folder_without_rights_can_be_read(kept: Path) -> None:
    kept.chmod(0o666)
    with _as_someone_without_rights(), open_book(kept) as book:
        assert said(book) == [("", "before")]
        with pytest.raises(BookError, match="may only be read"):
            book.record([Note(on=DAY, text="lost?")], now=NOW)


def test_a_book_that_may_not_be_written_to_in_a_folder_with_rights_can_be_read(kept: Path) -> None:
    kept.parent.chmod(0o777)
    with _as_someone_without_rights(), open_book(kept) as book:
        assert not book.writable
        assert said(book) == [("", "before")]


def test_what_stands_in_the_log_of_a_killed_process_can_be_read_without_rights(kept: Path) -> None:
    kept.parent.chmod(0o755)
    with open_book(kept, create=True) as book:
        book.record([Note(on=DAY, text="in the log")], now=NOW)
        copy = kept.parent / "as if killed"
        shutil.copytree(kept.parent, copy)
    for file in copy.iterdir():
        file.chmod(0o444)
    copy.chmod(0o555)
    with _as_someone_without_rights(), open_book(copy / "book.db") as book:
        assert not book.writable
        assert said(book) == [("", "before"), ("", "in the log")]
    copy.chmod(0o755)
    (copy / "book.db-shm").unlink()
    copy.chmod(0o555)
    with _as_someone_without_rights(), pytest.raises(BookError, match="cannot be opened"):
        open_book(copy / "book.db")  # rather than without its last entry
    copy.chmod(0o755)


def test_a_book_may_not_be_begun_in_a_folder_without_rights(kept: Path) -> None:
    with _as_someone_without_rights(), pytest.raises(BookError, match=r"new\.db: the book cannot"):
        open_book(kept.with_name("new.db"), create=True)
    with (
        _as_someone_without_rights(),
        open_book(kept) as book,
        pytest.raises(BookError, match=r"copy\.db"),
    ):
        book.backup(kept.with_name("copy.db"))
    assert [file.name for file in kept.parent.iterdir()] == ["book.db"]


def test_a_book_that_may_not_even_be_read_is_told(kept: Path) -> None:
    kept.chmod(0o000)
    with _as_someone_without_rights(), pytest.raises(BookError, match="Permission denied"):
        open_book(kept)


def test_an_old_book_that_may_not_be_written_to_is_told(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    later = (*MIGRATIONS, "CREATE TABLE photos (name TEXT) STRICT;")
    monkeypatch.setattr("planner.book.opening.connect.__kwdefaults__", {"migrations": later})
    before = kept.read_bytes()
    with _as_someone_without_rights(), pytest.raises(BookError, match="of an earlier version"):
        open_book(kept)
    assert kept.read_bytes() == before


def main(times: int) -> None:
    """Kill a recording process `times` times and print the figures."""
    began = datetime.now(UTC)
    with tempfile.TemporaryDirectory() as folder:
        killed = kill_again_and_again(Path(folder, "book.db"), times, random.Random())
    took_s = (datetime.now(UTC) - began).total_seconds()
    sound = "all integrity checks ok" if not killed.unsound else f"{killed.unsound} checks FAILED"
    print(
        f"kills {killed.kills} ({killed.while_recording} while it ran), entries acknowledged "
        f"{killed.acknowledged}, found {killed.found}, missing {killed.missing}, pairs torn "
        f"{killed.torn}, {sound}, {took_s:.0f} s"
    )
    sys.exit(bool(killed.missing or killed.torn or killed.unsound))


if __name__ == "__main__":
    main(int(sys.argv[1]))
