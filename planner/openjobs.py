"""The plan's lines of work, each with a number that stays the same as long as the plan does."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from planner.book import Recorded
from planner.errors import InputError
from planner.horizon import monday_of
from planner.jobs import Job, Kind, job_key
from planner.marks import done_keys
from planner.words import Units

_BACK = timedelta(days=7)
_WEEKS = timedelta(weeks=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberedJob:
    """One thing to do, as a record names it.

    Parameters
    ----------
    number
        Its place among all of the plan's jobs, from 1. [-]
    batch
        Id of the batch or cohort; empty on water jobs.
    mark
        What the book says of it, such as `✓ done`; empty while nothing is recorded.
    """

    number: int
    day: date
    kind: Kind
    step: str
    batch: str
    text: str
    mark: str


def numbered(
    jobs: Sequence[Job], entries: Sequence[Recorded], *, units: Units, known: int
) -> tuple[NumberedJob, ...]:
    """Return every line of work of a plan, by day and kind; a day's water jobs are one line.

    `known` is the number of the last entry that the plan knew; what they say is in it.
    """
    marks = done_keys(jobs, entries, units=units, known=known)
    found: dict[str, NumberedJob] = {}
    for job in jobs:
        for line in job.lines:
            key = job_key(line.step, line.batch, job.day)
            if key not in found:
                found[key] = NumberedJob(
                    number=len(found) + 1,
                    day=job.day,
                    kind=job.kind,
                    step=line.step,
                    batch=line.batch,
                    text=job.title if job.kind is Kind.WATER else line.text,
                    mark=marks.get(key, ""),
                )
    return tuple(found.values())


def shown(jobs: Sequence[NumberedJob], today: date) -> tuple[NumberedJob, ...]:
    """Return this week's and next week's jobs, and those of the week before that have no record."""
    first = monday_of(today)
    return tuple(
        job
        for job in jobs
        if first <= job.day < first + _WEEKS or (first - _BACK <= job.day < first and not job.mark)
    )


def numbers_in(words: Sequence[str]) -> tuple[int, ...]:
    """Return the numbers of jobs that words are, such as `12 13` or `12,13`; none for a step."""
    pieces = " ".join(words).replace(",", " ").split()
    if not all(piece.isascii() and piece.isdigit() and len(piece) < 10 for piece in pieces):
        return ()
    return tuple(dict.fromkeys(int(piece) for piece in pieces))


def chosen(jobs: Sequence[NumberedJob], numbers: Sequence[int]) -> tuple[NumberedJob, ...]:
    """Return the jobs of some numbers.

    Raises
    ------
    InputError
        A number is no job's; lists every one.
    """
    by_number = {job.number: job for job in jobs}
    faults = [
        f"there is no job {number}; the plan in force has jobs 1 to {len(jobs)}"
        for number in numbers
        if number not in by_number
    ]
    if faults:
        raise InputError(faults)
    return tuple(by_number[number] for number in numbers)
