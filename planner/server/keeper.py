"""Keeps what is served up with the farm's files: plan in force, entries, feeds, page.

Everything is read anew when a file has changed, and the last that was whole is served when one
cannot be read for a while. All methods may be called from many threads.
"""

import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from planner.book import Book, BookError, Entry, Recorded, open_book
from planner.bookwords import words
from planner.document import PlanDoc
from planner.errors import PlannerError
from planner.farmfile import Inputs, read_farm
from planner.farmnames import Names, names
from planner.feeds import feeds
from planner.history import BOOK, plan_of
from planner.jobs import Job
from planner.marks import done_keys, marked
from planner.server.conditional import Served, Shelf
from planner.server.filemarks import Mark, changed_at, mark_of, settled
from planner.server.gate import BOOK_FILES, SHORT_S, Gate
from planner.server.planpage import with_records
from planner.server.policy import policy_of
from planner.tasks import dated

_FARM_FILES = ("farm.toml", "orders.csv", "growing.csv", "cohorts.csv", "crops.csv", "fish.csv")
_RECORD_S = 10.0  # how long a record waits for another program to let go of the book
_PAUSE_S = 1.0  # after what could not be read
_PAGE_FILE = "plan/plan.html"

Clock = Callable[[], datetime]
Ledger = dict[str, tuple[str, int, str]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """The farm at one moment.

    Parameters
    ----------
    plan
        Number of the plan in force; 0 when there is none, and then `document` is None.
    known
        Number of the last entry that the plan knew.
    jobs
        The plan's, without marks.
    entries
        In force, by number.
    changed
        When any of it last changed, as far as files and book tell.
    """

    inputs: Inputs
    plan: int
    document: PlanDoc | None
    known: int
    jobs: tuple[Job, ...]
    names: Names
    entries: tuple[Recorded, ...]
    highest: int
    changed: datetime

    def told(self, recorded: Recorded) -> str:
        """Return an entry in words."""
        return words(recorded, self.names.units, self.names.spoken)


class Keeper:
    """Keeps one farm folder.

    Parameters
    ----------
    clock
        Tells the time, with a zone.
    report
        Is told, once, of what cannot be read.
    secrets
        By name, as far as they are known; these hold while the book cannot be asked.
    """

    def __init__(
        self,
        folder: Path,
        *,
        clock: Clock,
        report: Callable[[str], None],
        secrets: Mapping[str, str] | None = None,
    ) -> None:
        self._folder = folder
        self._clock = clock
        self._report = report
        self._lock = threading.RLock()
        self._shelf = Shelf()
        self._view: View | None = None
        self._seen: Mark | None = None
        self._farm_seen: Mark | None = None
        self._feeds: dict[str, Served] = {}
        self._feeds_of: tuple[View, date] | None = None
        self._feeds_made_of: tuple[int, Inputs, date, tuple[Job, ...]] | None = None
        self._page: tuple[Served, str] | None = None
        self._page_of: tuple[View, Mark] | None = None
        self._ledger: Ledger = {}
        self._told = ""
        self._failed_at = -_PAUSE_S
        self.gate = Gate(folder, report=self._tell, secrets=secrets or {})

    def now(self) -> datetime:
        """The time, with a zone."""
        return self._clock()

    def today(self) -> date:
        """The day at the farm."""
        return self.now().astimezone(ZoneInfo(self.view().inputs.farm.site.timezone)).date()

    def book(self, wait_s: float = SHORT_S) -> Book:
        """Open the farm's book; to be closed by the caller."""
        return open_book(self._folder / BOOK, wait_s=wait_s)

    # What the book says

    def view(self) -> View:
        """Return the farm as it stands, or as it last could be read.

        Raises
        ------
        PlannerError
            It could not be read yet.
        """
        mark = settled(self._folder, (*_FARM_FILES, *BOOK_FILES))
        view = self._view
        if view is not None and mark is not None and mark == self._seen:
            return view
        with self._lock:
            if self._view is not None and time.monotonic() - self._failed_at < _PAUSE_S:
                return self._view
            try:
                self._view = self._read()
            except (PlannerError, OSError, ValueError, KeyError) as fault:
                self._failed_at = time.monotonic()
                self._tell(fault)
                if self._view is None:
                    raise
                return self._view
            self._seen, self._told = mark, ""
            return self._view

    def record(self, entries: Sequence[Entry], key: str) -> tuple[int, ...]:
        """Enter what was read from a form, once for each key; raises BookError."""
        with self.book(_RECORD_S) as book:
            numbers = book.record(entries, now=self.now(), key=key)
        self._failed_at = -_PAUSE_S
        return numbers

    def _read(self) -> View:
        before = self._view
        with self.book() as book:
            highest, plan = book.highest(), book.plan_in_force()
            number = 0 if plan is None else plan.number
            farm_seen = settled(self._folder, _FARM_FILES)
            kept = before if farm_seen is not None and farm_seen == self._farm_seen else None
            if kept is not None and (kept.plan, kept.highest) == (number, highest):
                return kept
            entries, everything = book.entries(), book.everything()
        inputs = self._farm(before) if kept is None else kept.inputs
        document = None if plan is None else plan_of(plan.text, self._folder / BOOK)
        changed = [recorded.written_at for recorded in everything[-1:]]
        changed += [] if plan is None else [plan.kept_at]
        changed += [changed_at(self._folder, _FARM_FILES)]
        self._farm_seen = farm_seen
        return View(
            inputs=inputs,
            plan=number,
            document=document,
            known=0 if document is None else document["book_entries"],
            jobs=()
            if document is None
            else dated(document, crops=inputs.crops, fish=inputs.fish, units=inputs.farm.units),
            names=names(inputs, document),
            entries=entries,
            highest=highest,
            changed=max(changed),
        )

    def _farm(self, before: View | None) -> Inputs:
        """Read the farm's files; while they have faults, what they said before holds."""
        try:
            return read_farm(self._folder)
        except PlannerError as fault:
            if before is None:
                raise
            self._tell(fault)
            return before.inputs

    # What is made of it

    def feeds(self) -> Mapping[str, Served] | None:
        """Return every calendar by name, or None while there is no plan."""
        view, now = self.view(), self.now()
        if view.document is None:
            return None
        farm = view.inputs.farm
        day = now.astimezone(ZoneInfo(farm.site.timezone)).date()
        with self._lock:
            if self._feeds_of == (view, day):
                return self._feeds
            jobs = marked(view.jobs, view.entries, units=farm.units, known=view.known)
            made_of = (view.plan, view.inputs, day, jobs)
            if made_of != self._feeds_made_of:  # an entry may change no job
                try:
                    self._feeds = self._made_feeds(view, view.document, jobs, now)
                except BookError as fault:
                    self._tell(fault)
                    return self._feeds or None
            self._feeds_of, self._feeds_made_of = (view, day), made_of
            return self._feeds

    def _made_feeds(
        self, view: View, document: PlanDoc, jobs: tuple[Job, ...], now: datetime
    ) -> dict[str, Served]:
        """Make every calendar; the ledger is kept before anyone sees what it tells of."""
        farm = view.inputs.farm
        with self.book() as book:
            kept = book.ledger()
            made = feeds(
                jobs,
                farm_name=farm.name,
                made_on=date.fromisoformat(document["made_on"]),
                timezone=farm.site.timezone,
                people=farm.people,
                ledger=_later(self._ledger, kept),
                now=now,
            )
            self._ledger = dict(made.ledger)
            if self._ledger != kept:
                book.keep_ledger(self._ledger)
        return {
            name: self._shelf.put(name, octets, view.changed) for name, octets in made.files.items()
        }

    def page(self) -> tuple[Served, str] | None:
        """Return the plan's page with what was recorded since, and its policy; None without one."""
        view = self.view()
        path = self._folder / _PAGE_FILE
        mark = mark_of(self._folder, (_PAGE_FILE,))
        with self._lock:
            if mark == (None,) or self._page_of == (view, mark):
                return self._page
            try:
                html = path.read_text("utf-8")
            except (OSError, ValueError) as fault:
                self._tell(fault)
                return self._page
            if not html.rstrip().endswith("</html>"):
                return self._page
            farm = view.inputs.farm
            marks = done_keys(view.jobs, view.entries, units=farm.units, known=view.known)
            since = [view.told(entry) for entry in view.entries if entry.number > view.known]
            html = with_records(html, marks, since)
            changed = max(view.changed, changed_at(self._folder, (_PAGE_FILE,)))
            served = self._shelf.put(_PAGE_FILE, html.encode(), changed)
            self._page, self._page_of = (served, policy_of(html)), (view, mark)
            return self._page

    def _tell(self, fault: Exception) -> None:
        if str(fault) != self._told:
            self._told = str(fault)
            self._report(f"{type(fault).__name__}: {fault}")


def _later(one: Ledger, other: Ledger) -> Ledger:
    """Join two ledgers; of what is in both, the one raised more often holds."""
    joined = dict(one)
    for uid, state in other.items():
        if uid not in joined or state[1:] >= joined[uid][1:]:
            joined[uid] = state
    return joined
