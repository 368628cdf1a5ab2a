"""The page's lists of jobs: this week and the next in full, every other week short, by kind."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial

from planner.document import PlanDoc
from planner.horizon import monday_of, week_anchor
from planner.jobs import Job, JobLine, Kind, job_key
from planner.pagefacts import brief_names, brief_shares, isolated, line_of, units_of
from planner.pictures import MONTHS
from planner.words import Units, day_words, numbered, plain, plural, quantity, spoken

KIND_TITLES = {
    Kind.SOW: "Sow and start",
    Kind.SET_OUT: "Set out",
    Kind.CUT: "Cut and pick",
    Kind.CLEAR: "Clear and clean",
    Kind.FISH: "Fish",
    Kind.WATER: "Water and feed",
}
_RAISED = ("cell", "plug", "division", "cutting")


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Words parted so that the place can stand out."""

    before: str
    place: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LineView:
    """One line to tick: its day, and what to do in one or more pieces.

    This week and next the text is the job's own. In other weeks a day's lines of a crop are one:
    its short name once, then number and place of each, with shares as fractions. The page would
    double otherwise, and each week has its own page in time. `key` names the line of work where
    it can be ticked off in the book.
    """

    day: str
    pieces: tuple[Piece, ...]
    key: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class KindView:
    """A week's lines of one kind; `caution` is written for this week only."""

    kind: str
    title: str
    lines: tuple[LineView, ...]
    caution: str
    care: bool  # whether the page's part on care has something for the kind


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekView:
    """A week's jobs under its anchor."""

    anchor: str
    heading: str
    count: str
    in_full: bool  # with boxes to tick on the screen
    kinds: tuple[KindView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobsView:
    """This week, the next when the plan holds it, all others; what to mind by kind."""

    this: WeekView
    next: WeekView | None
    others: tuple[WeekView, ...]
    care: tuple[tuple[str, str, str], ...]


def week_heading(monday: date) -> str:
    """Return a week in words: `Week 9: 1 to 7 Mar 2027`."""
    sunday = monday + timedelta(days=6)
    first = f"{monday.day}"
    if monday.month != sunday.month:
        first += f" {MONTHS[monday.month - 1]}"
    number = monday.isocalendar().week
    return f"Week {number}: {first} to {sunday.day} {MONTHS[sunday.month - 1]} {sunday.year}"


def jobs_view(document: PlanDoc, jobs: Iterable[Job], today: date) -> JobsView:
    """Group jobs by week and kind; every week of the horizon is there, with jobs or without."""
    line, units, names = line_of(document), units_of(document), document["crops"]
    briefs = brief_names(names)
    by_week: dict[date, dict[Kind, list[Job]]] = defaultdict(lambda: defaultdict(list))
    care: dict[Kind, list[str]] = defaultdict(list)
    for job in sorted(jobs, key=lambda job: job.day):
        by_week[monday_of(job.day)][job.kind].append(job)
        if job.caution:
            care[job.kind].append(job.caution)
    this = monday_of(today)
    after = this + timedelta(weeks=1)
    mondays = {line.start + timedelta(weeks=week) for week in range(line.weeks)} | by_week.keys()

    def week(monday: date) -> WeekView:
        kinds = by_week.get(monday, {})
        views = []
        for kind in (kind for kind in Kind if kind in kinds):
            caution = together(job.caution for job in kinds[kind])
            views.append(
                KindView(
                    kind=_slug(kind),
                    title=KIND_TITLES[kind],
                    lines=tuple(
                        line
                        for job in kinds[kind]
                        for line in (
                            map(partial(_line, job.day), _alike(job))
                            if monday in (this, after)
                            else _brief(job, names, briefs, units)
                        )
                    ),
                    caution=caution if monday == this else "",
                    care=bool(caution),
                )
            )
        lines = sum(len(job.lines) for jobs in kinds.values() for job in jobs)
        return WeekView(
            anchor=week_anchor(monday),
            heading=week_heading(monday),
            count=plural(lines, "job") if lines else "no jobs",
            in_full=monday in (this, after),
            kinds=tuple(views),
        )

    return JobsView(
        this=week(this),
        next=week(after) if after in mondays else None,
        others=tuple(week(monday) for monday in sorted(mondays - {this, after})),
        care=tuple(
            (_slug(kind), KIND_TITLES[kind], together(care[kind])) for kind in Kind if kind in care
        ),
    )


def together(cautions: Iterable[str]) -> str:
    """Join cautions that are alike in part: every sentence once, in the order of the first."""
    sentences = (
        sentence for text in cautions for sentence in re.split(r"(?<=\.) (?=[A-Z])", plain(text))
    )
    return " ".join(dict.fromkeys(sentence for sentence in sentences if sentence))


def _slug(kind: Kind) -> str:
    return kind.value.replace(" ", "-")


def _day(day: date) -> str:
    weekday = day_words(day).split()[0]
    return f"{weekday} {day.day}"


def _line(day: date, line: JobLine) -> LineView:
    text, place = plain(line.text), plain(line.place)
    before, found, after = text.partition(place) if place else (text, "", "")
    own = line.batch or line.unit == "test"
    return LineView(
        day=_day(day),
        pieces=(Piece(before=before, place=found, after=after),),
        key=job_key(line.step, line.batch, day) if own else "",
    )


def _alike(job: Job) -> Iterator[JobLine]:
    """Yield a job's lines; those on fish that differ in their tank alone are one."""
    if job.kind is not Kind.FISH:
        yield from job.lines
        return
    alike: dict[tuple[str, ...], list[JobLine]] = defaultdict(list)
    for line in job.lines:
        place = plain(line.place)
        alike[tuple(plain(line.text).split(place, 1)) if place else (line.text,)].append(line)
    for (before, *after), lines in alike.items():
        if len(lines) > 1 and after:
            tanks = numbered(line.place for line in lines)
            text = f"{before}each of {tanks}{after[0]}"
            yield replace(lines[0], text=text, place=tanks, batch="")
        else:
            yield from lines


def _brief(
    job: Job, names: Mapping[str, str], briefs: Mapping[str, str], units: Units
) -> Iterator[LineView]:
    """Say a day's lines of a kind in little room, in the order in which each crop comes first."""
    if job.kind in (Kind.FISH, Kind.WATER):
        for line in _alike(job):
            yield _line(job.day, replace(line, text=_terse(line, names, briefs)))
        return
    by_crop: dict[str, list[JobLine]] = defaultdict(list)
    for line in job.lines:
        by_crop[line.crop].append(line)
    for crop, lines in by_crop.items():
        name = isolated(briefs.get(crop) or spoken(crop))
        pieces = [
            Piece(
                before=f"{'; ' if index else f'{name}, '}{_amount(job.kind, line, units)}",
                place=brief_shares(plain(line.place)),
                after="",
            )
            for index, line in enumerate(lines)
        ]
        yield LineView(day=_day(job.day), pieces=tuple(pieces))


def _amount(kind: Kind, line: JobLine, units: Units) -> str:
    """Return what stands before a place; nothing where its number is that of the places."""
    if kind is Kind.CLEAR:
        return ""
    link = "for" if line.unit in _RAISED else "in"
    return f"{quantity(line.number, line.unit, units)} {link} "


def _terse(line: JobLine, names: Mapping[str, str], briefs: Mapping[str, str]) -> str:
    """Return the text of a line on fish or water without what each week repeats."""
    if line.unit == "test":
        return f"{line.number:.0f} tests of the {line.place}"
    name = spoken(names.get(line.crop, ""))
    return plain(line.text).replace(name, briefs[line.crop]) if name else line.text
