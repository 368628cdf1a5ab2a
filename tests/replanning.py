"""Four mishaps at lakeside, each planned anew with and without the price of changes.

`python -m tests.replanning [--out FILE]` prints a table: starts changed, what keeping to the plan
costs, and the time of each plan.
"""

import argparse
import json
import shutil
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from planner import planning
from planner.book import Deaths, Entry, Loss, Skipped, open_book
from planner.differences import changes
from planner.document import PlanDoc
from planner.plan import changed_cost
from planner.season.effort import Effort

LAKESIDE = Path(__file__).resolve().parent.parent / "examples" / "lakeside"
RAFT = "raft"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mishap:
    """What happens in a week of the plan: entries of the book, or a change of the farm's files."""

    name: str
    week: int
    entries: Callable[[PlanDoc, date], list[Entry]]
    edit: Callable[[Path, date], None] | None = None


def lost_raft(document: PlanDoc, day: date) -> list[Entry]:
    """A third of the raft's batches, by parts, are lost on a day."""
    rafts = [
        batch
        for batch in document["batches"]
        if batch["method"] == RAFT
        and (batch["transplant"] or batch["sow"]) < day.isoformat() < batch["clear"]
    ]
    wanted = sum(batch["parts"] for batch in rafts) / 3
    found: list[Entry] = []
    for batch in rafts:
        if wanted <= 0:
            break
        parts = min(batch["parts"], round(wanted + 0.5))
        found.append(Loss(on=day, batch=batch["id"], parts=parts, cause="root rot"))
        wanted -= parts
    return found


def lost_tanks(document: PlanDoc, day: date) -> list[Entry]:
    """All fish of the two tanks with the most fish die on a day."""
    held: dict[str, float] = {}
    for cohort in document["cohorts"]:
        for week in cohort["weeks"]:
            if week["week"] <= day.isoformat() < str(cohort["harvest"] or "9999"):
                held[cohort["tank"]] = week["biomass_kg"]
    tanks = sorted(held, key=lambda tank: -held[tank])[:2]
    return [Deaths(on=day, tank=tank, count=100_000, cause="pump failed") for tank in tanks]


def late_fingerlings(document: PlanDoc, day: date) -> list[Entry]:
    """The next fish to be stocked come three weeks late."""
    coming = [cohort for cohort in document["cohorts"] if cohort["stock"] >= day.isoformat()]
    first = min((cohort["stock"] for cohort in coming), default=None)
    return [
        Skipped(
            on=day,
            step="stock",
            batch=cohort["id"],
            planned_on=date.fromisoformat(cohort["stock"]),
            until=date.fromisoformat(cohort["stock"]) + timedelta(weeks=3),
            cause="the hatchery is late",
        )
        for cohort in coming
        if cohort["stock"] == first
    ]


def no_entries(document: PlanDoc, day: date) -> list[Entry]:
    return []


def raised_order(farm: Path, day: date) -> None:
    """The first line of `orders.csv` is raised by half."""
    path = farm / "orders.csv"
    head, first, *rest = path.read_text().splitlines()
    columns = head.split(",")
    cells = first.split(",")
    number = columns.index("quantity")
    cells[number] = f"{float(cells[number]) * 1.5:g}"
    path.write_text("\n".join([head, ",".join(cells), *rest]) + "\n")


MISHAPS = (
    Mishap(name="a third of the raft lost", week=12, entries=lost_raft),
    Mishap(name="the fish of two tanks lost", week=20, entries=lost_tanks),
    Mishap(name="an order raised by half", week=30, entries=no_entries, edit=raised_order),
    Mishap(name="fingerlings three weeks late", week=0, entries=late_fingerlings),
)


def week_of_stocking(document: PlanDoc) -> date:
    """The Monday before the first new fish come, after the plan's first weeks."""
    start = date.fromisoformat(document["horizon"]["start"])
    stocked = sorted(
        date.fromisoformat(cohort["stock"])
        for cohort in document["cohorts"]
        if date.fromisoformat(cohort["stock"]) > start + timedelta(weeks=4)
    )
    return stocked[0] - timedelta(days=stocked[0].weekday(), weeks=1)


def run(work: int | None) -> list[str]:
    """Plan each mishap both ways; returns the rows of the table."""
    rows = [
        "| what happens | week | starts kept | changed | changed if planned anew | keeping costs |"
        " time |",
        "|---|---|---|---|---|---|---|",
    ]
    with tempfile.TemporaryDirectory() as name:
        farm = Path(name) / "farm"
        shutil.copytree(LAKESIDE, farm, ignore=shutil.ignore_patterns("plan", "book.db*"))
        effort = Effort(work=work)
        began = time.monotonic()
        first = planning.make_plan(farm, today=date(2026, 1, 1), effort=effort)
        print(f"the first plan took {time.monotonic() - began:.0f} s", flush=True)
        planning.keep(farm, first, now=datetime(2026, 1, 1, tzinfo=UTC))
        start = date.fromisoformat(first.document["horizon"]["start"])
        for mishap in MISHAPS:
            house = Path(name) / mishap.name.replace(" ", "-")
            shutil.copytree(farm, house)
            day = start + timedelta(weeks=mishap.week)
            if mishap.week == 0:
                day = week_of_stocking(first.document)
            entries = mishap.entries(first.document, day - timedelta(days=1))
            if entries:
                with open_book(house / "book.db") as book:
                    book.record(entries, now=datetime(2026, 1, 2, tzinfo=UTC))
            if mishap.edit is not None:
                mishap.edit(house, day)
            began = time.monotonic()
            near = planning.make_plan(house, today=day, plan_date=day, effort=effort)
            seconds = time.monotonic() - began
            anew = planning.make_plan(house, today=day, plan_date=day, effort=effort, fresh=True)
            told = near.document["changes"]
            assert told is not None
            free = changes(first.document, anew.document, 0.0)
            cost = anew.plan.value - near.plan.value - changed_cost(near.problem, near.plan)
            rows.append(
                f"| {mishap.name} | {(day - start).days // 7} | {told['kept']} | {told['moved']} | "
                f"{free['moved']} | {cost:,.0f} | {seconds:.0f} s |"
            )
            print(rows[-1], flush=True)
            print(json.dumps(near.document["happened"], ensure_ascii=False)[:600], flush=True)
            print("\n".join(item["text"] for item in told["items"][:12]), flush=True)
    return rows


def main() -> None:
    """Print the table, and write it to a file if asked."""
    asked = argparse.ArgumentParser(description=main.__doc__)
    asked.add_argument("--out", type=Path)
    asked.add_argument("--work", type=int)
    given = asked.parse_args()
    rows = run(given.work)
    if given.out is not None:
        given.out.write_text("\n".join(rows) + "\n")


if __name__ == "__main__":
    main()
