"""What can go wrong with the book's file, in sentences that the grower can act on."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from planner.errors import PlannerError

_LOCKED = {"SQLITE_BUSY", "SQLITE_LOCKED"}
_READ_ONLY = {"SQLITE_READONLY", "SQLITE_PERM", "SQLITE_AUTH"}
_BROKEN = {"SQLITE_CORRUPT", "SQLITE_FORMAT"}


class BookError(PlannerError):
    """The book cannot be read or written; says what to do. Nothing was entered."""


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what SQLite or the system says of the book at `path` into a `BookError`."""
    try:
        yield
    except sqlite3.ProgrammingError:  # a mistake of the program, not of the book
        raise
    except sqlite3.Error as fault:
        raise BookError(f"{path}: {_sentence(fault)}") from fault
    except OSError as fault:
        raise BookError(f"{path}: {fault.strerror or fault}; nothing was written") from fault


def no_book(path: Path) -> BookError:
    """Return the error of a file that is something else."""
    return BookError(f"{path} is no book of this program; move it away or name another file")


def newer_book(path: Path, found: int, known: int) -> BookError:
    """Return the error of a book whose version is above the one that this program knows."""
    return BookError(
        f"{path} was written by a newer version of this program (book version {found}, this one "
        f"reads up to {known}); bring the program up to date. The book was left as it is"
    )


def broken_book(path: Path, what: str) -> BookError:
    """Return the error of a book whose content is damaged."""
    return BookError(
        f"{path} is damaged ({what}); keep a copy of it, and put the last backup in its place"
    )


def _sentence(fault: sqlite3.Error) -> str:
    code = getattr(fault, "sqlite_errorname", "") or ""
    family = "_".join(code.split("_")[:2])
    if family in _LOCKED:
        return "another program kept the book busy for too long; nothing was entered, try again"
    if family == "SQLITE_FULL":
        return "the disk is full; nothing was entered. Make room and enter it again"
    if family in _READ_ONLY:
        return "the book or its folder may not be written to; nothing was entered. Allow writing"
    if family == "SQLITE_CANTOPEN":
        return "the book cannot be opened; is its folder there, and may it be read and written to?"
    if family == "SQLITE_NOTADB":
        return "this is no book of this program; move it away or name another file"
    if family in _BROKEN:
        return "the book is damaged; keep a copy of it, and put the last backup in its place"
    if family == "SQLITE_IOERR":
        return "the disk could not be read or written; nothing was entered. Is it full or failing?"
    return f"the book cannot do that ({fault}); nothing was entered"
