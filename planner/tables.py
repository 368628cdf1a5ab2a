"""Crop, fish and climate tables: read, typed, range-checked, with a source on every row.

A grower's own `crops.csv` or `fish.csv` overrides the shipped rows by id: a blank cell keeps the
shipped value, and a new id must fill every cell that has no default.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from planner.errors import InputError, nearest
from planner.resources import shipped
from planner.sheets import Column, Line, columns_of, raise_faults, read_lines, shown, typed
from planner.tablerows import Crop, Fish, HarvestKind, MonthRow, Source, Station, contradictions

__all__ = [
    "Crop",
    "Fish",
    "HarvestKind",
    "Source",
    "Station",
    "cells_for",
    "load_crops",
    "load_fish",
    "load_sources",
    "load_stations",
    "plants_per_part",
    "read_station",
    "resolve_group",
]

NURSERY_SUCCESS = 0.95  # share of seedlings that are fit to set out; judgement
_WHOLE = 1e-9  # keeps 25 × 0.16 m² at 4 plants in floating point

_Row = TypeVar("_Row", Crop, Fish)


def load_crops(own: Path | None = None) -> Mapping[str, Crop]:
    """Return the crops by id: the shipped table, then the grower's own rows over it.

    A row of `own` that changes yield, nitrogen or residue but gives no `n_uptake_g_per_plant`
    has its uptake scaled with them.

    Raises
    ------
    InputError
        `own` is wrong; holds every fault.
    """
    return _with_own(Crop, _shipped_crops(), own)


def load_fish(own: Path | None = None) -> Mapping[str, Fish]:
    """Return the fish by id: the shipped table, then the grower's own rows over it.

    Raises
    ------
    InputError
        `own` is wrong; holds every fault.
    """
    return _with_own(Fish, _shipped_fish(), own)


def load_sources() -> Mapping[str, Source]:
    """Return what the keys in the tables' `sources` stand for."""
    faults: list[str] = []
    columns = columns_of(Source)
    lines = read_lines(shipped("cropdata") / "sources.csv", columns, columns, faults)
    rows = [Source(**typed(line, columns, faults)) for line in lines]
    raise_faults(faults)
    return MappingProxyType({row.key: row for row in rows})


def load_stations() -> Mapping[str, Station]:
    """Return the shipped climate stations by id."""
    return MappingProxyType(_stations(shipped("cropdata") / "climate.csv", {}))


def read_station(path: Path) -> Station:
    """Return the climate in a grower's own file: twelve rows, one a month, of one place.

    Needed columns are month, tmin_c, tmax_c and ghi_mj_m2_d; the others may be left out.

    Raises
    ------
    InputError
        The file is wrong; holds every fault.
    """
    unknown = {"latitude": math.nan, "longitude": math.nan, "elevation_m": math.nan}
    names = {"station": path.stem, "name": path.stem, "source": f"the grower's own {path.name}"}
    stations = _stations(path, unknown | names)
    if len(stations) > 1:
        raise InputError(
            [f"{path.name}: holds {len(stations)} stations; give the twelve months of one"]
        )
    return next(iter(stations.values()))


def resolve_group(text: str, crops: Mapping[str, Crop]) -> tuple[str, ...]:
    """Return the ids of a group such as `any lettuce` or `any Brassicaceae`, in table order.

    The word after `any` is a family, or the first word of ids (`lettuce` of `lettuce_romaine`).
    Returns no ids for any other text.
    """
    head, _, word = text.strip().lower().partition(" ")
    word = word.strip()
    if head != "any" or not word:
        return ()
    return tuple(
        id for id, crop in crops.items() if word in (id.partition("_")[0], crop.family.lower())
    )


def plants_per_part(
    crop: Crop, method: str, area_m2: float | None, sites: int | None, parts: int
) -> int:
    """Return how many plants of `crop` one part of a place carries; 0 where it is not grown.

    A bed carries its area's worth of plants, a raft as many as both its holes and its area
    allow, a tower its slots' worth.

    Raises
    ------
    ValueError
        The method is unknown, or the place lacks the area or the sites that it needs.
    """
    if method == "media_bed":
        fit, density = crop.media_bed_fit, crop.bed_plants_per_m2
    elif method == "raft":
        fit, density = crop.raft_fit, crop.raft_plants_per_m2
    elif method == "tower":
        fit, density = crop.tower_fit, float(crop.tower_plants_per_slot)
    else:
        raise ValueError(f"method must be media_bed, raft or tower, got {method!r}")
    if (
        parts < 1
        or (method != "tower" and area_m2 is None)
        or (method != "media_bed" and not sites)
    ):
        raise ValueError(f"a {method} needs its area, its sites and at least one part")
    if fit == "no" or density == 0:
        return 0
    by_sites = (sites or 0) // parts
    if method == "tower":
        return by_sites * crop.tower_plants_per_slot
    by_area = math.floor(density * (area_m2 or 0.0) / parts + _WHOLE)
    return by_area if method == "media_bed" else min(by_sites, by_area)


def cells_for(crop: Crop, plants: int) -> int:
    """Return the nursery cells to start for `plants` set out; 0 for crops sown in place."""
    if crop.direct_sow:
        return 0
    return math.ceil(plants / (crop.germination_rate_pct / 100 * NURSERY_SUCCESS) - _WHOLE)


@lru_cache(maxsize=1)
def _shipped_crops() -> Mapping[str, Crop]:
    return MappingProxyType(_rows(Crop, shipped("cropdata") / "crops.csv", None))


@lru_cache(maxsize=1)
def _shipped_fish() -> Mapping[str, Fish]:
    return MappingProxyType(_rows(Fish, shipped("cropdata") / "fish.csv", None))


def _with_own(kind: type[_Row], table: Mapping[str, _Row], own: Path | None) -> Mapping[str, _Row]:
    return table if own is None else MappingProxyType({**table, **_rows(kind, own, table)})


def _rows(kind: type[_Row], path: Path, table: Mapping[str, _Row] | None) -> dict[str, _Row]:
    """Read a file's rows; `table` holds the rows that they override, None for a shipped file."""
    columns = columns_of(kind)
    faults: list[str] = []
    needed = ["id"] if table is not None else [c.name for c in columns.values() if c.needed]
    rows: dict[str, _Row] = {}
    seen: dict[str, str] = {}
    for line in read_lines(path, columns, needed, faults):
        id = line.cells.get("id", "")
        if id and id in seen:
            faults.append(f"{line.where}: id {shown(id)} stands already in {seen[id]}; keep one")
            continue
        seen[id] = line.where
        line = replace(line, where=f"{line.where} ({shown(id)})" if id else line.where)
        new = len(faults)
        values = _completed(kind, columns, line, table, faults)
        faults.extend(f"{line.where}: {fault}" for fault in contradictions(kind, values))
        if len(faults) == new:
            rows[id] = kind(**values)
    raise_faults(faults)
    return rows


def _completed(
    kind: type[_Row],
    columns: Mapping[str, Column],
    line: Line,
    table: Mapping[str, _Row] | None,
    faults: list[str],
) -> dict[str, Any]:
    """Return a row's values, with those of the shipped row or the defaults for blank cells."""
    before = (table or {}).get(line.cells.get("id", ""))
    given = typed(line, columns, faults)
    blank: dict[str, Any]
    if before is not None:
        blank = {field.name: getattr(before, field.name) for field in fields(kind)}
        blank["sources"] = f"{before.sources};OWN"
    else:
        blank = {column.name: column.blank for column in columns.values() if not column.needed}
        if table is not None:
            blank |= {"sources": "OWN", "confidence": "own"}
        absent = [name for name in columns if name not in blank and not line.cells.get(name)]
        if absent:
            hint = nearest(line.cells.get("id", ""), table or ())
            faults.append(
                f"{line.where}: is not a row of the shipped table{hint}"
                f" (a new row must also give {', '.join(absent)})"
            )
    if kind is Crop:
        if given.get("direct_sow", blank.get("direct_sow")):
            blank["days_to_harvest_from"] = "sowing"
        elif "direct_sow" in given:
            blank["days_to_harvest_from"] = "transplant"
        if before is not None:
            blank["n_uptake_g_per_plant"] *= _uptake_basis(blank | given) / _uptake_basis(blank)
    wrong = {name for name, text in line.cells.items() if text and name not in given}
    return {name: value for name, value in (blank | given).items() if name not in wrong}


def _uptake_basis(values: Mapping[str, Any]) -> float:
    """Return what a plant's nitrogen uptake is in proportion to: yield × N / share harvested."""
    harvested = 1 - (values["residue_n_share"] or 0.0)
    return float(values["yield_kg_per_plant"] * (values["n_harvest_pct_fm"] or 1.0) / harvested)


def _stations(path: Path, left_out: Mapping[str, Any]) -> dict[str, Station]:
    """Read the stations of a climate file; `left_out` stands for cells that may be blank."""
    columns = columns_of(MonthRow)
    faults: list[str] = []
    needed = [name for name in columns if name not in left_out]
    months: dict[str, dict[int, MonthRow | None]] = {}
    for line in read_lines(path, columns, needed, faults):
        new = len(faults)
        given = typed(line, columns, faults)
        faults.extend(
            f"{line.where}: {name} is blank; it is needed: give {columns[name].allowed}"
            for name in needed
            if line.cells.get(name) == ""
        )
        values = {**left_out, **given}
        faults.extend(f"{line.where}: {fault}" for fault in contradictions(MonthRow, values))
        if not {"station", "month"} <= values.keys():
            continue
        year = months.setdefault(values["station"], {})
        if values["month"] in year:
            faults.append(f"{line.where}: month {values['month']} stands twice; give it once")
        good = len(faults) == new and values.keys() >= columns.keys()
        year[values["month"]] = MonthRow(**values) if good else None
    for station, year in months.items():
        absent = [str(month) for month in range(1, 13) if month not in year]
        if absent:
            faults.append(f"{path.name} ({station}): months {', '.join(absent)} are missing")
    if not months and not faults:
        faults.append(f"{path.name}: has no rows; give twelve, one for each month")
    raise_faults(faults)
    return {
        station: _station([row for _, row in sorted(year.items()) if row is not None])
        for station, year in months.items()
    }


def _station(rows: Sequence[MonthRow]) -> Station:
    first = rows[0]
    return Station(
        id=first.station,
        name=first.name,
        latitude=first.latitude,
        longitude=first.longitude,
        elevation_m=first.elevation_m,
        tmin_c=tuple(row.tmin_c for row in rows),
        tmax_c=tuple(row.tmax_c for row in rows),
        ghi_mj_m2_d=tuple(row.ghi_mj_m2_d for row in rows),
        source=first.source,
    )
