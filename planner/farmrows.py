"""Read the CSV files of a farm folder, row by row, and check each row against the farm.

Every fault goes into the caller's list as one sentence that names the file and the line; a
function returns the rows that are in order.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from planner.errors import InputError, nearest
from planner.farm import CohortAtHand, Order, Outlet, Part, Standing, Zone
from planner.sheets import read_lines
from planner.tables import Crop, Fish, plants_per_part, resolve_group
from planner.wording import sentences, shown

LARGEST_FILE_MB = 2.0
MOST_ROWS = 20_000
KG_PER_LB = 0.45359237  # international pound, exact by definition
UNITS = ("head", "bunch", "each", "kg", "lb")
WEIGHTS = ("kg", "lb")

_MADE_HERE = ("id", "crop_text")  # a row need not give them

PartT = TypeVar("PartT", bound=Part)
Faults = list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What rows may refer to.

    Parameters
    ----------
    crops, fish
        The tables, by id.
    crops_in_use, species_in_use
        Ids of what the farm grows and keeps.
    zones
        By name; None for a zone that has faults of its own.
    tanks
        Names of single tanks.
    unread
        Ids, in small letters, in a table of the grower's that could not be read.
    plan_date
        The farm's own, if it has one.
    """

    crops: Mapping[str, Crop]
    fish: Mapping[str, Fish]
    crops_in_use: frozenset[str]
    species_in_use: frozenset[str]
    zones: Mapping[str, Zone | None]
    tanks: frozenset[str]
    unread: frozenset[str]
    plan_date: date | None


@dataclass(frozen=True, slots=True)
class Row:
    """The filled cells of one row, by column, and where it stands (file and line)."""

    where: str
    cells: dict[str, str]

    def fault(self, sentence: str) -> str:
        """Return the sentence with the row's place before it."""
        return f"{self.where}: {sentence}"


def can_be_read(path: Path, faults: Faults) -> bool:
    """Whether a path is a file of a size that is read; says why not. No file is no fault."""
    try:
        if not path.exists():
            return False
        if path.is_dir():
            faults.append(f"{path.name}: it is a folder; a file is needed")
            return False
        size_mb = path.stat().st_size / 1e6
    except (OSError, ValueError) as fault:
        faults.append(f"{path.name}: it cannot be read ({reason(fault)})")
        return False
    if size_mb > LARGEST_FILE_MB:
        faults.append(
            f"{path.name}: it has {size_mb:.1f} MB; at most {LARGEST_FILE_MB:g} MB are read"
        )
        return False
    return True


def reason(fault: Exception) -> str:
    """Return the system's words for a file that cannot be read."""
    return getattr(fault, "strerror", None) or str(fault)


def _rows(path: Path, model: type[Part], faults: Faults) -> list[Row]:
    """Return the rows of a CSV file whose columns are the keys of `model`; no file, no rows."""
    if not can_be_read(path, faults):
        return []
    columns = {
        field.alias or name: field.is_required() and name not in _MADE_HERE
        for name, field in model.model_fields.items()
        if name != "crop_text"
    }
    needed = [name for name, is_needed in columns.items() if is_needed]
    form: Faults = []
    try:
        lines = read_lines(path, columns, needed, form)
    except InputError as fault:
        faults.extend(fault.faults)
        return []
    faults.extend(form)
    if len(lines) > MOST_ROWS:
        faults.append(f"{path.name}: it has {len(lines):,} rows; at most {MOST_ROWS:,} are read")
        return []
    if lines and any(name not in lines[0].cells for name in needed):
        return []  # every row would say the same again
    return [
        Row(
            line.where,
            {name: cell for name, cell in line.cells.items() if cell and name in columns},
        )
        for line in lines
    ]


def _part(
    row: Row, model: type[PartT], changed: Mapping[str, object], faults: Faults
) -> PartT | None:
    """Return the row as a part of the farm, `changed` standing in for its cells."""
    cells = {**row.cells, **changed}
    try:
        return model.model_validate(cells, by_alias=True, by_name=False)
    except ValidationError as fault:
        faults.extend(row.fault(sentence) for sentence in sentences(fault, model, cells))
        return None


def find(text: str, table: Mapping[str, Crop | Fish]) -> str | None:
    """Return the id that a text means: an id, or a name that only one row has."""
    wanted = text.strip().lower()
    if wanted in table:
        return wanted
    named = [key for key, row in table.items() if row.name.lower() == wanted]
    return named[0] if len(named) == 1 else None


def unknown(text: str, kind: str, tables: Iterable[Mapping[str, Crop] | Mapping[str, Fish]]) -> str:
    """Return the end of a sentence on a name that is in none of the tables."""
    names = [name for table in tables for key, row in table.items() for name in (key, row.name)]
    return f"is {shown(text)}; there is no such {kind} in the tables{nearest(text, names)}"


def _wares(row: Row, known: Known, faults: Faults) -> tuple[str, ...]:
    """Return the ids that the cell `crop` of an order or outlet means; () when at fault.

    A group means those of its crops that are in use and are sold by the row's unit.
    """
    text, unit = row.cells.get("crop", ""), row.cells.get("unit", "kg").lower()
    both: dict[str, Crop | Fish] = {**known.crops, **known.fish}
    found: dict[str, None] = {}
    before = len(faults)
    pieces = [text] if find(text, both) else re.split(r";|\s+or\s+", text, flags=re.IGNORECASE)
    for piece in filter(None, map(str.strip, pieces)):
        ware = find(piece, both)
        if ware is not None:
            faults.extend(row.fault(fault) for fault in _ware_faults(ware, unit, known))
            found[ware] = None
            continue
        group = resolve_group(piece, known.crops)
        kept = [
            crop
            for crop in group
            if crop in known.crops_in_use and (unit in WEIGHTS or unit == _unit(crop, known))
        ]
        found |= dict.fromkeys(kept)
        if group and not kept:
            sold = "" if unit in WEIGHTS else f" that is sold by the {unit}"
            faults.append(
                row.fault(f"crop is {shown(piece)}; no such crop{sold} is in crops of farm.toml")
            )
        elif not group and piece.lower() not in known.unread:
            faults.append(
                row.fault(f"crop {unknown(piece, 'crop, group or fish', known.crops, known.fish)}")
            )
    if len({ware in known.fish for ware in found}) > 1:
        faults.append(row.fault(f"crop is {shown(text)}; give crops or fish, not both"))
    return tuple(found) if len(faults) == before else ()


def _unit(ware: str, known: Known) -> str:
    return known.crops[ware].yield_unit if ware in known.crops else "kg"


def _ware_faults(ware: str, unit: str, known: Known) -> Iterator[str]:
    own = _unit(ware, known)
    if ware in known.crops and ware not in known.crops_in_use:
        yield f'crop is "{ware}"; it is not in crops of farm.toml, so it is not grown'
    if ware in known.fish and ware not in known.species_in_use:
        yield f'crop is "{ware}"; there are neither fingerlings nor fish of it on this farm'
    if unit in UNITS and unit not in (*WEIGHTS, own):
        units = "kg or lb" if own == "kg" else f"{own}, kg or lb"
        yield f'unit is "{unit}"; "{ware}" is sold in {units}'


def read_orders(folder: Path, known: Known, faults: Faults) -> tuple[Order, ...]:
    """Return the lines of `orders.csv`, pounds turned into kilograms."""
    orders: dict[str, tuple[Row, Order]] = {}
    for row in _rows(folder / "orders.csv", Order, faults):
        wares = _wares(row, known, faults)
        text = row.cells.get("crop")
        changed: dict[str, object] = {"crop": wares or ("?",), "crop_text": text} if text else {}
        unit = row.cells.get("unit", "").lower()
        if unit:
            changed["unit"] = unit
        if unit and unit not in UNITS:
            hint = nearest(unit, UNITS)
            faults.append(row.fault(f"unit is {shown(unit)}; give one of {', '.join(UNITS)}{hint}"))
        order = _part(row, Order, changed, faults)
        if order is None:
            continue
        first = orders.setdefault(order.line.lower(), (row, order))[0]
        if first is not row:
            faults.append(
                row.fault(
                    f"line {shown(order.line)} stands already in {first.where}; give each its own"
                )
            )
        if unit == "lb":
            changed = {
                "unit": "kg",
                "quantity": order.quantity * KG_PER_LB,
                "price": order.price / KG_PER_LB,
            }
            orders[order.line.lower()] = (row, order.model_copy(update=changed))
    return tuple(order for _, order in orders.values())


def read_outlets(folder: Path, known: Known, faults: Faults) -> tuple[Outlet, ...]:
    """Return the rows of `outlets.csv`, one for each crop; a group's limit holds for each."""
    outlets: dict[tuple[str, str], tuple[Row, Outlet]] = {}
    for row in _rows(folder / "outlets.csv", Outlet, faults):
        outlet = _part(row, Outlet, {}, faults)
        wares = _wares(row, known, faults)
        for ware in wares if outlet else ():
            assert outlet is not None
            key = (outlet.outlet.lower(), ware)
            kept = outlets.setdefault(key, (row, outlet.model_copy(update={"crop": ware})))[0]
            if kept is not row:
                faults.append(
                    row.fault(
                        f"outlet {shown(outlet.outlet)} takes {shown(ware)} already in {kept.where}"
                    )
                )
    return tuple(outlet for _, outlet in outlets.values())


def read_standing(folder: Path, known: Known, faults: Faults) -> tuple[Standing, ...]:
    """Return the rows of `growing.csv`; a batch without an id is named by crop, zone and line."""
    kept: dict[str, tuple[Row, Standing]] = {}
    for row in _rows(folder / "growing.csv", Standing, faults):
        crop = _named(row, "crop", known, faults)
        zone = _one_of(row, "zone", known.zones, faults)
        changed = {"crop": crop, "zone": zone}
        name = row.cells.get("id", f"{crop} {zone} {row.where.rsplit(maxsplit=1)[-1]}")
        changed = {key: text for key, text in {**changed, "id": name}.items() if text is not None}
        batch = _part(row, Standing, changed, faults)
        if batch is None or crop is None or zone is None:
            continue
        faults_here = list(_standing_faults(batch, known))
        faults.extend(row.fault(fault) for fault in faults_here)
        first = kept.setdefault(batch.id.lower(), (row, batch))[0]
        if first is not row:
            faults.append(
                row.fault(
                    f"id {shown(batch.id)} stands already in {first.where}; give each its own"
                )
            )
        elif faults_here:
            del kept[batch.id.lower()]
    faults.extend(_crowding(list(kept.values()), known))
    return tuple(batch for _, batch in kept.values())


def _named(row: Row, column: str, known: Known, faults: Faults) -> str | None:
    """Return the crop or species of a row by its id; None when blank or at fault."""
    table = known.crops if column == "crop" else known.fish
    text = row.cells.get(column)
    found = None if text is None else find(text, table)
    if text is not None and found is None and text.lower() not in known.unread:
        faults.append(row.fault(f"{column} {unknown(text, column, table)}"))
    return found


def _one_of(row: Row, column: str, names: Iterable[str], faults: Faults) -> str | None:
    """Return the zone or tank of a row as the farm spells it; None when blank or at fault."""
    text = row.cells.get(column)
    if text is None:
        return None
    found = {name.lower(): name for name in names}
    if text.lower() not in found:
        hint = nearest(text, names) or f"; there are {', '.join(list(found.values())[:20])}"
        faults.append(row.fault(f"{column} is {shown(text)}; farm.toml has no such {column}{hint}"))
    return found.get(text.lower())


def _standing_faults(batch: Standing, known: Known) -> Iterator[str]:
    crop, zone = known.crops[batch.crop], known.zones[batch.zone]
    if known.plan_date and batch.as_of > known.plan_date:
        yield f"as_of is {batch.as_of}, after the plan date in farm.toml, {known.plan_date}"
    if zone is None:
        return
    if plants_per_part(crop, zone.method, zone.area_m2, zone.sites, zone.parts) == 0:
        yield f'crop is "{crop.id}"; it does not grow in a {zone.method} such as "{zone.name}"'
    if batch.parts > zone.all_parts:
        yield f'parts is {batch.parts}; zone "{zone.name}" has {zone.all_parts}'
    if batch.places and batch.places[-1] > zone.places:
        yield (
            f'places names place {batch.places[-1]}; zone "{zone.name}" has places 1 to '
            f"{zone.places}"
        )
    if batch.parts < len(batch.places):
        yield (
            f"places names {len(batch.places)} places for {batch.parts} parts; every place named "
            "holds at least one"
        )


def _crowding(batches: list[tuple[Row, Standing]], known: Known) -> Iterator[str]:
    """Say which zones and places would hold more parts than they have."""
    in_zone: dict[str, int] = {}
    in_place: dict[tuple[str, int], list[tuple[Row, int]]] = {}
    for row, batch in batches:
        zone = known.zones[batch.zone]
        set_out = batch.transplant or (batch.sow if known.crops[batch.crop].direct_sow else None)
        if (
            zone is None
            or set_out is None
            or set_out > max(batch.as_of, known.plan_date or batch.as_of)
        ):
            continue
        in_zone[batch.zone] = in_zone.get(batch.zone, 0) + batch.parts
        for place, parts in batch.parts_by_place.items():
            in_place.setdefault((batch.zone, place), []).append((row, parts))
    for name, parts in in_zone.items():
        zone = known.zones[name]
        if zone is not None and parts > zone.all_parts:
            yield (
                f'growing.csv: zone "{name}": the batches set out hold {parts} parts; it has '
                f"{zone.all_parts}"
            )
    for (name, place), held in in_place.items():
        zone = known.zones[name]
        parts = sum(count for _, count in held)
        if zone is not None and parts > zone.parts:
            yield (
                f'{" and ".join(row.where for row, _ in held)}: place "{name} {place}" would hold {parts} parts; it has '
                f"{zone.parts} (parts are spread evenly over the places of a row)"
            )


def read_cohorts(folder: Path, known: Known, faults: Faults) -> tuple[CohortAtHand, ...]:
    """Return the rows of `cohorts.csv`."""
    kept: dict[str, tuple[Row, CohortAtHand]] = {}
    for row in _rows(folder / "cohorts.csv", CohortAtHand, faults):
        changed = {
            "tank": _one_of(row, "tank", sorted(known.tanks), faults),
            "species": _named(row, "species", known, faults),
        }
        given = {key: text for key, text in changed.items() if text is not None}
        cohort = _part(row, CohortAtHand, given, faults)
        if cohort is None or len(given) < len(changed):
            continue
        if known.plan_date and cohort.as_of > known.plan_date:
            faults.append(
                row.fault(
                    f"as_of is {cohort.as_of}, after the plan date in farm.toml, {known.plan_date}"
                )
            )
        if known.fish[cohort.species].tgc_per_1000_degree_days is None:
            faults.append(row.fault(f"species {no_growth(cohort.species)}"))
        first = kept.setdefault(cohort.tank, (row, cohort))[0]
        if first is not row:
            faults.append(
                row.fault(
                    f"tank {shown(cohort.tank)} has its fish already in {first.where}; "
                    "give one cohort a tank"
                )
            )
    return tuple(cohort for _, cohort in kept.values())


def no_growth(species: str) -> str:
    """Return the end of a sentence on a species whose growth the planner cannot compute."""
    return (
        f'is "{species}"; its growth is not known (no tgc_per_1000_degree_days); take another '
        "species, or give the figure in your fish.csv"
    )
