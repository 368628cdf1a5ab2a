"""Farm folders of many sizes, all made from the examples: the benchmark's ladder.

The same house larger, with fewer or more crops, over fewer or more weeks, or with all of its fish
in one tank. Invented like the examples: the quantities and prices of added order lines are made up.
"""

import csv
import io
import json
import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from planner.farm import Weights, Zone
from planner.farmfile import Inputs, read_farm
from planner.horizon import monday_of
from planner.tables import Crop, plants_per_part, resolve_group

EXAMPLES = Path(__file__).resolve().parent.parent / "examples"
LISTS = ("orders", "outlets", "growing", "cohorts")
WEEKS_A_YEAR = 52
PARTS_AN_ORDER = 3  # that an added order line keeps busy
LATE = 2.0  # times the table's days: when the first of an added crop may be promised in winter

Row = dict[str, str]


@dataclass(slots=True, kw_only=True)
class _Draft:
    """The files of a farm folder while they are changed."""

    inputs: Inputs
    farm: dict[str, Any]
    lists: dict[str, list[Row]]


def shape(
    example: str = "lakeside",
    *,
    size: int = 1,
    crops: int | None = None,
    weeks: int | None = None,
    tail: int | None = None,
    one_batch: bool = False,
) -> dict[str, str]:
    """Return the texts of a farm folder by file name, made from an example.

    Parameters
    ----------
    size
        Places, tanks, what stands in them, water, nursery, hours, orders and outlets times this;
        the price of nitrate out of its band too, so that all of the plan's worth is.
    crops
        Crops grown: as many of the example's with what they serve, or all and some of the shipped
        table that fit the house, each with an order line of its own. The example's by default.
    weeks, tail
        Of the horizon and after it; the example's by default. Orders of one year are repeated.
    one_batch
        All fish as one cohort of the commonest species in one tank: as many and as heavy together.

    Raises
    ------
    ValueError
        The table has not so many crops that fit the house.
    """
    draft = _read(EXAMPLES / example)
    if crops is not None and crops < len(draft.farm["crops"]):
        _keep_crops(draft, crops)
    elif crops is not None:
        _add_crops(draft, crops - len(draft.farm["crops"]))
    if one_batch:
        _gather_fish(draft)
    if size > 1:
        _enlarge(draft, size)
    rules = draft.farm.setdefault("rules", {})
    if weeks is not None:
        rules["horizon_weeks"] = weeks
        _repeat_orders(draft, math.ceil(weeks / WEEKS_A_YEAR))
    if tail is not None:
        rules["tail_weeks"] = tail
    texts = {f"{name}.csv": _csv_text(rows) for name, rows in draft.lists.items() if rows}
    return {"farm.toml": toml_text(draft.farm), **texts}


def write(files: Mapping[str, str], folder: Path) -> Path:
    """Write a farm folder, which is made if need be, and return it."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def toml_text(table: Mapping[str, Any]) -> str:
    """Return a table as TOML, one line a key and tables within it inline."""
    return "".join(f"{json.dumps(key)} = {_toml(value)}\n" for key, value in table.items())


def _toml(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {_toml(v)}" for key, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    if isinstance(value, date):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False)  # texts, numbers and truths are those of JSON


def _csv_text(rows: list[Row]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def _read(folder: Path) -> _Draft:
    lists: dict[str, list[Row]] = {}
    for name in LISTS:
        with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            lists[name] = list(csv.DictReader(file))
    farm = tomllib.loads((folder / "farm.toml").read_text("utf-8"))
    return _Draft(inputs=read_farm(folder), farm=farm, lists=lists)


def _times(value: object, factor: float) -> Any:
    """Multiply a number, or the number of a text such as `10 m3`."""
    if isinstance(value, int | float):
        return value * factor
    number, _, unit = str(value).partition(" ")
    return f"{float(number) * factor:.12g} {unit}".strip()


def _enlarge(draft: _Draft, size: int) -> None:
    farm, lists = draft.farm, draft.lists
    tanks = {table["name"]: table.get("places", 1) for table in farm["tank"]}
    for table in (*farm["zone"], *farm["tank"]):
        table["places"] = table.get("places", 1) * size
    for part, key in (("nursery", "cells"), ("labour", "hours_week"), ("water", "biofilter_area")):
        farm[part][key] = _times(farm[part][key], size)
    water, weights = farm["water"], farm.setdefault("weights", {})
    water["make_up"] = _times(water.get("make_up", 0.0), size)
    water["volumes"] = {name: _times(volume, size) for name, volume in water["volumes"].items()}
    price = weights.get("nitrate_mg_l_week", Weights().nitrate_mg_l_week)
    weights["nitrate_mg_l_week"] = price * size
    for name, column in (
        ("orders", "quantity"),
        ("outlets", "most_per_week"),
        ("growing", "parts"),
    ):
        lists[name] = [row | {column: _times(row[column], size)} for row in lists[name]]
    lists["growing"] = [row | {"places": ""} for row in lists["growing"]]
    cohorts = []
    for copy in range(size):
        for row in lists["cohorts"]:
            name, number = row["tank"].rsplit(" ", 1)
            cohorts.append(row | {"tank": f"{name} {int(number) + copy * tanks[name]}"})
    lists["cohorts"] = cohorts


def _keep_crops(draft: _Draft, count: int) -> None:
    """Keep crops spread evenly over the example's list, and what they serve."""
    names = draft.farm["crops"]
    kept = [names[n * len(names) // count] for n in range(count)]
    draft.farm["crops"] = kept
    for name in ("orders", "outlets", "growing"):
        rows = [row | {"crop": _served(row["crop"], kept, draft)} for row in draft.lists[name]]
        draft.lists[name] = [row for row in rows if row["crop"]]


def _served(text: str, kept: Iterable[str], draft: _Draft) -> str:
    """Return what of a crop cell is still grown: a group as it is, fish, or the crops of a list."""
    if text in draft.inputs.fish or set(resolve_group(text, draft.inputs.crops)) & set(kept):
        return text
    return ";".join(piece for piece in text.split(";") if piece in kept)


def _add_crops(draft: _Draft, count: int) -> None:
    """Add crops of the shipped table that fit the house, in its order, and an order line each."""
    found = []
    for id, crop in draft.inputs.crops.items():
        plants = _plants_per_part(crop, draft.inputs.farm.zones)
        if plants and id not in draft.farm["crops"]:
            found.append((crop, plants))
    if len(found) < count:
        raise ValueError(f"the table has {len(found)} more crops that fit the house, not {count}")
    draft.farm["crops"] = draft.farm["crops"] + [crop.id for crop, _ in found[:count]]
    start = draft.farm["plan_date"]
    draft.lists["orders"] += [_order_line(crop, plants, start) for crop, plants in found[:count]]


def _plants_per_part(crop: Crop, zones: Iterable[Zone]) -> int:
    """Return the plants of a part in the zone that suits a crop best; 0 where none does."""
    best = {"good": 0, "possible": 0}
    for zone in zones:
        fit = getattr(crop, f"{zone.method}_fit")
        if fit == "no" or (crop.trellis and not zone.carries_trellis):
            continue
        plants = plants_per_part(crop, zone.method, zone.area_m2, zone.sites, zone.parts)
        best[fit] = best[fit] or plants
    return best["good"] or best["possible"]


def _order_line(crop: Crop, plants: int, start: date) -> Row:
    """A line of what a few parts bring, for half a year from its first harvest; fruit in summer."""
    held_weeks = (crop.days_to_harvest + crop.harvest_window_days) / 7
    part_kg = plants * crop.yield_kg_per_plant * (1 - crop.loss_pct / 100)
    units = PARTS_AN_ORDER * part_kg / held_weeks / crop.kg_per_unit
    quantity = max(0.1, round(units, 1)) if crop.yield_unit == "kg" else max(1, round(units))
    price_kg = 12.0 if crop.kg_per_unit >= 0.1 else 40.0  # bunches of herbs by weight are dearer
    ripe = start + timedelta(days=LATE * (crop.nursery_days + crop.days_to_harvest))
    first, last = monday_of(ripe), monday_of(ripe + timedelta(weeks=WEEKS_A_YEAR // 2))
    if crop.feed_rate_class == "fruiting":
        first, last = monday_of(date(start.year, 7, 7)), monday_of(date(start.year, 9, 30))
    return {
        "line": f"more {crop.id}",
        "customer": "Town kitchen",
        "crop": crop.id,
        "unit": crop.yield_unit,
        "quantity": f"{quantity:g}",
        "first_week": first.isoformat(),
        "last_week": last.isoformat(),
        "every_weeks": "1",
        "weekdays": "fri",
        "priority": "3",
        "price": f"{max(0.40, price_kg * crop.kg_per_unit):.2f}",  # a flower is worth picking
        "tolerance": "20%",
        "may_be_cut": "yes",
    }


def _repeat_orders(draft: _Draft, years: int) -> None:
    """Let the orders of one year come again in each of the next ones, in the same weeks."""
    found = []
    for row in draft.lists["orders"]:
        first, last = date.fromisoformat(row["first_week"]), date.fromisoformat(row["last_week"])
        if (last - first).days // 7 + 1 >= WEEKS_A_YEAR:  # all year: one line that runs on
            later = last + timedelta(weeks=WEEKS_A_YEAR * (years - 1))
            found.append(row | {"last_week": later.isoformat()})
            continue
        for year in range(years):
            by = timedelta(weeks=WEEKS_A_YEAR * year)
            weeks = {"first_week": first + by, "last_week": last + by}
            line = row["line"] if year == 0 else f"{row['line']} year {year + 1}"
            found.append(
                row | {"line": line} | {key: day.isoformat() for key, day in weeks.items()}
            )
    draft.lists["orders"] = found


def _gather_fish(draft: _Draft) -> None:
    """Make one tank of all, and one cohort of all fish: their number and their weight together."""
    (tank,) = draft.farm["tank"]
    volume = _times(tank["volume"], tank.get("places", 1))
    draft.farm["tank"] = [tank | {"places": 1, "volume": volume}]
    fish = draft.inputs.farm.cohorts
    species = [cohort.species for cohort in fish]
    count = sum(cohort.count for cohort in fish)
    mean_g = sum(cohort.count * cohort.mean_g for cohort in fish) / count
    draft.lists["cohorts"] = [
        {
            "tank": f"{tank['name']} 1",
            "species": max(species, key=species.count),
            "count": str(count),
            "mean_weight": f"{mean_g:.1f} g",
            "as_of": max(cohort.as_of for cohort in fish).isoformat(),
        }
    ]
