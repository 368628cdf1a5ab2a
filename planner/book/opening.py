"""Open the book's file safely: it is looked at before SQLite may change anything."""

import os
import sqlite3
import struct
import time
from collections.abc import Sequence
from pathlib import Path

from planner.book.schema import APPLICATION_ID, MIGRATIONS, application_of, migrate, version_of
from planner.book.troubles import BookError, broken_book, newer_book, no_book, told

_MAGIC = b"SQLite format 3\x00"
_HEADER_OCTETS = 100  # https://www.sqlite.org/fileformat2.html, section 1.3
_VERSION_AT, _APPLICATION_AT = 60, 68
_PAUSE_S = 0.02


def connect(
    path: Path, *, create: bool, wait_s: float, migrations: Sequence[str] = MIGRATIONS
) -> tuple[sqlite3.Connection, bool]:
    """Return an open connection to a book of the newest version, and whether it may be written to.

    A book that may not be written to is opened for reading.

    Raises
    ------
    BookError
        There is no book, or the file cannot be one; the file is then left as it was.
    """
    with told(path):
        version = _looked_at(path, create=create, wait_s=wait_s, known=len(migrations))
        new = version == 0
        try:
            return _writable(path, wait_s=wait_s, new=new, migrations=migrations), True
        except sqlite3.OperationalError as fault:
            if new or not _is_refusal(fault):
                raise
        return _read_only(path, wait_s=wait_s, known=len(migrations)), False


def _looked_at(path: Path, *, create: bool, wait_s: float, known: int) -> int:
    """Return the version that the file's header says, 0 for a new book; changes nothing."""
    if path.is_dir():
        raise BookError(f"{path} is a folder; name the file of the book in it")
    if not path.parent.is_dir():
        raise BookError(f"{path.parent}: there is no such folder")
    try:
        with path.open("rb") as file:
            header = file.read(_HEADER_OCTETS)
    except FileNotFoundError:
        header = b""
    if not header:
        if create:
            return 0
        raise BookError(f"{path}: there is no book yet; the first record makes one")
    if not header.startswith(_MAGIC):
        raise no_book(path)
    if len(header) < _HEADER_OCTETS:
        raise broken_book(path, "it ends too early")
    version: int = struct.unpack_from(">i", header, _VERSION_AT)[0]
    application: int = struct.unpack_from(">i", header, _APPLICATION_AT)[0]
    if version == application == 0:  # nothing, or all of it, may still stand in the log beside it
        version, application = _looked_at_with_log(path, wait_s)
    elif _log(path):
        version = max(version, _looked_at_with_log(path, wait_s)[0])
    if version == application == 0:
        if create:
            return 0
        raise BookError(f"{path}: there is no book yet; the first record makes one")
    if application != APPLICATION_ID:
        raise no_book(path)
    if not 0 < version <= known:
        raise newer_book(path, version, known)
    return version


def _log(path: Path) -> bool:
    """Whether changes stand beside the file that are not in it yet."""
    log = path.with_name(path.name + "-wal")
    return log.exists() and log.stat().st_size > 0


def _looked_at_with_log(path: Path, wait_s: float) -> tuple[int, int]:
    """Version and application of the file with its log, read without moving the log into it."""
    connection = sqlite3.connect(
        _uri(path, "mode=ro"), uri=True, timeout=wait_s, isolation_level=None
    )
    try:
        version, application = version_of(connection), application_of(connection)
        if version == application == 0 and connection.execute(
            "SELECT count(*) FROM sqlite_schema"
        ).fetchone() != (0,):
            raise no_book(path)
        return version, application
    finally:
        connection.close()


def _writable(
    path: Path, *, wait_s: float, new: bool, migrations: Sequence[str]
) -> sqlite3.Connection:
    connection = sqlite3.connect(
        _uri(path, "mode=rwc" if new else "mode=rw"),
        uri=True,
        timeout=wait_s,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        _write_ahead(connection, wait_s)
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA recursive_triggers = ON")
        migrate(connection, migrations)
        _try_writing(connection, len(migrations))
        if new:
            sync_folder(path.parent)
    except BaseException:
        connection.close()
        raise
    return connection


def _try_writing(connection: sqlite3.Connection, version: int) -> None:
    """Fail when the book may only be read, which `BEGIN IMMEDIATE` alone does not tell.

    Another process that writes just now is no reason to wait, nor to fail.
    """
    wait_ms = connection.execute("PRAGMA busy_timeout").fetchone()[0]
    connection.execute("PRAGMA busy_timeout = 0")
    try:
        connection.execute("BEGIN IMMEDIATE")
        connection.execute(f"PRAGMA user_version = {version}")
    except sqlite3.OperationalError as fault:
        if not fault.sqlite_errorname.startswith("SQLITE_BUSY"):
            raise
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        connection.execute(f"PRAGMA busy_timeout = {wait_ms}")


def _write_ahead(connection: sqlite3.Connection, wait_s: float) -> None:
    """Turn the write-ahead log on; SQLite does not wait by itself while another does the same."""
    ends = time.monotonic() + wait_s
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL").fetchone()
            return
        except sqlite3.OperationalError as fault:
            if not fault.sqlite_errorname.startswith("SQLITE_BUSY") or time.monotonic() > ends:
                raise
        time.sleep(_PAUSE_S)


def _read_only(path: Path, *, wait_s: float, known: int) -> sqlite3.Connection:
    """Open for reading; without the files beside it when they cannot be made nor are needed."""
    ways = ["mode=ro"] if _log(path) else ["mode=ro", "immutable=1"]
    for way in ways:
        connection = sqlite3.connect(
            _uri(path, way),
            uri=True,
            timeout=wait_s,
            isolation_level=None,
            check_same_thread=False,
        )
        try:
            version = version_of(connection)
            if version < known:
                raise BookError(
                    f"{path} is of an earlier version and may not be written to, so it cannot be "
                    "brought up to date; allow writing, or copy it to a folder of yours"
                )
            return connection
        except sqlite3.OperationalError:
            connection.close()
            if way == ways[-1]:
                raise
        except BaseException:
            connection.close()
            raise
    raise AssertionError("there is always a last way")


def _is_refusal(fault: sqlite3.OperationalError) -> bool:
    return fault.sqlite_errorname.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM"))


def _uri(path: Path, mode: str) -> str:
    return f"{path.absolute().as_uri()}?{mode}"


def sync_folder(folder: Path) -> None:
    """Make the names in a folder outlast a power cut, where the system can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def is_book(path: Path) -> bool:
    """Whether a file begins as a book of this program does, of any version."""
    with told(path), path.open("rb") as file:
        header = file.read(_HEADER_OCTETS)
    return (
        len(header) == _HEADER_OCTETS
        and header.startswith(_MAGIC)
        and struct.unpack_from(">i", header, _APPLICATION_AT)[0] == APPLICATION_ID
    )
