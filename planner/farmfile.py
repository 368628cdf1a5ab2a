"""Read a farm folder: `farm.toml` and the CSV files beside it, all faults at once.

Nothing is written, and no clock is read.
"""

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from planner.errors import InputError, nearest
from planner.farm import Farm, Part, Site, Tank, Water, Zone
from planner.farmchecks import Parts, dated_doubts, doubts_of, faults_of
from planner.farmrows import Faults, Known, can_be_read, find, reason
from planner.farmsales import read_orders, read_outlets
from planner.farmstock import read_cohorts, read_standing
from planner.quantities import to_day
from planner.sheets import columns_of, read_lines
from planner.tables import (
    Crop,
    Fish,
    Station,
    load_crops,
    load_fish,
    load_stations,
    read_station,
)
from planner.wording import sentences, shown

FARM_FILE = "farm.toml"

_PartT = TypeVar("_PartT", bound=Part)
_RowT = TypeVar("_RowT")
_LIST_FILES = {
    "orders": "orders.csv",
    "outlets": "outlets.csv",
    "standing": "growing.csv",
    "cohorts": "cohorts.csv",
}
_FOUND_KEYS = ("ordered", "doubts")  # what a plan adds to the farm
_NOT_KEYS = (*_LIST_FILES, *_FOUND_KEYS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """All that a plan begins from.

    Parameters
    ----------
    crops, fish
        The whole tables by id, the grower's own rows included.
    station
        The climate at the house.
    doubts
        What the grower should look at twice; those that need a date come from `doubts`.
    """

    farm: Farm
    crops: Mapping[str, Crop]
    fish: Mapping[str, Fish]
    station: Station
    doubts: tuple[str, ...]


def doubts(inputs: Inputs, plan_date: date) -> tuple[str, ...]:
    """Return every doubt about a farm that is planned on `plan_date`, undated ones first."""
    return (*inputs.doubts, *dated_doubts(inputs.farm, plan_date))


def read_farm(folder: Path) -> Inputs:
    """Read a farm folder. Only `farm.toml` must be there.

    Raises
    ------
    InputError
        Something is wrong; holds every fault of every file, each with its place, what was found
        and what is allowed.
    """
    _must_be_folder(folder)
    faults: Faults = []
    raw = _toml(folder, faults)
    table_faults: Faults = []
    unread: set[str] = set()
    crops = _table(folder / "crops.csv", load_crops, Crop, unread, table_faults)
    fish = _table(folder / "fish.csv", load_fish, Fish, unread, table_faults)
    farm = None if raw is None else _farm(raw, faults)
    parts = _parts(raw or {})
    faults += [
        f"{FARM_FILE}: {fault}" for fault in faults_of(parts, crops, fish, frozenset(unread))
    ]
    station = _station(folder, parts.site, faults, table_faults)

    known = _known(raw, parts, crops, fish, frozenset(unread))
    stock_faults: Faults = []
    standing = read_standing(folder, known, stock_faults)
    before = len(stock_faults)
    cohorts = read_cohorts(folder, known, stock_faults)
    at_hand = fish if len(stock_faults) > before else [cohort.species for cohort in cohorts]
    known = replace(known, species_in_use=known.species_in_use.union(at_hand))
    orders = read_orders(folder, known, faults)
    outlets = read_outlets(folder, known, faults)
    faults += stock_faults + table_faults
    if faults or farm is None or station is None:
        raise InputError(list(dict.fromkeys(faults)))
    farm = _with_ids(farm, crops, fish).model_copy(
        update={"orders": orders, "outlets": outlets, "standing": standing, "cohorts": cohorts}
    )
    found = doubts_of(farm, crops, fish, station)
    return Inputs(farm=farm, crops=crops, fish=fish, station=station, doubts=found)


def _must_be_folder(folder: Path) -> None:
    try:
        if not folder.exists():
            raise InputError([f"{folder}: there is no such folder; give the farm's folder"])
        if not folder.is_dir():
            raise InputError([f"{folder}: it is a file; give the folder that holds {FARM_FILE}"])
        if not (folder / FARM_FILE).exists():
            raise InputError([f"{folder}: there is no {FARM_FILE} in it; give the farm's folder"])
    except (OSError, ValueError) as fault:
        raise InputError([f"{folder}: it cannot be read ({reason(fault)})"]) from fault


def _toml(folder: Path, faults: Faults) -> dict[str, Any] | None:
    """Return what `farm.toml` holds, or None when it cannot be read."""
    path = folder / FARM_FILE
    if not can_be_read(path, faults):
        return None
    try:
        content = path.read_bytes()
        return tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as fault:
        line = content[: fault.start].count(b"\n") + 1
        faults.append(f"{FARM_FILE} line {line}: it is not UTF-8 text; save it as UTF-8")
    except OSError as fault:
        faults.append(f"{FARM_FILE}: it cannot be read ({reason(fault)})")
    except tomllib.TOMLDecodeError as fault:
        faults.append(_toml_fault(str(fault)))
    except RecursionError:
        faults.append(f"{FARM_FILE}: it is not read; its lists lie too deep in each other")
    except ValueError:  # Python's own: a whole number of thousands of digits
        faults.append(f"{FARM_FILE}: it is not read; a number in it is too long")
    return None


def _toml_fault(words: str) -> str:
    """Return tomllib's words with the line in front, as in every other fault."""
    place = re.fullmatch(
        r"(.*?) ?\(at (?:line (\d+), column (\d+)|end of document)\)", words, re.DOTALL
    )
    if place is None:
        return f"{FARM_FILE}: it is not TOML ({words})"
    if place[2] is None:
        return f"{FARM_FILE}: it is not TOML at its end ({place[1]})"
    return f"{FARM_FILE} line {place[2]}, column {place[3]}: it is not TOML ({place[1]})"


def _farm(raw: dict[str, Any], faults: Faults) -> Farm | None:
    """Return the farm without its lists, or None when it has faults."""
    for key in _LIST_FILES.keys() & raw.keys():
        faults.append(f'{FARM_FILE}: unknown key "{key}"; these are rows of {_LIST_FILES[key]}')
    for key in _FOUND_KEYS:
        if key in raw:
            faults.append(f'{FARM_FILE}: unknown key "{key}"; take it out')
    given = {key: value for key, value in raw.items() if key not in _NOT_KEYS}
    try:
        return Farm.model_validate(given, by_alias=True, by_name=False)
    except ValidationError as fault:
        faults.extend(f"{FARM_FILE}: {words}" for words in sentences(fault, Farm, given))
        return None


def _parts(raw: Mapping[str, Any]) -> Parts:
    """Return the parts of a farm that are in order, one by one."""
    zones, tanks, offers = (_tables(raw, key) for key in ("zone", "tank", "fingerlings"))
    prices = raw.get("fish_prices")
    crops = raw.get("crops")
    return Parts(
        plan_date=_day(raw.get("plan_date")),
        site=_sound(Site, raw.get("site")),
        water=_sound(Water, raw.get("water")),
        tanks=tuple(tank for table in tanks if (tank := _sound(Tank, table))),
        zones=tuple(zone for table in zones if (zone := _sound(Zone, table))),
        crops=_texts(crops if isinstance(crops, list) else ()),
        species=_texts(table.get("species") for table in offers),
        fish_prices=_texts(prices if isinstance(prices, dict) else ()),
        zone_names=_texts(table.get("name") for table in zones),
        tank_names=_texts(table.get("name") for table in tanks),
    )


def _tables(raw: Mapping[str, Any], key: str) -> list[dict[str, Any]]:
    value = raw.get(key)
    return [table for table in value if isinstance(table, dict)] if isinstance(value, list) else []


def _texts(values: Iterable[object]) -> tuple[str, ...]:
    return tuple(value.strip() for value in values if isinstance(value, str))


def _day(value: object) -> date | None:
    try:
        return to_day(value)
    except ValueError:
        return None


def _sound(model: type[_PartT], value: object) -> _PartT | None:
    try:
        return model.model_validate(value, by_alias=True, by_name=False)
    except ValidationError:
        return None


def _table(
    path: Path,
    load: Callable[[Path | None], Mapping[str, _RowT]],
    kind: type[_RowT],
    unread: set[str],
    faults: Faults,
) -> Mapping[str, _RowT]:
    """Return a table with the grower's own rows, or the shipped one when those have faults."""
    if not can_be_read(path, faults):
        return load(None)
    try:
        return load(path)
    except InputError as fault:
        faults.extend(fault.faults)
    with suppress(InputError):
        lines = read_lines(path, columns_of(kind), ("id",), [])
        unread.update(line.cells["id"].lower() for line in lines)
    return load(None)


def _station(
    folder: Path, site: Site | None, faults: Faults, table_faults: Faults
) -> Station | None:
    """Return the shipped station that the site names, or the climate file in the folder."""
    if site is None:
        return None
    stations, name, before = load_stations(), site.climate, len(table_faults)
    if name.lower() in stations:
        return stations[name.lower()]
    path = folder / name
    if Path(name).name == name and can_be_read(path, table_faults):
        try:
            return read_station(path)
        except InputError as fault:
            table_faults.extend(fault.faults)
    elif len(table_faults) == before:
        faults.append(
            f"{FARM_FILE}: site: climate is {shown(name)}; give a station "
            f"({', '.join(stations)}) or a CSV file in the farm's folder"
            f"{nearest(name, [*stations, *_csv_files(folder)])}"
        )
    return None


def _csv_files(folder: Path) -> list[str]:
    try:
        return sorted(path.name for path in folder.glob("*.csv"))
    except OSError:
        return []


def _known(
    raw: Mapping[str, Any] | None,
    parts: Parts,
    crops: Mapping[str, Crop],
    fish: Mapping[str, Fish],
    unread: frozenset[str],
) -> Known:
    """Return what rows may refer to; what is at fault in `farm.toml` is not held against them."""
    zones: dict[str, Zone | None] = dict.fromkeys(parts.zone_names)
    zones |= {zone.name: zone for zone in parts.zones}
    tanks = [name for tank in parts.tanks for name in tank.tank_names]
    listed = None if raw is None else raw.get("tank", [])
    all_sound = isinstance(listed, list) and len(listed) == len(parts.tanks)
    return Known(
        crops=crops,
        fish=fish,
        crops_in_use=_ids(parts.crops, crops) or frozenset(crops),
        species_in_use=frozenset(fish) if raw is None else _ids(parts.species, fish),
        zones=zones or None,
        tanks=tuple(tanks) if all_sound else None,
        unread=unread,
        plan_date=parts.plan_date,
    )


def _ids(texts: Iterable[str], table: Mapping[str, Crop] | Mapping[str, Fish]) -> frozenset[str]:
    return frozenset(id for text in texts if (id := find(text, table)))


def _with_ids(farm: Farm, crops: Mapping[str, Crop], fish: Mapping[str, Fish]) -> Farm:
    """Return the farm with names of crops and fish as ids; every one is known."""
    return farm.model_copy(
        update={
            "crops_in_use": tuple(find(text, crops) for text in farm.crops_in_use),
            "fingerlings": tuple(
                offer.model_copy(update={"species": find(offer.species, fish)})
                for offer in farm.fingerlings
            ),
            "fish_prices": {find(text, fish): price for text, price in farm.fish_prices.items()},
        }
    )
