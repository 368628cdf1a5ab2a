"""What the benchmark runs on: the command and the jobs as processes that are timed and weighed.

Needs a system with `os.wait4` (Linux, macOS).
"""

import hashlib
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.ladder import shape, write

ROOT = Path(__file__).resolve().parent.parent
TICK_S = 0.02
LONGEST_RIVAL_S = 240.0  # a rival that has not ended by then is given up

Shape = dict[str, Any]


class Failed(Exception):
    """A plan or a job ended without a result; says how."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ran:
    """A process that has ended: its output, its last word of error, its seconds and its peak."""

    text: str
    error: str
    seconds: float
    mb: float


Runner = Callable[[Sequence[str], float | None], Ran]


def measured(command: Sequence[str], most_s: float | None) -> Ran:
    """Run a command to its end, or kill it after `most_s`; `error` is empty when all went well.

    The peak of a child is never told below that of its parent, so this process keeps itself small.
    """
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        began = time.monotonic()
        process = subprocess.Popen(command, stdout=out, stderr=err, cwd=ROOT)
        killed = False
        while True:
            pid, status, used = os.wait4(process.pid, os.WNOHANG)
            if pid:
                break
            if not killed and most_s is not None and time.monotonic() - began > most_s:
                process.kill()
                killed = True
            time.sleep(TICK_S)
        seconds = time.monotonic() - began
        process.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        err.seek(0)
        last = err.read().decode(errors="replace").strip().rpartition("\n")[2].replace("|", "/")
        text = out.read().decode(errors="replace")
    error = last or f"exit status {process.returncode}" if process.returncode else ""
    unit = 1024**2 if sys.platform == "darwin" else 1024
    return Ran(
        text=text,
        error=f"given up after {seconds:.0f} s" if killed else error,
        seconds=seconds,
        mb=used.ru_maxrss / unit,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Extent:
    """What the ladder holds."""

    base: Shape
    sizes: tuple[int, ...]
    crops: tuple[int, ...]
    weeks: tuple[int, ...]
    named: tuple[Shape, ...]
    work: tuple[int, ...]
    houses: int
    years: tuple[int, int, int]  # weeks planned, last weeks compared, weeks before those


FULL = Extent(
    base={},
    sizes=(4, 16, 64),
    crops=(12, 25, 45),
    weeks=(26, 104),
    named=({"crops": 12, "weeks": 26}, {"example": "backyard"}),
    work=(0, 1, 10, 25),
    houses=500,
    years=(104, 8, 52),
)
_YARD: Shape = {"example": "backyard", "crops": 4, "weeks": 5, "tail": 1}
QUICK = Extent(
    base=_YARD,
    sizes=(2,),
    crops=(10,),
    weeks=(8,),
    named=(_YARD,),
    work=(0, 1),
    houses=3,
    years=(8, 2, 4),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A farm that the command has planned."""

    folder: Path
    document: Mapping[str, Any]
    seconds: float
    mb: float
    page_kb: float

    @property
    def places(self) -> int:
        """Places of all zones. [-]"""
        return sum(zone["places"] for zone in self.document["zones"])


@dataclass(slots=True, kw_only=True)
class Bench:
    """Runs what the parts ask for, each plan once."""

    extent: Extent
    folder: Path
    run: Runner = measured
    _plans: dict[Path, Planned] = field(default_factory=dict)

    def farm(self, change: Shape, label: str = "") -> Path:
        """Write the base farm with a change and return its folder; each label has its own."""
        given = self.extent.base | change
        words = [f"{key}-{value}" for key, value in sorted(given.items())]
        name = " ".join([*words, label]).strip()
        return write(shape(**given), self.folder / (name or "base"))

    def plan(
        self, change: Shape | None = None, *, options: Sequence[str] = (), turn: int = 0
    ) -> Planned:
        """Plan the base farm with a change by the command; another `turn` plans it anew."""
        label = " ".join([*options, f"turn {turn}"]) if options or turn else ""
        folder = self.farm(change or {}, label)
        if folder not in self._plans:
            tell(f"plan {folder.name}")
            command = [sys.executable, "-m", "planner", "plan", str(folder), *options]
            ran = self.run(command, None)
            if ran.error:
                raise Failed(ran.error)
            self._plans[folder] = Planned(
                folder=folder,
                document=json.loads((folder / "plan" / "plan.json").read_text("utf-8")),
                seconds=ran.seconds,
                mb=ran.mb,
                page_kb=(folder / "plan" / "plan.html").stat().st_size / 1000,
            )
        return self._plans[folder]

    def job(self, name: str, most_s: float | None = None, **given: Any) -> dict[str, Any]:
        """Do a job of `benchrivals` and return what it found, with the `mb` of its process."""
        words = [f"{key}={value}" for key, value in given.items()]
        tell(" ".join(["job", name, *words]))
        ran = self.run([sys.executable, "-m", "tests.benchrivals", name, *words], most_s)
        if ran.error:
            raise Failed(ran.error)
        found: dict[str, Any] = json.loads(ran.text.strip().rpartition("\n")[2])
        return found | {"mb": ran.mb}

    def try_job(self, name: str, **given: Any) -> dict[str, Any]:
        """Do a job that may be given up; what it found, or how it `failed`."""
        try:
            return self.job(name, LONGEST_RIVAL_S, **given)
        except Failed as fault:
            return {"failed": str(fault)}


def fingerprint(document: Mapping[str, Any]) -> str:
    """Return a digest of a plan's document without the seconds that the search took."""
    solver = {key: value for key, value in document["solver"].items() if key != "seconds"}
    return hashlib.sha256(json.dumps({**document, "solver": solver}).encode()).hexdigest()


def tell(text: str) -> None:
    """Say on standard error what is being done."""
    print(text, file=sys.stderr, flush=True)


def table(title: str, heads: Sequence[str], rows: Iterable[Sequence[str]], note: str = "") -> str:
    """Return a Markdown table under its title, with a remark."""
    lines = [heads, ["---", *["---:"] * (len(heads) - 1)], *rows]
    body = "\n".join("| " + " | ".join(line) + " |" for line in lines)
    return f"## {title}\n\n{body}\n" + (f"\n{note}\n" if note else "")


def num(value: float | None, digits: int = 0) -> str:
    """Return a number as text; a dash for none."""
    return "—" if value is None else f"{value:,.{digits}f}"


def percent(value: float | None) -> str:
    """Return a share in percent; a dash for none."""
    return "—" if value is None else f"{100 * value:.2f} %"
