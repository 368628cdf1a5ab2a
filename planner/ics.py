"""The jobs as one iCalendar file (RFC 5545, RFC 7986), for a phone to subscribe to.

Every job is an all-day event. The file has no clock and no chance in it: the same jobs give the
same octets, and an event's stamps change only when what it says has changed.
"""

import re
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, time, timedelta
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
_COLORS = {  # names of CSS colours, as RFC 7986, 5.9 asks
    Kind.SOW: "sienna",
    Kind.SET_OUT: "olivedrab",
    Kind.CUT: "darkgreen",
    Kind.CLEAR: "slategray",
    Kind.FISH: "steelblue",
    Kind.WATER: "darkcyan",
}
_NAMELESS = "Season plan"

Ledger = Mapping[str, tuple[str, int, str]]


def calendar_bytes(
    jobs: Iterable[Job],
    *,
    farm_name: str,
    made_on: date,
    timezone: str,
    ledger: Ledger | None = None,
) -> bytes:
    """Return the calendar file.

    Parameters
    ----------
    jobs
        At least one; no two of the same kind and day.
    farm_name
        Names the calendar and, with kind and day, each event for good.
    made_on
        Day of the plan; new and changed events are stamped with its midnight, UTC.
    timezone
        The greenhouse's zone, told to clients that ask for one; day events do not move with it.
    ledger
        What `updated_ledger` returned for the file before this one. Without it every event is
        stamped `made_on`, with sequence 0.

    Raises
    ------
    ValueError
        No job, two jobs of one kind and day, or a text that is not in the ledger's form.
    zoneinfo.ZoneInfoNotFoundError
        `timezone` is no zone's name.
    """
    jobs = tuple(jobs)
    states = updated_ledger(jobs, farm_name=farm_name, made_on=made_on, ledger=ledger)
    calendar = Calendar()
    calendar.add("VERSION", "2.0")
    calendar.add("PRODID", PRODUCT)
    name = calendar_name(farm_name)
    calendar.add("NAME", vText(name))
    calendar.add("X-WR-CALNAME", vText(name))
    calendar.add("X-WR-TIMEZONE", vText(ZoneInfo(timezone).key))
    calendar.add("REFRESH-INTERVAL", REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("X-PUBLISHED-TTL", "PT6H")
    for job in sorted(jobs, key=lambda job: (job.day, event_uid(farm_name, job))):
        event = _event(job, farm_name)
        _, sequence, stamp = states[str(event["UID"])]
        event.add("SEQUENCE", sequence)
        event.add("DTSTAMP", datetime.fromisoformat(stamp))
        event.add("LAST-MODIFIED", datetime.fromisoformat(stamp))
        calendar.add_component(event)
    return _folded(calendar.to_ical())


def updated_ledger(
    jobs: Iterable[Job], *, farm_name: str, made_on: date, ledger: Ledger | None = None
) -> dict[str, tuple[str, int, str]]:
    """Return, by event UID, the hash of its content, its sequence and its stamp (ISO, UTC).

    An event that says what it said keeps all three. One that changed has its sequence raised and a
    stamp later than before, even when two plans are made on one day. Events that left the file
    stay in the ledger, so that one that comes back does not start at 0 again.
    """
    before = dict(ledger or {})
    after = dict(before)
    midnight = datetime.combine(made_on, time(), UTC)
    seen: set[str] = set()
    for job in jobs:
        uid, content = event_uid(farm_name, job), content_hash(job, farm_name=farm_name)
        if uid in seen:
            raise ValueError(f"two jobs of kind {job.kind} on {job.day}; join them into one")
        seen.add(uid)
        if uid not in before:
            after[uid] = (content, 0, midnight.isoformat())
        elif before[uid][0] != content:
            _, sequence, stamp = before[uid]
            later = max(midnight, datetime.fromisoformat(stamp) + timedelta(seconds=1))
            after[uid] = (content, sequence + 1, later.isoformat())
    if not seen:
        raise ValueError("a calendar needs at least one job")
    return after


def event_uid(farm_name: str, job: Job) -> str:
    """Return the UID of a job's event, from the farm, the kind and the day alone."""
    farm_key = plain(farm_name).casefold()
    return str(uuid5(NAMESPACE, f"{farm_key}/{job.kind}/{job.day.isoformat()}"))


def content_hash(job: Job, *, farm_name: str) -> str:
    """Return a hash of everything in a job's event but its stamps and its sequence."""
    lines = _event(job, farm_name).content_lines()
    return sha256("\n".join(lines).encode()).hexdigest()


def calendar_name(farm_name: str) -> str:
    """Return the farm's name without the characters that some clients show escaped."""
    return plain(re.sub(r'[,;:\\"]', " ", plain(farm_name))) or _NAMELESS


def _event(job: Job, farm_name: str) -> Event:
    """Build an event without stamps."""
    event = Event()
    event.add("UID", event_uid(farm_name, job))
    event.add("DTSTART", job.day)
    event.add("DTEND", job.day + timedelta(days=1))
    event.add("SUMMARY", plain(job.title))
    event.add("DESCRIPTION", "\n".join(_description(job)))
    event.add("CATEGORIES", [job.kind.capitalize()])
    event.add("COLOR", _COLORS[job.kind])
    event.add("STATUS", "CONFIRMED")
    event.add("TRANSP", "TRANSPARENT")
    return event


def _description(job: Job) -> list[str]:
    lines = [f"{plain(line.text)} [{plain(line.batch)}]".removesuffix(" []") for line in job.lines]
    caution = [plain(job.caution)] if job.caution else []
    return [*lines, *caution, f"Page: #{week_anchor(job.day)}"]


def _folded(octets: bytes) -> bytes:
    """Fold lines anew at 75 octets, never within a UTF-8 character or a backslash escape.

    The library's own folding may part two backslashes that belong together.
    """
    lines = octets.replace(b"\r\n ", b"").split(b"\r\n")
    return b"\r\n".join(piece for line in lines for piece in _pieces(line))


def _pieces(line: bytes) -> Iterable[bytes]:
    start, room = 0, LINE_OCTETS
    lead = b""
    while len(line) - start > room:
        end = start + room
        while line[end] & 0xC0 == 0x80:  # a continuation octet of UTF-8
            end -= 1
        backslashes = end - start - len(line[start:end].rstrip(b"\\"))
        end -= backslashes % 2
        yield lead + line[start:end]
        start, room, lead = end, LINE_OCTETS - 1, b" "
    yield lead + line[start:]
