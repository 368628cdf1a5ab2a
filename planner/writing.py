"""Write the files of a plan or a review to its folder, all or none."""

import ctypes
import os
import shutil
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from planner.errors import PlannerError

TABLES = "tables"
SYSTEM_FILES = (".DS_Store", "Thumbs.db", "desktop.ini")  # which desktops put anywhere


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """What a folder holds, in a word, and the names of its files beside the tables."""

    noun: str
    files: tuple[str, ...]


PLAN = Kind(noun="plan", files=("plan.html", "tasks.ics", "plan.json"))
REVIEW = Kind(noun="review", files=("review.html",))


def _nothing() -> None:
    """Do nothing before the folders are exchanged."""


def write(
    files: Mapping[str, bytes],
    out: Path,
    *,
    first: Callable[[], None] = _nothing,
    kind: Kind = PLAN,
) -> None:
    """Write the files to `out`, all or none: a stop half way leaves the last ones whole.

    The folder is exchanged for a new one, so it may hold nothing but what `kind` names.

    Parameters
    ----------
    first
        Done when all files are written, before the folders are exchanged; when it fails nothing is
        changed.

    Raises
    ------
    PlannerError
        The folder cannot be written, or holds something else.
    """
    check_target(out, kind)
    fresh: Path | None = None
    try:
        target = out.resolve()
        target.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
        for name, content in files.items():
            path = fresh / name
            path.parent.mkdir(exist_ok=True)
            with path.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
        fresh.chmod(0o755)
        first()
        _swap(fresh, target)
    except OSError as fault:
        raise PlannerError(f"{out}: cannot be written ({fault.strerror or fault})") from fault
    finally:
        if fresh is not None:
            shutil.rmtree(fresh, ignore_errors=True)


def check_target(out: Path, kind: Kind = PLAN) -> None:
    """Check that files may be written to a folder, before the work for them begins.

    Raises
    ------
    PlannerError
        It is a file, holds something that is not of this kind, or cannot be written.
    """
    try:
        target = out.resolve()
        if target.exists() and not target.is_dir():
            raise PlannerError(f"{out}: it is a file; give a folder for the {kind.noun} (--out)")
        strange = _strangers(target, kind) if target.is_dir() else []
        there = next(path for path in target.parents if path.exists())
    except OSError as fault:
        raise PlannerError(f"{out}: cannot be read ({fault.strerror or fault})") from fault
    if strange:
        raise PlannerError(
            f"{out}: it holds {strange[0]}, which is no part of a {kind.noun} and would be lost; "
            "give another folder (--out) or take it away"
        )
    if not there.is_dir() or not os.access(there, os.W_OK | os.X_OK):
        raise PlannerError(f"{out}: cannot be written; {there} is no folder that you may write to")


def _strangers(out: Path, kind: Kind) -> list[str]:
    """Return what a folder holds that is not of its kind, by name."""
    found = [path for path in out.iterdir() if path.name not in (*kind.files, *SYSTEM_FILES)]
    tables = out / TABLES
    if tables.is_dir() and not tables.is_symlink():
        found.remove(tables)
        found += [path for path in tables.iterdir() if not _is_table(path)]
    return sorted(str(path.relative_to(out)) for path in found)


def _is_table(path: Path) -> bool:
    return path.name in SYSTEM_FILES or (path.suffix == ".csv" and path.is_file())


def _swap(fresh: Path, out: Path) -> None:
    """Put `fresh` in the place of `out`; what was there, if anything, is left at `fresh`.

    Linux exchanges the two names in one step; elsewhere there is an instant between two renames.
    """
    if not out.exists():
        fresh.rename(out)
        return
    exchange = getattr(ctypes.CDLL(None), "renameat2", None) if os.name == "posix" else None
    at, both = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of Linux
    if exchange and exchange(at, os.fsencode(fresh), at, os.fsencode(out), both) == 0:
        return
    old = fresh.with_name(f"{fresh.name}-old")
    out.rename(old)
    try:
        fresh.rename(out)
    except OSError:
        old.rename(out)
        raise
    shutil.rmtree(old, ignore_errors=True)
