"""Entries and plans as rows of the book's tables, and what may be entered."""

import json
import sqlite3
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from planner.book.entries import KINDS, Entry, Recorded
from planner.book.troubles import BookError, broken_book

_OWN_COLUMNS = {"kind", "on", "who", "corrects"}  # fields that are not in the content
_ALL_ENTRIES = (
    "SELECT number, written_at, kind, on_day, who, corrects, content FROM entries ORDER BY number"
)
_ALL_PLANS = "SELECT number, made_on, kept_at, content FROM plans"


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPlan:
    """A plan as the book keeps it: `text` is its plan.json; `number` counts the plans from 1."""

    number: int
    made_on: date
    kept_at: datetime
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Incoming:
    """An entry that comes from a table.

    Parameters
    ----------
    number
        Its number in the book it comes from; None for one that was never in a book.
    where
        File and line, for messages.
    key
        Names this row, so that it is entered once; None when its number does so.
    """

    number: int | None
    written_at: datetime
    entry: Entry
    where: str
    key: str | None = None


def recorded_entries(connection: sqlite3.Connection, path: Path) -> Iterator[Recorded]:
    """Yield every entry in order of number; `path` is for messages.

    Raises
    ------
    BookError
        An entry is damaged, or of a kind that only a newer version knows.
    """
    for row in connection.execute(_ALL_ENTRIES):
        yield _recorded(row, path)


def kept_plans(
    connection: sqlite3.Connection, path: Path, *, newest: bool = False
) -> Iterator[KeptPlan]:
    """Yield every plan, oldest first, or only the newest; `path` is for messages."""
    order = " ORDER BY number DESC LIMIT 1" if newest else " ORDER BY number"
    for row in connection.execute(_ALL_PLANS + order):
        yield _kept(row, path)


def insert_entry(connection: sqlite3.Connection, recorded: Recorded, *, key: str | None) -> None:
    """Put one entry in, within the caller's transaction."""
    entry = recorded.entry
    content = entry.model_dump(mode="json", exclude=_OWN_COLUMNS)
    connection.execute(
        "INSERT INTO entries (number, written_at, kind, on_day, who, corrects, content, key)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (
            recorded.number,
            recorded.written_at.isoformat(),
            entry.kind,
            entry.on.isoformat(),
            entry.who,
            entry.corrects,
            json.dumps(content, ensure_ascii=False, sort_keys=True),
            key,
        ),
    )


def insert_plan(
    connection: sqlite3.Connection, text: str, *, made_on: date, kept_at: datetime
) -> int:
    """Put a plan in, within the caller's transaction; return its number."""
    number = connection.execute(
        "INSERT INTO plans (made_on, kept_at, content) VALUES (?, ?, ?)",
        (made_on.isoformat(), kept_at.isoformat(), zlib.compress(text.encode())),
    ).lastrowid
    assert number is not None
    return number


def wrong_correction(connection: sqlite3.Connection, recorded: Recorded) -> str | None:
    """Return why an entry may not correct the one it names, or None when it may."""
    old = recorded.entry.corrects
    if old is None:
        return None
    row = connection.execute("SELECT kind FROM entries WHERE number = ?", (old,)).fetchone()
    if row is None or old >= recorded.number:
        highest = highest_number(connection)
        return f"corrects is {old}; there is no such entry, the newest is {highest}"
    if row[0] == "void":
        return f"corrects is {old}; that only took another entry away, enter that one anew instead"
    later = connection.execute(
        "SELECT number, kind FROM entries WHERE corrects = ?", (old,)
    ).fetchone()
    if later is None:
        return None
    number, kind = later
    if kind == "void":
        return f"corrects is {old}; that entry was taken away by entry {number}, enter it anew"
    return f"corrects is {old}; that entry was replaced by entry {number}, correct that one"


def newcomers(
    connection: sqlite3.Connection, path: Path, incoming: Sequence[Incoming]
) -> tuple[list[str], list[tuple[Incoming, Recorded]]]:
    """Return what is wrong with the numbers of `incoming`, and what of it is not in the book yet.

    The new entries are in order of number; those that had none follow the others.
    """
    here = {recorded.number: recorded.entry for recorded in recorded_entries(connection, path)}
    highest = max(here, default=0)
    faults, new, seen = list[str](), list[tuple[Incoming, Recorded]](), dict[int, str]()
    for row in sorted(incoming, key=lambda row: (row.number is None, row.number or 0)):
        number = row.number
        if number is None:
            if _key_known(connection, row.key):
                continue
            number = max(highest, *seen) + 1 if seen else highest + 1
        elif number in seen:
            faults.append(f"{row.where}: number {number} stands in {seen[number]} too")
            continue
        seen[number] = row.where
        if number in here and here[number] != row.entry:
            faults.append(f"{row.where}: number {number} is another entry in the book")
        elif number not in here and number < highest:
            faults.append(
                f"{row.where}: number {number} is not in the book, which goes up to {highest} "
                "already; leave the number blank to enter it after those"
            )
        elif number not in here:
            new.append((row, Recorded(number=number, written_at=row.written_at, entry=row.entry)))
    return faults, new


def _key_known(connection: sqlite3.Connection, key: str | None) -> bool:
    found = connection.execute("SELECT 1 FROM entries WHERE key = ?", (key,)).fetchone()
    return found is not None


def highest_number(connection: sqlite3.Connection) -> int:
    """Return the highest number of an entry; 0 when there is none."""
    row = connection.execute("SELECT max(number) FROM entries").fetchone()
    return row[0] or 0


def in_utc(now: datetime) -> datetime:
    """Return the same moment in UTC; `ValueError` for one without a time zone."""
    if now.tzinfo is None:
        raise ValueError("give the time with a time zone")
    return now.astimezone(UTC)


def _recorded(row: tuple[Any, ...], path: Path) -> Recorded:
    number, written_at, kind, on_day, who, corrects, content = row
    model = KINDS.get(kind)
    if model is None:
        raise BookError(
            f'{path}: entry {number} is of the kind "{kind}", which this version of the program '
            "does not know; bring the program up to date"
        )
    try:
        fields = {**json.loads(content), "on": on_day, "who": who, "corrects": corrects}
        entry = model.model_validate(fields)
        when = datetime.fromisoformat(written_at)
    except (ValidationError, ValueError, TypeError) as fault:
        raise broken_book(path, f"entry {number} cannot be read") from fault
    return Recorded(number=number, written_at=when, entry=entry)


def _kept(row: tuple[int, str, str, bytes], path: Path) -> KeptPlan:
    number, made_on, kept_at, content = row
    try:
        return KeptPlan(
            number=number,
            made_on=date.fromisoformat(made_on),
            kept_at=datetime.fromisoformat(kept_at),
            text=zlib.decompress(content).decode(),
        )
    except (zlib.error, ValueError) as fault:
        raise broken_book(path, f"plan {number} cannot be read") from fault
