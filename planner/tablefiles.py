"""The plan's tables as CSV files, for a spreadsheet or a clipboard."""

from collections.abc import Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

import pandas as pd

from planner.document import PlaceDoc, PlanDoc
from planner.tables import Crop
from planner.takerows import PERMIT, fish_days, harvests, purchases, settings_out, sowings
from planner.tasks import Job

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
NO_ROWS: Mapping[str, Crop] = MappingProxyType({})


def tables(
    document: PlanDoc, jobs: Iterable[Job], *, crops: Mapping[str, Crop] = NO_ROWS
) -> dict[str, bytes]:
    """Return file name and content of each table; dates ISO, SI units in the column names.

    `crops` holds table rows by id; one that is missing costs the number of its seeds and what it
    starts from.
    """
    batches = [
        {
            "batch": batch["id"],
            "crop": document["crops"][batch["crop"]],
            "zone": batch["zone"],
            "places": _places(batch["places"]),
            "parts": batch["parts"],
            "plants": batch["plants"],
            "state": batch["state"],
            "sow": batch["sow"],
            "set_out": batch["transplant"],
            "ripe": batch["ripe"],
            "first_cut": batch["first_harvest"],
            "last_cut": batch["last_harvest"],
            "clear": batch["clear"],
            "harvest_kg": round(sum((week["kg"] for week in batch["harvest"]), 0.0), 3),
        }
        for batch in document["batches"]
    ]
    cohort_weeks = [
        {"cohort": cohort["id"], "species": cohort["species"], "tank": cohort["tank"], **week}
        for cohort in document["cohorts"]
        for week in cohort["weeks"]
    ]
    lines = [
        {
            "date": job.day.isoformat(),
            "kind": job.kind.value,
            "what": line.text,
            "place": line.place,
            "batch": line.batch,
        }
        for job in jobs
        for line in job.lines
    ]
    rows: Mapping[str, Iterable[Any]] = {
        "jobs": lines,
        "batches": batches,
        "sowing": _sowing(document, crops),
        "setting_out": _setting_out(document),
        "harvest": _harvest(document),
        "fish": cohort_weeks,
        "fish_list": _fish_list(document),
        "shopping": _shopping(document, crops),
        "weeks": list(document["weeks"]),
        "produce": list(document["produce"]),
        "orders": list(document["orders"]),
        "deliveries": list(document["deliveries"]),
    }
    if document["changes"] is not None and document["changes"]["items"]:
        rows = {**rows, "changes": document["changes"]["items"]}
    return {f"{name}.csv": _csv(list(table)) for name, table in rows.items()}


def _places(places: Iterable[PlaceDoc]) -> str:
    return " ".join(f"{place['name']}:{place['parts']}" for place in places)


def _sowing(document: PlanDoc, crops: Mapping[str, Crop]) -> Iterator[dict[str, Any]]:
    for row in sowings(document, crops):
        yield {
            "date": row.day.isoformat(),
            "crop": document["crops"][row.crop],
            "crop_id": row.crop,
            "batch": row.batch,
            "started_from": row.started_from,
            "seeds": row.seeds,
            "cells": row.cells,
            "trays_of_72": row.trays,
            "plants": row.plants,
            "for_zone": row.zone,
            "set_out": row.set_out.isoformat() if row.set_out else None,
        }


def _setting_out(document: PlanDoc) -> Iterator[dict[str, Any]]:
    for row in settings_out(document):
        yield {
            "date": row.day.isoformat(),
            "crop": document["crops"][row.crop],
            "crop_id": row.crop,
            "batch": row.batch,
            "plants": row.plants,
            "zone": row.zone,
            "places": _places(row.places),
        }


def _harvest(document: PlanDoc) -> Iterator[dict[str, Any]]:
    """One row a delivery, and one more, without batch, for what an order is short."""
    for row in harvests(document):
        yield {
            "week": row.week.isoformat(),
            "customer": row.customer,
            "line": row.line,
            "crop": document["crops"].get(row.crop, row.crop),
            "crop_id": row.crop,
            "quantity": row.quantity,
            "short": row.short,
            "unit": row.unit,
            "batch": row.batch,
            "from": ("cooler" if row.from_cooler else "place") if row.batch else "",
            "places": "; ".join(row.places),
        }


def _fish_list(document: PlanDoc) -> Iterator[dict[str, Any]]:
    for row in fish_days(document):
        yield {
            "date": row.day.isoformat(),
            "what": "stock" if row.stocked else "take",
            "fish": document["crops"][row.species],
            "fish_id": row.species,
            "cohort": row.cohort,
            "tank": row.tank,
            "count": row.count,
            "mean_g": round(row.mean_g, 2),
            "kg": round(row.kg, 4),
            "saleable": None if row.stocked else row.saleable,
            "order_lines": "; ".join(dict.fromkeys(one.line for one in row.serves)),
            "note": PERMIT if row.stocked else "",
        }


def _shopping(document: PlanDoc, crops: Mapping[str, Crop]) -> Iterator[dict[str, Any]]:
    for row in purchases(document, crops):
        yield {
            "kind": row.kind,
            "what": document["crops"][row.what],
            "what_id": row.what,
            "month": f"{row.day:%Y-%m}",
            "first_needed": row.day.isoformat(),
            "number": round(row.number, 5),
            "unit": row.unit,
            "bags_of_20_kg": row.bags,
            "first_week_kg": None if row.first_week_kg is None else round(row.first_week_kg, 5),
            "mean_g": row.mean_g,
            "tank": row.tank,
            "note": PERMIT if row.kind == "fingerlings" else "",
        }


def _csv(rows: list[Any]) -> bytes:
    """Write rows; a text that a spreadsheet would run as a formula gets a quote before it."""
    safe = [
        {
            name: f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA_SIGNS) else cell
            for name, cell in row.items()
        }
        for row in rows
    ]
    frame = pd.DataFrame(safe, dtype=object)  # whole numbers stay whole beside empty cells
    return frame.to_csv(index=False, lineterminator="\n").encode()
