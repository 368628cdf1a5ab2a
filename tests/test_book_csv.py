"""The book goes to CSV files and back without a loss; rows added by hand are entered once."""

import tempfile
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.book import KINDS, Book, BookError, Entry, Note, Void, open_book, read_csv, write_csv
from planner.book import sheets as booksheets
from planner.errors import InputError
from planner.quantities import LAST_DAY
from tests.books import DAY, ENTRIES, NOW, ONE_OF_EACH

LATER = NOW + timedelta(hours=5)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    """A book with one entry of each kind, a correction of a correction and a void."""
    with open_book(tmp_path / "book.db", create=True) as book:
        book.record(ONE_OF_EACH, now=NOW)
        note = Note(on=DAY, text="the pump sings", corrects=len(ONE_OF_EACH))
        (number,) = book.record([note], now=LATER)
        book.record([note.model_copy(update={"corrects": number})], now=LATER)
        book.record([Void(on=DAY, corrects=1)], now=LATER, key="once")
        yield book


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Book]:
    with open_book(tmp_path / "other.db", create=True) as book:
        yield book


def back(book: Book, folder: Path, today: date = DAY) -> int:
    return read_csv(book, folder, today=today, now=LATER)


def put(folder: Path, kind: str, *rows: str) -> None:
    folder.mkdir(exist_ok=True)
    (folder / f"{kind}.csv").write_text("\n".join(rows) + "\n", "utf-8")


def told(book: Book, folder: Path) -> list[str]:
    """Faults of a folder; nothing may have been entered."""
    before = book.everything()
    with pytest.raises(InputError) as caught:
        back(book, folder)
    assert book.everything() == before
    return list(caught.value.faults)


def test_there_is_a_file_for_each_kind(book: Book, tmp_path: Path) -> None:
    files = write_csv(book, tmp_path / "csv")
    assert [file.name for file in files] == [f"{kind}.csv" for kind in KINDS]
    assert (tmp_path / "csv" / "harvest.csv").read_text("utf-8") == (
        "number,written_at,on,who,crop,kg,batch,units,unit,lot_code,last,note,corrects\n"
        "3,2027-03-01T08:30:00+00:00,2027-03-01,,lettuce_bibb,3.6,lettuce 2,24,head,,,,\n"
    )


def test_all_comes_back_as_it_was(book: Book, other: Book, tmp_path: Path) -> None:
    write_csv(book, tmp_path / "csv")
    assert back(other, tmp_path / "csv") == len(ONE_OF_EACH) + 3
    assert other.everything() == book.everything()
    assert other.entries() == book.entries()
    other.check()


def test_the_same_book_gives_the_same_files(book: Book, other: Book, tmp_path: Path) -> None:
    first = write_csv(book, tmp_path / "csv")
    back(other, tmp_path / "csv")
    second = write_csv(other, tmp_path / "again")
    assert [file.read_bytes() for file in first] == [file.read_bytes() for file in second]


@settings(max_examples=60, deadline=None)
@given(
    entries=st.lists(ENTRIES, max_size=8),
    times=st.lists(st.datetimes(timezones=st.just(UTC)), min_size=8, max_size=8),
)
def test_any_entries_come_back_as_they_were(entries: list[Entry], times: list[datetime]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder, name) for name in ("a.db", "b.db")]
        with (
            open_book(paths[0], create=True) as book,
            open_book(paths[1], create=True) as other,
        ):
            for entry, now in zip(entries, times, strict=False):
                book.record([entry], now=now)
            write_csv(book, Path(folder, "csv"))
            assert back(other, Path(folder, "csv"), today=LAST_DAY) == len(entries)
            assert other.everything() == book.everything()


def test_what_is_in_the_book_already_is_not_doubled(book: Book, tmp_path: Path) -> None:
    before = book.everything()
    write_csv(book, tmp_path / "csv")
    assert back(book, tmp_path / "csv") == 0
    assert book.everything() == before


def test_an_older_export_is_carried_on(book: Book, other: Book, tmp_path: Path) -> None:
    write_csv(book, tmp_path / "csv")
    back(other, tmp_path / "csv")
    book.record([Note(on=DAY, text="one more")], now=LATER)
    write_csv(book, tmp_path / "csv")
    assert back(other, tmp_path / "csv") == 1
    assert other.everything() == book.everything()


def test_a_large_book_goes_to_several_files(
    book: Book, other: Book, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book.record([Note(on=DAY, text=f"note {n}") for n in range(50)], now=NOW)
    monkeypatch.setattr(booksheets, "_MOST_OCTETS", 500)
    names = [file.name for file in write_csv(book, tmp_path / "csv")]
    assert {"note.csv", "note-2.csv", "note-3.csv"} <= {*names}
    assert all(file.stat().st_size <= 500 for file in (tmp_path / "csv").iterdir())
    back(other, tmp_path / "csv")
    assert other.everything() == book.everything()


def test_no_cell_is_a_formula(book: Book, tmp_path: Path) -> None:
    write_csv(book, tmp_path / "csv")
    text = (tmp_path / "csv" / "feed.csv").read_text("utf-8")
    assert ",'=2+2 was on the bag," in text


def test_rows_without_a_number_are_entered_once(book: Book, tmp_path: Path) -> None:
    folder = tmp_path / "hand"
    rows = ["on,kg,tank", "2027-02-27,5 lb,tank 1", "2027-02-27,5 lb,tank 1", "2027-02-28,2,"]
    put(folder, "feed", *rows)
    last = book.highest()
    assert back(book, folder) == 3
    new = book.entries(after=last)
    assert [recorded.number for recorded in new] == [last + 1, last + 2, last + 3]
    assert {recorded.written_at for recorded in new} == {LATER}
    assert back(book, folder) == 0
    put(folder, "feed", *rows, "2027-02-28,3,")
    assert back(book, folder) == 1
    assert book.highest() == last + 4


def test_rows_with_and_without_a_number_go_together(other: Book, tmp_path: Path) -> None:
    folder = tmp_path / "csv"
    put(folder, "note", "number,on,text,corrects", ",2027-03-01,new,", "2,2027-03-01,b,1")
    put(folder, "feed", "number,on,kg", "1,2027-03-01,3", ",2027-03-01,4")
    assert back(other, folder) == 4
    assert [recorded.entry.kind for recorded in other.everything()] == [
        *("feed", "note", "feed", "note")
    ]


def test_every_fault_is_told_with_file_and_line_and_nothing_is_entered(
    book: Book, tmp_path: Path
) -> None:
    folder = tmp_path / "csv"
    put(
        folder,
        "feed",
        "number,written_at,on,kg,corrects",
        ",,2027-03-01,4,",
        ",,2027-03-02,-4,",
        "x,soon,2027-03-01,4,",
        "2,,2027-03-01,4,",
        "40,,2027-03-01,4,1",
        "41,,2027-03-01,4,77",
        "42,,2027-03-01,oats,",
        "43,,2027-03-01,4,42",
    )
    put(folder, "note", "on,texts", "2027-03-01,a")
    put(folder, "loss", "number,on,batch", "40,2027-03-01,a")
    assert told(book, folder) == [
        'feed.csv line 3: kg is "-4"; give a number above 0, at most 100,000 kg',
        "feed.csv line 3: on is 2027-03-02; give the day it happened, not after today, 2027-03-01",
        'feed.csv line 4: number is "x"; give a whole number from 1 to 1,000,000,000, or leave it '
        "blank for a new entry",
        'feed.csv line 4: written_at is "soon"; give a time with its zone, such as '
        "2027-03-01T08:30:00+00:00, or leave it blank",
        'feed.csv line 8: kg is "oats"; give a number above 0, at most 100,000 kg, or a text such '
        'as "12 kg"',
        'note.csv line 1: column "texts" is not known; did you mean "text"?',
        "note.csv line 1: column text is missing; it is needed",
        "feed.csv line 5: number 2 is another entry in the book",
        "feed.csv line 6: number 40 stands in loss.csv line 2 too",
        "feed.csv line 7: corrects is 77; there is no such entry, the newest is 40",
    ]


def test_a_row_that_would_go_before_the_newest_is_told(other: Book, tmp_path: Path) -> None:
    folder = tmp_path / "csv"
    put(folder, "feed", "number,on,kg", "5,2027-03-01,3")
    back(other, folder)
    put(folder, "feed", "number,on,kg", "4,2027-03-01,3", "5,2027-03-01,3")
    assert told(other, folder) == [
        "feed.csv line 2: number 4 is not in the book, which goes up to 5 already; leave the "
        "number blank to enter it after those"
    ]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\xff\xfe", "is not UTF-8"),
        (b"", "is empty"),
        (b'on,kg\n2027-03-01,"3', "is no CSV"),
        (b"on;kg\n2027-03-01;3\n", "found no commas"),
    ],
)
def test_a_file_that_is_no_table_is_told(
    other: Book, tmp_path: Path, content: bytes, said: str
) -> None:
    (tmp_path / "feed.csv").write_bytes(content)
    put(tmp_path, "note", "on,text", "2027-03-01,")
    found = told(other, tmp_path)
    assert any(fault.startswith("feed.csv") and said in fault for fault in found)
    assert any(fault.startswith("note.csv line 2: text is missing") for fault in found)


def test_a_folder_without_tables_is_told(other: Book, tmp_path: Path) -> None:
    (fault,) = told(other, tmp_path / "nowhere")
    assert "there is no table of a book; looked for done.csv, skipped.csv" in fault


def test_files_that_cannot_be_written_are_told(book: Book, tmp_path: Path) -> None:
    (tmp_path / "csv").write_text("a file, not a folder")
    with pytest.raises(BookError, match=r"csv: .*exists"):
        write_csv(book, tmp_path / "csv")
