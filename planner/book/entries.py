"""What a grower writes in the book, and how it is read; every fault at once."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from pydantic import ValidationError

from planner.book.fields import STEPS
from planner.book.kinds import (
    KINDS,
    WATER_FIGURES,
    Deaths,
    Delivery,
    Done,
    Entry,
    Feed,
    FishHarvest,
    Harvest,
    Loss,
    Note,
    Skipped,
    Void,
    WaterTest,
    Weigh,
)
from planner.errors import InputError, nearest
from planner.quantities import to_day
from planner.wording import sentences, shown

__all__ = [
    "KINDS",
    "STEPS",
    "WATER_FIGURES",
    "Deaths",
    "Delivery",
    "Done",
    "Entry",
    "Feed",
    "FishHarvest",
    "Harvest",
    "Loss",
    "Note",
    "Recorded",
    "Skipped",
    "Void",
    "WaterTest",
    "Weigh",
    "entry_or_faults",
    "read_entry",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """An entry as it stands in the book.

    Parameters
    ----------
    number
        Its number, from 1, in the order of writing.
    written_at
        When it was written, in UTC.
    """

    number: int
    written_at: datetime
    entry: Entry


def read_entry(kind: str, given: Mapping[str, object], *, today: date) -> Entry:
    """Return the entry that `given`, values or texts by field, spells; blank texts are left out.

    Quantities may carry their unit, such as `"5 lb"`.

    Raises
    ------
    InputError
        The kind is not known, or a field is; lists every fault. A day after `today` is one.
    """
    entry, faults = entry_or_faults(kind, given, today=today)
    if entry is None:
        raise InputError(faults)
    return entry


def entry_or_faults(
    kind: str, given: Mapping[str, object], *, today: date
) -> tuple[Entry | None, tuple[str, ...]]:
    """Return the entry that `given` spells, or None and every fault; else as `read_entry`."""
    model = KINDS.get(kind)
    if model is None:
        hint = nearest(kind, KINDS) or f"; the kinds are {', '.join(KINDS)}"
        return None, (f"kind is {shown(kind)}; give a kind of entry{hint}",)
    filled: dict[str, Any] = {
        name: value
        for name, value in given.items()
        if value is not None and not (isinstance(value, str) and not value.strip())
    }
    entry: Entry | None = None
    faults: list[str] = []
    try:
        entry = model.model_validate(filled)
    except ValidationError as fault:
        faults = _faults(fault, model, filled)
    if late := _after(filled.get("on"), today):
        faults.append(late)
    return (None, tuple(faults)) if faults else (entry, ())


def _faults(error: ValidationError, model: type[Entry], given: Mapping[str, Any]) -> list[str]:
    whole = [fault for fault in error.errors(include_url=False) if not fault["loc"]]
    if whole:  # found only when each field is right by itself
        return str(whole[0]["ctx"]["error"]).split("\n")
    return sentences(error, model, given)


def _after(on: object, today: date) -> str | None:
    try:
        day = to_day(on)
    except ValueError:
        return None  # the model has told it
    return (
        f"on is {day}; give the day it happened, not after today, {today}" if day > today else None
    )
