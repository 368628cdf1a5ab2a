"""The places chart in numbers: which batch lies in which lane of which place, and where.

No HTML here. Across, bars stand in per cent of the chart's width and the small paths in days
since its start; down, all is px from the top of the block.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import groupby

from planner.pictures import TimeLine, number

ROW_PX = 20.0  # room to write beside a bar on the printed wall chart
LANE_PX = 14.0  # the least height that carries a two-letter code and a foot
MOST_LANES_PX = 84.0  # a place with many parts is squeezed into this
BLOCK_PX = 600.0  # a block fits on a landscape sheet
BLOCK_ROWS = 10
FOOT_PX = 4.0
DESK_PX = 1000.0  # width of a chart on a desk or on paper
PHONE_PX = 330.0  # on a phone
CODE_PX = 17.0  # width of a code and its margin
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
class _Piece:
    """A stay in `count` lanes from `lowest`, in `rows` rows from `row` on."""

    stay: Stay
    row: int
    rows: int
    lowest: int
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A stay as drawn, from the top of its row.

    `rows` is how many rows it spans: a batch that fills neighbouring places is one bar. `whole`
    when it fills one row, `lettered` when two letters fit, `thin` when they do so on a desk only,
    and `named` when the crop's name fits beside its code on a desk.
    """

    batch: str
    x: float
    width: float
    y: float
    height: float
    rows: int
    whole: bool
    lettered: bool
    thin: bool
    named: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceRow:
    """A place, or neighbours alike all through, by number; between which px it lies; its bars."""

    first: int
    last: int
    y: float
    height: float
    bars: tuple[Bar, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Up to ten rows under one month line, which is never parted by a page's edge.

    `cuts`, `gaps` and `lines` are paths (days, px) over the whole block: the dark feet of batches
    being cut, the days of cleaning after each batch, and the lines between the rows. `used` is the
    share of part-days that carry a batch, 0 to 1; `empty` has the first and last number of each
    row without any.
    """

    first: int
    last: int
    height: float
    row_px: float
    rows: tuple[PlaceRow, ...]
    cuts: str
    gaps: str
    lines: str
    used: float
    batches: int
    empty: tuple[tuple[int, int], ...]


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

    Neighbouring places that hold the same batches all through share a row, so a zone has no more
    rows than its batches ask for. A lane shows a share of the place, not where in the place it
    lies. Stays outside the line are left out. A place that is overfull shows its last comers over
    the others.
    """
    by_place: dict[int, list[Stay]] = {}
    for stay in stays:
        if stay.start < line.end and stay.end > line.start and stay.end > stay.start:
            by_place.setdefault(stay.place, []).append(stay)
    for held in by_place.values():
        held.sort(key=lambda s: (s.start, -s.parts, s.end, s.batch))
    rows = _alike(by_place, places)
    size = max(1, min(BLOCK_ROWS, int(BLOCK_PX // max(ROW_PX, lane_px(parts) * parts))))
    return tuple(
        _block(line, by_place, rows[first : first + size], parts, sanitation_days)
        for first in range(0, len(rows), size)
    )


def _alike(by_place: Mapping[int, Sequence[Stay]], places: int) -> list[range]:
    """Part the numbers from 1 to `places` into runs that hold the same stays."""

    def held(place: int) -> list[Stay]:
        return [replace(stay, place=0) for stay in by_place.get(place, ())]

    runs = (list(run) for _, run in groupby(range(1, places + 1), key=held))
    return [range(run[0], run[-1] + 1) for run in runs]


def _block(
    line: TimeLine,
    by_place: Mapping[int, Sequence[Stay]],
    numbers: Sequence[range],
    parts: int,
    sanitation_days: int,
) -> Block:
    lane = lane_px(parts)
    row_px = max(ROW_PX, lane * parts)
    pieces = _pieces(by_place, numbers, parts, sanitation_days)
    bars: dict[int, list[Bar]] = {index: [] for index in range(len(numbers))}
    cuts, gaps = [], []
    for piece in pieces:
        stay, whole = piece.stay, piece.count == parts
        height = row_px - 2 if whole else piece.count * lane - 1
        y = piece.row * row_px + 1 + piece.lowest * lane
        tall = height + (piece.rows - 1) * row_px
        bars[piece.row].append(_bar(line, piece, piece.lowest * lane, tall, whole))
        gaps.append(_box(line, stay.end, stay.end + timedelta(days=sanitation_days), y, tall))
        if stay.cut_from and stay.cut_to:
            foot = min(FOOT_PX, height / 4)
            until = min(stay.cut_to + timedelta(days=1), stay.end)
            cuts += [
                _box(line, stay.cut_from, until, y + index * row_px + height - foot, foot)
                for index in range(piece.rows)
            ]
    stays = [(stay, len(row)) for row in numbers for stay in by_place.get(row[0], ())]
    used = sum(
        count * stay.parts * (line.day(stay.end) - line.day(stay.start)) for stay, count in stays
    )
    places = sum(map(len, numbers))
    return Block(
        first=numbers[0][0],
        last=numbers[-1][-1],
        height=row_px * len(numbers),
        row_px=row_px,
        rows=tuple(
            PlaceRow(
                first=row[0],
                last=row[-1],
                y=i * row_px + 1,
                height=row_px - 2,
                bars=tuple(bars[i]),
            )
            for i, row in enumerate(numbers)
        ),
        cuts="".join(cuts),
        gaps="".join(gaps),
        lines="".join(f"M0 {number(i * row_px)}H{line.days}" for i in range(len(numbers) + 1)),
        used=used / (places * parts * line.days),
        batches=len({stay.batch for stay, _ in stays}),
        empty=tuple((row[0], row[-1]) for row in numbers if not by_place.get(row[0])),
    )


def _pieces(
    by_place: Mapping[int, Sequence[Stay]],
    numbers: Sequence[range],
    parts: int,
    sanitation_days: int,
) -> list[_Piece]:
    """Give each stay its lanes; join what fills neighbouring rows with the same batch."""
    pieces: list[_Piece] = []
    open_in_row: dict[tuple[str, date], _Piece] = {}  # whole pieces that end in the row before
    for row, places in enumerate(numbers):
        stays = by_place.get(places[0], ())
        closing, open_in_row = open_in_row, {}
        for stay, lanes in _lanes(stays, parts, sanitation_days):
            key = stay.batch, stay.start
            for lowest, count in _runs(lanes):
                piece = _Piece(stay=stay, row=row, rows=1, lowest=lowest, count=count)
                if count == parts and key in closing:
                    before = closing[key]
                    piece = replace(before, rows=before.rows + 1)
                    pieces.remove(before)
                pieces.append(piece)
                if count == parts:
                    open_in_row[key] = piece
    return sorted(pieces, key=lambda p: (p.row, p.stay.start, p.lowest, p.stay.batch))


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


def _bar(line: TimeLine, piece: _Piece, y: float, height: float, whole: bool) -> Bar:
    stay = piece.stay
    x = line.share(stay.start)
    width = line.share(stay.end) - x
    return Bar(
        batch=stay.batch,
        x=x,
        width=width,
        y=y,
        height=height,
        rows=piece.rows,
        whole=whole and piece.rows == 1,
        lettered=height >= 11 and width / 100 * DESK_PX >= CODE_PX,
        thin=width / 100 * PHONE_PX < CODE_PX,
        named=(stay.name_letters + 4) * LETTER_PX < width / 100 * DESK_PX,
    )


def _box(line: TimeLine, start: date, end: date, y: float, height: float) -> str:
    """Return a rectangle as a path, from `start` up to, not including, `end`."""
    left, right = line.day(start), line.day(end)
    if right <= left:
        return ""
    return f"M{left} {number(y)}h{right - left}v{number(height)}H{left}z"
