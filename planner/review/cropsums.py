"""Batches summed by crop, growing method and month of sowing."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from statistics import fmean

from planner.book import Harvest
from planner.review.ground import Ground
from planner.review.kinds import BatchRow, CropRow


def crop_rows(ground: Ground, batches: Sequence[BatchRow]) -> tuple[CropRow, ...]:
    """Return a row for each crop, method and sowing month, and for what has no batch."""
    groups: dict[tuple[str, str, str], list[BatchRow]] = defaultdict(list)
    for row in batches:
        groups[row.crop, row.method, row.month].append(row)
    for entry in ground.of(Harvest):
        if entry.batch is None:
            groups.setdefault((entry.crop, "", ""), [])
    return tuple(_crop_row(ground, key, group) for key, group in sorted(groups.items()))


def _crop_row(ground: Ground, key: tuple[str, str, str], group: Sequence[BatchRow]) -> CropRow:
    crop, method, month = key
    recorded = [row for row in group if row.real_kg is not None]
    timed = [row for row in group if row.real_days is not None]
    told = [row.lost_plants for row in group if row.lost_plants is not None]
    real_kg = [row.real_kg for row in recorded if row.real_kg is not None]
    if not group:
        unnamed = (e for e in ground.of(Harvest) if e.batch is None and e.crop == crop)
        real_kg = [entry.kg for entry in unnamed]
    return CropRow(
        crop=crop,
        method=method,
        month=month,
        batches=len(group),
        recorded=len(recorded),
        days_recorded=len(timed),
        planned_days=_mean([row.planned_days for row in timed]),
        real_days=_mean([row.real_days for row in timed]),
        planned_kg=sum((row.planned_kg for row in group), 0.0),
        counted_kg=sum((row.counted_kg for row in recorded), 0.0),
        real_kg=sum(real_kg, 0.0) if real_kg else None,
        planned_loss=fmean(row.planned_loss for row in group) if group else 0.0,
        plants=sum(row.plants for row in group),
        lost_plants=sum(told, 0.0) if told else None,
        planned_hours=sum((row.planned_hours for row in group), 0.0),
        planned_value=value(recorded or [row for row in group if row.planned_kg > 0], real=False),
        real_value=value(recorded, real=True),
        price_kg=ground.price_kg(crop),
    )


def _mean(values: Iterable[int | None]) -> float | None:
    known = [v for v in values if v is not None]
    return fmean(known) if known else None


def value(rows: Sequence[BatchRow], *, real: bool) -> float | None:
    """Kilograms at their price over area and time held, real or planned. [money m⁻² week⁻¹]"""
    kg = [
        row.planned_kg if row.real_kg is None else row.real_kg if real else row.counted_kg
        for row in rows
    ]
    m2_weeks = sum(row.real_m2_weeks if real else row.planned_m2_weeks for row in rows)
    worth = sum(k * row.price_kg for k, row in zip(kg, rows, strict=True))
    return worth / m2_weeks if m2_weeks > 0 else None
