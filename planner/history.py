"""What a farm's book tells a new plan: the plan in force, the entries, the calendar's ledger."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import cast

from planner.book import BookError, Recorded, open_book
from planner.document import PlanDoc

BOOK = "book.db"
NEW_KEYS = ("house", "book_entries", "batches", "cohorts", "weeks")


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """A farm's book as far as a plan needs it; empty when there is no book yet.

    Attributes
    ----------
    plans
        Day and document of every plan made, oldest first.
    """

    plans: tuple[tuple[date, PlanDoc], ...] = ()
    entries: tuple[Recorded, ...] = ()
    highest: int = 0
    ledger: Mapping[str, tuple[str, int, str]] = field(default_factory=dict)

    @property
    def in_force(self) -> PlanDoc | None:
        """The newest plan."""
        return self.plans[-1][1] if self.plans else None


def read(folder: Path) -> History:
    """Read the book of a farm folder.

    Raises
    ------
    BookError
        It cannot be read, or the plan kept in it is not whole.
    """
    path = folder / BOOK
    if not path.exists():
        return History()
    with open_book(path) as book:
        return History(
            plans=tuple((kept.made_on, plan_of(kept.text, path)) for kept in book.plans()),
            entries=book.entries(),
            highest=book.highest(),
            ledger=book.ledger(),
        )


def plan_of(text: str, path: Path) -> PlanDoc:
    """Return the document of a plan kept in a book.

    Raises
    ------
    BookError
        The text is no plan's.
    """
    try:
        document = json.loads(text)
        whole = all(key in document for key in NEW_KEYS)
    except (ValueError, TypeError):
        whole = False
    if not whole:
        raise BookError(f"{path}: the plan kept last in the book is not whole; restore a backup")
    return cast(PlanDoc, document)


def keep(
    folder: Path,
    text: str,
    document: PlanDoc,
    ledger: Mapping[str, tuple[str, int, str]],
    now: datetime,
) -> None:
    """Keep a plan and the ledger, in one transaction.

    Raises
    ------
    BookError
        The book cannot be written; nothing is kept.
    """
    with open_book(folder / BOOK, create=True) as book:
        book.keep_plan(
            text, made_on=date.fromisoformat(document["made_on"]), now=now, ledger=ledger
        )
