"""`python -m tests.killbench [--plans 70] [--serves 30]`: kill planning and serving, and count.

Recording has its own: `python -m tests.test_book_faults 100`.
"""

import argparse
import multiprocessing
import os
import random
import shutil
import signal
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing.context import ForkServerProcess
from pathlib import Path

import httpx

from planner.book import Note, open_book
from planner.cli import app
from tests.servedfarm import serving
from tests.shortfarm import content, write_short_farm, written
from tests.test_replanning import NEXT, assert_whole

LONGEST_S = 60.0  # for a planning process of a second or two
POSTERS = 2  # who post notes at one time
TIMED = 3  # runs that are not killed
TOLD_EVERY = 10  # kills
IMPORTED = ["tests.servedfarm", "tests.test_replanning", "planner.planning", "planner.writing"]


def kill_plans(times: int, dice: random.Random) -> str:
    """Kill a planning process; every plan folder and book must be whole.

    Every second one is killed at any moment of its run, the others while they write.
    """
    kills = ended = ahead = 0
    new = {True: 0, False: 0}
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        base = Path(name)
        first = write_short_farm(base / "first")
        written(first)
        old = content(first / "plan")
        _timed(_copy(first, base / "warm"))  # starts the process that the others are forked from
        timed = [_timed(_copy(first, base / f"timed {number}")) for number in range(TIMED)]
        run_s, writing_s = map(min, zip(*timed, strict=True))  # the machine may have other work
        print(f"plan: a run takes {run_s:.2f} s, {1000 * writing_s:.0f} ms of it write", flush=True)
        while kills < times:
            if ended > 2 * times:
                raise AssertionError(f"{ended} ended before they could be killed, {kills} did not")
            farm = _copy(first, base / f"farm {kills} {ended}")
            with _planning(farm) as process:
                if kills % 2:
                    _await_writing(farm, process)
                process.join(dice.uniform(0, 1.2 * writing_s if kills % 2 else run_s))
                process.kill()
                process.join()
                _check_status(farm, process, 0, -signal.SIGKILL)
                killed = process.exitcode != 0
            is_new = assert_whole(farm, old)
            if not (killed or is_new):
                raise AssertionError(f"{farm.name}: it ended well and left the old plan")
            ahead += not is_new and _plans(farm) > 1
            shutil.rmtree(farm)
            if not killed:
                ended += 1
                continue
            kills += 1
            new[is_new] += 1
            _tell("plan", kills, times, began)
    return (
        f"plan: {kills} kills while it ran; {new[False]} left the old plan, {new[True]} the new "
        f"one, all whole; {ahead} of the old ones with the new plan kept in the book; {ended} more "
        "ended before they could be killed"
    )


def _copy(first: Path, farm: Path) -> Path:
    return Path(shutil.copytree(first, farm))


def _plans(farm: Path) -> int:
    with open_book(farm / "book.db") as book:
        return len(book.plans())


def _plan(farm: str, log: str) -> None:
    """Be `sowstock plan`; what it says goes to a file."""
    said = os.open(log, os.O_WRONLY | os.O_CREAT, 0o600)
    os.dup2(said, 1)
    os.dup2(said, 2)
    app(["plan", farm, "--from", NEXT.isoformat(), "--work", "0"])


def _log(farm: Path) -> Path:
    return farm.with_name(f"{farm.name}.log")


def _said(farm: Path) -> str:
    return _log(farm).read_text() if _log(farm).exists() else "it said nothing"


@contextmanager
def _planning(farm: Path) -> Iterator[ForkServerProcess]:
    """Plan in a process of its own, forked from one that has imported all and done nothing."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(IMPORTED)
    process = context.Process(target=_plan, args=(str(farm), str(_log(farm))))
    process.start()
    try:
        yield process
    finally:
        process.kill()
        process.join()
        process.close()


def _timed(farm: Path) -> tuple[float, float]:
    """Return how long a whole run takes, and how long of that it writes. [s, s]"""
    began = time.monotonic()
    with _planning(farm) as process:
        _await_writing(farm, process)
        writes = time.monotonic()
        process.join(LONGEST_S)
        ended = time.monotonic()
        _check_status(farm, process, 0)
    return ended - began, ended - writes


def _await_writing(farm: Path, process: ForkServerProcess) -> None:
    ends = time.monotonic() + LONGEST_S
    while not [*farm.glob(".plan-*")]:
        if process.exitcode is not None or time.monotonic() > ends:
            raise AssertionError(f"{farm.name}: nothing was written: {_said(farm)}")
        time.sleep(0.0005)


def _check_status(farm: Path, process: ForkServerProcess, *allowed: int) -> None:
    if process.exitcode not in allowed:
        raise AssertionError(f"status {process.exitcode}: {_said(farm)}")


@dataclass(slots=True)
class Poster:
    """Posts notes one by one; what was not acknowledged is posted again with the same key."""

    name: str
    under_way: int = 0  # number of the note that comes next, or was sent in vain
    acknowledged: list[str] = field(default_factory=list)
    again: int = 0  # acknowledged after they were sent in vain, to a server that was killed

    def text(self) -> str:
        return f"{self.name} {self.under_way}"

    def post(self, record: str, told: threading.Semaphore) -> None:
        """Post until the server is gone."""
        first = self.under_way > 0
        with httpx.Client(timeout=20) as client:
            while True:
                key = f"key-of-{self.name}-{self.under_way:08}"
                form = {"kind": "note", "text": self.text(), "key": key}
                try:
                    answer = client.post(record, data=form)
                except httpx.TransportError:
                    return
                if answer.status_code != 303:
                    raise AssertionError(f"{answer.status_code} for a note: {answer.text[-300:]}")
                self.acknowledged.append(self.text())
                self.under_way += 1
                self.again, first = self.again + first, False
                told.release()


def kill_serves(times: int, dice: random.Random) -> str:
    """Kill a server while notes are posted; each that was acknowledged must be there, once."""
    posters = [Poster(f"poster-{letter}") for letter in "abcdefgh"[:POSTERS]]
    running = unsaid = 0
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as name, ThreadPoolExecutor(POSTERS) as pool:
        folder = write_short_farm(Path(name) / "farm")
        written(folder)
        for number in range(1, times + 1):
            with serving(folder) as server:
                told = threading.Semaphore(0)
                posts = [pool.submit(one.post, server.link("record"), told) for one in posters]
                for _ in range(dice.randrange(8)):
                    if not told.acquire(timeout=LONGEST_S):
                        raise AssertionError("the server acknowledges nothing")
                time.sleep(dice.uniform(0, 0.1))
                running += server.process.poll() is None
                server.stop(signal.SIGKILL)
                for post in posts:
                    post.result(LONGEST_S)
            with open_book(folder / "book.db") as book:
                book.check()
                found = _notes([note.entry for note in book.entries()])
            _check_notes(posters, found)
            unsaid += sum(one.text() in found for one in posters)
            _tell("serve", number, times, began)
    acknowledged = sum(len(one.acknowledged) for one in posters)
    return (
        f"serve: {times} kills, {running} while it ran; {acknowledged} notes acknowledged, "
        f"{len(found)} found, none missing, none twice; {sum(one.again for one in posters)} were "
        f"posted again to the next server, {unsaid} had been entered but not acknowledged"
    )


def _notes(entries: list[object]) -> list[str]:
    return [entry.text for entry in entries if isinstance(entry, Note)]


def _check_notes(posters: list[Poster], found: list[str]) -> None:
    """Each acknowledged note once; of others only those that were under way, at most once."""
    acknowledged = {text for one in posters for text in one.acknowledged}
    missing = acknowledged - {*found}
    strange = {*found} - acknowledged - {one.text() for one in posters}
    twice = len(found) - len({*found})
    if missing or strange or twice:
        raise AssertionError(f"{len(missing)} missing, {len(strange)} strange, {twice} twice")


def _tell(what: str, number: int, times: int, began: float) -> None:
    if number % TOLD_EVERY == 0 or number == times:
        print(f"{what}: {number} of {times}, {time.monotonic() - began:.0f} s", flush=True)


def main() -> None:
    """Print a line of figures for each; a broken promise ends with an error."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--plans", type=int, default=70)
    asked.add_argument("--serves", type=int, default=30)
    given = asked.parse_args()
    dice = random.Random(20270301)
    if given.plans:
        print(kill_plans(given.plans, dice), flush=True)
    if given.serves:
        print(kill_serves(given.serves, dice), flush=True)


if __name__ == "__main__":
    main()
