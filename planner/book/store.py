"""The open book: what is entered stays, corrections stand beside what they correct."""

import hashlib
import hmac
import sqlite3
import threading
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from planner.book import copies, rows
from planner.book.entries import Entry, Recorded, Void
from planner.book.opening import connect
from planner.book.rows import Incoming, KeptPlan, in_utc
from planner.book.troubles import BookError, broken_book, told
from planner.errors import InputError
from planner.sheets import raise_faults

Ledger = Mapping[str, tuple[str, int, str]]


def open_book(path: Path, *, create: bool = False, wait_s: float = 10.0) -> "Book":
    """Open the book at `path`; use it in a `with` statement, or close it.

    A book that may not be written to can still be read; `writable` tells. An older one is brought
    up to date.

    Parameters
    ----------
    create
        Make the book if there is none.
    wait_s
        How long to wait while another process writes. [s]

    Raises
    ------
    BookError
        There is no book, or the file is none, is damaged, or is of a newer version of the program.
    """
    connection, writable = connect(path, create=create, wait_s=wait_s)
    return Book(path, connection, writable=writable)


class Book:
    """An open book. Any thread may use it; each call is whole by itself.

    Every method raises `BookError` when the file cannot be read or written; nothing is then
    entered.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, *, writable: bool) -> None:
        self.path = path
        self.writable = writable
        self._connection = connection
        self._lock = threading.RLock()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; the book cannot be used after."""
        with self._lock, told(self.path):
            self._connection.close()

    def record(
        self, entries: Sequence[Entry], *, now: datetime, key: str | None = None
    ) -> tuple[int, ...]:
        """Enter all of `entries`, or none, and return their numbers.

        Parameters
        ----------
        now
            When it is written, with a time zone.
        key
            A text that names this sending. When it was sent before, nothing is entered and the
            numbers of then are returned.

        Raises
        ------
        InputError
            An entry corrects one that is not there, or that is itself replaced or taken away.
        """
        with self._writing():
            if key and (known := self._numbers_of(key)):
                return known
            first = rows.highest_number(self._connection) + 1
            new = [
                Recorded(number=first + n, written_at=in_utc(now), entry=entry)
                for n, entry in enumerate(entries)
            ]
            faults = []
            for recorded in new:
                if fault := rows.wrong_correction(self._connection, recorded):
                    faults.append(fault)
                else:
                    rows.insert_entry(self._connection, recorded, key=key or None)
            if faults:
                raise InputError(faults)
            return tuple(recorded.number for recorded in new)

    def take_over(
        self,
        incoming: Sequence[Incoming],
        *,
        faults: Sequence[str] = (),
        unread: Collection[int] = (),
    ) -> int:
        """Enter all that comes from tables, or nothing; return how many entries were new.

        Entries with a number keep it, those without follow. One that is in the book already is
        passed over: the same number and content, or the same key.

        Parameters
        ----------
        faults
            What the reader of the tables found; told together with what is found here.
        unread
            Numbers of entries that it could not read, so that it is no fault to correct them.

        Raises
        ------
        InputError
            A number has another entry here, stands twice or would go before the newest, or a
            correction is of nothing that holds.
        """
        with self._writing():
            found, new = rows.newcomers(self._connection, self.path, incoming)
            found = [*faults, *found]
            missing = set(unread)
            for row, recorded in new:
                if recorded.entry.corrects in missing:
                    missing.add(recorded.number)
                elif fault := rows.wrong_correction(self._connection, recorded):
                    found.append(f"{row.where}: {fault}")
                    missing.add(recorded.number)
                else:
                    rows.insert_entry(self._connection, recorded, key=row.key)
            raise_faults(found)
            return len(new)

    def entries(self, *, after: int = 0) -> tuple[Recorded, ...]:
        """Return what holds, in order of number: nothing that was replaced or taken away.

        A correction stands under its own number. What only takes another entry away is not
        listed. `after` leaves out the numbers up to it.
        """
        everything = self.everything()
        gone = {recorded.entry.corrects for recorded in everything}
        return tuple(
            recorded
            for recorded in everything
            if recorded.number > after
            and recorded.number not in gone
            and not isinstance(recorded.entry, Void)
        )

    def everything(self) -> tuple[Recorded, ...]:
        """Return all that was ever entered, in order of number."""
        with self._reading():
            return tuple(rows.recorded_entries(self._connection, self.path))

    def highest(self) -> int:
        """Return the highest number of an entry; 0 when there is none."""
        with self._reading():
            return rows.highest_number(self._connection)

    def keep_plan(self, text: str, *, made_on: date, now: datetime, ledger: Ledger) -> int:
        """Keep a plan, which is then in force, with its calendar's ledger; return its number."""
        with self._writing():
            self._put_ledger(ledger)
            return rows.insert_plan(self._connection, text, made_on=made_on, kept_at=in_utc(now))

    def plan_in_force(self) -> KeptPlan | None:
        """Return the newest plan, or None."""
        with self._reading():
            found = [*rows.kept_plans(self._connection, self.path, newest=True)]
        return found[0] if found else None

    def plans(self) -> tuple[KeptPlan, ...]:
        """Return every plan kept, oldest first."""
        with self._reading():
            return tuple(rows.kept_plans(self._connection, self.path))

    def ledger(self) -> dict[str, tuple[str, int, str]]:
        """Return the calendar's ledger as it was kept last."""
        with self._reading():
            states = self._connection.execute(
                "SELECT key, digest, sequence, stamp FROM ledger ORDER BY key"
            ).fetchall()
        return {key: (digest, sequence, stamp) for key, digest, sequence, stamp in states}

    def keep_ledger(self, ledger: Ledger) -> None:
        """Put `ledger` in the place of the one before."""
        with self._writing():
            self._put_ledger(ledger)

    def new_token(self, name: str, token: str, *, now: datetime) -> None:
        """Let `token` be the secret called `name` from now on; only its hash is kept."""
        if not name or not token:
            raise ValueError("a token needs a name and a text")
        with self._writing():
            self._connection.execute(
                "INSERT INTO tokens (name, sha256, made_at) VALUES (?, ?, ?) ON CONFLICT (name)"
                " DO UPDATE SET sha256 = excluded.sha256, made_at = excluded.made_at",
                (name, _hash(token), in_utc(now).isoformat()),
            )

    def token_matches(self, name: str, token: str) -> bool:
        """Whether `token` is the secret called `name`; takes no longer for a near miss."""
        with self._reading():
            row = self._connection.execute(
                "SELECT sha256 FROM tokens WHERE name = ?", (name,)
            ).fetchone()
        kept = row[0] if row else ""
        return hmac.compare_digest(kept, _hash(token)) and bool(kept)

    def tokens(self) -> dict[str, datetime]:
        """Return when each secret was made, by its name."""
        with self._reading():
            made = self._connection.execute("SELECT name, made_at FROM tokens ORDER BY name")
            return {name: datetime.fromisoformat(made_at) for name, made_at in made}

    def check(self) -> None:
        """Read all of the book; raise `BookError` if any of it is damaged."""
        with self._reading():
            faults = copies.integrity_faults(self._connection)
            if faults:
                raise broken_book(self.path, "; ".join(faults))
            for _ in rows.recorded_entries(self._connection, self.path):
                pass
            for _ in rows.kept_plans(self._connection, self.path):
                pass

    def backup(self, target: Path) -> None:
        """Write a copy of the whole book to `target`, also while others write; see `copies`."""
        with self._reading():
            copies.backup(self._connection, self.path, target)

    @contextmanager
    def _reading(self) -> Iterator[None]:
        with self._lock, told(self.path):
            yield

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One transaction that holds the book's only pen from its beginning."""
        if not self.writable:
            raise BookError(f"{self.path} may only be read; nothing was entered. Allow writing")
        with self._reading():
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    def _numbers_of(self, key: str) -> tuple[int, ...]:
        numbers = self._connection.execute(
            "SELECT number FROM entries WHERE key = ? ORDER BY number", (key,)
        )
        return tuple(number for (number,) in numbers)

    def _put_ledger(self, ledger: Ledger) -> None:
        self._connection.execute("DELETE FROM ledger")
        self._connection.executemany(
            "INSERT INTO ledger (key, digest, sequence, stamp) VALUES (?, ?, ?, ?)",
            ((key, *state) for key, state in ledger.items()),
        )


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()
