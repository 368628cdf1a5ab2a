"""Copies of the book that are whole, also while it is written in."""

import os
import sqlite3
from pathlib import Path

from planner.book.opening import is_book, sync_folder
from planner.book.troubles import BookError, broken_book, told

_MOST_FAULTS = 5


def integrity_faults(connection: sqlite3.Connection) -> list[str]:
    """Return what SQLite finds wrong in an open book; empty when it is sound."""
    faults = [
        str(text)
        for (text,) in connection.execute(f"PRAGMA integrity_check({_MOST_FAULTS})")
        if text != "ok"
    ]
    if not faults and connection.execute("PRAGMA foreign_key_check").fetchone():
        faults = ["an entry corrects one that is not there"]
    return faults


def backup(connection: sqlite3.Connection, source: Path, target: Path) -> None:
    """Copy the open book at `source` to `target`, whole or not at all.

    The copy is made beside the target, read through, and then takes its name. It is one file, with
    no log beside it.

    Raises
    ------
    BookError
        `target` is the book itself, is a file that is no book, or is a book in use; or the copy
        could not be written.
    """
    if target.is_dir():
        raise BookError(f"{target} is a folder; name the file of the copy")
    if not target.parent.is_dir():
        raise BookError(f"{target.parent}: there is no such folder")
    if target.exists() and target.samefile(source):
        raise BookError(f"{target} is the book itself; name another file for the copy")
    for suffix in ("-wal", "-journal"):
        if target.with_name(target.name + suffix).exists():
            raise BookError(f"{target} is in use, or was not closed; name another file")
    if target.exists() and not is_book(target):
        raise BookError(f"{target} is a file but no book; it was left as it is")
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    with told(target):
        try:
            part.unlink(missing_ok=True)
            _copy(connection, part, target)
            os.replace(part, target)
            sync_folder(target.parent)
        finally:
            for leftover in (part, part.with_name(part.name + "-journal")):
                leftover.unlink(missing_ok=True)


def _copy(connection: sqlite3.Connection, part: Path, target: Path) -> None:
    copy = sqlite3.connect(part, isolation_level=None)
    try:
        connection.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE").fetchone()
        if faults := integrity_faults(copy):
            raise broken_book(target, "; ".join(faults))
    finally:
        copy.close()
    with part.open("rb+") as file:
        os.fsync(file.fileno())
