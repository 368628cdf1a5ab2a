"""Which batches are to be looked at, so that one tap can say on which day they were ripe."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from planner.book import Done, Harvest, Loss, Recorded, Skipped
from planner.document import BatchDoc, PlanDoc
from planner.farm import Standing
from planner.ranges import days_range
from planner.words import day_words, natural, places_text, plain, spoken

NEAR = timedelta(days=14)  # before the plan's day and after it, a batch is asked about; judgement

_OfBatch = Done | Skipped | Harvest | Loss


@dataclass(frozen=True, slots=True, kw_only=True)
class Ripening:
    """A batch that stands, was not cut yet and of which nobody has said that it is ripe.

    Parameters
    ----------
    batch
        Its id, as an entry names it.
    due
        Day from which the plan has it ripe, or the day of its first cut when that comes sooner.
    text
        Crop and place.
    when
        When its first cut is to be looked for, in words.
    """

    batch: str
    due: date
    text: str
    when: str


def ripening(
    document: PlanDoc, rows: Iterable[Standing], entries: Sequence[Recorded], today: date
) -> tuple[Ripening, ...]:
    """Return the batches that may be ripe by now or soon, the earliest first.

    These are the ones that are due within two weeks or were due in the last two, and those whose
    first cut was put off.

    Parameters
    ----------
    rows
        Of the farm's `growing.csv`, as it stands.
    entries
        In force, by number.
    """
    known = _known(document, rows)
    found = (
        _asked(batch, _said(batch, entries, document["book_entries"]), document, today)
        for batch in document["batches"]
        if batch["state"] != "cutting" and not known & {batch["id"], batch["origin"]}
    )
    asked = (one for one in found if one is not None)
    return tuple(sorted(asked, key=lambda one: (one.due, natural(one.text), one.batch)))


def _known(document: PlanDoc, rows: Iterable[Standing]) -> set[str | None]:
    """Return the batches that a list calls ripe, cut or finished."""
    house = document["house"]["standing"]
    return {row["id"] for row in house if row.get("finished")} | {
        row.id
        for row in rows
        if row.finished or row.first_cut or (row.ripe is not None and row.ripe <= row.as_of)
    }


def _said(batch: BatchDoc, entries: Iterable[Recorded], known: int) -> list[tuple[bool, _OfBatch]]:
    """Return what the book tells of a batch, and whether the plan did not know it yet.

    What was told before the plan of the batch that this is a share of, is told of the share too.
    What is older than its sowing is of another batch that had the same name.
    """
    sown = date.fromisoformat(batch["sow"])
    return [
        (one.number > known, one.entry)
        for one in entries
        if isinstance(one.entry, _OfBatch)
        and one.entry.on >= sown
        and (
            one.entry.batch == batch["id"]
            or (one.number <= known and one.entry.batch == batch["origin"])
        )
    ]


def _asked(
    batch: BatchDoc, said: Sequence[tuple[bool, _OfBatch]], document: PlanDoc, today: date
) -> Ripening | None:
    told = [entry for _, entry in said]
    if any(_is_ripe(entry) for entry in told) or not _is_set_out(batch, told, today):
        return None
    if sum(_gone(entry, batch) for is_news, entry in said if is_news) >= batch["parts"]:
        return None
    put_off = _put_off(told)
    if put_off is None and not _due(batch) - NEAR <= today <= _first_cut(batch) + NEAR:
        return None
    parts_of = {plain(zone["name"]): zone["parts"] for zone in document["zones"]}
    where = places_text(batch["places"], parts_of) or plain(batch["zone"])
    crop = document["crops"].get(batch["crop"], batch["crop"])
    return Ripening(
        batch=batch["id"],
        due=_due(batch),
        text=f"{spoken(crop)}, {where}",
        when="; ".join(_when(batch, put_off)),
    )


def _is_ripe(entry: _OfBatch) -> bool:
    """Whether an entry tells that a batch was ripe or cut."""
    return isinstance(entry, Harvest) or (isinstance(entry, Done) and entry.step in ("ripe", "cut"))


def _is_set_out(batch: BatchDoc, told: Iterable[_OfBatch], today: date) -> bool:
    """Whether it stands where it grows: by the last word on that, else by the plan."""
    words = [e for e in told if isinstance(e, Done | Skipped) and e.step in ("sow", "set out")]
    last = words[-1] if words else None
    if isinstance(last, Skipped):
        return last.until is not None and last.until <= today
    if last is not None and last.step == "set out":
        return True
    return date.fromisoformat(batch["transplant"] or batch["sow"]) <= today


def _gone(entry: _OfBatch, batch: BatchDoc) -> int:
    """Parts that an entry tells are lost or cleared. [-]"""
    if isinstance(entry, Loss) or (isinstance(entry, Done) and entry.step == "clear"):
        return batch["parts"] if entry.parts is None else entry.parts
    return 0


def _put_off(told: Iterable[_OfBatch]) -> Skipped | None:
    """Return the last word that it was not cut."""
    waits = [e for e in told if isinstance(e, Skipped) and e.step == "cut"]
    return waits[-1] if waits else None


def _due(batch: BatchDoc) -> date:
    return min(date.fromisoformat(batch["ripe"]), _first_cut(batch))


def _first_cut(batch: BatchDoc) -> date:
    """Day of the first cut; of one that has none within the horizon, the day it is ripe."""
    return date.fromisoformat(batch["first_harvest"] or batch["ripe"])


def _when(batch: BatchDoc, put_off: Skipped | None) -> Iterator[str]:
    low, high = batch["first_harvest_p10"], batch["first_harvest_p90"]
    if batch["first_harvest"] is None:
        yield f"ripe by plan {day_words(_first_cut(batch))}"
    elif low is None or low == high:
        yield f"first cut planned {day_words(_first_cut(batch))}"
    else:
        last = None if high is None else date.fromisoformat(high)
        yield f"first cut likely {days_range(date.fromisoformat(low), last)}"
    if put_off is not None:
        yield "put off" + (f" to {day_words(put_off.until)}" if put_off.until else "")
