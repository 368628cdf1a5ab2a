"""A commented starter farm: a small invented house that can be planned at once."""

import os
import shutil
import tempfile
from contextlib import suppress
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from planner.errors import PlannerError
from planner.farm import NITRATE_UNTESTED_MG_L
from planner.horizon import monday_of
from planner.resources import shipped
from planner.tables import load_stations

FILES = ("farm.toml", "orders.csv", "outlets.csv", "growing.csv", "cohorts.csv")
ORDER_WEEKS = 52
LATER_WEEKS = 10  # first week of orders for what does not stand in the house yet
FISH_WEEKS = (13, 18)  # first and last week in which the larger fish are taken
OLDEST_WEEKS = 20  # of a batch in the house


def rendered(today: date) -> dict[str, str]:
    """Return the text of each file, by name, for a farm that begins on `today`."""
    templates = Environment(
        loader=FileSystemLoader(shipped("templates") / "starter"),
        autoescape=False,  # the files are TOML and CSV, not HTML
        undefined=StrictUndefined,
        keep_trailing_newline=True,
    )
    facts = _facts(today)
    return {name: templates.get_template(f"{name}.j2").render(facts) for name in FILES}


def _facts(today: date) -> dict[str, Any]:
    """Return what the templates name."""
    monday = monday_of(today)
    first, last = FISH_WEEKS
    return {
        "today": today,
        "monday": monday,
        "later": monday + timedelta(weeks=LATER_WEEKS),
        "last_week": monday + timedelta(weeks=ORDER_WEEKS - 1),
        "fish_first": monday + timedelta(weeks=first),
        "fish_last": monday + timedelta(weeks=last),
        "weeks_ago": [today - timedelta(weeks=weeks) for weeks in range(OLDEST_WEEKS + 1)],
        "stations": [(id, station.name) for id, station in load_stations().items()],
        "untested": f"{NITRATE_UNTESTED_MG_L:g}",
    }


def write(folder: Path, *, today: date) -> tuple[str, ...]:
    """Write the starter farm into a new or empty folder; all files or none.

    Returns
    -------
    The paths of the files, as text.

    Raises
    ------
    PlannerError
        There is something at `folder` already, or it cannot be written.
    """
    texts = rendered(today)
    made = _prepared(folder)
    moved: list[Path] = []
    try:
        fresh = Path(tempfile.mkdtemp(prefix=".starter-", dir=folder))
        try:
            for name, text in texts.items():
                with (fresh / name).open("w", encoding="utf-8", newline="\n") as file:
                    file.write(text)
                    file.flush()
                    os.fsync(file.fileno())
            for name in texts:
                moved.append((fresh / name).rename(folder / name))
        finally:
            shutil.rmtree(fresh, ignore_errors=True)
    except OSError as fault:
        with suppress(OSError):
            for path in moved:
                path.unlink()
            for path in made:
                path.rmdir()
        raise PlannerError(f"{folder}: cannot be written ({fault.strerror})") from fault
    return tuple(str(path) for path in moved)


def _prepared(folder: Path) -> list[Path]:
    """Make the folder and those above it where they are missing; returns these, innermost first."""
    try:
        if folder.is_dir():
            if any(folder.iterdir()):
                raise PlannerError(f"{folder}: it is not empty; give a new folder")
            return []
        if folder.exists():
            raise PlannerError(f"{folder}: it is a file; give a new folder")
        missing = [path for path in (folder, *folder.parents) if not path.exists()]
        folder.mkdir(parents=True)
    except OSError as fault:
        raise PlannerError(f"{folder}: cannot be written ({fault.strerror})") from fault
    return missing
