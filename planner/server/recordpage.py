"""What stands on the record page: open jobs with their buttons, forms, the latest entries."""

import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import count

from planner.book import Recorded
from planner.document import PlanDoc
from planner.farmnames import Names
from planner.horizon import monday_of
from planner.jobs import Job, JobLine, Kind, job_key
from planner.marks import CUT_NEAR, DONE, FISH_NEAR, done_keys
from planner.server.keeper import View
from planner.server.recordforms import (
    KEY,
    KIND,
    Field,
    Form,
    amount_fields,
    day_and_words,
    forms,
    hidden,
)
from planner.server.ripening import Ripening, ripening
from planner.words import LB_KG, Units, day_words, figure

LATEST = 15
Keyed = Callable[[Form], Form]  # gives a form its kind and its key
_PART_STEPS = ("sow", "set out", "clear")
_NEAR = {"cut": CUT_NEAR, "take": FISH_NEAR}


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A line of work: its words, what is known of it, one form to tap and others folded away."""

    key: str
    day: str
    text: str
    mark: str
    tap: Form | None
    more: tuple[Form, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Lines of one kind of work under their heading."""

    title: str
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Latest:
    """An entry that may be taken back."""

    number: int
    text: str
    back: Form


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What became of the form that was sent: entered, or not, and then the form again.

    `ripe` says that a batch was entered as ripe: the next one may be tapped at once.
    """

    entered: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    again: Form | None = None
    ripe: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordPage:
    """All that the template puts in order. `lists` are names to choose from, by id."""

    farm: str
    today: str
    planned: bool
    late: tuple[Section, ...]
    week: tuple[Section, ...]
    done: tuple[Item, ...]
    ripening: tuple[Item, ...]
    forms: tuple[Form, ...]
    latest: tuple[Latest, ...]
    lists: Mapping[str, tuple[str, ...]]
    said: Said


def record_page(view: View, today: date, said: Said) -> RecordPage:
    """Return the page of a day; every form has a key of its own, so that it is entered once."""
    keys = _keys()

    def keyed(form: Form) -> Form:
        own = hidden(**{KIND: form.kind, KEY: next(keys)})
        return replace(form, fields=(*own, *form.fields))

    names = view.names
    marks = done_keys(view.jobs, view.entries, units=names.units, known=view.known)
    monday = monday_of(today)
    near = [
        job
        for job in view.jobs
        if monday - timedelta(weeks=1) <= job.day <= monday + timedelta(days=6)
    ]
    lines = [
        (job, item)
        for job in near
        for item in _items(job, view.document, marks, names, today, keyed)
    ]
    is_open = {item.key: not item.mark.startswith(DONE) for _, item in lines}
    late = [(job, item) for job, item in lines if job.day < monday and is_open[item.key]]
    week = [(job, item) for job, item in lines if job.day >= monday and is_open[item.key]]
    return RecordPage(
        farm=view.inputs.farm.name,
        today=day_words(today),
        planned=view.document is not None,
        late=_sections(late),
        week=_sections(week),
        done=tuple(item for job, item in lines if job.day >= monday and not is_open[item.key]),
        ripening=tuple(_ripe(one, today, keyed) for one in _ripening(view, today)),
        forms=tuple(keyed(form) for form in forms(names, today)),
        latest=tuple(_latest(view, entry, keyed) for entry in view.entries[: -LATEST - 1 : -1]),
        lists={
            "crops": tuple(sorted(names.spoken[id] for id in names.grown if id in names.spoken)),
            "batches": tuple(names.batches),
            "lots": (*names.batches, *names.cohorts),
            "lines": tuple(names.lines),
        },
        said=replace(said, again=None if said.again is None else keyed(said.again)),
    )


def _keys() -> Iterator[str]:
    once = secrets.token_urlsafe(16)
    return (f"{once}-{number}" for number in count(1))


def _sections(lines: Sequence[tuple[Job, Item]]) -> tuple[Section, ...]:
    titles = {kind: kind.value.capitalize() for kind in Kind}
    by_kind = {kind: tuple(item for job, item in lines if job.kind is kind) for kind in titles}
    return tuple(
        Section(title=titles[kind], items=items) for kind, items in by_kind.items() if items
    )


def _latest(view: View, entry: Recorded, keyed: Keyed) -> Latest:
    back = Form(
        kind="void",
        title="",
        button="Take back",
        fields=hidden(corrects=str(entry.number)),
    )
    return Latest(number=entry.number, text=view.told(entry), back=keyed(back))


def _ripening(view: View, today: date) -> tuple[Ripening, ...]:
    if view.document is None:
        return ()
    return ripening(view.document, view.inputs.farm.standing, view.entries, today)


def _ripe(one: Ripening, today: date, keyed: Keyed) -> Item:
    """A batch to look at: ripe today in one tap, or on another day."""
    step = hidden(step="ripe", batch=one.batch)
    tap = Form(kind="done", title="Ripe today", button="Ripe today", fields=step)
    day, *_, note = day_and_words(today)
    other = replace(tap, title="Another day", button="Ripe", fields=(*step, day, note))
    return Item(
        key=one.batch,
        day=one.when,
        text=one.text,
        mark="",
        tap=keyed(tap),
        more=(keyed(other),),
    )


def _items(
    job: Job,
    document: PlanDoc | None,
    marks: Mapping[str, str],
    names: Names,
    today: date,
    keyed: Keyed,
) -> Iterator[Item]:
    """Yield a job's lines of work; the water's jobs of a day are one."""
    if job.kind is Kind.WATER:
        text = "; ".join(line.text for line in job.lines)
        yield _item(replace(job.lines[0], text=text), job.day, document, marks, names, today, keyed)
        return
    for line in job.lines:
        yield _item(line, job.day, document, marks, names, today, keyed)


def _item(
    line: JobLine,
    day: date,
    document: PlanDoc | None,
    marks: Mapping[str, str],
    names: Names,
    today: date,
    keyed: Keyed,
) -> Item:
    key = job_key(line.step, line.batch, day)
    step = hidden(step=line.step, batch=line.batch, planned_on=day.isoformat())
    on = Field(name="on", label="Day", look="date", value=today.isoformat())
    done = Form(kind="done", title="Done", button="Done", fields=step)
    more = [replace(done, title="Done, otherwise", fields=(*step, on, *_otherwise(line)))]
    tap: Form | None = done
    if line.step in _NEAR:
        cut = line.step == "cut"
        done = _harvest(line, names) if cut else _fish_harvest(line, day, document, names)
        more = [replace(done, title="Another day", fields=(*done.fields, on, *_lot(cut)))]
        # so far from its day it would not be taken for this line
        if day > today + _NEAR[line.step]:
            tap = None
        elif day < today - _NEAR[line.step]:
            tap = replace(done, fields=(*done.fields, replace(on, value=day.isoformat())))
        else:
            tap = done
    skipped = Form(
        kind="skipped",
        title="Not done",
        button="Not done",
        fields=(
            *step,
            Field(name="until", label="It will be done on", look="date"),
            Field(name="cause", label="Cause"),
        ),
    )
    return Item(
        key=key,
        day=day_words(day),
        text=line.text,
        mark=marks.get(key, ""),
        tap=None if tap is None else keyed(tap),
        more=tuple(keyed(form) for form in (*more, skipped)),
    )


def _otherwise(line: JobLine) -> Iterator[Field]:
    if line.step in _PART_STEPS:
        yield Field(name="parts", label="Parts (blank: all)", look="whole")
    if line.step in ("order", "stock"):
        count_text = f"{line.number:.0f}"
        yield Field(name="count", label="Fish", look="whole", value=count_text)
    yield Field(name="note", label="Note")


def _lot(cut: bool) -> tuple[Field, ...]:
    if not cut:
        return (Field(name="emptied", label="The tank is empty now", look="box"),)
    return (
        Field(name="lot_code", label="Lot code"),
        Field(name="last", label="It will give nothing more", look="box"),
    )


def _harvest(line: JobLine, names: Names) -> Form:
    """A cut with what was planned in it."""
    number, unit = _shown(line.number, names.units) if line.unit == "kg" else (line.number, "")
    amount = amount_fields(names, "Cut", value=_typed(number), unit=unit or line.unit)
    fields = (*hidden(crop=line.crop, batch=line.batch), *amount)
    return Form(kind="harvest", title="Cut", button="Cut", fields=fields)


def _fish_harvest(line: JobLine, day: date, document: PlanDoc | None, names: Names) -> Form:
    """Fish taken out, with what was planned in it."""
    kg, tank = 0.0, line.place
    for cohort in document["cohorts"] if document else ():
        if cohort["id"] == line.batch:
            tank = cohort["tank"]
            kg = sum(t["kg"] for t in cohort["taken"] if t["date"] == day.isoformat())
    weight, unit = _shown(kg, names.units)
    amount = amount_fields(
        names, "Weight together", counted=False, value=_typed(weight) if kg else "", unit=unit
    )
    how_many = Field(
        name="count", label="Fish", look="whole", value=f"{line.number:.0f}", needed=True
    )
    fields = (*hidden(tank=tank), how_many, *amount)
    return Form(kind="fish_harvest", title="Taken", button="Taken", fields=fields)


def _shown(kg: float, units: Units) -> tuple[float, str]:
    """Return a weight in the unit that the grower weighs in."""
    return (kg / LB_KG, "lb") if units == "us" else (kg, "kg")


def _typed(number: float) -> str:
    return figure(number).replace(",", "")
