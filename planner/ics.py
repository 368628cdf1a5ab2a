"""The jobs as one iCalendar file (RFC 5545, RFC 7986), for a phone to subscribe to.

Every job is an all-day event. The file has no clock and no chance in it: the same arguments give
the same octets, and an event's stamps change only when what it says has changed.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from hashlib import sha256
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event, vText

from planner.horizon import week_anchor
from planner.tasks import Job, Kind
from planner.words import plain

NAMESPACE = UUID("0b6a3f4e-3d0d-5c0c-9c55-6e4b1a1a7f52")  # of all events; never to be changed
PRODUCT = "-//Sowstock//Season plan//EN"
REFRESH = timedelta(hours=6)
LINE_OCTETS = 75  # RFC 5545, 3.1
KEPT = 2000  # events held ready, for after a record most are as they were
GONE = ""  # stands in the ledger for the content of an event that left the calendar
_COLORS = {  # names of CSS colours, as RFC 7986, 5.9 asks
    Kind.SOW: "sienna",
    Kind.SET_OUT: "olivedrab",
    Kind.CUT: "darkgreen",
    Kind.CLEAR: "slategray",
    Kind.FISH: "steelblue",
    Kind.WATER: "darkcyan",
}
_NAMELESS = "Season plan"
_END = b"END:VCALENDAR\r\n"

Ledger = Mapping[str, tuple[str, int, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class DayEvent:
    """An all-day event before it is stamped: all that its reader sees, and its UID."""

    uid: str
    day: date
    title: str
    lines: tuple[str, ...]
    category: str
    color: str

    def component(self) -> Event:
        """Return the event as the library has it, without stamps."""
        event = Event()
        event.add("UID", self.uid)
        event.add("DTSTART", self.day)
        event.add("DTEND", self.day + timedelta(days=1))
        event.add("SUMMARY", plain(self.title))
        event.add("DESCRIPTION", "\n".join(map(plain, self.lines)))
        event.add("CATEGORIES", [self.category])
        event.add("COLOR", self.color)
        event.add("STATUS", "CONFIRMED")
        event.add("TRANSP", "TRANSPARENT")
        return event


def calendar_bytes(
    jobs: Iterable[Job],
    *,
    farm_name: str,
    made_on: date,
    timezone: str,
    ledger: Ledger | None = None,
    now: datetime | None = None,
) -> bytes:
    """Return the calendar file.

    Parameters
    ----------
    jobs
        At least one; no two of the same kind and day.
    farm_name
        Names the calendar and, with kind and day, each event for good.
    made_on
        Day of the plan.
    timezone
        The greenhouse's zone, told to clients that ask for one; day events do not move with it.
    ledger
        What `updated_ledger` returned for the file before this one. Without it every event is
        stamped as new, with sequence 0.
    now
        Stamp of what is new or changed, to the second; midnight of `made_on`, UTC, if not given.

    Raises
    ------
    ValueError
        No job, two jobs of one kind and day, a `now` without a zone, or a text that is not in the
        ledger's form.
    zoneinfo.ZoneInfoNotFoundError
        `timezone` is no zone's name.
    """
    events = [day_event(job, farm_name) for job in jobs]
    states = updated_states(events, ledger=ledger, now=now or midnight_of(made_on))
    octets = (event_octets(event, states[event.uid]) for event in in_order(events))
    return calendar_of(octets, name=farm_name, timezone=timezone)


def updated_ledger(
    jobs: Iterable[Job],
    *,
    farm_name: str,
    made_on: date,
    ledger: Ledger | None = None,
    now: datetime | None = None,
) -> dict[str, tuple[str, int, str]]:
    """Return the ledger after a file of these jobs; arguments and errors as `calendar_bytes`."""
    events = [day_event(job, farm_name) for job in jobs]
    return updated_states(events, ledger=ledger, now=now or midnight_of(made_on))


def updated_states(
    events: Iterable[DayEvent], *, ledger: Ledger | None, now: datetime
) -> dict[str, tuple[str, int, str]]:
    """Return, by event UID, the hash of its content, its sequence and its stamp (ISO, UTC).

    An event that says what it said keeps all three. One that changed has its sequence raised and
    is stamped `now`, or a second after its last stamp if that is later. Events that left stay in
    the ledger, marked as gone; one that comes back counts as changed, even if it says what it said
    before, for a calendar may have struck it out under its old sequence.
    """
    if now.tzinfo is None:
        raise ValueError("give the time of the change with its zone")
    now = now.astimezone(UTC).replace(microsecond=0)
    before = dict(ledger or {})
    after: dict[str, tuple[str, int, str]] = {}
    for event in events:
        uid, content = event.uid, content_hash(event)
        if uid in after:
            raise ValueError(f"two jobs of kind {event.category.lower()} on {event.day}")
        if uid not in before:
            after[uid] = (content, 0, now.isoformat())
            continue
        told, sequence, stamp = before[uid]
        if told == content:
            after[uid] = before[uid]
        else:
            later = max(now, datetime.fromisoformat(stamp) + timedelta(seconds=1))
            after[uid] = (content, sequence + 1, later.isoformat())
    if not after:
        raise ValueError("a calendar needs at least one job")
    gone = {uid: (GONE, *state[1:]) for uid, state in before.items() if uid not in after}
    return after | gone


def midnight_of(day: date) -> datetime:
    """Return a day's first moment, UTC."""
    return datetime.combine(day, time(), UTC)


def in_order(events: Iterable[DayEvent]) -> list[DayEvent]:
    """Return events as they stand in a file: by day, then by UID."""
    return sorted(events, key=lambda event: (event.day, event.uid))


def event_uid(farm_name: str, job: Job) -> str:
    """Return the UID of a job's event, from the farm, the kind and the day alone."""
    return uid_of(farm_name, f"{job.kind}/{job.day.isoformat()}")


def uid_of(farm_name: str, key: str) -> str:
    """Return the UID of what a farm knows under a key."""
    return str(uuid5(NAMESPACE, f"{plain(farm_name).casefold()}/{key}"))


@lru_cache(maxsize=KEPT)
def content_hash(event: DayEvent) -> str:
    """Return a hash of everything in an event but its stamps and its sequence."""
    return sha256("\n".join(event.component().content_lines()).encode()).hexdigest()


def calendar_name(farm_name: str) -> str:
    """Return the farm's name without the characters that some clients show escaped."""
    return plain(re.sub(r'[,;:\\"]', " ", plain(farm_name))) or _NAMELESS


def day_event(job: Job, farm_name: str) -> DayEvent:
    """Return a job as an event: a line for each batch, then the caution, then the page's week."""
    lines = [f"{plain(line.text)} [{plain(line.batch)}]".removesuffix(" []") for line in job.lines]
    caution = [job.caution] if job.caution else []
    return DayEvent(
        uid=event_uid(farm_name, job),
        day=job.day,
        title=job.title,
        lines=(*lines, *caution, page_line(job.day)),
        category=job.kind.capitalize(),
        color=_COLORS[job.kind],
    )


def page_line(day: date) -> str:
    """Return the line that says where on the plan's page a day's week stands."""
    return f"Page: #{week_anchor(day)}"


@lru_cache(maxsize=KEPT)
def event_octets(event: DayEvent, state: tuple[str, int, str]) -> bytes:
    """Return an event as it stands in every file that holds it, with its state of the ledger."""
    component = event.component()
    _, sequence, stamp = state
    component.add("SEQUENCE", sequence)
    component.add("DTSTAMP", datetime.fromisoformat(stamp))
    component.add("LAST-MODIFIED", datetime.fromisoformat(stamp))
    return _folded(component.to_ical())


def calendar_of(events: Iterable[bytes], *, name: str, timezone: str) -> bytes:
    """Return a calendar file of written events, under a name that clients show."""
    calendar = Calendar()
    calendar.add("VERSION", "2.0")
    calendar.add("PRODID", PRODUCT)
    calendar.add("NAME", vText(calendar_name(name)))
    calendar.add("X-WR-CALNAME", vText(calendar_name(name)))
    calendar.add("X-WR-TIMEZONE", vText(ZoneInfo(timezone).key))
    calendar.add("REFRESH-INTERVAL", REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("X-PUBLISHED-TTL", "PT6H")
    return _folded(calendar.to_ical()).removesuffix(_END) + b"".join(events) + _END


def _folded(octets: bytes) -> bytes:
    """Fold lines anew at 75 octets, never within a UTF-8 character or a backslash escape.

    The library's own folding may part two backslashes that belong together.
    """
    lines = octets.replace(b"\r\n ", b"").split(b"\r\n")
    return b"\r\n".join(piece for line in lines for piece in _pieces(line))


def _pieces(line: bytes) -> Iterable[bytes]:
    start, room, lead = 0, LINE_OCTETS, b""
    while len(line) - start > room:
        end = start + room
        while line[end] & 0xC0 == 0x80:  # a continuation octet of UTF-8
            end -= 1
        backslashes = end - start - len(line[start:end].rstrip(b"\\"))
        end -= backslashes % 2
        yield lead + line[start:end]
        start, room, lead = end, LINE_OCTETS - 1, b" "
    yield lead + line[start:]
