"""Calendar clients that others wrote take the feed: vdirsyncer subscribes, khal shows it."""

import asyncio
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import httpx
import pytest
from icalendar import Calendar

from tests.feedload import load
from tests.servedfarm import PLAN_DAY, Process, document_of, planned_farm, serving


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return planned_farm(tmp_path_factory.mktemp("clients") / "farm")


@pytest.fixture(scope="module")
def server(folder: Path) -> Iterator[Process]:
    with serving(folder) as running:
        yield running


def program(name: str) -> str:
    """Return a client's path; without it fail where it is promised, else skip."""
    found = shutil.which(
        name, path=f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    )
    if found is None:
        reason = f"no {name}; install the test extra"
        pytest.fail(reason) if os.environ.get("CI") == "true" else pytest.skip(reason)
    return found


class Subscriber:
    """A person with vdirsyncer and khal, and nothing else, in a home of their own."""

    def __init__(self, home: Path, link: str) -> None:
        self.home = home
        self.items = home / "calendar"
        self.items.mkdir(parents=True)
        (home / "vdirsyncer.conf").write_text(
            f"""\
[general]
status_path = "{home / "status"}/"

[pair farm]
a = "feed"
b = "disk"
collections = null
conflict_resolution = "a wins"

[storage feed]
type = "http"
url = "{link}"

[storage disk]
type = "filesystem"
path = "{self.items}"
fileext = ".ics"
"""
        )
        (home / "khal.conf").write_text(
            f"""\
[calendars]
[[farm]]
path = {self.items}
readonly = True

[locale]
timeformat = %H:%M
dateformat = %Y-%m-%d
longdateformat = %Y-%m-%d
datetimeformat = %Y-%m-%d %H:%M
longdatetimeformat = %Y-%m-%d %H:%M
local_timezone = America/Chicago
default_timezone = America/Chicago

[sqlite]
path = {home / "khal.db"}
"""
        )
        self._run("vdirsyncer", "-c", str(home / "vdirsyncer.conf"), "discover", "farm")

    def sync(self) -> None:
        """Fetch the feed and mirror it."""
        config = str(self.home / "vdirsyncer.conf")
        self._run("vdirsyncer", "-c", config, "sync", "--force-delete", "farm")

    def listed(self) -> list[str]:
        """Return what the calendar shows for the plan's first eight weeks, one line an event."""
        last = PLAN_DAY + timedelta(weeks=8)
        said = self._run(
            "khal", "-c", str(self.home / "khal.conf"), "list",
            "--day-format", "", "--format", "{start-date} {title}",
            PLAN_DAY.isoformat(), last.isoformat(),
        )  # fmt: skip
        return [line for line in said.splitlines() if line.strip()]

    def _run(self, name: str, *arguments: str) -> str:
        ended = subprocess.run(
            [program(name), *arguments],
            env={"PATH": os.environ["PATH"], "HOME": str(self.home), "LC_ALL": "C.UTF-8"},
            capture_output=True, text=True, timeout=120, check=False,
        )  # fmt: skip
        assert ended.returncode == 0, ended.stdout + ended.stderr
        return ended.stdout


def wanted(link: str) -> list[str]:
    """Return what the feed itself says for those weeks."""
    calendar = Calendar.from_ical(httpx.get(link).content)
    last = PLAN_DAY + timedelta(weeks=8)
    return sorted(
        f"{event['DTSTART'].dt.isoformat()} {event['SUMMARY']}"
        for event in calendar.walk("VEVENT")
        if event["DTSTART"].dt <= last
    )


def test_the_calendar_is_mirrored_whole_and_a_record_shows_after_the_next_sync(
    folder, server, tmp_path
):
    link = server.link("feed")
    person = Subscriber(tmp_path / "person", link)
    person.sync()
    before = person.listed()
    assert sorted(before) == wanted(link)
    assert len(before) > 20
    assert len(list(person.items.iterdir())) == len(
        Calendar.from_ical(httpx.get(link).content).walk("VEVENT")
    )
    person.sync()
    assert person.listed() == before

    sown = [b for b in document_of(folder)["batches"] if b["state"] == "planned"]
    day = min(b["sow"] for b in sown)
    for number, batch in enumerate(b for b in sown if b["sow"] == day):
        form = {"kind": "done", "step": "sow", "batch": batch["id"], "planned_on": day}
        answer = httpx.post(server.link("record"), data={**form, "key": f"client-test-{number:06}"})
        assert answer.status_code == 303, answer.text
    person.sync()
    after = person.listed()
    assert sorted(after) == wanted(link)
    (was,), (is_,) = set(before) - set(after), set(after) - set(before)
    assert was.startswith(f"{day} Sow")
    assert is_.startswith(f"{day} ✓ Sow")


def test_two_persons_calendars_beside_each_other_hold_the_same_events(server, tmp_path):
    link = server.link("feed")
    everything = Subscriber(tmp_path / "grower", link)
    packer = Subscriber(tmp_path / "packer", link.replace("all.ics", "packer.ics"))
    everything.sync()
    packer.sync()
    mine, all_ = set(packer.listed()), set(everything.listed())
    assert mine
    assert mine < all_


def test_many_clients_at_once_are_all_answered(server):
    figures = asyncio.run(load(server.link("feed"), clients=20, seconds=3, pause_s=0.05))
    assert figures.errors == 0
    assert figures.whole == 20
    assert figures.known > 100
