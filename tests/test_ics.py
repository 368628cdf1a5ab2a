"""The calendar file, octet by octet, as two independent readers see it, and from plan to plan.

Rules on lines, escapes, dates and stamps are those of RFC 5545 (3.1, 3.3.11, 3.6.1, 3.8.7) and
RFC 7986 (5.1, 5.7, 5.9). Limits on size are what users of calendar services report.
"""

import os
import re
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfoNotFoundError

import icalendar
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.document import PlanDoc
from planner.ics import (
    calendar_bytes,
    calendar_name,
    content_hash,
    day_event,
    event_uid,
    updated_ledger,
)
from planner.tasks import Job, JobLine, Kind, dated
from tests.plandocs import CROPS, FISH, MADE_ON, small_plan
from tests.test_tasks import asked_for

ODD_NAMES = (
    'Frost & Fin, Ltd; \\ "The Tanks"',
    "Glashaus Ü — 温室 🐟🌿👩🏽‍🌾",
    "line\r\nBEGIN:VEVENT\r\nbreak\x00\x07\x1b\u2028end",
    "back\\\\\\slashes" * 20,
    "é" * 200,
    "🐟" * 100,
    "\\n\\,\\;\\\\",
)


def jobs_of(document: PlanDoc | None = None) -> tuple[Job, ...]:
    return dated(document or small_plan(), crops=CROPS, fish=FISH, units="us")


def written(jobs: tuple[Job, ...] | None = None, **options: Any) -> bytes:
    settings: dict[str, Any] = {
        "farm_name": "Small House",
        "made_on": MADE_ON,
        "timezone": "America/Winnipeg",
    }
    return calendar_bytes(jobs_of() if jobs is None else jobs, **(settings | options))


def a_job(text: str = "Sow basil", **changes: Any) -> Job:
    line = JobLine(
        text=text, crop="basil", place="raft 1", number=1, unit="cell", batch="B0001", step="sow"
    )
    values: dict[str, Any] = {
        "kind": Kind.SOW,
        "day": MADE_ON,
        "title": text,
        "lines": (line,),
        "caution": "",
    }
    return Job(**(values | changes))


def unfolded(octets: bytes) -> list[str]:
    """Logical lines, by RFC 5545 3.1 alone."""
    return octets.replace(b"\r\n ", b"").decode("utf-8").split("\r\n")[:-1]


def events_of(octets: bytes) -> list[dict[str, str]]:
    """Events as names and raw values, read without a calendar library."""
    events: list[dict[str, str]] = []
    for line in unfolded(octets):
        name, _, value = line.partition(":")
        if line == "BEGIN:VEVENT":
            events.append({})
        elif events and not line.startswith("END:"):
            assert name not in events[-1]
            events[-1][name] = value
    return events


def unescaped(value: str) -> str:
    return re.sub(r"\\(.)", lambda m: "\n" if m[1] in "nN" else m[1], value)


def day_of(value: str) -> date:
    return datetime.strptime(value, "%Y%m%d").date()


def assert_octets_are_sound(octets: bytes) -> None:
    assert octets.startswith(b"BEGIN:VCALENDAR\r\n")
    assert octets.endswith(b"END:VCALENDAR\r\n")
    assert octets.count(b"\n") == octets.count(b"\r") == octets.count(b"\r\n")
    for line in octets.split(b"\r\n")[:-1]:
        assert 0 < len(line) <= 75
        line.decode("utf-8")  # no fold inside a character
        backslashes = len(line) - len(line.rstrip(b"\\"))
        assert backslashes % 2 == 0  # no fold inside an escape
    for line in unfolded(octets):
        assert not re.search(r"[\x00-\x1f\x7f\x80-\x9f\u2028\u2029]", line)


# What stands in it


def told_by(events: list[dict[str, str]]) -> Counter[tuple[Kind, date, str]]:
    kinds = {kind.capitalize(): kind for kind in Kind}
    return Counter(
        (kinds[event["CATEGORIES"]], day_of(event["DTSTART;VALUE=DATE"]), batch)
        for event in events
        for batch in re.findall(r"\[([BC]\d+)\](?=\n)", unescaped(event["DESCRIPTION"]))
    )


@pytest.mark.parametrize("weeks", [4, 20, 52])
def test_every_dated_job_stands_in_one_event_and_every_event_in_the_plan(weeks):
    document = small_plan(weeks=weeks)
    events = events_of(written(jobs_of(document)))
    assert told_by(events) == asked_for(document)
    water = [event for event in events if event["CATEGORIES"] == "Water"]
    assert len(water) == weeks
    assert all("[" not in event["DESCRIPTION"] for event in water)


def test_first_cuts_stockings_and_harvests_are_each_told_once():
    document = small_plan()
    text = "\n".join(unescaped(event["DESCRIPTION"]) for event in events_of(written()))
    for batch in document["batches"]:
        first = [f for f in re.findall(r"First (?:cut|pick): .*", text) if batch["id"] in f]
        in_time = batch["first_harvest"] < "2027-07-19" and batch["state"] != "cutting"
        once_only = len(batch["cuts"]) == 1
        assert len(first) == (in_time and not once_only)
        whole = [f for f in re.findall(r"Cut all: .*", text) if batch["id"] in f]
        assert len(whole) == (in_time and once_only)
    for cohort in document["cohorts"]:
        stocked = [f for f in re.findall(r"Stock .*", text) if cohort["id"] in f]
        assert len(stocked) == (cohort["stock"] >= document["made_on"])
        taken = [f for f in re.findall(r"Take .* from .*", text) if cohort["id"] in f]
        assert len(taken) == len(cohort["taken"])


def test_a_description_has_a_line_for_each_batch_then_the_caution_then_the_page():
    jobs = {(job.kind, job.day): job for job in jobs_of()}
    job = jobs[Kind.CUT, date(2027, 4, 1)]
    (event,) = events_of(written((job,)))
    lines = unescaped(event["DESCRIPTION"]).split("\n")
    assert lines == [
        "Last cut: Genovese basil, 1 bed north gravel 1 (half), 1.98 lb [B0004]",
        "First pick: cherry tomato, 1 bed north gravel 2 (half), 1.65 lb [B0009]",
        job.caution,
        "Page: #w2027-13",
    ]


def test_the_weeks_anchor_follows_the_iso_year():
    (event,) = events_of(written((a_job(day=date(2027, 1, 3)),)))
    assert event["DESCRIPTION"].endswith("Page: #w2026-53")


# C1, C2, C3, C7, C10, C12, C14: what is written


def test_all_are_events_on_whole_days_that_end_the_day_after():
    octets = written()
    begun = Counter(line for line in unfolded(octets) if line.startswith("BEGIN:"))
    assert set(begun) == {"BEGIN:VCALENDAR", "BEGIN:VEVENT"}
    for event in events_of(octets):
        start, end = event["DTSTART;VALUE=DATE"], event["DTEND;VALUE=DATE"]
        assert day_of(end) - day_of(start) == timedelta(days=1)
        assert not any(name.startswith(("RRULE", "DURATION")) for name in event)
    assert not any("TZID" in line for line in unfolded(octets))


def test_the_calendar_says_who_made_it_and_how_often_to_look():
    head = unfolded(written())[: unfolded(written()).index("BEGIN:VEVENT")]
    assert head == [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Sowstock//Season plan//EN",
        "NAME:Small House",
        "X-WR-CALNAME:Small House",
        "REFRESH-INTERVAL;VALUE=DURATION:PT6H",
        "X-PUBLISHED-TTL:PT6H",
        "X-WR-TIMEZONE:America/Winnipeg",
    ]


def test_events_are_free_time_confirmed_and_coloured_by_kind():
    events = events_of(written())
    assert {event["TRANSP"] for event in events} == {"TRANSPARENT"}
    assert {event["STATUS"] for event in events} == {"CONFIRMED"}
    colors = {(event["CATEGORIES"], event["COLOR"]) for event in events}
    assert len(colors) == len({kind for kind, _ in colors}) == len({c for _, c in colors}) == 6
    assert all(re.fullmatch(r"[a-z]+", color) for _, color in colors)  # names, RFC 7986 5.9
    assert not any("VALARM" in line for line in unfolded(written()))


def test_titles_say_what_and_how_many_and_no_two_events_look_alike():
    events = events_of(written())
    looks = {
        (event["SUMMARY"], event["DESCRIPTION"], event["DTSTART;VALUE=DATE"]) for event in events
    }
    assert len(looks) == len(events) > 70
    assert all(re.search(r"\d", event["SUMMARY"]) for event in events)


def test_a_clock_change_moves_no_event():
    days = (date(2027, 3, 14), date(2027, 11, 7))  # in Winnipeg
    for day in days:
        (event,) = events_of(written((a_job(day=day),)))
        assert day_of(event["DTSTART;VALUE=DATE"]) == day


# C4, C5, C6, C11: identity, stamps and the ledger


def test_a_uid_depends_on_farm_kind_and_day_only():
    events = events_of(written())
    assert len({event["UID"] for event in events}) == len(events)
    job = a_job()
    uid = event_uid("Small House", job)
    assert uid == event_uid("small  house ", replace(job, title="other", lines=(), caution="x"))
    others = {
        event_uid("Other House", job),
        event_uid("Small House", replace(job, kind=Kind.CUT)),
        event_uid("Small House", replace(job, day=MADE_ON + timedelta(days=1))),
    }
    assert len(others | {uid}) == 4
    assert re.fullmatch(r"[0-9a-f]{8}-[0-9a-f]{4}-5[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}", uid)


def test_uids_never_change_from_one_version_of_this_program_to_the_next():
    # A subscriber keeps its events by UID: this value was written once and has to stay.
    assert event_uid("Small House", a_job()) == PINNED_UID


PINNED_UID = "317756d5-0b16-5701-821b-e57aa4f73511"


def test_same_plan_same_octets():
    assert written() == written()
    assert written(tuple(reversed(jobs_of()))) == written()
    code = "import sys; from tests.test_ics import written; sys.stdout.buffer.write(written())"
    for seed in ("1", "2"):
        run = subprocess.run(
            [sys.executable, "-c", code],
            env=os.environ | {"PYTHONHASHSEED": seed, "TZ": "Asia/Tokyo"},
            cwd=Path(__file__).parents[1],
            capture_output=True,
            check=True,
        )
        assert run.stdout == written()


def test_without_a_ledger_every_stamp_is_the_day_of_the_plan():
    for event in events_of(written()):
        assert event["DTSTAMP"] == event["LAST-MODIFIED"] == "20270303T000000Z"
        assert event["SEQUENCE"] == "0"


def ledger_of(jobs: tuple[Job, ...], made_on: date, ledger: Any = None) -> Any:
    return updated_ledger(jobs, farm_name="Small House", made_on=made_on, ledger=ledger)


def test_an_event_that_says_the_same_keeps_its_octets_in_the_next_plan():
    jobs, later = jobs_of(), MADE_ON + timedelta(days=7)
    kept = ledger_of(jobs, MADE_ON)
    assert written(jobs, made_on=later, ledger=kept) == written(jobs)
    assert ledger_of(jobs, later, kept) == kept


def test_an_event_that_changed_gets_the_next_sequence_and_a_new_stamp():
    jobs, later = jobs_of(), MADE_ON + timedelta(days=7)
    changed = (replace(jobs[0], title=jobs[0].title + " more"), *jobs[1:])
    before, after = (
        events_of(written()),
        events_of(written(changed, made_on=later, ledger=ledger_of(jobs, MADE_ON))),
    )
    differing = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    ((old, new),) = differing
    assert (old["UID"], old["SEQUENCE"]) == (new["UID"], "0")
    assert new["SEQUENCE"] == "1"
    assert new["DTSTAMP"] == new["LAST-MODIFIED"] == "20270310T000000Z"


def test_what_is_new_or_changed_is_stamped_with_the_moment_of_the_change():
    jobs, now = jobs_of(), datetime(2027, 3, 10, 15, 4, 5, 678_901, tzinfo=UTC)
    kept = ledger_of(jobs[1:], MADE_ON)
    changed = (*jobs[:-1], replace(jobs[-1], title="other"))
    events = {event["UID"]: event for event in events_of(written(changed, ledger=kept, now=now))}
    assert written(changed, ledger=kept, now=now) == written(changed, ledger=kept, now=now)
    new, other = (event_uid("Small House", job) for job in (jobs[0], jobs[-1]))
    for uid, event in events.items():
        stamp = "20270310T150405Z" if uid in (new, other) else "20270303T000000Z"
        assert event["DTSTAMP"] == event["LAST-MODIFIED"] == stamp
        assert event["SEQUENCE"] == ("1" if uid == other else "0")


def test_a_moment_is_written_in_utc_and_needs_a_zone():
    local = datetime.fromisoformat("2027-03-10T09:04:05-06:00")
    (event,) = events_of(written((a_job(),), now=local))
    assert event["DTSTAMP"] == "20270310T150405Z"
    with pytest.raises(ValueError, match="with its zone"):
        written((a_job(),), now=datetime(2027, 3, 10))


def test_two_plans_on_one_day_still_move_the_stamp_on():
    first = a_job()
    ledger = ledger_of((first,), MADE_ON)
    for turn in (1, 2, 3):
        job = replace(first, title=f"turn {turn}")
        ledger = ledger_of((job,), MADE_ON, ledger)
        ((_, sequence, stamp),) = ledger.values()
        assert sequence == turn
        midnight = datetime(2027, 3, 3, tzinfo=UTC)
        assert datetime.fromisoformat(stamp) == midnight + timedelta(seconds=turn)


def test_an_event_that_left_is_not_in_the_file_and_goes_on_where_it_was_when_it_returns():
    jobs = jobs_of()
    ledger = ledger_of(jobs, MADE_ON)
    gone = ledger_of(jobs[1:], MADE_ON + timedelta(days=7), ledger)
    assert event_uid("Small House", jobs[0]) not in written(jobs[1:], ledger=gone).decode()
    assert b"CANCELLED" not in written(jobs[1:], ledger=gone)
    back = (replace(jobs[0], title="Back again"), *jobs[1:])
    returned = ledger_of(back, MADE_ON + timedelta(days=14), gone)
    assert returned[event_uid("Small House", jobs[0])][1] == 1


def test_an_event_that_returns_as_it_was_counts_as_changed_once():
    # A calendar may have struck it out under its old sequence.
    jobs, uid = jobs_of(), event_uid("Small House", jobs_of()[0])
    gone = ledger_of(jobs[1:], MADE_ON, ledger_of(jobs, MADE_ON))
    still = ledger_of(jobs[1:], MADE_ON + timedelta(days=7), gone)
    assert still == gone
    back = ledger_of(jobs, MADE_ON + timedelta(days=14), gone)
    assert back[uid][1:] == (1, "2027-03-17T00:00:00+00:00")
    assert ledger_of(jobs, MADE_ON + timedelta(days=21), back) == back
    others = {key: state for key, state in back.items() if key != uid}
    assert others == {key: state for key, state in gone.items() if key != uid}


def hash_of(job: Job) -> str:
    return content_hash(day_event(job, "Small House"))


def test_the_hash_covers_what_is_seen_and_nothing_else():
    job = a_job()
    base = hash_of(job)
    assert base == hash_of(replace(job))
    for other in (
        replace(job, title="Sow more"),
        replace(job, caution="Care"),
        replace(job, lines=(*job.lines, *job.lines)),
    ):
        assert hash_of(other) != base


# C8, C9: octets


def test_the_plans_own_octets_are_sound():
    assert_octets_are_sound(written())


@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_names_are_folded_escaped_and_read_back(name):
    job = a_job(f"Sow {name}", caution=f"Care for {name}")
    octets = written((job,), farm_name=name)
    assert_octets_are_sound(octets)
    (event,) = events_of(octets)
    (read,) = icalendar.Calendar.from_ical(octets).events
    seen = re.sub(r"[\x00\x07\x1b]", "", name).replace("\r\n", " ").replace("\u2028", " ")
    assert unescaped(event["SUMMARY"]) == str(read["SUMMARY"]) == f"Sow {seen}"
    assert f"Sow {seen} [B0001]" in str(read["DESCRIPTION"]).split("\n")
    assert f"Care for {seen}" in unescaped(event["DESCRIPTION"]).split("\n")
    assert len(octets.split(b"BEGIN:VEVENT\r\n")) == 2


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=300), st.text(max_size=80))
def test_any_text_makes_a_sound_file(text, farm_name):
    octets = written((a_job(f"x{text}"),), farm_name=farm_name)
    assert_octets_are_sound(octets)
    calendar = icalendar.Calendar.from_ical(octets)
    (read,) = calendar.events
    assert str(read["SUMMARY"]) == unescaped(events_of(octets)[0]["SUMMARY"])
    assert not re.search(r'[,;\\"]', str(calendar["X-WR-CALNAME"]))
    assert str(calendar["NAME"])


@pytest.mark.parametrize("length", range(1, 160))
def test_no_fold_parts_a_character_or_an_escape(length):
    assert_octets_are_sound(written((a_job("x" * length + "\\\\\\\\,;é🐟" * 20),)))


def test_the_calendars_name_has_nothing_to_escape():
    assert calendar_name('Frost & Fin, Ltd; \\ "The Tanks"') == "Frost & Fin Ltd The Tanks"
    assert calendar_name(" ,;\\ \x00") == "Season plan"
    assert calendar_name("Glashaus 🐟") == "Glashaus 🐟"


# C13: size


def test_a_year_of_a_large_house_stays_under_what_services_take():
    """900 batches in a year; about 1,000 events and 1 MB are reported to be taken whole."""
    document = small_plan(weeks=52)
    batches = []
    for number in range(75):
        later = timedelta(weeks=number * 2 // 3)
        for batch in document["batches"]:
            copy: Any = dict(batch, id=f"{batch['id']}{number:02d}", state="planned")
            for key in ("sow", "transplant", "clear"):
                if batch[key]:
                    copy[key] = (date.fromisoformat(batch[key]) + later).isoformat()
            copy["cuts"] = [
                {"date": (date.fromisoformat(cut["date"]) + later).isoformat(), "kg": cut["kg"]}
                for cut in batch["cuts"]
            ]
            batches.append(copy)
    document["batches"] = batches
    octets = written(jobs_of(document))
    events = events_of(octets)
    assert sum(told_by(events).values()) > 3000
    assert len(events) < 1000
    assert len(octets) < 1_000_000


def test_six_kinds_each_week_of_a_year_are_under_a_thousand_events():
    jobs = jobs_of(small_plan(weeks=52))
    assert len(jobs) == len(events_of(written(jobs))) < 1000


# Refused


def test_no_jobs_is_refused_for_an_empty_calendar_makes_clients_forget():
    with pytest.raises(ValueError, match="at least one job"):
        written(())


def test_two_jobs_of_a_kind_and_day_are_refused():
    with pytest.raises(ValueError, match="two jobs of kind sow"):
        written((a_job("one"), a_job("two")))


def test_an_unknown_zone_is_refused():
    with pytest.raises(ZoneInfoNotFoundError):
        written(timezone="America/Nowhere")


# Independent readers


def test_the_library_reads_back_every_job():
    jobs = jobs_of()
    calendar = icalendar.Calendar.from_ical(written(jobs))
    assert not any(component.errors for component in calendar.walk())
    assert "METHOD" not in calendar
    assert "UID" not in calendar
    read = {(event.start, str(event["SUMMARY"])) for event in calendar.events}
    assert read == {(job.day, job.title) for job in jobs}


KHAL_CONFIG = """
[calendars]
[[plan]]
path = {folder}/plan
type = calendar
[locale]
timeformat = %H:%M
dateformat = %Y-%m-%d
longdateformat = %Y-%m-%d
datetimeformat = %Y-%m-%d %H:%M
longdatetimeformat = %Y-%m-%d %H:%M
local_timezone = {zone}
default_timezone = {zone}
[sqlite]
path = {folder}/khal.db
[default]
default_calendar = plan
"""


class Khal:
    """The command-line calendar khal, with a configuration and a store of its own."""

    def __init__(self, folder: Path, zone: str) -> None:
        (folder / "plan").mkdir()
        self._config = folder / "config"
        self._config.write_text(KHAL_CONFIG.format(folder=folder, zone=zone), encoding="utf-8")
        self._env = os.environ | {"HOME": str(folder), "XDG_CONFIG_HOME": str(folder)}
        self._env |= {"PYTHONUTF8": "1"}

    def __call__(self, *words: str) -> list[str]:
        command = [sys.executable, "-m", "khal", "-c", str(self._config), *words]
        run = subprocess.run(
            command, env=self._env, capture_output=True, encoding="utf-8", check=True
        )
        return run.stdout.splitlines()


@pytest.mark.parametrize("zone", ["America/Winnipeg", "Pacific/Auckland"])
def test_khal_lists_every_job_on_its_day(tmp_path, zone):
    document = small_plan(farm="Glashaus 🐟")
    jobs = jobs_of(document)
    (tmp_path / "tasks.ics").write_bytes(written(jobs, farm_name=document["farm"]))
    khal = Khal(tmp_path, zone)
    khal("import", "--batch", "-a", "plan", str(tmp_path / "tasks.ics"))
    shown = ("list", "--day-format", "", "--format", "{start-date}|{end-date}|{all-day}|{title}")
    listed = khal(*shown, "2027-03-01", "140d")
    assert sorted(listed) == sorted(f"{job.day}|{job.day}|True|{job.title}" for job in jobs)
    assert khal(*shown, "2027-04-01", "1d") == [
        "2027-04-01|2027-04-01|True|"
        "Cut and pick 2: Genovese basil 1.98 lb north gravel 1 (half) +1 more"
    ]
    described = khal("list", "--day-format", "", "--format", "{description}", "2027-04-01", "1d")
    assert "First pick: cherry tomato, 1 bed north gravel 2 (half), 1.65 lb [B0009]" in described


def test_khal_shows_odd_names_as_they_are(tmp_path):
    name = "Thai / lemon basil 🌿, “sweet”; 100 % é — C:\\beds"
    (tmp_path / "tasks.ics").write_bytes(written((a_job(f"Sow {name}"),), farm_name=name))
    khal = Khal(tmp_path, "America/Winnipeg")
    khal("import", "--batch", "-a", "plan", str(tmp_path / "tasks.ics"))
    assert khal("list", "--day-format", "", "--format", "{title}", "2027-03-03", "1d") == [
        f"Sow {name}"
    ]
