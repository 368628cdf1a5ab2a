"""Many clients that poll the feed at once: `python -m tests.feedload --clients 50 --seconds 60`.

Each client asks on a connection of its own, with the tag it got last, and begins again as soon as
it has its answer. One line of figures is printed.
"""

import argparse
import asyncio
import shutil
import ssl
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from tests.servedfarm import planned_farm, serving


@dataclass
class Figures:
    """What the clients saw. [s]"""

    waits_s: list[float] = field(default_factory=list)
    whole: int = 0
    known: int = 0
    errors: int = 0

    def share(self, part: float) -> float:
        """Return the wait that a part of all requests did not exceed. [ms]"""
        waits = sorted(self.waits_s) or [0.0]
        return 1000 * waits[min(len(waits) - 1, int(part * len(waits)))]

    def __str__(self) -> str:
        return (
            f"{len(self.waits_s)} requests, {self.whole} of 200, {self.known} of 304, "
            f"{self.errors} errors; p50 {self.share(0.5):.1f} ms, p95 {self.share(0.95):.1f} ms, "
            f"max {self.share(1):.1f} ms"
        )


async def poll(
    link: str, ends: float, figures: Figures, pause_s: float, trust: ssl.SSLContext
) -> None:
    """Ask for the feed until the time is over."""
    tag = ""
    async with httpx.AsyncClient(timeout=30, verify=trust) as client:
        while time.monotonic() < ends:
            began = time.monotonic()
            try:
                answer = await client.get(link, headers={"If-None-Match": tag} if tag else {})
            except httpx.HTTPError:
                figures.errors += 1
                continue
            figures.waits_s.append(time.monotonic() - began)
            if answer.status_code == 200 and answer.content.endswith(b"END:VCALENDAR\r\n"):
                figures.whole += 1
                tag = answer.headers["etag"]
            elif answer.status_code == 304 and not answer.content:
                figures.known += 1
            else:
                figures.errors += 1
            await asyncio.sleep(pause_s)


async def load(link: str, *, clients: int, seconds: float, pause_s: float = 0.0) -> Figures:
    """Poll a feed with so many clients for so long."""
    figures = Figures()
    trust = ssl.create_default_context()  # one for all: each takes a while to make
    ends = time.monotonic() + seconds
    await asyncio.gather(*(poll(link, ends, figures, pause_s, trust) for _ in range(clients)))
    return figures


async def records(link: str, ends: float, every_s: float) -> int:
    """Enter a note now and then, which changes nothing in the calendar but asks for it anew."""
    entered = 0
    async with httpx.AsyncClient(timeout=30) as client:
        while time.monotonic() + every_s < ends:
            await asyncio.sleep(every_s)
            form = {"kind": "note", "key": f"load-{time.monotonic_ns():024}", "text": "load"}
            answer = await client.post(link, data=form)
            entered += answer.status_code == 303
    return entered


async def _run(feed: str, record: str, clients: int, seconds: float, every_s: float) -> str:
    ends = time.monotonic() + seconds
    figures, entered = await asyncio.gather(
        load(feed, clients=clients, seconds=seconds),
        records(record, ends, every_s) if every_s else asyncio.sleep(0, 0),
    )
    return f"{clients} clients, {seconds:.0f} s, {entered} entries meanwhile: {figures}"


def main() -> None:
    """Start a server on the small farm, load it, print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--record-every", type=float, default=0, help="seconds; 0 for never")
    given = parser.parse_args()
    base = Path(tempfile.mkdtemp(prefix="feedload-"))
    try:
        with serving(planned_farm(base / "farm")) as server:
            links = server.link("feed"), server.link("record")
            print(asyncio.run(_run(*links, given.clients, given.seconds, given.record_every)))
    finally:
        shutil.rmtree(base)


if __name__ == "__main__":
    main()
