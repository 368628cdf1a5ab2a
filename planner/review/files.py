"""The review's tables as CSV files; an empty cell is what nobody recorded."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict
from datetime import date
from math import exp
from typing import Any

import pandas as pd

from planner.learning import LearnedRow
from planner.review.kinds import Review

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")  # a spreadsheet would reckon with such a text
DIGITS = 6
P90 = 1.2816  # standard deviations from the middle of a normal to its 90th percentile


def tables(found: Review) -> dict[str, bytes]:
    """Return name and content of each table that has rows; dates ISO, units in column names."""
    rows: Mapping[str, Iterable[Any]] = {
        "batches": map(asdict, found.batches),
        "crops": map(asdict, found.crops),
        "fish": map(asdict, found.fish),
        "weeks": (
            {
                "week": row.week,
                "planned_nitrate_n_mg_l": row.planned_mg_l,
                "band_low_mg_l": row.band_mg_l[0],
                "band_high_mg_l": row.band_mg_l[1],
                "tests": row.tests,
                "tested_low_mg_l": row.tested_low_mg_l,
                "tested_high_mg_l": row.tested_high_mg_l,
                "out_mg_l": row.out_mg_l,
                "planned_feed_kg": row.planned_feed_kg,
                "real_feed_kg": row.real_feed_kg,
            }
            for row in found.weeks
        ),
        "produce": ({**asdict(row), "inside": row.inside} for row in found.produce),
        "orders": map(asdict, found.orders),
        "customers": map(asdict, found.customers),
        "changes": map(asdict, found.changes),
        "learned": _learned(found.learned),
    }
    filled = {name: list(table) for name, table in rows.items()}
    return {f"{name}.csv": _csv(table) for name, table in filled.items() if table}


def _learned(rows: Iterable[LearnedRow]) -> Iterator[dict[str, Any]]:
    for row in rows:
        low, high = learned_range(row)
        yield {**asdict(row), "factor_p10": low, "factor_p90": high}


def learned_range(row: LearnedRow) -> tuple[float, float]:
    """Return p10 and p90 of a learned factor. [-]"""
    return row.factor * exp(-P90 * row.sd_log), row.factor * exp(P90 * row.sd_log)


def _csv(rows: list[dict[str, Any]]) -> bytes:
    """Write rows; a text that a spreadsheet would run as a formula gets a quote before it."""
    safe = [{name: _cell(value) for name, value in row.items()} for row in rows]
    frame = pd.DataFrame(safe, dtype=object)  # whole numbers stay whole beside empty cells
    return frame.to_csv(index=False, lineterminator="\n").encode()


def _cell(value: object) -> object:
    if isinstance(value, str) and value.startswith(FORMULA_SIGNS):
        return f"'{value}"
    if isinstance(value, date):
        return value.isoformat()
    return round(value, DIGITS) if isinstance(value, float) else value
