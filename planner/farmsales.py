"""Read what is sold: `orders.csv` and `outlets.csv`, with every crop, group and unit checked."""

import re
from collections.abc import Iterator
from pathlib import Path

from planner.errors import nearest
from planner.farm import Order, Outlet
from planner.farmrows import Faults, Known, Row, find, part_of, rows_of, unknown
from planner.tables import Crop, Fish, resolve_group
from planner.wording import shown

KG_PER_LB = 0.45359237  # the international pound, by definition
UNITS = ("head", "bunch", "each", "kg", "lb")
WEIGHTS = ("kg", "lb")


def read_orders(folder: Path, known: Known, faults: Faults) -> tuple[Order, ...]:
    """Return the lines of `orders.csv`, pounds turned into kilograms."""
    orders: dict[str, tuple[Row, Order]] = {}
    for row in rows_of(folder / "orders.csv", Order, faults):
        text, unit = row.cells.get("crop"), row.cells.get("unit", "").lower()
        changed: dict[str, object] = {}
        if text:
            changed |= {"crop": _wares(text, unit or "kg", row, known, faults), "crop_text": text}
        if unit:
            changed["unit"] = unit
        if unit and unit not in UNITS:
            hint = nearest(unit, UNITS)
            faults.append(row.fault(f"unit is {shown(unit)}; give one of {', '.join(UNITS)}{hint}"))
        order = part_of(row, Order, changed, faults)
        if order is None:
            continue
        first, _ = orders.setdefault(order.line.lower(), (row, _in_kg(order)))
        if first is not row:
            faults.append(
                row.fault(
                    f"line is {shown(order.line)}, as in {first.where}; give each line its own"
                )
            )
    return tuple(order for _, order in orders.values())


def _in_kg(order: Order) -> Order:
    if order.unit != "lb":
        return order
    return order.model_copy(
        update={
            "unit": "kg",
            "quantity": order.quantity * KG_PER_LB,
            "price": order.price / KG_PER_LB,
        }
    )


def read_outlets(folder: Path, known: Known, faults: Faults) -> tuple[Outlet, ...]:
    """Return the rows of `outlets.csv`, one for each crop; a group's limit holds for each."""
    outlets: dict[tuple[str, str], tuple[Row, Outlet]] = {}
    for row in rows_of(folder / "outlets.csv", Outlet, faults):
        outlet = part_of(row, Outlet, {}, faults)
        text = row.cells.get("crop", "")
        for ware in _wares(text, "kg", row, known, faults):
            if outlet is None or ware == NO_WARE:
                continue
            kept = outlet.model_copy(update={"crop": ware})
            first, _ = outlets.setdefault((outlet.outlet.lower(), ware), (row, kept))
            if first is not row:
                faults.append(
                    row.fault(
                        f"outlet {shown(outlet.outlet)} takes {ware} already, in {first.where}; "
                        "give each crop once"
                    )
                )
    return tuple(outlet for _, outlet in outlets.values())


NO_WARE = "?"  # stands for what cannot be told, so that the row's other cells are checked


def _wares(text: str, unit: str, row: Row, known: Known, faults: Faults) -> tuple[str, ...]:
    """Return the ids that a cell means: an id, a name, a group, or a list of them.

    A group means those of its crops that are in use and are sold in the row's unit.
    """
    found: dict[str, None] = {}
    for piece in _pieces(text, known):
        ware = find(piece, known.crops) or find(piece, known.fish)
        if ware is not None:
            faults.extend(row.fault(fault) for fault in _ware_faults(ware, unit, known))
            found[ware] = None
            continue
        group = resolve_group(piece, known.crops)
        kept = [crop for crop in group if _serves(crop, unit, known)]
        found |= dict.fromkeys(kept)
        if group and not kept:
            sold = f", sold by the {unit}," if unit not in WEIGHTS else ""
            faults.append(
                row.fault(f"crop is {shown(piece)}; no crop of that group{sold} is in use")
            )
        elif not group and piece.lower() not in known.unread:
            fault = unknown(piece, "crop, group or fish", known.crops, known.fish)
            faults.append(row.fault(f"crop {fault}"))
    if len({ware in known.fish for ware in found}) > 1:
        faults.append(row.fault(f"crop is {shown(text)}; give crops or fish, not both"))
    return tuple(found) or (NO_WARE,)


def _pieces(text: str, known: Known) -> list[str]:
    """Part a list at `;` and `or`, unless all of it is one name."""
    if find(text, known.crops) or find(text, known.fish):
        return [text]
    pieces = re.split(r";|\s+or\s+", text, flags=re.IGNORECASE)
    return [piece.strip() for piece in pieces if piece.strip()]


def _serves(crop: str, unit: str, known: Known) -> bool:
    sold = unit in WEIGHTS or unit not in UNITS or unit == known.crops[crop].yield_unit
    return sold and crop in known.crops_in_use


def _ware_faults(ware: str, unit: str, known: Known) -> Iterator[str]:
    row: Crop | Fish = known.crops[ware] if ware in known.crops else known.fish[ware]
    own = row.yield_unit if isinstance(row, Crop) else "kg"
    if isinstance(row, Crop) and ware not in known.crops_in_use:
        yield f'crop is "{ware}"; it is not in crops of farm.toml, so it is not grown'
    if isinstance(row, Fish) and ware not in known.species_in_use:
        yield f'crop is "{ware}"; the farm neither has such fish nor buys fingerlings of them'
    if unit in UNITS and unit not in (*WEIGHTS, own):
        units = "kg or lb" if own == "kg" else f"{own}, kg or lb"
        yield f'unit is "{unit}"; {ware} is sold in {units}'
