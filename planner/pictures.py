"""Numbers for the page's pictures: where every bar, curve, label and gap stands.

No HTML here. Across, positions are per cent of the chart's width, or days since the horizon's
start inside a curve; down, they are px from the chart's top. So a chart stretches from a phone to
a sheet of paper without its letters changing size, and nothing is drawn anew.
"""

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A line across the weeks and its label; `x` in per cent, `day` since the start."""

    x: float
    day: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeLine:
    """The horizon as a line from left (0 %) to right (100 %)."""

    start: date
    weeks: int

    @property
    def days(self) -> int:
        """Length of the line. [d]"""
        return 7 * self.weeks

    @property
    def end(self) -> date:
        """The day after the last one shown."""
        return self.start + timedelta(days=self.days)

    def day(self, day: date) -> int:
        """Return the days from the start to `day`, held within the line."""
        return min(max((day - self.start).days, 0), self.days)

    def share(self, day: date) -> float:
        """Return the position of `day` in per cent, held within the line."""
        return self.day(day) * 100 / self.days

    def holds(self, day: date) -> bool:
        """Whether `day` is on the line."""
        return self.start <= day < self.end

    def week(self, day: date) -> int:
        """Return the index of the week that holds `day`; outside the line below 0 or too high."""
        return (day - self.start).days // 7

    def day_text(self, day: date) -> str:
        """Return a day such as `4 Jan`, with its year unless that is the first week's."""
        text = f"{day.day} {MONTHS[day.month - 1]}"
        return text if day.year == self.start.year else f"{text} {day.year}"

    def weeks_text(self, weeks: Iterable[int], most: int = 6) -> str:
        """Return weeks as runs, such as `week 9 (1 Mar), weeks 12-14 (22 Mar to 11 Apr)`.

        Weeks are indices on the line and are written by their ISO number. After `most` runs
        the rest is counted.
        """
        runs: list[list[int]] = []
        for week in sorted(set(weeks)):
            if runs and runs[-1][-1] == week - 1:
                runs[-1].append(week)
            else:
                runs.append([week])
        words = [self._run_text(run[0], run[-1]) for run in runs[:most]]
        rest = sum(len(run) for run in runs[most:])
        if rest:
            words.append(f"and {rest} more {'week' if rest == 1 else 'weeks'}")
        return ", ".join(words)

    def _run_text(self, first: int, last: int) -> str:
        opens = self.start + timedelta(weeks=first)
        if first == last:
            return f"week {opens.isocalendar().week} ({self.day_text(opens)})"
        closes = self.start + timedelta(weeks=last, days=6)
        numbers = f"{opens.isocalendar().week}-{closes.isocalendar().week}"
        return f"weeks {numbers} ({self.day_text(opens)} to {self.day_text(closes)})"

    @property
    def ticks(self) -> tuple[Tick, ...]:
        """Firsts of months; Mondays when the line is too short for months.

        On a line of more than 60 weeks only every third month is labelled.
        """
        if self.weeks <= 16:
            mondays = (self.start + timedelta(weeks=week) for week in range(self.weeks))
            step = 1 if self.weeks <= 6 else 2
            return tuple(
                self._tick(day, f"{day.day} {MONTHS[day.month - 1]}" if not index % step else "")
                for index, day in enumerate(mondays)
            )
        step = 3 if self.weeks > 60 else 1
        ticks = [
            self._tick(day, "" if (day.month - 1) % step else MONTHS[day.month - 1])
            for day in _firsts_of_months(self.start, self.end)
        ]
        if step == 1 and ticks[0].x > 4:  # room for the month that has begun
            ticks.insert(0, self._tick(self.start, MONTHS[self.start.month - 1]))
        if ticks[-1].x > 96:  # no room for letters
            ticks[-1] = replace(ticks[-1], text="")
        return tuple(ticks)

    def _tick(self, day: date, text: str) -> Tick:
        return Tick(x=self.share(day), day=self.day(day), text=text)


def _firsts_of_months(start: date, end: date) -> Iterator[date]:
    day = start if start.day == 1 else (start.replace(day=1) + timedelta(days=32)).replace(day=1)
    while day < end:
        yield day
        day = (day + timedelta(days=32)).replace(day=1)


def nice_step(span: float, most: int) -> float:
    """Return a step of 1, 2 or 5 times a power of ten that parts `span` into at most `most`."""
    if span <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(span / most))
    return next(power * lead for lead in (1, 2, 5, 10) if power * lead * most >= span * (1 - 1e-9))


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A line of the scale and its label, without unit."""

    y: float
    text: str

    @property
    def text_y(self) -> float:
        """Where the label's letters stand, so that the line runs through their middle. [px]"""
        return self.y + 3.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Values to px: `low` at the foot, `high` at the top of a frame `height` px high."""

    low: float
    high: float
    step: float
    height: float

    @classmethod
    def over(cls, values: Iterable[float], height: float, *, from_zero: bool = True) -> "Scale":
        """Return a scale of round numbers that holds all `values`; from 0 unless told."""
        known = list(values)
        top, bottom = max(known, default=1.0), min(known, default=0.0)
        if from_zero:
            bottom = min(bottom, 0.0)
        if top - bottom < 1e-6 * max(1.0, abs(top)):
            top = bottom + 1.0
        step = nice_step(top - bottom, 4)
        low = math.floor(bottom / step + 1e-9) * step
        high = math.ceil(top / step - 1e-9) * step
        return cls(low=low, high=high, step=step, height=height)

    def y(self, value: float) -> float:
        """Return the px from the top at which `value` stands, held within the frame."""
        share = (value - self.low) / (self.high - self.low)
        return self.height * (1 - min(max(share, 0.0), 1.0))

    @property
    def rules(self) -> tuple[Rule, ...]:
        """The round values, lowest first."""
        digits = max(0, -math.floor(math.log10(self.step) + 1e-9))
        count = round((self.high - self.low) / self.step)
        first = round(self.low / self.step)
        values = ((first + index) * self.step for index in range(count + 1))
        return tuple(Rule(y=self.y(v), text=f"{v:,.{digits}f}".replace("-", "−")) for v in values)


def number(value: float) -> str:
    """Return a position as short text, at most one decimal, the same on every machine."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def line_path(points: Sequence[tuple[float, float]]) -> str:
    """Return a path through `points` (day, px): from the first one on in steps."""
    tenths = [(round(10 * x), round(10 * y)) for x, y in points]
    if not tenths:
        return ""
    steps = (
        f"{number((x - x0) / 10)} {number((y - y0) / 10)}"
        for (x0, y0), (x, y) in itertools.pairwise(tenths)
    )
    x, y = tenths[0]
    return f"M{number(x / 10)} {number(y / 10)}l{' '.join(steps)}".replace(" -", "-").rstrip("l")


def steps_path(values: Sequence[float | None], scale: Scale) -> str:
    """Return a path with one level a week, to a px; a week without a value is a gap."""
    heights = [None if value is None else f"{scale.y(value):.0f}" for value in values]
    parts: list[str] = []
    before: str | None = None
    week = 0
    for y, run in itertools.groupby(heights):
        first, week = week, week + len(list(run))
        if y is not None:
            parts.append(f"{f'M{7 * first} ' if before is None else 'V'}{y}H{7 * week}")
        before = y
    return "".join(parts)


def columns_path(values: Sequence[float], scale: Scale) -> str:
    """Return a path of one column a week, a day free on either side; none where nothing is.

    Columns are to a px, and never less than one.
    """
    foot = round(scale.y(max(scale.low, 0.0)))
    parts: list[str] = []
    end = 0
    for week, value in enumerate(values):
        if value > 0:
            start = 7 * week + 1
            tall = max(1, foot - round(scale.y(value)))
            move = f"m{start - end} 0" if parts else f"M{start} {foot}"
            parts.append(f"{move}v-{tall}h5v{tall}")
            end = start + 5
    return "".join(parts)


def area_path(points: Sequence[tuple[float, float]], foot: float) -> str:
    """Return the closed field under `points` (day, px) down to `foot`."""
    if not points:
        return ""
    return f"{line_path(points)}V{number(foot)}H{number(points[0][0])}z"


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A word in a chart, at per cent across and px down, kept inside the frame by `anchor`."""

    x: float
    y: float
    text: str
    anchor: str = "start"
    kind: str = ""


def staggered(
    words: Iterable[tuple[float, str]], *, lines: int = 3, line_px: float = 12.0, top: float = 10.0
) -> tuple[Label, ...]:
    """Place labels at their per cent without collision, on at most `lines` lines.

    Widths are reckoned for a phone, about 330 px, where labels are closest together. A label
    that finds no free line goes where it overlaps least.
    """
    free = [-math.inf] * lines
    labels = []
    for x, text in sorted(words):
        width = len(text) * 5.6 / 330 * 100
        anchor = "end" if x + width > 100 else "start"
        left = x - width if anchor == "end" else x
        line = next((i for i, end in enumerate(free) if end <= left), free.index(min(free)))
        free[line] = left + width + 1.5
        labels.append(Label(x=x, y=top + line_px * line, text=text, anchor=anchor))
    return tuple(labels)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A path in days and px; `kind` is its look: supply, uptake, limit, field, column …"""

    kind: str
    path: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One chart with one scale: a strip for labels, `top` px high, over a plot.

    Everything in the plot counts its px from the plot's own top. `band` is a field across the
    whole width (top and height in px), `today` a line across it in per cent.
    """

    heading: str
    finding: str
    top: float
    height: float
    rules: tuple[Rule, ...]
    days: int
    curves: tuple[Curve, ...]
    labels: tuple[Label, ...] = ()
    marks: tuple[Label, ...] = ()
    band: tuple[float, float] | None = None
    today: float | None = None

    @property
    def svg_height(self) -> float:
        """Labels, plot and months together. [px]"""
        return self.top + self.height + 16.0

    @property
    def months_y(self) -> float:
        """Where the months are written, from the plot's top. [px]"""
        return self.height + 12.0


def frame(
    line: TimeLine,
    scale: Scale,
    curves: Iterable[Curve],
    *,
    heading: str,
    finding: str,
    today: date,
    labels: tuple[Label, ...] = (),
    marks: tuple[Label, ...] = (),
    band: tuple[float, float] | None = None,
) -> Frame:
    """Put curves on a scale; `band` is two values of the scale, lowest first."""
    return Frame(
        heading=heading,
        finding=finding,
        top=4.0 + max((label.y for label in labels), default=0.0),
        height=scale.height,
        rules=scale.rules,
        days=line.days,
        curves=tuple(curve for curve in curves if curve.path),
        labels=labels,
        marks=marks,
        band=None if band is None else (scale.y(band[1]), scale.y(band[0]) - scale.y(band[1])),
        today=line.share(today) if line.holds(today) else None,
    )


def week_marks(line: TimeLine, weeks: Iterable[int], text: str, kind: str, y: float) -> list[Label]:
    """Return a mark in the middle of each week, `y` px down."""
    return [
        Label(x=(week + 0.5) * 100 / line.weeks, y=y, text=text, anchor="middle", kind=kind)
        for week in weeks
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The facts of a picture as text: a caption, heads, and rows as long as the heads.

    `grouped` when rows that begin alike stand together, so that their first cell is written once.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    grouped: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """Frames under one another, what they show in a sentence, their key and their table.

    `key` holds a curve's kind and its words.
    """

    name: str
    heading: str
    finding: str
    key: tuple[tuple[str, str], ...]
    frames: tuple[Frame, ...]
    table: Table
