"""What the book says of a plan's jobs: which are done, which are not, and how it really went."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from planner.book.entries import Done, FishHarvest, Harvest, Recorded, Skipped, WaterTest
from planner.horizon import monday_of
from planner.jobs import TITLE_LENGTH, Job, JobLine, job_key
from planner.words import Units, day_words, plain, plural, weight

CUT_NEAR = timedelta(days=3)  # a harvest so near to a planned cut is that cut; judgement
FISH_NEAR = timedelta(days=10)  # and fish taken out so near to the planned day; judgement
TICK = "✓"
DONE, NOT_DONE = f"{TICK} done", "not done"

_Telling = Done | Skipped | Harvest | FishHarvest | WaterTest


@dataclass(slots=True)
class _Told:
    """A line of a job, and the entries that speak of it, oldest first."""

    day: date
    line: JobLine
    entries: list[_Telling] = field(default_factory=list)

    @property
    def asks(self) -> bool:
        """Whether it asks for something to be done; a figure to expect does not."""
        return self.line.unit != "mg/L"

    @property
    def skipped(self) -> bool:
        return bool(self.entries) and isinstance(self.entries[-1], Skipped)

    @property
    def done(self) -> bool:
        return bool(self.entries) and not self.skipped

    def marked(self, units: Units) -> JobLine:
        """Return the line with what is known of it in its text."""
        if not self.entries:
            return self.line
        more = "".join(f"; {text}" for text in self._more(units))
        start = DONE if self.done else NOT_DONE
        return replace(self.line, text=f"{start}: {self.line.text}{more}")

    def mark(self, units: Units) -> str:
        """Return what is known of it, without its text."""
        return ", ".join((DONE if self.done else NOT_DONE, *self._more(units)))

    def _more(self, units: Units) -> Iterator[str]:
        last = self.entries[-1]
        if isinstance(last, Skipped):
            if last.until is not None:
                yield f"now planned {day_words(last.until)}"
            return
        if really := ", ".join(self._really(units)):
            yield f"really {really}"
        if last.on != self.day:
            yield f"on {day_words(last.on)}"

    def _really(self, units: Units) -> Iterator[str]:
        """Yield the amounts that were not as planned."""
        line = self.line
        cut = [entry for entry in self.entries if isinstance(entry, Harvest)]
        taken = [entry for entry in self.entries if isinstance(entry, FishHarvest)]
        reports = [entry for entry in self.entries if isinstance(entry, Done)]
        if cut:
            weighed = weight(sum(entry.kg for entry in cut), units)
            counted = line.unit != "kg" and all(entry.unit == line.unit for entry in cut)
            number = sum(entry.units or 0 for entry in cut)
            yield from self._unlike(plural(number, line.unit) if counted else "", weighed)
        elif taken and line.unit == "fish":
            weighed = weight(sum(entry.kg for entry in taken), units)
            yield from self._unlike(plural(sum(entry.count for entry in taken), "fish"), weighed)
        elif reports and reports[-1].count is not None and line.unit == "fish":
            yield from self._unlike(plural(reports[-1].count, "fish"))
        if reports and reports[-1].parts is not None:
            yield plural(reports[-1].parts, "part")

    def _unlike(self, counted: str, weighed: str = "") -> Iterator[str]:
        """Yield a count and a weight, those there are, unless both are what was planned."""
        same_count = counted in ("", plural(self.line.number, self.line.unit))
        same_weight = not weighed or _says(self.line.text, weighed)
        if not (same_count and same_weight):
            yield from filter(None, (counted, weighed))


def marked(
    jobs: Sequence[Job],
    entries: Sequence[Recorded],
    *,
    units: Units = "metric",
    known: int = 0,
) -> tuple[Job, ...]:
    """Return the jobs with what the book says of them in their lines' texts and their titles.

    A line that is done begins with `✓ done:` and ends with the amount if it was not as planned and
    the day if it was another; one that was not done begins with `not done:` and ends with the new
    day. A title begins with a tick when all its lines are done, and else ends with how many are.
    A report that names step, batch and planned day is of that line alone. A harvest of a batch is
    the cut planned nearest to it, within 3 days; fish taken from a tank, the nearest taking within
    10 days; a water test, the test of its week. Of several entries the last one decides.

    Parameters
    ----------
    jobs
        The plan's, without marks.
    entries
        In force, in the order of their numbers.
    units
        Units of weights in words: those that the jobs were written in.
    known
        Number of the last entry that the plan knew: its jobs come after all of those.
    """
    told = _told(jobs, entries, known)
    return tuple(
        replace(
            job,
            title=_title(job.title, lines),
            lines=tuple(line.marked(units) for line in lines),
        )
        if any(line.entries for line in lines)
        else job
        for job, lines in zip(jobs, told, strict=True)
    )


def done_keys(
    jobs: Sequence[Job],
    entries: Sequence[Recorded],
    *,
    units: Units = "metric",
    known: int = 0,
) -> Mapping[str, str]:
    """Return, by job key, a mark such as `✓ done` or `not done, now planned Thu 4 Mar`.

    Keys of which nothing is known are left out; one that several lines share tells how many of
    them are done. The key of a day's work on the water is that of its tests. Arguments as `marked`.
    """
    by_key: dict[str, list[_Told]] = defaultdict(list)
    for lines in _told(jobs, entries, known):
        for line in (line for line in lines if line.line.batch or line.line.unit == "test"):
            by_key[job_key(line.line.step, line.line.batch, line.day)].append(line)
    return {
        key: _together(lines, units)
        for key, lines in by_key.items()
        if any(line.entries for line in lines)
    }


def _together(lines: list[_Told], units: Units) -> str:
    marks = {line.mark(units) if line.entries else "" for line in lines}
    if len(marks) == 1:
        return marks.pop()
    done, skipped = sum(line.done for line in lines), sum(line.skipped for line in lines)
    if done == len(lines):
        return DONE
    return f"{done} of {len(lines)} done" if done else f"{skipped} of {len(lines)} {NOT_DONE}"


def _told(jobs: Sequence[Job], entries: Sequence[Recorded], known: int) -> list[list[_Told]]:
    """Return the lines of each job, each with its entries."""
    told = [[_Told(job.day, line) for line in job.lines] for job in jobs]
    by_step: dict[tuple[str, str], list[_Told]] = defaultdict(list)
    by_tank: dict[tuple[str, str], list[_Told]] = defaultdict(list)
    for line in (line for lines in told for line in lines):
        by_step[line.line.step, line.line.batch].append(line)
        by_tank[line.line.step, plain(line.line.place)].append(line)
    for recorded in sorted(entries, key=lambda recorded: recorded.number):
        entry = recorded.entry
        if recorded.number <= known or (entry.corrects is not None and entry.corrects <= known):
            continue
        found: Iterable[_Told] = ()
        match entry:
            case Done() | Skipped():
                found = _reported(entry, by_step[entry.step, entry.batch])
            case Harvest() if entry.batch is not None:
                found = _nearest(by_step["cut", entry.batch], entry.on, CUT_NEAR)
            case FishHarvest():
                tank = plain(entry.tank)
                found = [*_nearest(by_tank["take", tank], entry.on, FISH_NEAR)]
                if entry.emptied:
                    found += _nearest(by_tank["empty", tank], entry.on, FISH_NEAR)
            case WaterTest():
                found = [
                    line
                    for line in by_step["water", ""]
                    if line.line.unit == "test" and monday_of(line.day) == monday_of(entry.on)
                ]
            case _:
                continue
        for line in found:
            line.entries.append(entry)
    return told


def _reported(entry: Done | Skipped, lines: list[_Told]) -> Iterable[_Told]:
    """Return the lines that a report is of; the nearest one if it does not say the planned day."""
    if entry.step == "water":
        tank = entry.tank if isinstance(entry, Done) else None
        lines = [line for line in lines if line.asks and tank in (None, line.line.place)]
        if entry.planned_on is None:
            return [line for line in lines if monday_of(line.day) == monday_of(entry.on)]
    if entry.planned_on is not None:
        return [line for line in lines if line.day == entry.planned_on]
    return _nearest(lines, entry.on, {"cut": CUT_NEAR, "take": FISH_NEAR}.get(entry.step))


def _nearest(lines: list[_Told], day: date, most: timedelta | None) -> list[_Told]:
    """Return the line planned nearest to a day, the earlier of two, if it is near enough."""
    near = [line for line in lines if most is None or abs(line.day - day) <= most]
    return sorted(near, key=lambda line: (abs(line.day - day), line.day))[:1]


def _title(title: str, lines: list[_Told]) -> str:
    asking = [line for line in lines if line.asks]
    done = sum(line.done for line in asking)
    if asking and done == len(asking):
        return _fitted(title, before=f"{TICK} ")
    if done:
        return _fitted(title, after=f" ({done} of {len(asking)} done)")
    if asking and all(line.skipped for line in asking):
        return _fitted(title, before="Not done: ")
    return title


def _fitted(title: str, *, before: str = "", after: str = "") -> str:
    """Put words around a title; where it grows too long, the end of its list gives way."""
    room = TITLE_LENGTH - len(before) - len(after)
    if len(title) > room:
        more = re.search(r" \+[0-9]+ more$", title)
        tail = f"…{more[0] if more else ''}"
        title = title.removesuffix(tail[1:])[: room - len(tail)].rstrip(" …;") + tail
    return f"{before}{title}{after}"


def _says(text: str, amount: str) -> bool:
    """Whether a text gives an amount, as a word of its own."""
    return re.search(rf"(?<![\w.,]){re.escape(amount)}(?!\w)", text) is not None
