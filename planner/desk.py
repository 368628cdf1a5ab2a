"""A farm and its book side by side: what was said is checked against the one, kept in the other."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from planner import bookwords, farmfile, farmnames, history, openjobs, recording, tasks
from planner.book import Entry, Recorded, open_book
from planner.errors import InputError, PlannerError
from planner.farmfile import FARM_FILE, Inputs
from planner.farmnames import Names
from planner.history import History
from planner.openjobs import NumberedJob


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """A farm, its book and the names that a record may use, as they were when they were read."""

    folder: Path
    inputs: Inputs
    history: History
    names: Names


@dataclass(frozen=True, slots=True, kw_only=True)
class Entered:
    """What was entered: one sentence each, by number, and the doubts about it."""

    told: Mapping[int, str]
    doubts: tuple[str, ...]
    is_void: bool


def at(folder: Path) -> Desk:
    """Read a farm and its book, if it has one.

    Raises
    ------
    InputError
        The farm's files have faults; all are listed.
    BookError
        The book cannot be read.
    """
    inputs = farmfile.read_farm(folder)
    known = history.read(folder)
    names = farmnames.names(inputs, known.in_force)
    return Desk(folder=folder, inputs=inputs, history=known, names=names)


def book_of(folder: Path) -> Path:
    """Return the path of a farm's book, also when there is none yet.

    Raises
    ------
    PlannerError
        The folder is no farm's.
    """
    if not (folder / FARM_FILE).is_file():
        raise PlannerError(f"{folder}: there is no {FARM_FILE} in it; give the farm's folder")
    return folder / history.BOOK


def jobs(desk: Desk) -> tuple[NumberedJob, ...]:
    """Return all jobs of the plan in force, numbered.

    Raises
    ------
    PlannerError
        No plan is in force.
    """
    document, units = desk.history.in_force, desk.inputs.farm.units
    if document is None:
        raise PlannerError(
            f"{desk.folder}: there is no plan in force yet; run: sowstock plan {desk.folder}"
        )
    dated = tasks.dated(document, crops=desk.inputs.crops, fish=desk.inputs.fish, units=units)
    return openjobs.numbered(
        dated, desk.history.entries, units=units, known=document["book_entries"]
    )


def steps_of(desk: Desk, words: Sequence[str], planned_on: str) -> list[dict[str, str]]:
    """Return the fields of the steps that words mean: numbers of jobs, or a step and a batch.

    Raises
    ------
    InputError
        A number is no job's; lists every one.
    """
    numbers = openjobs.numbers_in(words)
    if not numbers:
        step, batch = recording.step_and_batch(words)
        return [{"step": step, "batch": batch, "planned_on": planned_on}]
    if planned_on:
        raise InputError(["a job's number says its day already; leave its planned day out"])
    return [
        {"step": job.step, "batch": job.batch, "planned_on": job.day.isoformat()}
        for job in openjobs.chosen(jobs(desk), numbers)
    ]


def enter(
    desk: Desk, kind: str, forms: Sequence[Mapping[str, str]], *, today: date, now: datetime
) -> Entered:
    """Enter what the forms spell, all or none; the first record of a farm makes its book.

    Raises
    ------
    InputError
        Something in the forms is wrong; lists every fault. Nothing is entered.
    BookError
        The book cannot be written. Nothing is entered.
    """
    entries: list[Entry] = []
    doubts: list[str] = []
    faults: list[str] = []
    for form in forms:
        try:
            entry, found = recording.entry_from_form(kind, form, desk.names, today)
        except InputError as fault:
            faults.extend(fault.faults)
        else:
            entries.append(entry)
            doubts.extend(found)
    if faults:
        raise InputError(list(dict.fromkeys(faults)))
    new = all(entry.corrects is None for entry in entries)
    with open_book(desk.folder / history.BOOK, create=new) as book:
        numbers = book.record(entries, now=now)
    told = {
        number: bookwords.words(
            Recorded(number=number, written_at=now, entry=entry),
            desk.names.units,
            desk.names.spoken,
        )
        for number, entry in zip(numbers, entries, strict=True)
    }
    return Entered(told=told, doubts=tuple(dict.fromkeys(doubts)), is_void=kind == "void")


def last_entries(desk: Desk, count: int) -> tuple[str, ...]:
    """Return the last entries that hold, in words, oldest first."""
    last = desk.history.entries[-count:] if count else ()
    return tuple(bookwords.words(r, desk.names.units, desk.names.spoken) for r in last)
