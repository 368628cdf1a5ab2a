"""Whether files have changed since they were read, from what the file system says of them."""

import os
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

_UNSETTLED_NS = 100_000_000  # files changed within this time may change again unseen

Mark = tuple[tuple[int, int, int] | None, ...]


def mark_of(folder: Path, names: Sequence[str]) -> Mark:
    """Return time of change [ns], size and number of each file, or None where there is none."""
    found: list[tuple[int, int, int] | None] = []
    for name in names:
        try:
            stat = os.stat(folder / name)
        except OSError:
            found.append(None)
        else:
            found.append((stat.st_mtime_ns, stat.st_size, stat.st_ino))
    return tuple(found)


def settled(folder: Path, names: Sequence[str]) -> Mark | None:
    """Return what differs when one of the files does, or None when one has changed just now."""
    mark = mark_of(folder, names)
    newest = max((stat[0] for stat in mark if stat is not None), default=0)
    return None if abs(time.time_ns() - newest) < _UNSETTLED_NS else mark


def changed_at(folder: Path, names: Sequence[str]) -> datetime:
    """Return when the file last written to was (UTC); 1970 when there is none."""
    times = [stat[0] for stat in mark_of(folder, names) if stat is not None]
    return datetime.fromtimestamp(max(times, default=0) / 1e9, UTC)
