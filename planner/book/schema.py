"""The tables of the book and how an older book becomes one of today.

`MIGRATIONS[n]` turns a book of version n into one of version n + 1. A migration that was released
is never edited; a new one is appended.
"""

import sqlite3
from collections.abc import Sequence

APPLICATION_ID = 0x536F7774  # "Sowt"

_FIRST = """
CREATE TABLE entries (
    number INTEGER PRIMARY KEY,
    written_at TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind <> ''),
    on_day TEXT NOT NULL CHECK (on_day GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    who TEXT NOT NULL,
    corrects INTEGER REFERENCES entries (number) CHECK (corrects < number),
    content TEXT NOT NULL CHECK (json_valid(content) AND json_type(content) = 'object'),
    key TEXT CHECK (key <> '')
) STRICT;
CREATE INDEX entries_by_key ON entries (key) WHERE key IS NOT NULL;
CREATE UNIQUE INDEX entries_corrected_once ON entries (corrects) WHERE corrects IS NOT NULL;
CREATE TABLE plans (
    number INTEGER PRIMARY KEY,
    made_on TEXT NOT NULL CHECK (made_on GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    kept_at TEXT NOT NULL,
    content BLOB NOT NULL
) STRICT;
CREATE TABLE ledger (
    key TEXT PRIMARY KEY,
    digest TEXT NOT NULL,
    sequence INTEGER NOT NULL CHECK (sequence >= 0),
    stamp TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE tokens (
    name TEXT PRIMARY KEY CHECK (name <> ''),
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
    made_at TEXT NOT NULL
) STRICT, WITHOUT ROWID;
"""

_STAYS = """
CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table}
BEGIN SELECT RAISE(ABORT, 'what is in the book stays: {table} are only added'); END;
CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table}
BEGIN SELECT RAISE(ABORT, 'what is in the book stays: {table} are only added'); END;
CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}
WHEN EXISTS (SELECT 1 FROM {table} WHERE number = NEW.number)
BEGIN SELECT RAISE(ABORT, 'what is in the book stays: {table} are only added'); END;
"""

MIGRATIONS: Sequence[str] = (
    _FIRST + _STAYS.format(table="entries") + _STAYS.format(table="plans"),
)


def version_of(connection: sqlite3.Connection) -> int:
    """Return the version of an open book; 0 for one without tables. [-]"""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def application_of(connection: sqlite3.Connection) -> int:
    """Return the number that says whose file it is; 0 when nobody's. [-]"""
    return int(connection.execute("PRAGMA application_id").fetchone()[0])


def migrate(connection: sqlite3.Connection, migrations: Sequence[str] = MIGRATIONS) -> None:
    """Bring a book up to the newest version, each step in a transaction of its own.

    Another process may do the same at the same time: the version is read again under the lock.
    """
    while version_of(connection) < len(migrations):
        connection.execute("BEGIN IMMEDIATE")
        try:
            version = version_of(connection)
            if version < len(migrations):
                for statement in statements(migrations[version]):
                    connection.execute(statement)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {version + 1}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


def statements(script: str) -> Sequence[str]:
    """Split a script into its statements; `executescript` would end the transaction."""
    found, text = [], ""
    for line in script.splitlines(keepends=True):
        text += line
        if sqlite3.complete_statement(text):
            found.append(text.strip())
            text = ""
    if text.strip():
        raise ValueError(f"a statement does not end: {text.strip()}")
    return found
