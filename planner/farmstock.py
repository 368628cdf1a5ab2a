"""Read what is in the house: `growing.csv` and `cohorts.csv`, checked against zones and tanks."""

from collections.abc import Iterable, Iterator
from pathlib import Path

from planner.farm import CohortAtHand, Standing
from planner.farmrows import (
    Faults,
    Known,
    Row,
    dated_after_plan,
    named,
    no_growth,
    one_of,
    part_of,
    rows_of,
)
from planner.tables import plants_per_part
from planner.wording import shown


def read_standing(folder: Path, known: Known, faults: Faults) -> tuple[Standing, ...]:
    """Return the rows of `growing.csv`; a batch without an id is named by crop, zone and line."""
    ids: dict[str, Row] = {}
    kept: list[tuple[Row, Standing]] = []
    for row in rows_of(folder / "growing.csv", Standing, faults):
        crop = named(row, "crop", known, faults)
        zone = one_of(row, "zone", known.zones, faults)
        name = row.cells.get("id", f"{crop} {zone} {row.line}")
        given = {"id": name, "crop": crop, "zone": zone}
        batch = part_of(
            row, Standing, {key: text for key, text in given.items() if text is not None}, faults
        )
        if batch is None or crop is None or zone is None:
            continue
        first = ids.setdefault(batch.id.lower(), row)
        found = list(_standing_faults(batch, known))
        if first is not row:
            found.append(f"id is {shown(batch.id)}, as in {first.where}; give each batch its own")
        faults.extend(row.fault(fault) for fault in found)
        if not found:
            kept.append((row, batch))
    faults.extend(_crowding(kept, known))
    return tuple(batch for _, batch in kept)


def _standing_faults(batch: Standing, known: Known) -> Iterator[str]:
    crop, zone = known.crops[batch.crop], known.zone(batch.zone)
    late = dated_after_plan(batch.as_of, known)
    if late:
        yield late
    if zone is None:
        return
    if plants_per_part(crop, zone.method, zone.area_m2, zone.sites, zone.parts) == 0:
        yield (
            f'crop is "{crop.id}"; no plant of it fits a part of zone "{zone.name}" '
            f"({zone.method}); see the crop table for where it grows"
        )
    if batch.parts > zone.all_parts:
        yield f'parts is {batch.parts}; zone "{zone.name}" has {zone.all_parts}'
    if batch.places and batch.places[-1] > zone.places:
        yield (
            f'places names place {batch.places[-1]}; zone "{zone.name}" has places 1 to '
            f"{zone.places}"
        )
    if batch.parts < len(batch.places):
        yield (
            f"places names {len(batch.places)} places for {batch.parts} parts; a place named "
            "holds at least one"
        )


def _crowding(batches: Iterable[tuple[Row, Standing]], known: Known) -> Iterator[str]:
    """Say which zones and places would hold more parts than they have."""
    in_zone: dict[str, int] = {}
    in_place: dict[tuple[str, int], list[tuple[Row, int]]] = {}
    for row, batch in batches:
        if known.zone(batch.zone) is None or not _is_set_out(batch, known):
            continue
        in_zone[batch.zone] = in_zone.get(batch.zone, 0) + batch.parts
        for place, parts in batch.parts_by_place.items():
            in_place.setdefault((batch.zone, place), []).append((row, parts))
    zones = {name: zone for name in in_zone if (zone := known.zone(name))}
    for name, parts in in_zone.items():
        if parts > zones[name].all_parts:
            yield (
                f'growing.csv: zone "{name}": the batches set out in it hold {parts} parts; it has '
                f"{zones[name].all_parts}"
            )
    for (name, place), held in in_place.items():
        parts = sum(count for _, count in held)
        if parts > zones[name].parts:
            lines = " and ".join(row.line for row, _ in held)
            yield (
                f'growing.csv line {lines}: place "{name} {place}" would hold {parts} parts; it '
                f"has {zones[name].parts} (the parts of a row are spread evenly over its places)"
            )


def _is_set_out(batch: Standing, known: Known) -> bool:
    """Whether a batch holds its places on the plan date, or on the day it was counted."""
    set_out = batch.transplant
    if set_out is None and known.crops[batch.crop].direct_sow:
        set_out = batch.sow
    return set_out is not None and set_out <= max(batch.as_of, known.plan_date or batch.as_of)


def read_cohorts(folder: Path, known: Known, faults: Faults) -> tuple[CohortAtHand, ...]:
    """Return the rows of `cohorts.csv`."""
    kept: dict[str, tuple[Row, CohortAtHand]] = {}
    for row in rows_of(folder / "cohorts.csv", CohortAtHand, faults):
        tank = one_of(row, "tank", known.tanks, faults)
        species = named(row, "species", known, faults)
        given = {"tank": tank, "species": species}
        cohort = part_of(
            row, CohortAtHand, {key: text for key, text in given.items() if text}, faults
        )
        if cohort is None or tank is None or species is None:
            continue
        late = dated_after_plan(cohort.as_of, known)
        if late:
            faults.append(row.fault(late))
        if known.fish[species].tgc_per_1000_degree_days is None:
            faults.append(row.fault(f"species {no_growth(species)}"))
        first, _ = kept.setdefault(tank, (row, cohort))
        if first is not row:
            faults.append(
                row.fault(f"tank is {shown(tank)}, as in {first.where}; give one cohort to a tank")
            )
    return tuple(cohort for _, cohort in kept.values())
