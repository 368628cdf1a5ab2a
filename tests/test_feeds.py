"""The calendars to subscribe to, rule by rule, on the jobs of a real plan and on random ones.

Every rule is checked twice: on the octets, and with a calendar library. The rules are those of
RFC 5545 and RFC 7986; limits on size are what users of calendar services report.
"""

import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfoNotFoundError

import icalendar
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.farm import Person
from planner.feeds import MOST_EVENTS, MOST_OCTETS, Feeds, feeds, offers
from planner.ics import calendar_bytes, event_uid
from planner.planning import make_plan
from planner.season.effort import Effort
from planner.tasks import Job, JobLine, Kind
from tests.farms import write_small_farm
from tests.test_ics import (
    ODD_NAMES,
    assert_octets_are_sound,
    day_of,
    events_of,
    jobs_of,
    unescaped,
    unfolded,
)

FARM, ZONE = "Small farm", "America/Chicago"
MADE_ON = date(2027, 3, 1)
NOW = datetime(2027, 3, 1, 13, 30, 5, tzinfo=UTC)
LATER = NOW + timedelta(days=2, hours=3)
PEOPLE = (
    Person(role="Packer", does=("cut", "clear")),
    Person(role="Fish hand", does=("fish", "water")),
)
KIND_FILES = {f"{kind.value.replace(' ', '-')}.ics": kind for kind in Kind}
FILES = ("all.ics", *KIND_FILES, "packer.ics", "fish-hand.ics")


@pytest.fixture(scope="session")
def real_jobs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Job, ...]:
    """The jobs of half a year of the small farm, as it is planned."""
    rules = "[rules]\nhorizon_weeks = 26\ntail_weeks = 4\n\n[labour]"
    folder = tmp_path_factory.mktemp("feeds") / "farm"
    write_small_farm(folder, farm_toml={"[labour]": rules})
    return make_plan(folder, today=MADE_ON, effort=Effort(work=0)).jobs


def fed(jobs: tuple[Job, ...], **changes: Any) -> Feeds:
    values: dict[str, Any] = {
        "farm_name": FARM,
        "made_on": MADE_ON,
        "timezone": ZONE,
        "people": PEOPLE,
        "ledger": None,
        "now": NOW,
    }
    return feeds(jobs, **(values | changes))


@pytest.fixture(scope="session")
def real(real_jobs: tuple[Job, ...]) -> Feeds:
    return fed(real_jobs)


def pieces(octets: bytes) -> dict[str, bytes]:
    """Each event's octets by UID."""
    found: dict[str, bytes] = {}
    for piece in octets.split(b"BEGIN:VEVENT\r\n")[1:]:
        body, ends, _ = piece.partition(b"END:VEVENT\r\n")
        assert ends
        (uid,) = re.findall(rb"(?m)^UID:(\S+)\r$", body)
        assert uid.decode() not in found  # C4
        found[uid.decode()] = body
    return found


def stamps(octets: bytes) -> dict[str, tuple[int, str]]:
    """Each event's sequence and stamp by UID; DTSTAMP and LAST-MODIFIED are one."""
    found = {}
    for event in events_of(octets):
        assert event["DTSTAMP"] == event["LAST-MODIFIED"]
        assert re.fullmatch(r"\d{8}T\d{6}Z", event["DTSTAMP"])
        found[event["UID"]] = (int(event["SEQUENCE"]), event["DTSTAMP"])
    return found


def a_job(day: date = MADE_ON, kind: Kind = Kind.SOW, text: str = "Sow basil 12 cells") -> Job:
    line = JobLine(
        text=text, crop="basil", place="raft 1", number=12, unit="cell", batch="B1", step=kind.value
    )
    return Job(kind=kind, day=day, title=text, lines=(line,), caution="")


# Which calendars there are, and what each holds


def test_there_is_one_of_all_one_of_each_kind_and_one_of_each_person(real):
    assert tuple(real.files) == FILES


@pytest.mark.parametrize("name", FILES)
def test_each_holds_the_events_of_its_kinds_and_no_others(real, real_jobs, name):
    kinds = {
        "all.ics": set(Kind),
        "packer.ics": {Kind.CUT, Kind.CLEAR},
        "fish-hand.ics": {Kind.FISH, Kind.WATER},
    } | {file: {kind} for file, kind in KIND_FILES.items()}
    asked = {event_uid(FARM, job) for job in real_jobs if job.kind in kinds[name]}
    assert asked
    assert pieces(real.files[name]).keys() == asked


def test_an_event_has_the_same_octets_in_every_calendar_that_holds_it(real):
    whole = pieces(real.files["all.ics"])
    held = 0
    for name in FILES[1:]:
        for uid, octets in pieces(real.files[name]).items():
            assert octets == whole[uid]
            held += 1
    assert held == len(whole) + sum(len(pieces(real.files[n])) for n in FILES[-2:])


def test_the_calendar_of_all_is_the_plans_own_file(real_jobs, real):
    own = calendar_bytes(real_jobs, farm_name=FARM, made_on=MADE_ON, timezone=ZONE, now=NOW)
    assert own == real.files["all.ics"]


def test_a_name_that_is_taken_gets_a_number():
    people = [
        Person(role=role, does=("sow",))
        for role in ("fish", "Set out!", "packer", "Packer", "упаковка", "Küche & Hof", "all", "х")
    ]
    found = offers(people)[7:]
    assert [(offer.name, offer.label) for offer in found] == [
        ("fish-2.ics", "fish 2"),
        ("set-out-2.ics", "Set out! 2"),
        ("packer.ics", "packer"),
        ("packer-2.ics", "Packer 2"),
        ("person.ics", "упаковка"),
        ("kuche-hof.ics", "Küche & Hof"),
        ("all-2.ics", "all 2"),
        ("person-2.ics", "х 2"),
    ]
    every = offers(people)
    assert len({offer.name for offer in every}) == len({o.label for o in every}) == len(every)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.text(min_size=1, max_size=60), max_size=6))
def test_any_roles_make_file_names_that_are_unlike_and_safe(roles):
    people = [Person.model_construct(role=role, does=("cut",)) for role in roles]
    names = [offer.name for offer in offers(people)]
    assert len(set(names)) == len(names) == 7 + len(roles)
    assert all(re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*\.ics", name) for name in names)


def test_calendars_have_names_of_their_own(real):
    names = {
        str(icalendar.Calendar.from_ical(octets)["X-WR-CALNAME"]) for octets in real.files.values()
    }
    assert names == {
        "Small farm",
        *(f"Small farm - {kind.value}" for kind in Kind),
        "Small farm - Packer",
        "Small farm - Fish hand",
    }


# C1 to C3: events on whole days


@pytest.mark.parametrize("name", FILES)
def test_c1_to_c3_all_are_events_on_whole_days_that_end_the_day_after(real, name):
    octets = real.files[name]
    begun = {line for line in unfolded(octets) if line.startswith("BEGIN:")}
    assert begun == {"BEGIN:VCALENDAR", "BEGIN:VEVENT"}
    for event in events_of(octets):
        start, end = event["DTSTART;VALUE=DATE"], event["DTEND;VALUE=DATE"]
        assert day_of(end) == day_of(start) + timedelta(days=1)
    assert not re.search(rb"TZID|RRULE|DURATION:P(?!T6H)", octets.replace(b"\r\n ", b""))
    calendar = icalendar.Calendar.from_ical(octets)
    assert {part.name for part in calendar.subcomponents} == {"VEVENT"}
    for event in calendar.events:
        assert type(event.start) is type(event.end) is date
        assert event.end == event.start + timedelta(days=1)


# C4, C5, C6, C11: identity and change


def test_c4_uids_are_opaque_and_depend_on_farm_kind_and_day_alone(real, real_jobs):
    uids = pieces(real.files["all.ics"])
    assert all(re.fullmatch(r"[0-9a-f-]{14}5[0-9a-f-]{21}", uid) for uid in uids)
    renamed = tuple(replace(job, title="other", lines=(), caution="") for job in real_jobs)
    assert pieces(fed(renamed).files["all.ics"]).keys() == uids.keys()
    assert not pieces(fed(real_jobs, farm_name="Other").files["all.ics"]).keys() & uids.keys()


def test_c5_an_unchanged_plan_keeps_its_octets(real, real_jobs):
    again = fed(real_jobs, ledger=real.ledger, now=LATER)
    assert again == real


def test_c5_one_changed_job_moves_its_own_sequence_and_stamps_and_nothing_else(real, real_jobs):
    number = next(n for n, job in enumerate(real_jobs) if job.kind is Kind.CUT)
    old_job = real_jobs[number]
    changed = (*real_jobs[:number], replace(old_job, title="✓ Cut"), *real_jobs[number + 1 :])
    after = fed(changed, ledger=real.ledger, now=LATER)
    uid = event_uid(FARM, old_job)
    for name in FILES:
        old, new = pieces(real.files[name]), pieces(after.files[name])
        assert [u for u in old if old[u] != new[u]] == [uid] * (uid in old)
        assert old.keys() == new.keys()
        if uid not in old:
            assert real.files[name] == after.files[name]
            continue
        assert stamps(real.files[name])[uid] == (0, "20270301T133005Z")
        assert stamps(after.files[name])[uid] == (1, "20270303T163005Z")
        (read,) = [
            event
            for event in icalendar.Calendar.from_ical(after.files[name]).events
            if event["UID"] == uid
        ]
        assert (read["SEQUENCE"], read.DTSTAMP, read.last_modified) == (1, LATER, LATER)
    assert {u for u in after.ledger if after.ledger[u] != real.ledger[u]} == {uid}


def test_c5_two_plans_at_one_moment_still_move_the_stamp_on(real, real_jobs):
    ledger, uid = real.ledger, event_uid(FARM, real_jobs[0])
    for turn in (1, 2, 3):
        job = replace(real_jobs[0], title=f"turn {turn}")
        after = fed((job, *real_jobs[1:]), ledger=ledger)
        ledger = after.ledger
        stamp = f"20270301T13300{5 + turn}Z"
        assert stamps(after.files["all.ics"])[uid] == (turn, stamp)


def test_c5_a_clock_that_was_put_back_does_not_put_stamps_back(real, real_jobs):
    job = replace(real_jobs[0], title="changed")
    after = fed((job,), ledger=real.ledger, now=NOW - timedelta(days=30))
    assert stamps(after.files["all.ics"]) == {event_uid(FARM, job): (1, "20270301T133006Z")}


def test_c5_a_stamp_is_the_moment_of_the_change_in_utc_to_the_second():
    local = datetime.fromisoformat("2027-03-01T07:30:05.999-06:00")
    assert fed((a_job(),), now=local) == fed((a_job(),))


def test_c6_the_same_arguments_give_the_same_octets(real, real_jobs):
    assert fed(real_jobs) == real
    assert fed(tuple(reversed(real_jobs))).files == real.files
    code = (
        "import sys; from tests.test_feeds import fed; from tests.test_ics import jobs_of;"
        "sys.stdout.buffer.write(b''.join(fed(jobs_of()).files.values()))"
    )
    run = subprocess.run(
        [sys.executable, "-c", code],
        env=os.environ | {"PYTHONHASHSEED": "1", "TZ": "Asia/Tokyo"},
        cwd=Path(__file__).parents[1],
        capture_output=True,
        check=True,
    )
    assert run.stdout == b"".join(fed(jobs_of()).files.values())


def test_c11_an_event_that_left_is_in_no_file_and_goes_on_with_its_count_when_it_is_back(
    real, real_jobs
):
    uid = event_uid(FARM, real_jobs[0])
    gone = fed(real_jobs[1:], ledger=real.ledger, now=LATER)
    for octets in gone.files.values():
        assert uid not in pieces(octets)
        assert b"CANCELLED" not in octets
    back = fed(real_jobs, ledger=gone.ledger, now=LATER + timedelta(days=1))
    assert stamps(back.files["all.ics"])[uid] == (1, "20270304T163005Z")
    others = pieces(real.files["all.ics"]).keys() - {uid}
    old, new = pieces(real.files["all.ics"]), pieces(back.files["all.ics"])
    assert all(old[other] == new[other] for other in others)
    assert fed(real_jobs, ledger=back.ledger, now=LATER + timedelta(days=9)) == back


DAYS = tuple(MADE_ON + timedelta(days=day) for day in (0, 1, 40))
KEYS = tuple((kind, day) for kind in (Kind.SOW, Kind.CUT, Kind.FISH) for day in DAYS)
PLANS = st.lists(
    st.tuples(
        st.dictionaries(st.sampled_from(KEYS), st.sampled_from(("a 1", "b 2", "c 3"))),
        st.integers(min_value=-5, max_value=90_000),
    ),
    min_size=1,
    max_size=6,
)


@settings(max_examples=30, deadline=None)
@given(PLANS)
def test_any_course_of_plans_raises_what_changed_and_leaves_the_rest(plans):
    ledger: Any = None
    seen: dict[str, tuple[int, str]] = {}  # the last state in which a subscriber saw each event
    before: dict[str, bytes] = {}
    now = NOW
    for titles, seconds in plans:
        now += timedelta(seconds=seconds)
        jobs = tuple(a_job(day, kind, text) for (kind, day), text in titles.items())
        result = fed(jobs, ledger=ledger, now=now)
        ledger = result.ledger
        whole: dict[str, bytes] = {}
        for octets in result.files.values():
            assert_octets_are_sound(octets)
            assert icalendar.Calendar.from_ical(octets).events
            for uid, body in pieces(octets).items():
                assert whole.setdefault(uid, body) == body
        states = {u: s for octets in result.files.values() for u, s in stamps(octets).items()}
        unstamped = {uid: told(body) for uid, body in whole.items()}
        for uid, (sequence, stamp) in states.items():
            if uid in before and told(before[uid]) == unstamped[uid]:
                assert whole[uid] == before[uid]
            elif uid in seen:
                assert sequence == seen[uid][0] + 1
                assert stamp > seen[uid][1]
            else:
                assert sequence == 0
                assert stamp == now.strftime("%Y%m%dT%H%M%SZ")
        seen |= states
        before = whole
        assert fed(jobs, ledger=ledger, now=now + timedelta(days=1)) == result


def told(body: bytes) -> bytes:
    """An event's octets without stamps and sequence."""
    return re.sub(rb"(?m)^(SEQUENCE|DTSTAMP|LAST-MODIFIED):.*\r\n", b"", body)


# C7 to C10, C12, C14: what is written, and how


@pytest.mark.parametrize("name", FILES)
def test_c7_the_head_says_who_made_it_and_how_often_to_look(real, name):
    octets = real.files[name]
    lines = unfolded(octets)
    title = lines[3].removeprefix("NAME:")
    assert title.startswith("Small farm")
    assert lines[: lines.index("BEGIN:VEVENT")] == [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Sowstock//Season plan//EN",
        f"NAME:{title}",
        f"X-WR-CALNAME:{title}",
        "REFRESH-INTERVAL;VALUE=DURATION:PT6H",
        "X-PUBLISHED-TTL:PT6H",
        "X-WR-TIMEZONE:America/Chicago",
    ]
    calendar = icalendar.Calendar.from_ical(octets)
    assert not any(part.errors for part in calendar.walk())
    assert not {"METHOD", "UID", "SOURCE"} & set(calendar)


@pytest.mark.parametrize("name", FILES)
def test_c8_octets_are_folded_by_octets_and_end_in_crlf(real, name):
    assert_octets_are_sound(real.files[name])


@pytest.mark.parametrize("odd", ODD_NAMES)
def test_c9_odd_texts_are_escaped_in_every_calendar_and_read_back(odd):
    people = (Person.model_construct(role=odd, does=("sow",)),)
    result = fed((a_job(text=f"Sow {odd}"),), farm_name=odd, people=people)
    for octets in result.files.values():
        assert_octets_are_sound(octets)
        (read,) = icalendar.Calendar.from_ical(octets).events
        (event,) = events_of(octets)
        assert str(read["SUMMARY"]) == unescaped(event["SUMMARY"])
        assert octets.count(b"\r\nBEGIN:VEVENT\r\n") == 1
    seen = re.sub(r"[\x00\x07\x1b]", "", odd).replace("\r\n", " ").replace("\u2028", " ")
    assert unescaped(events_of(result.files["all.ics"])[0]["SUMMARY"]) == f"Sow {seen}"


@pytest.mark.parametrize("name", FILES)
def test_c10_days_are_free_and_confirmed(real, name):
    calendar = icalendar.Calendar.from_ical(real.files[name])
    assert {event["TRANSP"] for event in calendar.events} == {"TRANSPARENT"}
    assert {event["STATUS"] for event in calendar.events} == {"CONFIRMED"}
    count = len(calendar.events)
    assert real.files[name].count(b"\r\nTRANSP:TRANSPARENT\r\n") == count
    assert real.files[name].count(b"\r\nSTATUS:CONFIRMED\r\n") == count


def test_c12_titles_stand_alone_without_alarms(real, real_jobs):
    titles = {job.title for job in real_jobs}
    for event in events_of(real.files["all.ics"]):
        assert re.search(r"^[A-Z].*\d", event["SUMMARY"])
        assert unescaped(event["SUMMARY"]) in titles
    assert b"VALARM" not in real.files["all.ics"]


@pytest.mark.parametrize("name", FILES)
def test_c14_no_two_events_look_alike(real, name):
    calendar = icalendar.Calendar.from_ical(real.files[name])
    looks = {(e.start, str(e["SUMMARY"]), str(e["DESCRIPTION"])) for e in calendar.events}
    assert len(looks) == len(calendar.events)


# Calendars without a job


def test_a_calendar_without_a_job_holds_one_event_that_says_so():
    result = fed((a_job(),))
    (event,) = events_of(result.files["fish.ics"])
    assert event["SUMMARY"] == "Nothing planned: fish"
    assert day_of(event["DTSTART;VALUE=DATE"]) == MADE_ON
    (packer,) = events_of(result.files["packer.ics"])
    assert packer["SUMMARY"] == "Nothing planned: Packer"
    assert len(events_of(result.files["all.ics"])) == len(events_of(result.files["sow.ics"])) == 1
    nothing = fed(())
    titles = [events_of(octets)[0]["SUMMARY"] for octets in nothing.files.values()]
    assert titles[0] == "Nothing planned"
    assert len({uid for octets in nothing.files.values() for uid in pieces(octets)}) == len(FILES)
    for octets in nothing.files.values():
        assert_octets_are_sound(octets)
        assert len(icalendar.Calendar.from_ical(octets).events) == 1


def test_an_empty_calendar_that_fills_loses_the_word_of_it_and_may_be_empty_again():
    empty = fed((a_job(),))
    (uid,) = pieces(empty.files["fish.ics"])
    full = fed((a_job(), a_job(kind=Kind.FISH)), ledger=empty.ledger, now=LATER)
    assert pieces(full.files["fish.ics"]).keys() == {event_uid(FARM, a_job(kind=Kind.FISH))}
    again = fed((a_job(),), ledger=full.ledger, now=LATER + timedelta(days=1))
    assert stamps(again.files["fish.ics"]) == {uid: (1, "20270304T163005Z")}


def test_the_next_plan_moves_the_word_of_an_empty_calendar_to_its_own_day():
    first = fed((a_job(),))
    day = MADE_ON + timedelta(days=7)
    second = fed((a_job(day),), made_on=day, ledger=first.ledger, now=NOW + timedelta(days=7))
    assert pieces(first.files["fish.ics"]).keys() == pieces(second.files["fish.ics"]).keys()
    (event,) = events_of(second.files["fish.ics"])
    assert (event["SEQUENCE"], event["DTSTART;VALUE=DATE"]) == ("1", "20270308")


# C13: size


def daily(days: int, *, first: date = MADE_ON, text: str = "1 job") -> tuple[Job, ...]:
    return tuple(
        a_job(first + timedelta(days=day), kind, f"{kind} {text}")
        for day in range(days)
        for kind in Kind
    )


def days_in(octets: bytes) -> list[date]:
    return sorted(day_of(event["DTSTART;VALUE=DATE"]) for event in events_of(octets))


def test_c13_the_real_plan_is_whole(real, real_jobs):
    assert len(pieces(real.files["all.ics"])) == len(real_jobs) <= MOST_EVENTS
    assert len(real.files["all.ics"]) <= MOST_OCTETS


def test_c13_as_many_events_as_are_taken_are_all_kept():
    jobs = daily(170)[:MOST_EVENTS]
    assert len(pieces(fed(jobs).files["all.ics"])) == MOST_EVENTS


def test_c13_too_many_events_leave_a_window_of_the_days_nearest_to_today():
    first = MADE_ON - timedelta(days=60)
    jobs = daily(300, first=first)
    result = fed(jobs)
    held = days_in(result.files["all.ics"])
    assert MOST_EVENTS - 6 < len(held) <= MOST_EVENTS
    assert held[0] == MADE_ON - timedelta(days=30)
    span = (held[-1] - held[0]).days + 1
    assert span * 6 == len(held)  # whole days without a hole
    assert days_in(result.files["sow.ics"]) == sorted({job.day for job in jobs})  # it has room
    assert len(result.ledger) == len(jobs)


def test_c13_the_window_alone_is_enough_where_it_makes_it_fit():
    jobs = daily(510, first=MADE_ON - timedelta(days=60))
    jobs = tuple(job for job in jobs if job.kind in (Kind.SOW, Kind.CUT))
    assert len(jobs) > MOST_EVENTS
    held = days_in(fed(jobs).files["all.ics"])
    assert (held[0], held[-1]) == (MADE_ON - timedelta(days=30), MADE_ON + timedelta(days=365))
    assert len(held) == 2 * 396


@pytest.mark.parametrize(("octets_each", "days"), [(3_000, 80), (20_000, 30)])
def test_c13_long_texts_shorten_the_calendar_to_under_a_million_octets(octets_each, days):
    jobs = daily(days, text="ж" * (octets_each // 4), first=MADE_ON - timedelta(days=5))
    octets = fed(jobs).files["all.ics"]
    held = days_in(octets)
    assert 900_000 - 6 * octets_each < len(octets) < 1_000_000
    assert held[0] <= MADE_ON <= held[-1]
    assert len(held) == 6 * ((held[-1] - held[0]).days + 1)
    assert_octets_are_sound(octets)


def test_c13_one_event_too_large_is_better_than_none():
    jobs = (a_job(text="x" * 1_100_000), a_job(MADE_ON + timedelta(days=1), text="x" * 1_100_000))
    assert pieces(fed(jobs).files["all.ics"]).keys() == {event_uid(FARM, jobs[0])}


def test_c13_jobs_all_beyond_the_window_are_not_an_empty_calendar():
    jobs = daily(200, first=MADE_ON + timedelta(days=500))
    held = days_in(fed(jobs).files["all.ics"])
    assert held[0] == MADE_ON + timedelta(days=500)
    assert len(held) == MOST_EVENTS // 6 * 6


def test_c13_today_is_the_day_at_the_farm():
    late = datetime(2027, 3, 2, 3, tzinfo=UTC)  # still 1 March in Chicago
    jobs = daily(300, first=MADE_ON - timedelta(days=60))
    assert days_in(fed(jobs, now=late).files["all.ics"])[0] == MADE_ON - timedelta(days=30)
    tokyo = fed(jobs, now=late, timezone="Asia/Tokyo").files["all.ics"]
    assert days_in(tokyo)[0] == MADE_ON - timedelta(days=29)


def test_c13_an_event_that_enters_the_window_later_has_kept_its_state():
    jobs = daily(300)
    first = fed(jobs)
    later = fed(jobs, ledger=first.ledger, now=NOW + timedelta(days=60))
    new = pieces(later.files["all.ics"]).keys() - pieces(first.files["all.ics"]).keys()
    assert new
    assert later.ledger == first.ledger
    assert {stamps(later.files["all.ics"])[uid] for uid in new} == {(0, "20270301T133005Z")}


# Refused


def test_two_jobs_of_a_kind_and_day_are_refused():
    with pytest.raises(ValueError, match="two jobs of kind sow"):
        fed((a_job(text="one"), a_job(text="two")))


def test_a_time_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="with its zone"):
        fed((a_job(),), now=datetime(2027, 3, 1, 12))


def test_an_unknown_zone_is_refused():
    with pytest.raises(ZoneInfoNotFoundError):
        fed((a_job(),), timezone="America/Nowhere")
