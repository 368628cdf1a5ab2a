"""The calendars to subscribe to: all jobs, each kind of work, each person's kinds.

A day's work of one kind is one event with one UID, and stands with the same octets in every
calendar that holds it, so that a phone with two of them never sees two versions.
"""

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

from planner import ics
from planner.farm import Person
from planner.tasks import Job, Kind
from planner.words import plain

MOST_OCTETS = 999_999  # users report that larger files are refused
MOST_EVENTS = 1000  # and that beyond about this many events are lost
BACK = timedelta(days=30)
AHEAD = timedelta(days=365)
EVERYTHING = "all.ics"
_EMPTY_COLOR = "gray"
_SLUG_LENGTH = 40
_SLUGLESS = "person"


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A calendar that is offered.

    Parameters
    ----------
    name
        Of its file, such as `set-out.ics`.
    label
        In words, such as `set out` or `packer`; empty for the one that holds everything.
    kinds
        Kinds of work in it.
    """

    name: str
    label: str
    kinds: frozenset[Kind]


@dataclass(frozen=True, slots=True, kw_only=True)
class Feeds:
    """Calendar files by name, and the ledger after them."""

    files: Mapping[str, bytes]
    ledger: Mapping[str, tuple[str, int, str]]


def offers(people: Sequence[Person]) -> tuple[Offer, ...]:
    """Return the calendars of a farm: all, one for each kind of work, one for each person.

    A person's file is named by the role. Where that name is taken, by a kind or by one before, a
    number follows it.
    """
    found = [Offer(name=EVERYTHING, label="", kinds=frozenset(Kind))]
    found += [
        Offer(name=f"{_slug(kind)}.ics", label=kind.value, kinds=frozenset([kind])) for kind in Kind
    ]
    taken = {offer.name for offer in found}
    for person in people:
        slug, label, number = _slug(person.role) or _SLUGLESS, plain(person.role), 1
        while (name := f"{slug}{f'-{number}' if number > 1 else ''}.ics") in taken:
            number += 1
        taken.add(name)
        label += f" {number}" if number > 1 else ""
        found.append(Offer(name=name, label=label, kinds=frozenset(map(Kind, person.does))))
    return tuple(found)


def feeds(
    jobs: Iterable[Job],
    *,
    farm_name: str,
    made_on: date,
    timezone: str,
    people: Sequence[Person],
    ledger: ics.Ledger | None,
    now: datetime,
) -> Feeds:
    """Return every calendar of the farm.

    A calendar without a job holds one event on the day of the plan that says so: RFC 5545 (3.6)
    asks for a component, and a file without events makes some clients forget all they had and
    others take it for a fault.

    One that is larger than calendar services take holds what lies from 30 days before to 365 days
    after today; if that is still too large, the days nearest to today.

    Parameters
    ----------
    jobs
        Of the plan in force, with the book's marks; no two of the same kind and day.
    farm_name, made_on, timezone
        As `ics.calendar_bytes`.
    people
        Roles and what they do.
    ledger
        What stood in `Feeds.ledger` last; None for the first time.
    now
        With a zone. Stamps what is new or changed; its day in `timezone` is today.

    Raises
    ------
    ValueError
        Two jobs of one kind and day, or a `now` without a zone.
    zoneinfo.ZoneInfoNotFoundError
        `timezone` is no zone's name.
    """
    dated = [(job.kind, ics.day_event(job, farm_name)) for job in jobs]
    held: dict[Offer, list[ics.DayEvent]] = {}
    events = [event for _, event in dated]
    for offer in offers(people):
        held[offer] = [event for kind, event in dated if kind in offer.kinds]
        if not held[offer]:
            held[offer] = [_nothing_planned(offer, farm_name, made_on)]
            events += held[offer]
    states = ics.updated_states(events, ledger=ledger, now=now)
    octets = {event.uid: ics.event_octets(event, states[event.uid]) for event in events}
    today = now.astimezone(ZoneInfo(timezone)).date()
    files: dict[str, bytes] = {}
    for offer, its in held.items():
        name = f"{farm_name} - {offer.label}" if offer.label else farm_name
        room = MOST_OCTETS - len(ics.calendar_of((), name=name, timezone=timezone))
        fitting = ics.in_order(_fitting(its, octets, today=today, room=room))
        files[offer.name] = ics.calendar_of(
            (octets[event.uid] for event in fitting), name=name, timezone=timezone
        )
    return Feeds(files=files, ledger=states)


def _nothing_planned(offer: Offer, farm_name: str, made_on: date) -> ics.DayEvent:
    """The event of a calendar without jobs."""
    title = "Nothing planned"
    return ics.DayEvent(
        uid=ics.uid_of(farm_name, f"nothing planned/{offer.name}"),
        day=made_on,
        title=f"{title}: {offer.label}" if offer.label else title,
        lines=("The plan of this day has no job for this calendar.", ics.page_line(made_on)),
        category="Plan",
        color=_EMPTY_COLOR,
    )


def _fitting(
    events: Sequence[ics.DayEvent], octets: Mapping[str, bytes], *, today: date, room: int
) -> list[ics.DayEvent]:
    """Return the events that a calendar has room for: whole days, the nearest to today first."""
    if _fits(events, octets, room):
        return list(events)
    near = [event for event in events if -BACK <= event.day - today <= AHEAD] or events

    def gap(event: ics.DayEvent) -> timedelta:
        return abs(event.day - today)

    nearest = sorted(near, key=lambda event: (gap(event), event.day, event.uid))
    kept: list[ics.DayEvent] = []
    for _, days in groupby(nearest, key=gap):
        more = [*kept, *days]
        if not _fits(more, octets, room):
            break
        kept = more
    return kept or nearest[:1]  # one event too large is better than none


def _fits(events: Sequence[ics.DayEvent], octets: Mapping[str, bytes], room: int) -> bool:
    return len(events) <= MOST_EVENTS and sum(len(octets[event.uid]) for event in events) <= room


def _slug(text: str) -> str:
    """Return a text as a file is named in an address: small ASCII letters, digits and hyphens."""
    letters = unicodedata.normalize("NFKD", text.casefold()).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", letters).strip("-")[:_SLUG_LENGTH].strip("-")
