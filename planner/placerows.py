"""The places chart in numbers: which batch lies in which lane of which place, and where.

No HTML here. Across, bars stand in per cent of the chart's width and the small paths in days
since its start; down, all is px from the top of the block.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from planner.pictures import TimeLine, number

ROW_PX = 20.0  # room to write beside a bar on the printed wall chart
LANE_PX = 14.0  # the least height that carries a two-letter code and a foot
MOST_LANES_PX = 84.0  # a place with many parts is squeezed into this
BLOCK_PX = 600.0  # a block fits on a landscape sheet
BLOCK_PLACES = 10
FOOT_PX = 4.0
DESK_PX = 1000.0  # width of a chart on a desk or on paper
LETTER_PX = 6.2  # mean width of a letter in a bar


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """A batch in one place: `parts` shares from `start` up to, not including, `end`."""

    batch: str
    place: int  # counted from 1
    parts: int
    start: date
    end: date
    cut_from: date | None
    cut_to: date | None
    name_letters: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A stay as drawn; `named` when the crop's name fits beside its code on a desk."""

    batch: str
    x: float
    width: float
    y: float
    height: float
    text_y: float | None  # None: too low for letters
    named: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceRow:
    """One place: its number, where its row lies, its bars."""

    number: int
    y: float
    height: float
    bars: tuple[Bar, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Up to ten places under one month line, which is never parted by a page's edge.

    `cuts` and `gaps` are paths (days, px) over the whole block: the dark feet of batches being
    cut, and the days of cleaning after each batch. `used` is the share of part-days that carry
    a batch, 0 to 1.
    """

    first: int
    last: int
    height: float
    rows: tuple[PlaceRow, ...]
    cuts: str
    gaps: str
    used: float
    batches: int
    empty: tuple[int, ...]


def lane_px(parts: int) -> float:
    """Return the height of one share of a place. [px]"""
    return ROW_PX if parts == 1 else max(4.0, min(LANE_PX, MOST_LANES_PX / parts))


def clashes(stays: Iterable[Stay], parts: int) -> tuple[tuple[int, date], ...]:
    """Return each place that holds more than its `parts`, and the first day of it."""
    steps: dict[int, list[tuple[date, int]]] = {}
    for stay in stays:
        steps.setdefault(stay.place, []).extend(((stay.start, stay.parts), (stay.end, -stay.parts)))
    found = []
    for place, changes in sorted(steps.items()):
        held = 0
        for day, change in sorted(changes):
            held += change
            if held > parts:
                found.append((place, day))
                break
    return tuple(found)


def blocks(
    line: TimeLine, stays: Iterable[Stay], *, places: int, parts: int, sanitation_days: int
) -> tuple[Block, ...]:
    """Draw a zone: rows for places 1 to `places`, a lane for each part, in blocks.

    A lane shows a share of the place, not where in the place it lies. Stays outside the line
    are left out. A place that is overfull shows its last comers over the others.
    """
    by_place: dict[int, list[Stay]] = {}
    for stay in stays:
        if stay.start < line.end and stay.end > line.start and stay.end > stay.start:
            by_place.setdefault(stay.place, []).append(stay)
    lane = lane_px(parts)
    row_px = max(ROW_PX, lane * parts)
    size = max(1, min(BLOCK_PLACES, int(BLOCK_PX // row_px)))
    return tuple(
        _block(line, by_place, range(first, min(first + size, places + 1)), parts, sanitation_days)
        for first in range(1, places + 1, size)
    )


def _block(
    line: TimeLine,
    by_place: dict[int, list[Stay]],
    numbers: range,
    parts: int,
    sanitation_days: int,
) -> Block:
    lane = lane_px(parts)
    row_px = max(ROW_PX, lane * parts)
    rows, cuts, gaps, used, names = [], [], [], 0, set()
    for index, place in enumerate(numbers):
        top = index * row_px
        bars = []
        stays = sorted(by_place.get(place, ()), key=lambda s: (s.start, s.end, s.batch))
        for stay, lanes in _lanes(stays, parts, sanitation_days):
            names.add(stay.batch)
            used += stay.parts * (line.day(stay.end) - line.day(stay.start))
            for lowest, count in _runs(lanes):
                y, height = top + lowest * lane + 1, count * lane - (2 if parts == 1 else 1)
                bars.append(_bar(line, stay, y, height))
                gaps.append(
                    _box(line, stay.end, stay.end + timedelta(days=sanitation_days), y, height)
                )
                if stay.cut_from and stay.cut_to:
                    foot = min(FOOT_PX, height / 3)
                    until = min(stay.cut_to + timedelta(days=1), stay.end)
                    cuts.append(_box(line, stay.cut_from, until, y + height - foot, foot))
        rows.append(PlaceRow(number=place, y=top, height=row_px, bars=tuple(bars)))
    return Block(
        first=numbers[0],
        last=numbers[-1],
        height=row_px * len(numbers),
        rows=tuple(rows),
        cuts="".join(cuts),
        gaps="".join(gaps),
        used=used / (len(numbers) * parts * line.days),
        batches=len(names),
        empty=tuple(row.number for row in rows if not row.bars),
    )


def _lanes(
    stays: Sequence[Stay], parts: int, sanitation_days: int
) -> Iterator[tuple[Stay, tuple[int, ...]]]:
    """Give each stay the lanes it takes: side by side where that is free, clean ones first."""
    free_from = [date.min] * parts
    for stay in stays:
        count = min(stay.parts, parts)
        clean = [i for i, day in enumerate(free_from) if _after(day, sanitation_days) <= stay.start]
        empty = [i for i, day in enumerate(free_from) if day <= stay.start]
        for choice in (clean, empty):
            run = _first_run(choice, count)
            if run:
                break
        else:
            enough = clean if len(clean) >= count else empty
            run = (enough + [i for i in range(parts) if i not in enough])[:count]
        for index in run:
            free_from[index] = max(free_from[index], stay.end)
        yield stay, tuple(sorted(run))


def _after(day: date, days: int) -> date:
    return day if day == date.min else day + timedelta(days=days)


def _first_run(choice: Sequence[int], count: int) -> list[int]:
    for low, length in _runs(choice):
        if length >= count:
            return list(range(low, low + count))
    return []


def _runs(lanes: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield (lowest, count) of each run of neighbouring lanes."""
    low = count = 0
    for lane in lanes:
        if count and lane == low + count:
            count += 1
        else:
            if count:
                yield low, count
            low, count = lane, 1
    if count:
        yield low, count


def _bar(line: TimeLine, stay: Stay, y: float, height: float) -> Bar:
    x = line.share(stay.start)
    width = line.share(stay.end) - x
    return Bar(
        batch=stay.batch,
        x=x,
        width=width,
        y=y,
        height=height,
        text_y=min(height / 2 + 3.5, 13.0) if height >= 11 else None,
        named=(stay.name_letters + 4) * LETTER_PX < width / 100 * DESK_PX,
    )


def _box(line: TimeLine, start: date, end: date, y: float, height: float) -> str:
    """Return a rectangle as a path, from `start` up to, not including, `end`."""
    left, right = line.day(start), line.day(end)
    if right <= left:
        return ""
    return f"M{left} {number(y)}h{right - left}v{number(height)}H{left}z"
