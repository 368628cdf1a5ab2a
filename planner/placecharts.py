"""The places by week as the page shows them: zones, blocks of ten places, bars with their words."""

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from planner.document import BatchDoc, PlanDoc, ZoneDoc
from planner.pagefacts import Context, brief_names, brief_shares, context, isolated
from planner.pictures import Table, TimeLine
from planner.placerows import Bar, Block, Stay, blocks, clashes
from planner.tables import Crop
from planner.words import places_text, plain, plural, spoken, weight

HUES = 4  # families with a colour of their own; the others share the last one
OPEN_PLACES = 30  # a house this small shows all its zones unfolded
METHODS = {"media_bed": "media beds", "raft": "raft boards", "tower": "towers"}
OTHER = "other families"


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How a crop is drawn: its name, a short one, two-letter code and the colour of its family."""

    name: str
    brief: str
    code: str
    hue: int  # 1 to HUES + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class BarView:
    """A bar and its words; `name` is empty where it would be cut.

    `told` is the row of the zone's table with the whole fact, counted from 0: a batch may have
    many bars, and its words stand once. `again` says how far down the code stands once more, in
    each further row of the bar [px]; `letters` is how the code is written: low, thin (hidden on a
    phone), both or neither.
    """

    bar: Bar
    hue: int
    code: str
    name: str
    again: tuple[float, ...]
    letters: str
    told: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RowView:
    """The row of a place, or of neighbours alike all through; `name` is the first one's."""

    name: str
    first: int
    last: int
    y: float
    height: float
    bars: tuple[BarView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockView:
    """Up to ten rows with their heading and finding."""

    heading: str
    finding: str
    block: Block
    rows: tuple[RowView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneView:
    """A zone: blocks and the same batches as a table."""

    name: str
    heading: str
    blocks: tuple[BlockView, ...]
    table: Table
    unfolded: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacesView:
    """All zones, the key (hue, family, its crops) and places that hold more than they can."""

    line: TimeLine
    today: float | None
    zones: tuple[ZoneView, ...]
    key: tuple[tuple[int, str, str], ...]
    overfull: tuple[str, ...]


def places_view(document: PlanDoc, crops: Mapping[str, Crop], today: date) -> PlacesView:
    """Lay out every zone, place and batch of the document.

    A batch that stands at the start is drawn from the start; one that comes after the horizon
    stands in the table only.
    """
    at = context(document, today)
    look = looks(document, crops)
    whole = {plain(zone["name"]): zone["parts"] for zone in document["zones"]}
    small = sum(zone["places"] for zone in document["zones"]) <= OPEN_PLACES
    zones, overfull = [], []
    for index, zone in enumerate(document["zones"]):
        batches = [batch for batch in document["batches"] if batch["zone"] == zone["name"]]
        stays = [stay for batch in batches for stay in _stays(batch, zone, look[batch["crop"]])]
        table = _table(at, zone, batches, look, whole)
        told = {row[-1]: number for number, row in enumerate(table.rows)}
        overfull += [
            f"{isolated(plain(zone['name']))} {place} holds more than its "
            f"{plural(zone['parts'], 'part')} from {at.line.day_text(day)}"
            for place, day in clashes(stays, zone["parts"])
        ]
        crop_of = {batch["id"]: batch["crop"] for batch in batches}
        zones.append(
            ZoneView(
                name=plain(zone["name"]),
                heading=_zone_heading(zone, len(batches)),
                blocks=tuple(
                    _block_view(zone, block, crop_of, look, told)
                    for block in blocks(
                        at.line,
                        stays,
                        places=zone["places"],
                        parts=zone["parts"],
                        sanitation_days=zone["sanitation_days"],
                    )
                ),
                table=table,
                unfolded=small or index == 0,
            )
        )
    return PlacesView(
        line=at.line,
        today=at.line.share(today) if at.line.holds(today) else None,
        zones=tuple(zones),
        key=_key(document, crops, look),
        overfull=tuple(overfull),
    )


def looks(document: PlanDoc, crops: Mapping[str, Crop]) -> dict[str, Look]:
    """Return the look of each crop in the document's batches.

    The families with most batches have their own colours, since rotation goes by family; a crop
    that the tables do not know counts among the others.
    """
    ids = sorted({batch["crop"] for batch in document["batches"]})
    names = {id: _name(id, document, crops) for id in ids}
    briefs = brief_names({id: _table_name(id, document, crops) for id in ids})
    codes = two_letter_codes(names)
    hues = _hues(document, crops)
    return {
        id: Look(
            name=names[id],
            brief=briefs[id],
            code=codes[id],
            hue=hues.get(_family(id, crops), HUES + 1),
        )
        for id in ids
    }


def _table_name(id: str, document: PlanDoc, crops: Mapping[str, Crop]) -> str:
    return document["crops"].get(id) or (crops[id].name if id in crops else id)


def _name(id: str, document: PlanDoc, crops: Mapping[str, Crop]) -> str:
    return spoken(_table_name(id, document, crops)) or id


def _family(id: str, crops: Mapping[str, Crop]) -> str:
    return crops[id].family if id in crops else OTHER


def _hues(document: PlanDoc, crops: Mapping[str, Crop]) -> dict[str, int]:
    counts = Counter(_family(batch["crop"], crops) for batch in document["batches"])
    ranked = sorted(counts.keys() - {OTHER}, key=lambda family: (-counts[family], family))
    own = ranked if len(counts) <= HUES + 1 else ranked[:HUES]
    return {family: hue for hue, family in enumerate(own, start=1)}


def two_letter_codes(names: Mapping[str, str]) -> dict[str, str]:
    """Return a code of two signs for each name, all different, the same for the same names.

    Initials of the first two words where free, else the first letter and another of the name,
    else the first letter and a figure, else any two.
    """
    codes: dict[str, str] = {}
    taken: set[str] = set()
    for id in sorted(names, key=lambda key: (names[key], key)):
        codes[id] = next(code for code in _candidates(names[id], id) if code not in taken)
        taken.add(codes[id])
    return codes


def _candidates(name: str, id: str) -> Iterator[str]:
    words = re.findall(r"[^\W_]+", name) or re.findall(r"[^\W_]+", id) or ["X"]
    signs = [sign.upper()[:1] for sign in "".join(words)]
    if len(words) > 1:
        yield f"{words[0].upper()[:1]}{words[1].upper()[:1]}"
    yield from (signs[0] + sign for sign in signs[1:])
    alphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    yield from (signs[0] + sign for sign in alphabet)
    yield from (first + second for first in alphabet for second in alphabet)


def _key(
    document: PlanDoc, crops: Mapping[str, Crop], look: Mapping[str, Look]
) -> tuple[tuple[int, str, str], ...]:
    members: dict[int, list[str]] = defaultdict(list)
    for id in sorted(look, key=lambda id: look[id].code):
        members[look[id].hue].append(f"{look[id].code} {look[id].name}")
    families = {hue: family for family, hue in _hues(document, crops).items()}
    return tuple(
        (hue, families.get(hue, OTHER), ", ".join(members[hue])) for hue in sorted(members)
    )


def _stays(batch: BatchDoc, zone: ZoneDoc, look: Look) -> Iterator[Stay]:
    start = date.fromisoformat(batch["transplant"] or batch["sow"])
    first, last = batch["first_harvest"], batch["last_harvest"]
    for place in batch["places"]:
        number = place["name"].rpartition(" ")[2]
        if number.isascii() and number.isdigit() and 1 <= int(number) <= zone["places"]:
            yield Stay(
                batch=batch["id"],
                place=int(number),
                parts=place["parts"],
                start=start,
                end=date.fromisoformat(batch["clear"]),
                cut_from=date.fromisoformat(first) if first else None,
                cut_to=date.fromisoformat(last) if last else None,
                name_letters=len(look.brief),
            )


def _cut_words(at: Context, batch: BatchDoc) -> str:
    days = (batch["first_harvest"], batch["last_harvest"])
    known = sorted({date.fromisoformat(day) for day in days if day})
    if len(known) < 2:
        return "".join(map(at.line.day_text, known))
    first, last = known
    alike = (first.year, first.month) == (last.year, last.month)
    return f"{first.day if alike else at.line.day_text(first)} to {at.line.day_text(last)}"


def _zone_heading(zone: ZoneDoc, batches: int) -> str:
    parts = f", {zone['parts']} parts each" if zone["parts"] > 1 else ""
    method = METHODS.get(zone["method"], "places")
    return f"{zone['places']} {method}{parts}, {plural(batches, 'batch')}"


def _block_view(
    zone: ZoneDoc,
    block: Block,
    crop_of: Mapping[str, str],
    look: Mapping[str, Look],
    told: Mapping[str, int],
) -> BlockView:
    name = plain(zone["name"])
    heading = f"{isolated(name)} {block.first}"
    if block.last > block.first:
        heading += f" to {block.last}"
    finding = f"{heading}: {plural(block.batches, 'batch')}, {block.used:.0%} of the room in use"
    if block.empty:
        runs = (f"{first} to {last}" if last > first else f"{first}" for first, last in block.empty)
        finding += f"; empty all through: {', '.join(runs)}"
    return BlockView(
        heading=heading,
        finding=f"{finding}.",
        block=block,
        rows=tuple(
            RowView(
                name=f"{name} {row.first}",
                first=row.first,
                last=row.last,
                y=row.y,
                height=row.height,
                bars=tuple(
                    _bar_view(bar, block.row_px, look[crop_of[bar.batch]], told[bar.batch])
                    for bar in row.bars
                ),
            )
            for row in block.rows
        ),
    )


def _bar_view(bar: Bar, row_px: float, look: Look, told: int) -> BarView:
    return BarView(
        bar=bar,
        hue=look.hue,
        code=look.code,
        name=look.brief if bar.named else "",
        again=tuple(row_px * index for index in range(1, bar.rows)),
        letters=" ".join(["low"] * (bar.height < 18) + ["thin"] * bar.thin),
        told=told,
    )


def _table(
    at: Context,
    zone: ZoneDoc,
    batches: Iterable[BatchDoc],
    look: Mapping[str, Look],
    whole: Mapping[str, int],
) -> Table:
    def words(day: str | None) -> str:
        return at.line.day_text(date.fromisoformat(day)) if day else ""

    rows = []
    for batch in sorted(batches, key=lambda b: _in_table(b, look)):
        where = places_text(batch["places"], whole).removeprefix(f"{plain(zone['name'])} ")
        notes = [*batch["warnings"]]
        if batch["state"] != "planned":
            notes.insert(0, batch["state"])
        if date.fromisoformat(batch["transplant"] or batch["sow"]) >= at.line.end:
            notes.append("after the weeks shown")
        rows.append(
            (
                look[batch["crop"]].name,
                brief_shares(where),
                f"{batch['plants']:,d}",
                words(batch["sow"]),
                words(batch["transplant"]),
                _cut_words(at, batch),
                words(batch["clear"]),
                _expected(at, batch),
                plain("; ".join(notes)),
                batch["id"],
            )
        )
    return Table(
        caption=f"Batches in {plain(zone['name'])} by crop; planned where no state is written",
        head=(
            "Crop",
            "Place",
            "Plants",
            "Sow",
            "Set out",
            "Cut",
            "Clear",
            "Yield (likely range)",
            "State",
            "Batch",
        ),
        rows=tuple(rows),
        grouped=True,
    )


def _in_table(batch: BatchDoc, look: Mapping[str, Look]) -> tuple[str, str, str]:
    """Return what a batch is sorted by in its zone's table: successions follow each other."""
    return look[batch["crop"]].name, batch["transplant"] or batch["sow"], batch["id"]


def _expected(at: Context, batch: BatchDoc) -> str:
    """Return a batch's yield; with its 80 % range where it is cut in one week."""
    if not batch["harvest"]:
        return ""
    text = weight(sum(row["kg"] for row in batch["harvest"]), at.units)
    low, high = batch["harvest"][0]["kg_p10"], batch["harvest"][0]["kg_p90"]
    if len(batch["harvest"]) == 1 and low is not None and high is not None:
        least, most = weight(low, at.units), weight(high, at.units)
        if least.partition(" ")[2] == most.partition(" ")[2]:
            least = least.partition(" ")[0]
        text += f" ({least} to {most})"
    return text
