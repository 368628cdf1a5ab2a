"""A planned farm to serve, and ways to ask its server: by ASGI alone, or over the wire."""

import asyncio
import atexit
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import lru_cache
from html.parser import HTMLParser
from pathlib import Path
from tempfile import mkdtemp
from typing import Any
from urllib.parse import urlencode

from planner import planning, writing
from planner.book import open_book
from planner.history import BOOK
from planner.season.effort import Effort
from planner.server.app import App
from planner.server.doors import doors
from planner.server.keeper import Keeper
from planner.server.recorddesk import RecordDesk
from planner.server.replan import Replan
from planner.server.tokens import PAGE, RECORD, Tokens, new_tokens
from tests.farms import write_small_farm

PLAN_DAY = date(2027, 3, 1)  # a Monday, of the small farm
NOW = datetime(2027, 3, 3, 15, 0, tzinfo=UTC)  # Wednesday morning at the farm
HOST = "farm.example"
PEOPLE = '\n[[people]]\nrole = "packer"\ndoes = ["cut", "clear"]\n'
SERVE = (sys.executable, "-m", "planner", "serve")
ROOT = Path(__file__).resolve().parent.parent


@lru_cache(maxsize=1)
def _template() -> Path:
    """Plan the small farm once; every test works on a copy."""
    base = Path(mkdtemp(prefix="served-"))
    atexit.register(shutil.rmtree, base, ignore_errors=True)
    folder = write_small_farm(base / "farm")
    farm = folder / "farm.toml"
    farm.write_text(farm.read_text("utf-8") + PEOPLE, "utf-8")
    now = datetime(2027, 3, 1, 6, tzinfo=UTC)
    bundle = planning.make_plan(folder, today=now.date(), effort=Effort(work=0))
    planning.keep(folder, bundle, now=now)
    writing.write(bundle.files, folder / "plan")
    return folder


def planned_farm(folder: Path) -> Path:
    """Return a copy of the planned small farm."""
    return Path(shutil.copytree(_template(), folder))


def document_of(folder: Path) -> Any:
    """Return the plan in force."""
    with open_book(folder / BOOK) as book:
        kept = book.plan_in_force()
    assert kept is not None
    return json.loads(kept.text)


def entries_of(folder: Path) -> list[Any]:
    """Return the entries in force, without their numbers."""
    with open_book(folder / BOOK) as book:
        return [recorded.entry for recorded in book.entries()]


@dataclass(frozen=True)
class Answer:
    """What the server answered."""

    status: int
    pairs: list[tuple[str, str]]
    body: bytes

    @property
    def headers(self) -> dict[str, str]:
        return {name.lower(): value for name, value in self.pairs}

    @property
    def text(self) -> str:
        return self.body.decode()


class Clock:
    """A clock that the test sets."""

    def __init__(self, now: datetime = NOW) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now


@dataclass
class Served:
    """A farm with its server, asked without a network."""

    folder: Path
    tokens: Tokens
    app: App
    replan: Replan
    clock: Clock
    keeper: Keeper
    reports: list[str] = field(default_factory=list)

    def ask(
        self,
        path: str | bytes,
        method: str = "GET",
        headers: Mapping[str, str] | Iterable[tuple[str, str]] = (),
        body: bytes = b"",
        host: str | None = HOST,
    ) -> Answer:
        """Ask for a path exactly as it is written; `{page}` and `{record}` are the secrets."""
        if isinstance(path, str):
            path = path.replace("{page}", self.tokens.page)
            path = path.replace("{record}", self.tokens.record).encode()
        raw, _, query = path.partition(b"?")
        pairs = list(headers.items() if isinstance(headers, Mapping) else headers)
        if host is not None:
            pairs.insert(0, ("host", host))
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": raw.decode("latin-1"),
            "raw_path": raw,
            "query_string": query,
            "root_path": "",
            "headers": [(k.lower().encode("latin-1"), v.encode("latin-1")) for k, v in pairs],
            "client": ("127.0.0.1", 50000),
            "server": ("127.0.0.1", 8765),
        }
        with ThreadPoolExecutor(1) as pool:  # the test's own thread may have a loop running
            return pool.submit(lambda: asyncio.run(_asked(self.app, scope, body))).result()

    def post(
        self,
        fields: Mapping[str, str] | bytes,
        path: str = "/record/{record}/",
        headers: Mapping[str, str] | Iterable[tuple[str, str]] = (),
        media: str = "application/x-www-form-urlencoded",
    ) -> Answer:
        """Post a form."""
        body = fields if isinstance(fields, bytes) else urlencode(fields).encode()
        pairs = list(headers.items() if isinstance(headers, Mapping) else headers)
        pairs += [("content-type", media), ("content-length", str(len(body)))]
        return self.ask(path, "POST", pairs, body)

    def enter(self, kind: str, **fields: str) -> Answer:
        """Post a form of a kind with a key of its own."""
        key = f"test-key-{time.perf_counter_ns()}"
        return self.post({"kind": kind, "key": key, **fields})

    def record_page(self) -> str:
        return self.ask("/record/{record}/").text

    def feed(self, name: str = "all.ics") -> Answer:
        return self.ask(f"/feed/{{page}}/{name}")


async def _asked(app: App, scope: dict[str, Any], body: bytes) -> Answer:
    sent: list[Any] = []
    parts = [body[i : i + 30_000] for i in range(0, len(body), 30_000)] or [b""]
    messages = [
        {"type": "http.request", "body": part, "more_body": n < len(parts) - 1}
        for n, part in enumerate(parts)
    ]

    async def receive() -> Any:
        return messages.pop(0) if messages else {"type": "http.disconnect"}

    async def send(message: Any) -> None:
        sent.append(message)

    await app(scope, receive, send)
    start = sent[0]
    pairs = [(k.decode("latin-1"), v.decode("latin-1")) for k, v in start["headers"]]
    return Answer(start["status"], pairs, b"".join(part["body"] for part in sent[1:]))


def served(folder: Path, *, clock: Clock | None = None, command: tuple[str, ...] = ()) -> Served:
    """Return a farm folder with fresh secrets and its server; stop `replan` when done."""
    clock = clock or Clock()
    with open_book(folder / BOOK, create=True) as book:
        tokens = new_tokens(book, folder, clock())
    reports: list[str] = []
    secrets = {PAGE: tokens.page, RECORD: tokens.record}
    keeper = Keeper(folder, clock=clock, report=reports.append, secrets=secrets)
    replan = Replan(command or (sys.executable, "-c", "print('planned')"))
    app = App(keeper, RecordDesk(keeper, replan), doors("127.0.0.1", [HOST]))
    return Served(folder, tokens, app, replan, clock, keeper, reports)


class _Forms(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[dict[str, str]] = []
        self._select: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.found.append({})
        elif tag == "select":
            self._select = given["name"]
        elif tag in ("input", "textarea") and "name" in given and given.get("type") != "checkbox":
            self.found[-1][given["name"]] = given.get("value", "")
        elif (
            tag == "option"
            and self._select
            and not (self._select in self.found[-1] and "selected" not in given)
        ):
            self.found[-1][self._select] = given.get("value", "\0")

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = None

    def handle_data(self, data: str) -> None:
        if self._select and self.found[-1].get(self._select) == "\0":
            self.found[-1][self._select] = data


def forms_of(html: str) -> list[dict[str, str]]:
    """Return the forms of a page as a browser would send them untouched."""
    parser = _Forms()
    parser.feed(html)
    parser.close()
    return parser.found


@dataclass
class Process:
    """`sowstock serve` as a process of its own."""

    process: subprocess.Popen[str]
    lines: list[str]

    def link(self, name: str) -> str:
        """Return a link that was printed at the start, such as `feed`."""
        return next(line.split(": ", 1)[1] for line in self.lines if line.startswith(f"{name}: "))

    @property
    def port(self) -> int:
        found = re.search(r":(\d+)/", self.link("feed"))
        assert found
        return int(found[1])

    def stop(self, number: int = signal.SIGTERM) -> int:
        """Send a signal and return the exit status."""
        if self.process.poll() is None:
            self.process.send_signal(number)
        return self.process.wait(20)


@contextmanager
def serving(folder: Path, *options: str) -> Iterator[Process]:
    """Run `sowstock serve` on a free port until the block ends."""
    command = [*SERVE, str(folder)]
    log = (folder.parent / "serve.log").open("w")
    with (
        log,
        subprocess.Popen(
            [*command, "--port", "0", *options],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
            env={**os.environ, "PYTHONWARNINGS": "default"},
        ) as process,
    ):
        assert process.stdout is not None
        lines = []
        for line in process.stdout:
            lines.append(line.rstrip("\n"))
            if line.startswith("feed: "):
                break
        reader = threading.Thread(target=lines.extend, args=(process.stdout,), daemon=True)
        reader.start()
        running = Process(process, lines)
        try:
            if not lines:
                raise AssertionError(f"no server: {(folder.parent / 'serve.log').read_text()}")
            yield running
        finally:
            running.stop(signal.SIGKILL)
            reader.join(5)
