"""The two secrets in the links: made here, kept in the farm's folder, known to the book by hash."""

import json
import os
import re
import secrets
import tempfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from planner.book import Book
from planner.errors import PlannerError

FILE = "serve.tokens"
PAGE, RECORD = "page", "record"
_SHAPE = re.compile(r"[A-Za-z0-9_-]{22}")  # 16 octets, as `secrets` writes them


@dataclass(frozen=True, slots=True, kw_only=True)
class Tokens:
    """The secret of page and feeds, and the secret of the record forms."""

    page: str
    record: str


def looks_right(token: str) -> bool:
    """Return whether a text may be a token at all."""
    return _SHAPE.fullmatch(token) is not None


def new_tokens(book: Book, folder: Path, now: datetime) -> Tokens:
    """Make both secrets anew; links with the ones before are dead from here on.

    Raises
    ------
    PlannerError
        The file of the secrets or the book cannot be written.
    """
    made = Tokens(page=secrets.token_urlsafe(16), record=secrets.token_urlsafe(16))
    _write(folder / FILE, json.dumps({PAGE: made.page, RECORD: made.record}, indent=1) + "\n")
    book.new_token(PAGE, made.page, now=now)
    book.new_token(RECORD, made.record, now=now)
    return made


def kept_tokens(book: Book, folder: Path) -> Tokens | None:
    """Return the secrets as the farm's folder keeps them, or None when they are not the book's."""
    try:
        given = json.loads((folder / FILE).read_text("utf-8"))
        kept = Tokens(page=given[PAGE], record=given[RECORD])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    if not (isinstance(kept.page, str) and isinstance(kept.record, str)):
        return None
    right = book.token_matches(PAGE, kept.page) and book.token_matches(RECORD, kept.record)
    return kept if right else None


def _write(path: Path, text: str) -> None:
    """Write a file that its owner alone may read, all or none."""
    fresh: str | None = None
    try:
        number, fresh = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)  # mode 0600
        with os.fdopen(number, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(fresh).replace(path)
        fresh = None
    except OSError as fault:
        raise PlannerError(f"{path}: cannot be written ({fault.strerror or fault})") from fault
    finally:
        if fresh is not None:
            Path(fresh).unlink(missing_ok=True)
