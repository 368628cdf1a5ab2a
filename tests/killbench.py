"""`python -m tests.killbench [--plans 70] [--serves 30]`: kill planning and serving, and count.

Recording has its own: `python -m tests.test_book_faults 100`.
"""

import argparse
import random
import shutil
import signal
import sys
import tempfile
import threading
import time
from contextlib import suppress
from pathlib import Path
from subprocess import TimeoutExpired

import httpx

from planner.book import Note, open_book
from tests.servedfarm import planned_farm, serving
from tests.shortfarm import content, write_short_farm, written
from tests.test_replanning import assert_whole, spawned


def kill_plans(times: int, dice: random.Random) -> str:
    """Kill a planning process at any moment; every plan folder and book must be whole."""
    new = running = 0
    with tempfile.TemporaryDirectory() as name:
        first = write_short_farm(Path(name) / "first")
        written(first)
        old = content(first / "plan")
        began = time.monotonic()
        whole = shutil.copytree(first, Path(name) / "timed")
        with spawned(whole) as process:
            process.communicate()
        longest_s = time.monotonic() - began
        for number in range(times):
            farm = shutil.copytree(first, Path(name) / f"farm {number}")
            with spawned(farm) as process:
                with suppress(TimeoutExpired):
                    process.wait(dice.uniform(0, 1.05 * longest_s))
                running += process.poll() is None
                process.send_signal(signal.SIGKILL)
                process.communicate()
            new += assert_whole(farm, old)
            shutil.rmtree(farm)
    return (
        f"plan: {times} kills, {running} while it ran; {times - new} left the old plan, {new} the "
        "new one, all whole"
    )


def kill_serves(times: int, dice: random.Random) -> str:
    """Kill a server while notes are posted; no acknowledged note may be missing."""
    acknowledged: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        folder = planned_farm(Path(name) / "farm")
        for number in range(times):
            with serving(folder) as server:
                worker = threading.Thread(
                    target=_post, args=(server.link("record"), number, acknowledged)
                )
                worker.start()
                time.sleep(dice.uniform(0.02, 0.6))
                server.stop(signal.SIGKILL)
                worker.join(20)
            with open_book(folder / "book.db") as book:
                book.check()
        with open_book(folder / "book.db") as book:
            said = [note.entry for note in book.entries()]
    found = [note.text for note in said if isinstance(note, Note)]
    missing = set(acknowledged) - set(found)
    if missing or len(found) != len(set(found)):
        raise AssertionError(f"{len(missing)} acknowledged notes are missing, or one is twice")
    return (
        f"serve: {times} kills, {len(acknowledged)} notes acknowledged, {len(found)} found, none "
        "missing"
    )


def _post(record: str, number: int, acknowledged: list[str]) -> None:
    with httpx.Client() as client:
        for n in range(10_000):
            text = f"note {number}-{n}"
            form = {"kind": "note", "text": text, "key": f"key-{number}-{n:010}"}
            try:
                answer = client.post(record, data=form)
            except httpx.TransportError:
                return
            if answer.status_code == 303:
                acknowledged.append(text)


def main() -> None:
    """Print a line of figures for each; a broken promise ends with an error."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--plans", type=int, default=70)
    asked.add_argument("--serves", type=int, default=30)
    given = asked.parse_args()
    dice = random.Random(20270301)
    print(kill_plans(given.plans, dice), flush=True)
    print(kill_serves(given.serves, dice), flush=True)


if __name__ == "__main__":
    sys.exit(main())
