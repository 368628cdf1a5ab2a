"""The plan's tables as CSV files, for a spreadsheet or a clipboard."""

from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd

from planner.document import PlanDoc
from planner.tasks import Job

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")


def tables(document: PlanDoc, jobs: Iterable[Job]) -> dict[str, bytes]:
    """Return file name and content of each table; dates ISO, SI units in the column names."""
    batches = [
        {
            "batch": batch["id"],
            "crop": document["crops"][batch["crop"]],
            "zone": batch["zone"],
            "places": " ".join(f"{p['name']}:{p['parts']}" for p in batch["places"]),
            "parts": batch["parts"],
            "plants": batch["plants"],
            "state": batch["state"],
            "sow": batch["sow"],
            "set_out": batch["transplant"],
            "ripe": batch["ripe"],
            "first_cut": batch["first_harvest"],
            "last_cut": batch["last_harvest"],
            "clear": batch["clear"],
            "harvest_kg": round(sum(week["kg"] for week in batch["harvest"]), 3),
        }
        for batch in document["batches"]
    ]
    cohort_weeks = [
        {"cohort": cohort["id"], "species": cohort["species"], "tank": cohort["tank"], **week}
        for cohort in document["cohorts"]
        for week in cohort["weeks"]
    ]
    sowing = [
        {
            "date": batch["sow"],
            "crop": document["crops"][batch["crop"]],
            "batch": batch["id"],
            "cells": batch["cells"],
            "plants": batch["plants"],
            "for_zone": batch["zone"],
        }
        for batch in document["batches"]
        if batch["state"] == "planned"
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
    rows: Mapping[str, list[Any]] = {
        "jobs": lines,
        "batches": batches,
        "sowing": sorted(sowing, key=lambda row: (row["date"], row["batch"])),
        "fish": cohort_weeks,
        "weeks": list(document["weeks"]),
        "produce": list(document["produce"]),
        "orders": list(document["orders"]),
        "deliveries": list(document["deliveries"]),
    }
    return {f"{name}.csv": _csv(table) for name, table in rows.items()}


def _csv(rows: list[Any]) -> bytes:
    """Write rows; a text that a spreadsheet would run as a formula gets a quote before it."""
    frame = pd.DataFrame(rows)
    for column in frame.columns:
        frame[column] = [
            f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA_SIGNS) else cell
            for cell in frame[column]
        ]
    return frame.to_csv(index=False, lineterminator="\n").encode()
