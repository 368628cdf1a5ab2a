"""The book as CSV files, one for each kind of entry, and back; the way there and back is exact."""

import csv
import io
import os
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from hashlib import sha256
from pathlib import Path

from planner.book.entries import KINDS, Entry, Recorded, entry_or_faults
from planner.book.rows import Incoming, in_utc
from planner.book.store import Book
from planner.book.troubles import told
from planner.errors import InputError
from planner.sheets import LARGEST_FILE_MB, Line, read_lines, shown

_FIRST = ("number", "written_at", "on", "who")
_LAST = ("note", "corrects")
_MOST_OCTETS = (LARGEST_FILE_MB - 1) * 1_000_000  # of one file, so that it can be read again
_HIGHEST = 1_000_000_000
_FORMULA_SIGNS = ("=", "+", "-", "@")  # a spreadsheet would reckon with a text that begins so
_QUOTE = "'"


def write_csv(book: Book, folder: Path) -> tuple[Path, ...]:
    """Write all that was ever entered to `folder`, a file for each kind; return the files.

    A text that a spreadsheet would take for a formula has a `'` in front. A kind with more rows
    than are read from one file goes on in `KIND-2.csv` and so on.

    Raises
    ------
    BookError
        The book cannot be read or the files cannot be written.
    """
    everything = book.everything()
    with told(folder):
        folder.mkdir(parents=True, exist_ok=True)
    written = list[Path]()
    for kind in KINDS:
        texts = _tables(kind, (line for line in everything if line.entry.kind == kind))
        for part, text in enumerate(texts, start=1):
            path = folder / (f"{kind}.csv" if part == 1 else f"{kind}-{part}.csv")
            with told(path):
                _write(path, text)
            written.append(path)
    return tuple(written)


def read_csv(book: Book, folder: Path, *, today: date, now: datetime) -> int:
    """Enter what the files that `write_csv` made hold; return how many entries were new.

    Rows with a number keep it. A row without one, as a grower adds it, is entered after them, once
    for each time that it stands in the files, however often they are read. A blank `written_at` is
    `now`.

    Raises
    ------
    InputError
        There is no such file in the folder, or a row is wrong; names file and line of every fault.
        Nothing was entered.
    BookError
        The book cannot be written to.
    """
    faults, incoming, unread = list[str](), list[Incoming](), set[int]()
    files = [(kind, path) for kind in KINDS for path in _files(folder, kind)]
    if not files:
        names = ", ".join(f"{kind}.csv" for kind in KINDS)
        raise InputError([f"{folder}: there is no table of a book; looked for {names}"])
    seen = dict[str, int]()
    for kind, path in files:
        try:
            lines = [*read_lines(path, _columns(kind), _needed(kind), faults)]
        except InputError as fault:
            faults.extend(fault.faults)
            continue
        for line in lines:
            row, number, wrong = _incoming(kind, line, seen, today=today, now=now)
            faults.extend(f"{line.where}: {fault}" for fault in wrong)
            if row is not None:
                incoming.append(row)
            elif number is not None:
                unread.add(number)
    return book.take_over(incoming, faults=faults, unread=unread)


def _incoming(
    kind: str, line: Line, seen: dict[str, int], *, today: date, now: datetime
) -> tuple[Incoming | None, int | None, list[str]]:
    """Return what a row holds, or None; its number, when that could be read; its faults."""
    cells = {name: _plain(text) for name, text in line.cells.items() if text}
    number_text, written_text = cells.pop("number", ""), cells.pop("written_at", "")
    entry, wrong = entry_or_faults(kind, cells, today=today)
    faults = list(wrong)
    number = _number(number_text)
    if number_text and number is None:
        faults.append(
            f'number is "{shown(number_text)}"; give a whole number from 1 to {_HIGHEST:,}, or '
            "leave it blank for a new entry"
        )
    written_at = _moment(written_text) if written_text else in_utc(now)
    if written_at is None:
        faults.append(
            f'written_at is "{shown(written_text)}"; give a time with its zone, such as '
            "2027-03-01T08:30:00+00:00, or leave it blank"
        )
    if faults or entry is None or written_at is None:
        return None, number, faults
    row = Incoming(
        number=number,
        written_at=written_at,
        entry=entry,
        where=line.where,
        key=None if number is not None else _key(entry, seen),
    )
    return row, number, faults


def _number(text: str) -> int | None:
    number = (
        int(text) if text.isascii() and text.isdecimal() and len(text) <= len("1000000000") else 0
    )
    return number if 1 <= number <= _HIGHEST else None


def _moment(text: str) -> datetime | None:
    try:
        return in_utc(datetime.fromisoformat(text))
    except (ValueError, OverflowError):
        return None


def _key(entry: Entry, seen: dict[str, int]) -> str:
    """Name a row without a number by what it says, and how often that was said before."""
    digest = sha256(f"{entry.kind}\n{entry.model_dump_json()}".encode()).hexdigest()
    seen[digest] = seen.get(digest, 0) + 1
    return f"csv/{digest}/{seen[digest]}"


def _columns(kind: str) -> tuple[str, ...]:
    fields = KINDS[kind].model_fields
    own = [name for name in fields if name not in {*_FIRST, *_LAST, "kind"}]
    return (*_FIRST, *own, *_LAST)


def _needed(kind: str) -> tuple[str, ...]:
    return tuple(name for name, field in KINDS[kind].model_fields.items() if field.is_required())


def _files(folder: Path, kind: str) -> Iterator[Path]:
    path, part = folder / f"{kind}.csv", 1
    while path.exists():
        yield path
        part += 1
        path = folder / f"{kind}-{part}.csv"


def _tables(kind: str, lines: Iterable[Recorded]) -> Iterator[str]:
    """Yield the text of each file of a kind; at least one, with the header alone."""
    columns = _columns(kind)
    header = _csv_line(columns)
    rows, octets = [header], len(header)
    for line in lines:
        cells: Mapping[str, object] = {
            **dict(line.entry),
            "number": line.number,
            "written_at": line.written_at.isoformat(),
        }
        row = _csv_line([_cell(cells[name]) for name in columns])
        size = len(row.encode())
        if octets + size > _MOST_OCTETS:
            yield "".join(rows)
            rows, octets = [header], len(header)
        rows.append(row)
        octets += size
    yield "".join(rows)


def _csv_line(cells: Iterable[str]) -> str:
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerow(cells)
    return text.getvalue()


def _cell(value: object) -> str:
    if value is None or value is False:
        return ""
    if value is True:
        return "yes"
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    if isinstance(value, str) and value.startswith((*_FORMULA_SIGNS, _QUOTE)):
        return _QUOTE + value
    return str(value)


def _plain(cell: str) -> str:
    guarded = cell.startswith(_QUOTE) and cell[1:].startswith((*_FORMULA_SIGNS, _QUOTE))
    return cell[1:] if guarded else cell


def _write(path: Path, text: str) -> None:
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_text(text, "utf-8", newline="")
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)
