"""A small plan document for tests: invented, whole, and consistent in its sums.

Three zones, twelve batches, three cohorts, twenty weeks. Every call builds a fresh document, which
a test may change as it likes, with a forecast if it asks for one. Days are offsets from the Monday
of the plan day's week. The names, customers and quantities are invented; the crops' figures have
the order of size of the crop table.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from planner.document import (
    BatchDoc,
    CohortDoc,
    CohortWeekDoc,
    DeliveryDoc,
    OrderWeekDoc,
    PlanDoc,
    ProduceDoc,
    WeekDoc,
    ZoneDoc,
)
from planner.horizon import monday_of
from planner.tables import Crop, Fish

MADE_ON = date(2027, 3, 3)  # a Wednesday
VOLUME_M3 = 16.0
NITRATE_START_MG_L = 30.0
BAND_MG_L = (5.0, 60.0)


# fmt: off
_LETTUCE_ROW: dict[str, Any] = {
    "botanical_name": "Planta inventa", "family": "Asteraceae", "harvest_kind": "once",
    "nursery_days": 21, "days_to_harvest": 30, "direct_sow": False, "harvest_window_days": 7,
    "regrowth_interval_days": 0, "base_temp_c": 4.0, "growth_min_c": 7.0,
    "growth_opt_low_c": 15.0, "growth_opt_high_c": 22.0, "growth_max_c": 26.0,
    "ref_temp_c": 18.5, "bolts_above_c": 24.0, "dli_min_mol": 8.0, "dli_target_mol": 17.0,
    "light_exponent": 1.0, "germination_min_c": 2.0, "germination_max_c": 29.0,
    "bed_plants_per_m2": 20.0, "raft_plants_per_m2": 24.0, "tower_plants_per_slot": 1,
    "media_bed_fit": "possible", "raft_fit": "good", "tower_fit": "good", "trellis": False,
    "yield_kg_per_plant": 0.25, "yield_unit": "head", "kg_per_unit": 0.25,
    "n_uptake_g_per_plant": 0.64, "feed_rate_class": "leafy", "germination_rate_pct": 80.0,
    "seeds_per_cell": 1, "succession_interval_days": 10, "storage_temp_c": 1.0,
    "started_from": "seed", "shelf_days": 7, "loss_pct": 8.0, "renew_after_days": 0,
    "confidence": "invented", "sources": "invented for tests", "note": "",
}
_TILAPIA_ROW: dict[str, Any] = {
    "scientific_name": "Piscis inventus", "food_fish": True, "temp_lethal_low_c": 12.0,
    "temp_min_feed_c": 17.0, "temp_opt_low_c": 27.0, "temp_opt_high_c": 30.0,
    "temp_max_c": 36.0, "fingerling_g": 50.0, "market_g": 600.0,
    "tgc_per_1000_degree_days": 1.0, "fcr": 1.7, "feed_protein_growout_pct": 32.0,
    "density_max_kg_m3": 20.0, "do_min_mg_l": 5.0, "do_critical_mg_l": 3.0, "tan_max_mg_l": 2.0,
    "uia_n_max_mg_l": 0.05, "nitrite_n_max_mg_l": 1.0, "nitrate_n_max_mg_l": 90.0,
    "survival_growout_fraction": 0.95, "body_n_fraction": 0.024,
    "legal_caution": "A permit is common. Never release.", "sources": "invented for tests",
}


def crop_row(id: str, name: str, **changes: Any) -> Crop:
    """Return a crop that is like lettuce where `changes` says nothing."""
    return Crop(id=id, name=name, **(_LETTUCE_ROW | changes))


def fish_row(id: str, name: str, **changes: Any) -> Fish:
    """Return a fish that is like tilapia where `changes` says nothing."""
    return Fish(id=id, name=name, **(_TILAPIA_ROW | changes))


CROPS = {row.id: row for row in (
    crop_row("lettuce_butterhead", "lettuce, butterhead"),
    crop_row("basil_genovese", "basil, Genovese", family="Lamiaceae", harvest_kind="cut-and-come",
             regrowth_interval_days=14, yield_unit="kg", kg_per_unit=1.0, seeds_per_cell=3,
             shelf_days=5, storage_temp_c=10.0),
    crop_row("mint", "mint (spearmint, peppermint)", family="Lamiaceae", harvest_kind="perennial",
             started_from="division", yield_unit="bunch", kg_per_unit=0.05, renew_after_days=730,
             regrowth_interval_days=28),
    crop_row("radish", "radish, salad", family="Brassicaceae", direct_sow=True, nursery_days=0,
             yield_unit="bunch", kg_per_unit=0.2, shelf_days=14),
    crop_row("tomato_cherry", "cherry tomato", family="Solanaceae", harvest_kind="picking",
             regrowth_interval_days=7, yield_unit="kg", kg_per_unit=1.0, trellis=True,
             feed_rate_class="fruiting"),
    crop_row("chives", "chives", family="Amaryllidaceae", harvest_kind="perennial",
             started_from="plug", yield_unit="bunch", kg_per_unit=0.025, seeds_per_cell=15,
             renew_after_days=730, regrowth_interval_days=28),
    crop_row("rosemary", "rosemary", family="Lamiaceae", harvest_kind="perennial",
             started_from="cutting", yield_unit="bunch", kg_per_unit=0.03, renew_after_days=730,
             regrowth_interval_days=60),
)}
FISH = {row.id: row for row in (
    fish_row("tilapia_nile", "Nile tilapia"),
    fish_row("perch_yellow", "Yellow perch", temp_max_c=29.0, market_g=130.0),
)}

_ZONES: tuple[ZoneDoc, ...] = (
    {"name": "north gravel", "method": "media_bed", "places": 4, "parts": 4, "sanitation_days": 3},
    {"name": "raft", "method": "raft", "places": 6, "parts": 2, "sanitation_days": 1},
    {"name": "tower row", "method": "tower", "places": 8, "parts": 1, "sanitation_days": 1},
)
# fmt: on


@dataclass(frozen=True, slots=True, kw_only=True)
class _Batch:
    """One batch; days are offsets from the first Monday."""

    id: str
    crop: str
    zone: str
    places: dict[int, int]  # number of the place: parts
    plants: int
    cells: int = 0
    state: str = "planned"
    sow: int
    transplant: int | None
    cuts: dict[int, float]  # day: kg
    clear: int


_LETTUCE, _BASIL = "lettuce_butterhead", "basil_genovese"
# fmt: off
_BATCHES = (
    _Batch(id="B0001", crop=_LETTUCE, zone="raft", places={1: 2, 2: 2}, plants=56, cells=74,
           state="growing", sow=-42, transplant=-21, cuts={10: 14.0}, clear=14),
    _Batch(id="B0002", crop=_LETTUCE, zone="raft", places={3: 2, 4: 1}, plants=42, cells=56,
           state="sown", sow=-7, transplant=15, cuts={45: 6.0, 46: 4.5}, clear=49),
    _Batch(id="B0003", crop=_LETTUCE, zone="raft", places={1: 2, 2: 2}, plants=56, cells=74,
           sow=2, transplant=23, cuts={52: 14.0}, clear=56),
    _Batch(id="B0004", crop=_BASIL, zone="north gravel", places={1: 2}, plants=20, cells=27,
           state="cutting", sow=-50, transplant=-30, cuts={3: 1.2, 17: 1.2, 31: 0.9}, clear=35),
    _Batch(id="B0005", crop=_BASIL, zone="north gravel", places={1: 2, 2: 1}, plants=30, cells=40,
           sow=20, transplant=39, cuts={67: 1.5, 81: 1.8, 95: 1.8, 109: 1.4}, clear=112),
    _Batch(id="B0006", crop="mint", zone="north gravel", places={4: 4}, plants=18, cells=24,
           sow=7, transplant=35, cuts={70: 1.0, 98: 1.5, 126: 1.5}, clear=770),
    _Batch(id="B0007", crop="radish", zone="north gravel", places={3: 2}, plants=120,
           sow=8, transplant=None, cuts={36: 1.6, 38: 1.2}, clear=42),
    _Batch(id="B0008", crop="radish", zone="north gravel", places={3: 2}, plants=120,
           sow=45, transplant=None, cuts={73: 2.8}, clear=77),
    _Batch(id="B0009", crop="tomato_cherry", zone="north gravel", places={2: 2}, plants=4, cells=6,
           state="growing", sow=-70, transplant=-28, cuts={day: 0.75 for day in range(31, 116, 7)},
           clear=119),
    _Batch(id="B0010", crop="chives", zone="tower row", places={1: 1, 2: 1, 3: 1}, plants=48,
           cells=64, sow=14, transplant=59, cuts={94: 1.2, 122: 1.2}, clear=791),
    _Batch(id="B0011", crop="rosemary", zone="tower row", places={8: 1}, plants=16, cells=22,
           sow=7, transplant=91, cuts={211: 0.9}, clear=819),
    _Batch(id="B0012", crop=_LETTUCE, zone="tower row", places={4: 1, 5: 1, 6: 1}, plants=48,
           cells=64, sow=30, transplant=51, cuts={81: 12.0}, clear=84),
)
# fmt: on


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cohort:
    """One cohort; days are offsets from the first Monday."""

    id: str
    species: str
    tank: str
    order_by: int | None
    stock: int
    harvest: int | None
    count: int
    stock_g: float
    gain_g_week: float
    taken: dict[int, int]  # day: fish


# fmt: off
_COHORTS = (
    _Cohort(id="C01", species="tilapia_nile", tank="fish tank 1", order_by=None,
            stock=-60, harvest=30, count=40, stock_g=260.0, gain_g_week=24.0,
            taken={16: 20, 30: 20}),
    _Cohort(id="C02", species="perch_yellow", tank="fish tank 2", order_by=-12,
            stock=9, harvest=114, count=60, stock_g=40.0, gain_g_week=6.0,
            taken={100: 20, 107: 20, 114: 20}),
    _Cohort(id="C03", species="tilapia_nile", tank="fish tank 1", order_by=17,
            stock=38, harvest=None, count=50, stock_g=50.0, gain_g_week=18.0,
            taken={}),
)
# fmt: on

_ORDERS = (  # line, customer, crop, unit, quantity a week in which there is some
    ("L1", "Corner Kitchen", _LETTUCE, "head", 30.0),
    ("L2", "Mill Street Café", _BASIL, "kg", 1.0),
    ("L3", "Corner Kitchen", "radish", "bunch", 12.0),
    ("L4", "Mill Street Café", "tilapia_nile", "kg", 15.0),
)


def small_plan(
    *,
    farm: str = "Small House",
    made_on: date = MADE_ON,
    units: str = "metric",
    weeks: int = 20,
    warnings: tuple[str, ...] = (),
    forecast: bool = False,
) -> PlanDoc:
    """Return the small plan made on a day, reported over `weeks` weeks."""
    start = monday_of(made_on)
    batches = [_batch(batch, start, weeks) for batch in _BATCHES]
    cohorts = [_cohort(cohort, start, weeks) for cohort in _COHORTS]
    orders, deliveries, produce = _sales(batches, cohorts, start, weeks)
    water_weeks = _weeks(batches, cohorts, start, weeks)
    document: PlanDoc = {
        "farm": farm,
        "made_on": made_on.isoformat(),
        "units": units,
        "horizon": {"start": start.isoformat(), "weeks": weeks},
        "solver": {
            "status": "feasible",
            "value": 1234.5,
            "bound": 1260.0,
            "gap": 0.0207,
            "work": 40.0,
            "seconds": 3.5,
            "seed": 0,
            "stopped_by": "work",
        },
        "crops": {row.id: row.name for row in (*CROPS.values(), *FISH.values())},
        "zones": [dict(zone) for zone in _ZONES],  # type: ignore[misc]
        "tanks": [
            {"name": f"fish tank {number}", "volume_m3": 2.0, "max_kg_m3": 20.0}
            for number in (1, 2)
        ],
        "water": {
            "volume_m3": VOLUME_M3,
            "nitrate_n_start_mg_l": NITRATE_START_MG_L,
            "band_n_mg_l": list(BAND_MG_L),
        },
        "batches": batches,
        "cohorts": cohorts,
        "weeks": water_weeks,
        "produce": produce,
        "orders": orders,
        "deliveries": deliveries,
        "marginal": [
            {
                "week": _day(start, 7 * week),
                "place": {zone["name"]: 1.5 for zone in _ZONES},
                "nursery_tray": 0.0,
                "labour_h": 18.0 if week == 3 else 0.0,
                "feed_n_kg": -2.5,
            }
            for week in range(weeks)
        ],
        "comparison": {
            "plan": {"orders_met": 0.95, "short_orders": 2, "weeks_in_band": 7, "margin": 900.0},
            "by_hand": {"orders_met": 0.8, "short_orders": 9, "weeks_in_band": 5, "margin": 640.0},
        },
        "forecast": None,
        "certainty": None,
        "learned": {},
        "house": {
            "standing": [],
            "cohorts": [],
            "nitrate_n_mg_l": NITRATE_START_MG_L,
            "rows_read": [],
        },
        "book_entries": 0,
        "happened": [],
        "changes": None,
        "violations": [],
        "warnings": list(warnings),
    }
    if forecast:
        foretell(document)
    return document


def foretell(document: PlanDoc) -> None:
    """Give a document a forecast: a fifth less or more of all that is cut, and less of fish.

    First cuts are up to four days late. A planned order's chance is 90 %, that of one which is
    short within its tolerance 60 %, that of any other 10 %.
    """
    cut_kg: dict[tuple[str, str], float] = defaultdict(float)
    for batch in document["batches"]:
        for row in batch["harvest"]:
            row["kg_p10"], row["kg_p50"], row["kg_p90"] = _spread(row["kg"], 0.2)
            cut_kg[row["week"], batch["crop"]] += row["kg"]
        if batch["first_harvest"] is not None:
            day = date.fromisoformat(batch["first_harvest"])
            late = 0 if batch["state"] == "cutting" else 4
            batch["first_harvest_p10"] = day.isoformat()
            batch["first_harvest_p90"] = (day + timedelta(days=late)).isoformat()
    for cohort in document["cohorts"]:
        for taken in cohort["taken"]:
            cut_kg[taken["week"], cohort["species"]] += taken["kg"]
    for order in document["orders"]:
        order["chance"] = 0.9 if order["short"] <= 0 else 0.6 if order["within_tolerance"] else 0.1
    mondays = {row["week"] for row in document["weeks"]}
    fed_kg = sum(row["feed_kg"] for row in document["weeks"])
    document["forecast"] = {
        "draws": 2000,
        "seed": 0,
        "produce": [
            {"week": week, "crop": crop, **_keyed("kg", kg, 0.2)}  # type: ignore[typeddict-item]
            for (week, crop), kg in sorted(cut_kg.items())
            if week in mondays
        ],
        "weeks": [
            {  # type: ignore[typeddict-item]
                "week": row["week"],
                **_keyed("nitrate_n_mg_l", row["nitrate_n_mg_l"], 0.3),
                **_keyed("feed_kg", row["feed_kg"], 0.15),
            }
            for row in document["weeks"]
        ],
        "cohorts": [
            {  # type: ignore[typeddict-item]
                "id": cohort["id"],
                "week": row["week"],
                **_keyed("mean_g", row["mean_g"], 0.1),
                **_keyed("kg", row["biomass_kg"], 0.12),
            }
            for cohort in document["cohorts"]
            for row in cohort["weeks"]
        ],
        "feed_total_kg": dict(zip(("p10", "p50", "p90"), _spread(fed_kg, 0.15), strict=True)),  # type: ignore[typeddict-item]
    }


def _spread(value: float, share: float) -> tuple[float, float, float]:
    """Return p10, p50 and p90 of a quantity that comes out a little under the plan on average."""
    return (1 - share) * value, 0.97 * value, (1 + share) * value


def _keyed(key: str, value: float, share: float) -> dict[str, float]:
    names = (f"{key}_p10", f"{key}_p50", f"{key}_p90")
    return dict(zip(names, _spread(value, share), strict=True))


def _day(start: date, offset: int) -> str:
    return (start + timedelta(days=offset)).isoformat()


def _monday(offset: int) -> int:
    return offset - offset % 7


def _batch(batch: _Batch, start: date, weeks: int) -> BatchDoc:
    weekly_kg: dict[int, float] = defaultdict(float)
    for day, kg in batch.cuts.items():
        weekly_kg[_monday(day)] += kg
    first_day = batch.sow if batch.transplant is None else batch.transplant
    standing = range(_monday(first_day), min(batch.clear, 7 * weeks), 7)
    uptake_g = batch.plants * CROPS[batch.crop].n_uptake_g_per_plant
    whole_weeks = -(-(batch.clear - _monday(first_day)) // 7)
    zone = next(zone for zone in _ZONES if zone["name"] == batch.zone)
    return {
        "id": batch.id,
        "origin": None if batch.state == "planned" else batch.id,
        "crop": batch.crop,
        "zone": batch.zone,
        "method": zone["method"],
        "places": [
            {"name": f"{batch.zone} {number}", "parts": parts}
            for number, parts in batch.places.items()
        ],
        "parts": sum(batch.places.values()),
        "plants": batch.plants,
        "cells": batch.cells,
        "state": batch.state,
        "sow": _day(start, batch.sow),
        "transplant": None if batch.transplant is None else _day(start, batch.transplant),
        "ripe": _day(start, min(batch.cuts)),
        "first_harvest": _day(start, min(batch.cuts)),
        "first_harvest_p10": None,
        "first_harvest_p90": None,
        "last_harvest": _day(start, max(batch.cuts)),
        "clear": _day(start, batch.clear),
        "harvest": [
            {
                "week": _day(start, monday),
                "kg": kg,
                "kg_p10": None,
                "kg_p50": None,
                "kg_p90": None,
            }
            for monday, kg in weekly_kg.items()
        ],
        "cuts": [{"date": _day(start, day), "kg": kg} for day, kg in batch.cuts.items()],
        "uptake_g_n": [
            {"week": _day(start, monday), "g": uptake_g / whole_weeks}
            for monday in standing
            if monday >= 0
        ],
        "warnings": [],
    }


def _cohort(cohort: _Cohort, start: date, weeks: int) -> CohortDoc:
    def mean_g(day: int) -> float:
        return cohort.stock_g + cohort.gain_g_week * (day - cohort.stock) / 7

    end = 7 * weeks if cohort.harvest is None else cohort.harvest
    rows: list[CohortWeekDoc] = []
    for monday in range(max(0, _monday(cohort.stock)), min(end, 7 * weeks), 7):
        first, last = max(monday, cohort.stock), min(monday + 7, end)
        count = cohort.count - sum(n for day, n in cohort.taken.items() if day < first)
        gain_kg = count * (mean_g(last) - mean_g(first)) / 1000
        rows.append(
            {
                "week": _day(start, monday),
                "mean_g": mean_g(first),
                "count": count,
                "biomass_kg": count * mean_g(first) / 1000,
                "feed_kg": gain_kg * FISH[cohort.species].fcr,
            }
        )
    return {
        "id": cohort.id,
        "at_hand": cohort.stock < 0,
        "species": cohort.species,
        "tank": cohort.tank,
        "max_kg_m3": 20.0,
        "order_by": None if cohort.order_by is None else _day(start, cohort.order_by),
        "stock": _day(start, cohort.stock),
        "harvest": None if cohort.harvest is None else _day(start, cohort.harvest),
        "taken": [
            {
                "week": _day(start, _monday(day)),
                "date": _day(start, day),
                "count": count,
                "kg": count * mean_g(day) / 1000,
                "saleable": True,
            }
            for day, count in cohort.taken.items()
        ],
        "weeks": rows,
    }


def _sales(
    batches: list[BatchDoc], cohorts: list[CohortDoc], start: date, weeks: int
) -> tuple[list[OrderWeekDoc], list[DeliveryDoc], list[ProduceDoc]]:
    """Sell oldest first; the rest goes to the cooler for next week's order, or to an outlet."""
    lots: dict[tuple[str, str], list[tuple[str, float]]] = defaultdict(list)
    for batch in batches:
        for row in batch["harvest"]:
            lots[batch["crop"], row["week"]].append((batch["id"], row["kg"]))
    for cohort in cohorts:
        for taken in cohort["taken"]:
            lots[cohort["species"], taken["week"]].append((cohort["id"], taken["kg"]))
    order_of = {crop: (line, who, unit, n) for line, who, crop, unit, n in _ORDERS}
    mondays = [_day(start, 7 * week) for week in range(weeks)]
    orders: list[OrderWeekDoc] = []
    deliveries: list[DeliveryDoc] = []
    produce: list[ProduceDoc] = []
    for crop in sorted({crop for crop, _ in lots}):
        cooler: list[tuple[str, float]] = []
        for monday, next_monday in zip(mondays, [*mondays[1:], ""], strict=True):
            cut = lots.get((crop, monday), [])
            if not cut and not cooler:
                continue
            left = [*cooler, *cut]
            from_cooler_kg = sum(kg for _, kg in cooler)
            ordered_kg = 0.0
            if crop in order_of:
                line, customer, unit, ordered = order_of[crop]
                kg_per_unit = 1.0 if unit == "kg" else CROPS[crop].kg_per_unit
                planned, sold, left = _sell(left, ordered, kg_per_unit)
                ordered_kg = planned * kg_per_unit
                deliveries += [
                    {"line": line, "week": monday, "batch": lot, "quantity": quantity}
                    for lot, quantity in sold
                ]
                orders.append(
                    {
                        "line": line,
                        "customer": customer,
                        "crop": crop,
                        "week": monday,
                        "unit": unit,
                        "kg_per_unit": kg_per_unit,
                        "ordered": ordered,
                        "planned": planned,
                        "short": max(0.0, ordered - planned),
                        "within_tolerance": planned >= 0.9 * ordered,
                        "why": None if planned >= 0.9 * ordered else "no raft place is free",
                        "chance": None,
                    }
                )
            keep = crop in CROPS and CROPS[crop].shelf_days >= 7 and (crop, next_monday) in lots
            left_kg = sum(kg for _, kg in left)
            cooler = left if keep else []
            produce.append(
                {
                    "week": monday,
                    "crop": crop,
                    "cut_kg": sum(kg for _, kg in cut),
                    "from_cooler_kg": from_cooler_kg,
                    "orders_kg": ordered_kg,
                    "outlets_kg": 0.0 if keep else left_kg,
                    "to_cooler_kg": left_kg if keep else 0.0,
                    "wasted_kg": 0.0,
                }
            )
    return orders, deliveries, produce


def _sell(
    lots: list[tuple[str, float]], ordered: float, kg_per_unit: float
) -> tuple[float, list[tuple[str, float]], list[tuple[str, float]]]:
    wanted, sold, left = ordered, [], []
    for lot, kg in lots:
        quantity = min(wanted, kg / kg_per_unit)
        wanted -= quantity
        if quantity > 0:
            sold.append((lot, quantity))
        if kg - quantity * kg_per_unit > 1e-9:
            left.append((lot, kg - quantity * kg_per_unit))
    return ordered - wanted, sold, left


def _weeks(
    batches: list[BatchDoc], cohorts: list[CohortDoc], start: date, weeks: int
) -> list[WeekDoc]:
    """One balance a week: V·c(t) = V·c(t−1) + supply − uptake + deficit − pool loss, in g N."""
    pool_g = NITRATE_START_MG_L * VOLUME_M3
    rows: list[WeekDoc] = []
    for week in range(weeks):
        monday, sunday = _day(start, 7 * week), _day(start, 7 * week + 6)
        feed_kg = feed_n_g = retained_g = 0.0
        for cohort in cohorts:
            fish = FISH[cohort["species"]]
            fed = sum(row["feed_kg"] for row in cohort["weeks"] if row["week"] == monday)
            feed_kg += fed
            feed_n_g += fed * 1000 * fish.feed_protein_growout_pct / 100 / 6.25
            retained_g += fed / fish.fcr * 1000 * fish.body_n_fraction
        solids_g = 0.12 * feed_n_g
        dissolved_g = feed_n_g - retained_g - solids_g
        gas_g, pool_loss_g = 0.30 * dissolved_g, 0.02 * pool_g
        supply_g = dissolved_g - gas_g
        uptake_g = sum(
            row["g"] for batch in batches for row in batch["uptake_g_n"] if row["week"] == monday
        )
        deficit_g = max(0.0, uptake_g - (pool_g - pool_loss_g + supply_g))
        pool_g += supply_g - uptake_g + deficit_g - pool_loss_g
        rows.append(
            {
                "week": monday,
                "feed_kg": feed_kg,
                "feed_n_g": feed_n_g,
                "supply_n_g": supply_g,
                "uptake_n_g": uptake_g,
                "lost_n_g": gas_g + solids_g + pool_loss_g,
                "pool_loss_n_g": pool_loss_g,
                "deficit_n_g": deficit_g,
                "nitrate_n_mg_l": pool_g / VOLUME_M3,
                "tan_g_day": 0.90 * dissolved_g / 7,
                "biofilter_g_day": 40.0,
                "inherited": False,
                "air_c": 16.0 + 0.3 * week,
                "water_c": 20.0 + 0.2 * week,
                "dli_mol": 12.0 + 0.5 * week,
                "day_length_h": 11.0 + 0.2 * week,
                "labour_h": 0.4 * sum(kg_of_week(batch, monday) for batch in batches) + 2.0,
                "nursery_cells": sum(
                    batch["cells"]
                    for batch in batches
                    if batch["transplant"]
                    and batch["sow"] <= sunday
                    and batch["transplant"] > monday
                ),
            }
        )
    return rows


def kg_of_week(batch: BatchDoc, monday: str) -> float:
    """Return what a batch gives in the week of a Monday. [kg]"""
    return sum(row["kg"] for row in batch["harvest"] if row["week"] == monday)
