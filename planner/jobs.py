"""What a job is, and how a day's lines of one kind become one title."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from planner.document import PlaceDoc
from planner.words import Units, places_text, quantity

TITLE_LENGTH = 90


class Kind(StrEnum):
    """Kinds of job, in the order in which a day's jobs are listed."""

    SOW = "sow"
    SET_OUT = "set out"
    CUT = "cut"
    CLEAR = "clear"
    FISH = "fish"
    WATER = "water"


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLine:
    """One thing to do on a day.

    Parameters
    ----------
    text
        What, where and how many, in plain words.
    crop
        Id of the crop or fish; empty for the water as a whole.
    place
        Where, such as `north raft 3-5, 7 (half)`.
    number
        How many of `unit`; SI for weights. [unit]
    unit
        cell, plug, division, cutting, plant, head, bunch, each, kg, bed, board, tower, fish,
        tank, test or mg/L.
    batch
        Id of the batch or cohort; empty on water jobs.
    step
        What is done: sow, set out, cut, clear, order, stock, take, empty or water.
    """

    text: str
    crop: str
    place: str
    number: float
    unit: str
    batch: str
    step: str


def job_key(step: str, batch: str, day: date) -> str:
    """Return the name of one line of work, such as `cut/basil-27w12-1/2027-04-02`."""
    return f"{step}/{batch}/{day.isoformat()}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """Everything of one kind on one day; `title` stands alone, `caution` may be empty."""

    kind: Kind
    day: date
    title: str
    lines: tuple[JobLine, ...]
    caution: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A line and what its job's title needs: a fixed phrase, or a name, a verb and places."""

    day: date
    kind: Kind
    line: JobLine
    phrase: str = ""
    name: str = ""
    verb: str = ""
    places: tuple[PlaceDoc, ...] = ()


def title(kind: Kind, entries: list[Entry], *, parts_of: Mapping[str, int], units: Units) -> str:
    """Return a day's title: the verb, and for each crop how many and where, as far as it fits.

    Batches of one crop are added up; `parts_of` gives the parts of one place by zone.
    """
    if kind in (Kind.FISH, Kind.WATER):
        phrases = list(dict.fromkeys(entry.phrase for entry in entries if entry.phrase))
        return _fitted(f"{kind.capitalize()}: ", phrases)
    head = _head(list(dict.fromkeys(entry.verb for entry in entries)))
    if len(entries) > 1:
        head += f" {len(entries)}"
    nursery = kind is Kind.SOW and not any(entry.places for entry in entries)
    alike: dict[tuple[str, str], list[Entry]] = defaultdict(list)
    for entry in entries:
        alike[entry.name, entry.line.unit].append(entry)
    items = []
    for (name, unit), same in alike.items():
        places = _together(place for entry in same for place in entry.places)
        number = sum(entry.line.number for entry in same)
        if kind is Kind.CLEAR and places:
            number = len(places)
        where = places_text(places, parts_of)
        if not places and not nursery:
            where = "nursery" if kind is Kind.SOW else same[0].line.place
        amount = f"{quantity(number, unit, units)} "
        if kind is Kind.CLEAR and unit in where.casefold():  # not "1 tower tower 5"
            amount = ""
        items.append(f"{name} {amount}{where}".rstrip())
    return _fitted(f"{head}{' in nursery' if nursery else ''}: ", items)


def _together(places: Iterable[PlaceDoc]) -> list[PlaceDoc]:
    """Join the parts that several batches hold in one place."""
    parts: dict[str, int] = defaultdict(int)
    for place in places:
        parts[place["name"]] += place["parts"]
    return [{"name": name, "parts": held} for name, held in parts.items()]


def _head(verbs: list[str]) -> str:
    if len(verbs) == 1:
        return verbs[0]
    if "Pick" in verbs:
        return "Cut and pick"
    return "Sow and start" if "Sow" in verbs else "Start"


def _fitted(head: str, items: list[str]) -> str:
    """Return a title with as many items as fit, and how many more there are."""
    for shown in range(len(items), 0, -1):
        more = f" +{len(items) - shown} more" if shown < len(items) else ""
        text = f"{head}{'; '.join(items[:shown])}{more}"
        if len(text) <= TITLE_LENGTH:
            return text
    more = f"… +{len(items) - 1} more" if len(items) > 1 else "…"
    return f"{head}{items[0]}"[: TITLE_LENGTH - len(more)].rstrip() + more
