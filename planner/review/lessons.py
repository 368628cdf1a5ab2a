"""Tables and sentences on the forecast: how it has done, and what it has learned."""

from collections import defaultdict
from collections.abc import Sequence
from statistics import fmean

from planner.learning import LearnedRow
from planner.pictures import Table
from planner.review.files import learned_range
from planner.review.kinds import ProduceRow, Review
from planner.review.sayings import method_words, share_words, weight_words
from planner.review.sheets import day_cell, name_of
from planner.words import plural, weight

FIGURES = {
    "days": "days to first cut",
    "yield": "weight cut",
    "loss": "plants lost",
    "growth": "growth",
    "survival": "deaths",
    "fcr": "feed for each kg of gain",
}
LEAST_CHANGE = 0.01  # of a factor, below which the next plan is as before


def forecast_table(found: Review) -> Table:
    """Return, by crop, how far weekly harvests were from the plan and its ranges."""
    groups: dict[str, list[ProduceRow]] = defaultdict(list)
    for row in found.produce:
        if row.real_kg is not None:
            groups[row.crop].append(row)
    return Table(
        caption="Harvests by week, of those recorded",
        head=("Crop or fish", "Weeks", "Planned", "Real", "Mean error", "Within range"),
        rows=tuple(
            (
                name_of(found, crop),
                str(len(rows)),
                weight(sum(row.planned_kg for row in rows), found.units),
                weight(sum(row.real_kg or 0.0 for row in rows), found.units),
                weight(fmean(abs((row.real_kg or 0.0) - row.planned_kg) for row in rows),
                       found.units),
                _within(rows),
            )
            for crop, rows in sorted(groups.items())
        ),
    )  # fmt: skip


def _within(rows: Sequence[ProduceRow]) -> str:
    known = [row.inside for row in rows if row.inside is not None]
    return f"{sum(known)} of {len(known)}" if known else "no range"


def produce_table(found: Review) -> Table:
    """Return every week's harvest of every crop: planned, its range, real."""
    return Table(
        caption="Harvest by week and crop, planned with its range from p10 to p90",
        head=("Week from", "Crop or fish", "Planned", "Range", "Real"),
        rows=tuple(
            (
                day_cell(row.week),
                name_of(found, row.crop),
                weight(row.planned_kg, found.units),
                "no range"
                if row.p10_kg is None or row.p90_kg is None
                else f"{weight(row.p10_kg, found.units)} to {weight(row.p90_kg, found.units)}",
                weight_words(row.real_kg, found.units),
            )
            for row in found.produce
        ),
    )


def learned_table(found: Review) -> Table:
    """Return what the records taught, with how far off the tables and the forecast were."""
    return Table(
        caption="What the next plan takes, and the mean error of the tables and with learning",
        head=("Crop or fish", "Figure", "Records", "Error before", "Error after", "Next plan"),
        rows=tuple(
            (
                name_of(found, row.crop),
                _figure_words(row),
                str(row.n),
                share_words(row.error_before),
                share_words(row.error_after),
                f"× {row.factor:.2f} ({learned_range(row)[0]:.2f} to {learned_range(row)[1]:.2f})",
            )
            for row in found.learned
        ),
    )


def _figure_words(row: LearnedRow) -> str:
    return FIGURES[row.figure] + (f", {method_words(row.method)}" if row.method else "")


def learned_sentences(found: Review) -> tuple[str, ...]:
    """Say what the next plan takes otherwise than the tables, and why."""
    said = []
    for row in found.learned:
        if abs(row.factor - 1) < LEAST_CHANGE:
            continue
        more = "more" if row.factor > 1 else "less"
        why = plural(row.n, "record")
        if row.bias is None:
            why += ", which give bounds only"
        elif row.bias * (row.factor - 1) > 0:
            off = "over" if row.bias > 0 else "under"
            why += f", {abs(row.bias):.0%} {off} the tables on average"
        else:
            why += " of its own, and more of its like"
        said.append(
            f"{name_of(found, row.crop)}, {_figure_words(row)}: the next plan takes "
            f"{abs(row.factor - 1):.0%} {more} ({why})."
        )
    return tuple(said)
