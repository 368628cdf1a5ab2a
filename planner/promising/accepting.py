"""Enter a promise that was accepted: a row of `orders.csv`, and the plan that keeps it."""

import csv
import io
import os
import shutil
import tempfile
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path

from planner import planning, writing
from planner.errors import PlannerError
from planner.horizon import WEEKDAYS, monday_of
from planner.promising.enquiry import (
    COLUMNS,
    ORDERS,
    WITHOUT_COLUMN,
    Answer,
    Verdict,
    csv_text,
    with_order,
)
from planner.season.effort import Effort, Progress, never, quiet

FIRST_PRIORITY = 1


def accept(
    folder: Path,
    out: Path,
    given: Answer,
    *,
    now: datetime,
    effort: Effort | None = None,
    progress: Progress = quiet,
    stopped: Callable[[], bool] = never,
) -> str:
    """Enter the promise into `orders.csv`, plan with it, and write that; returns the line's name.

    It is an order of the first priority from then on. Of a promise from a date on the weeks before
    are left out.

    Raises
    ------
    PlannerError
        The answer is no, or a file cannot be written; then nothing is.
    """
    if given.verdict is Verdict.NO:
        raise PlannerError("The answer is no, so there is nothing to accept; nothing was changed.")
    order = given.order
    first = max(order.first_week, given.since or order.first_week)
    cells = {
        "line": order.line,
        "customer": order.customer,
        "crop": order.crop_text,
        "unit": order.unit,
        "quantity": f"{order.quantity:.12g}",
        "first_week": monday_of(first).isoformat(),
        "last_week": order.last_week.isoformat(),
        "every_weeks": str(order.every_weeks),
        "weekdays": ";".join(WEEKDAYS[day][:3] for day in order.weekdays),
        "priority": str(FIRST_PRIORITY),
        "price": f"{order.price:.12g}",
        "tolerance": f"{order.tolerance:.12g}",
        "may_be_cut": "yes" if order.may_be_cut else "no",
    }
    writing.check_target(out)
    kept = order.model_copy(update={"first_week": first, "priority": FIRST_PRIORITY})
    progress("the plan that keeps it", None, float("inf"), 0.0)
    bundle = planning.planned(
        with_order(given.begin, kept), effort=effort or Effort(), progress=progress, stopped=stopped
    )
    path = folder / ORDERS
    before = path.read_bytes() if path.exists() else None
    _put(path, _with_row(path.name, before or b"", cells))
    try:
        planning.write(folder, bundle, out, now=now)
    except BaseException:
        _put(path, before)
        raise
    return order.line


def _with_row(name: str, before: bytes, cells: Mapping[str, str]) -> bytes:
    """Return a CSV file's octets with a row more, in the order of its own columns.

    What stands in it stays as it is, with its byte order mark and its line ends.
    """
    text = before.decode("utf-8").replace("\ufeff", "")
    rows = csv.reader(io.StringIO(text, newline=""), skipinitialspace=True)
    heads = ([cell.strip().lower() for cell in row] for row in rows)
    head = next((names for names in heads if any(names)), None)
    names = head or COLUMNS
    lost = [key for key in cells if key not in names and cells[key] != WITHOUT_COLUMN.get(key)]
    if lost:
        raise PlannerError(
            f"{name} has no column {lost[0]}, which the promise needs ({cells[lost[0]]}); add "
            f"{', '.join(lost)} to its first line, blank in the other rows; nothing was changed"
        )
    ends = "\r\n" if "\r\n" in text else "\n"
    start = before if head is not None else csv_text([COLUMNS], ends).encode()
    if not start.endswith((b"\n", b"\r")):
        start += ends.encode()
    return start + csv_text([[cells.get(key, "") for key in names]], ends).encode()


def _put(path: Path, content: bytes | None) -> None:
    """Give a file this content in one step; None takes it away."""
    try:
        if content is None:
            path.unlink(missing_ok=True)
            return
        handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            shutil.copymode(path, name) if path.exists() else os.chmod(name, 0o644)
            os.replace(name, path)
        finally:
            Path(name).unlink(missing_ok=True)
    except OSError as fault:
        raise PlannerError(f"{path}: cannot be written ({fault.strerror or fault})") from fault
