"""The plan's tables as CSV files, for a spreadsheet or a clipboard."""

from collections.abc import Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

import pandas as pd

from planner.document import PlaceDoc, PlanDoc
from planner.purchases import Purchase, purchases
from planner.ranges import cohort_ranges, week_ranges
from planner.tables import Crop
from planner.takerows import ON_ORDER, PERMIT, FishDay, fish_days, harvests, settings_out, sowings
from planner.tasks import Job

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
NO_ROWS: Mapping[str, Crop] = MappingProxyType({})


def tables(
    document: PlanDoc, jobs: Iterable[Job], *, crops: Mapping[str, Crop] = NO_ROWS
) -> dict[str, bytes]:
    """Return file name and content of each table; dates ISO, SI units in the column names.

    Ranges and chances are blank where there is no forecast; then there is no `forecast.csv`.

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
            "first_cut_p10": batch["first_harvest_p10"],
            "first_cut_p90": batch["first_harvest_p90"],
            "last_cut": batch["last_harvest"],
            "clear": batch["clear"],
            "harvest_kg": round(sum((week["kg"] for week in batch["harvest"]), 0.0), 3),
        }
        for batch in document["batches"]
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
        "fish": _fish(document),
        "fish_list": _fish_list(document),
        "shopping": _shopping(document, crops),
        "weeks": _weeks(document),
        "produce": list(document["produce"]),
        "orders": list(document["orders"]),
        "deliveries": list(document["deliveries"]),
    }
    if document["changes"] is not None and document["changes"]["items"]:
        rows = {**rows, "changes": document["changes"]["items"]}
    if document["forecast"] is not None:
        rows = {**rows, "forecast": _forecast(document)}
    return {f"{name}.csv": _csv(list(table)) for name, table in rows.items()}


def _places(places: Iterable[PlaceDoc]) -> str:
    return " ".join(f"{place['name']}:{place['parts']}" for place in places)


def _ranged(row: Mapping[str, Any] | None, *keys: str) -> dict[str, Any]:
    """Return the p10, p50 and p90 of keys; blank where the forecast has no row."""
    names = [f"{key}_{end}" for key in keys for end in ("p10", "p50", "p90")]
    return {name: None if row is None else row[name] for name in names}


def _weeks(document: PlanDoc) -> Iterator[dict[str, Any]]:
    ranges = week_ranges(document)
    for week in document["weeks"]:
        yield {**week, **_ranged(ranges.get(week["week"]), "nitrate_n_mg_l", "feed_kg")}


def _fish(document: PlanDoc) -> Iterator[dict[str, Any]]:
    ranges = cohort_ranges(document)
    for cohort in document["cohorts"]:
        for week in cohort["weeks"]:
            row = ranges.get((cohort["id"], week["week"]))
            live = {
                name.replace("kg_", "biomass_kg_"): kg for name, kg in _ranged(row, "kg").items()
            }
            yield {
                "cohort": cohort["id"],
                "species": cohort["species"],
                "tank": cohort["tank"],
                **week,
                **_ranged(row, "mean_g"),
                **live,
            }


def _forecast(document: PlanDoc) -> Iterator[dict[str, Any]]:
    """One row a week and crop or fish that may be cut or taken in it, and what is planned."""
    planned = {(row["week"], row["crop"]): row["cut_kg"] for row in document["produce"]}
    for row in document["forecast"]["produce"] if document["forecast"] else ():
        yield {
            "week": row["week"],
            "crop": document["crops"].get(row["crop"], row["crop"]),
            "crop_id": row["crop"],
            "planned_kg": planned.get((row["week"], row["crop"]), 0.0),
            **_ranged(row, "kg"),
        }


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
    """One row a delivery, and one more, without batch, for what an order is short.

    Beside it the chance of the order, and what the batch may give in the week, to all of them.
    """
    given = {
        (batch["id"], week["week"]): week
        for batch in document["batches"]
        for week in batch["harvest"]
    }
    for row in harvests(document):
        monday = row.week.isoformat()
        may_give = _ranged(given.get((row.batch, monday)), "kg")
        yield {
            "week": monday,
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
            "chance": row.chance,
            **{f"batch_{name}": kg for name, kg in may_give.items()},
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
            "kg_p10": None if row.share is None else round(row.kg * row.share.low, 4),
            "kg_p90": None if row.share is None else round(row.kg * row.share.high, 4),
            "saleable": None if row.stocked else row.saleable,
            "order_lines": "; ".join(dict.fromkeys(one.line for one in row.serves)),
            "order_by": _order_by(row),
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
            "number_p10": None if row.likely_kg is None else round(row.likely_kg.low, 5),
            "number_p90": None if row.likely_kg is None else round(row.likely_kg.high, 5),
            "bags_of_20_kg": row.bags,
            "first_week_kg": None if row.first_week_kg is None else round(row.first_week_kg, 5),
            "mean_g": row.mean_g,
            "tank": row.tank,
            "order_by": _order_by(row),
            "note": PERMIT if row.kind == "fingerlings" else "",
        }


def _order_by(row: FishDay | Purchase) -> str:
    """Return the last day to order fish that are to be stocked, or that they are ordered."""
    if row.order_by is None:
        return ON_ORDER if row.ordered else ""
    return row.order_by.isoformat()


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
