"""A season of full size for tests of the page: invented, seeded, about 700 batches in 130 places.

Only the page reads it, so its water and its sales need not balance.
"""

import math
import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

from planner.document import (
    BatchDoc,
    CohortDoc,
    OrderWeekDoc,
    PlaceDoc,
    PlanDoc,
    ProduceDoc,
    WeekDoc,
    ZoneDoc,
)
from planner.tables import Crop
from tests.plandocs import CROPS, FISH, foretell, small_plan

START = date(2027, 1, 4)
WEEKS = 52
# fmt: off
_NAMES = {
    "lettuce, butterhead": "Asteraceae", "lettuce, romaine": "Asteraceae",
    "lettuce, loose-leaf": "Asteraceae", "basil, Genovese": "Lamiaceae", "basil, Thai": "Lamiaceae",
    "parsley": "Apiaceae", "cilantro / coriander leaf": "Apiaceae", "Swiss chard": "Amaranthaceae",
    "kale": "Brassicaceae", "pak choi": "Brassicaceae", "mizuna": "Brassicaceae",
    "arugula / salad rocket": "Brassicaceae", "cherry tomato": "Solanaceae",
    "sweet pepper": "Solanaceae",
}
_ZONES: tuple[ZoneDoc, ...] = (
    {"name": "north gravel", "method": "media_bed", "places": 12, "parts": 4, "sanitation_days": 3},
    {"name": "raft", "method": "raft", "places": 40, "parts": 2, "sanitation_days": 1},
    {"name": "tower row", "method": "tower", "places": 78, "parts": 1, "sanitation_days": 1},
)
# fmt: on
FULL_CROPS: dict[str, Crop] = {
    f"crop_{number}": replace(
        CROPS["lettuce_butterhead"], id=f"crop_{number}", name=name, family=family
    )
    for number, (name, family) in enumerate(_NAMES.items())
}


def full_season() -> PlanDoc:
    """Return a year of a house of 130 places and four tanks."""
    chance = random.Random(7)
    document = small_plan(farm="Full House", made_on=START + timedelta(days=1), weeks=WEEKS)
    document["zones"] = [zone.copy() for zone in _ZONES]
    document["tanks"] = [
        {"name": f"fish tank {number}", "volume_m3": 2.0, "max_kg_m3": 20.0}
        for number in range(1, 5)
    ]
    document["crops"] = {id: row.name for id, row in (FULL_CROPS | FISH).items()}
    batches = [batch for zone in _ZONES for batch in _filled(zone, chance)]
    for number, batch in enumerate(batches, start=1):
        batch["id"] = f"B{number:04d}"
    document["batches"] = batches
    document["cohorts"] = [cohort for tank in range(1, 5) for cohort in _cohorts(tank)]
    document["weeks"] = [_week(document["weeks"][0], week) for week in range(WEEKS)]
    document["orders"] = [
        _order(crop, week, chance) for crop in FULL_CROPS for week in range(WEEKS)
    ]
    document["deliveries"] = []
    document["produce"] = _produce(batches)
    foretell(document)
    return document


def _gangs(zone: ZoneDoc) -> Iterator[list[PlaceDoc]]:
    """Places or parts that are always started together."""
    if zone["parts"] == 4:
        for number in range(1, zone["places"] + 1):
            for parts in (2, 1, 1):
                yield [{"name": f"{zone['name']} {number}", "parts": parts}]
    else:
        size = 2
        for first in range(1, zone["places"] + 1, size):
            yield [
                {"name": f"{zone['name']} {number}", "parts": zone["parts"]}
                for number in range(first, first + size)
            ]


def _filled(zone: ZoneDoc, chance: random.Random) -> Iterator[BatchDoc]:
    for places in _gangs(zone):
        day = START - timedelta(days=chance.randrange(35))
        while day < START + timedelta(weeks=WEEKS):
            crop = chance.choice(list(FULL_CROPS))
            stands = chance.randrange(35, 58) if chance.random() < 0.9 else 120
            batch = _batch(zone, places, crop, day, stands)
            yield batch
            day = date.fromisoformat(batch["clear"]) + timedelta(
                days=zone["sanitation_days"] + chance.randrange(3)
            )


def _batch(
    zone: ZoneDoc, places: list[PlaceDoc], crop: str, set_out: date, stands: int
) -> BatchDoc:
    cut = set_out + timedelta(days=stands - 8)
    parts = sum(place["parts"] for place in places)
    kg = 1.3 * parts
    sow = set_out - timedelta(days=21)
    state = "planned" if sow > START else "sown" if set_out > START else "growing"
    return {
        "id": "",
        "crop": crop,
        "zone": zone["name"],
        "method": zone["method"],
        "places": places,
        "parts": parts,
        "plants": 14 * parts,
        "cells": 18 * parts,
        "state": state,
        "sow": sow.isoformat(),
        "transplant": set_out.isoformat(),
        "ripe": cut.isoformat(),
        "first_harvest": cut.isoformat(),
        "first_harvest_p10": None,
        "first_harvest_p90": None,
        "last_harvest": (cut + timedelta(days=5)).isoformat(),
        "clear": (set_out + timedelta(days=stands)).isoformat(),
        "harvest": [
            {
                "week": (cut - timedelta(days=cut.weekday())).isoformat(),
                "kg": kg,
                "kg_p10": None,
                "kg_p50": None,
                "kg_p90": None,
            }
        ],
        "cuts": [{"date": cut.isoformat(), "kg": kg}],
        "uptake_g_n": [],
        "warnings": [],
    }


def _cohorts(tank: int) -> Iterator[CohortDoc]:
    for number, first in enumerate(range(-8 + 3 * tank, WEEKS - 4, 25)):
        last = first + 24
        weeks = range(max(first, 0), min(last, WEEKS))
        yield {
            "id": f"C{tank}{number}",
            "species": "tilapia_nile",
            "tank": f"fish tank {tank}",
            "max_kg_m3": 20.0,
            "stock": _day(first),
            "harvest": _day(last),
            "taken": [
                {
                    "week": _day(week),
                    "date": _day(week),
                    "count": 20,
                    "kg": 9.0,
                    "saleable": True,
                }
                for week in (last - 2, last - 1, last)
            ],
            "weeks": [
                {
                    "week": _day(week),
                    "mean_g": 60.0 + 16 * (week - first),
                    "count": 60.0,
                    "biomass_kg": 3.6 + 0.96 * (week - first),
                    "feed_kg": 1.5,
                }
                for week in weeks
            ],
        }


def _day(week: int) -> str:
    return (START + timedelta(weeks=week)).isoformat()


def _week(like: WeekDoc, week: int) -> WeekDoc:
    season = math.sin(math.pi * week / WEEKS)
    return {
        **like,
        "week": _day(week),
        "feed_kg": 6.0,
        "supply_n_g": 180 + 60 * season,
        "uptake_n_g": 90 + 220 * season,
        "nitrate_n_mg_l": 40 - 38 * season + (25 if week > 44 else 0),
        "tan_g_day": 20 + 10 * season,
        "air_c": 14 + 11 * season,
        "water_c": 17 + 9 * season,
        "dli_mol": 5 + 20 * season,
        "day_length_h": 9 + 6 * season,
        "labour_h": 30 + 10 * season,
        "nursery_cells": 400,
    }


def _order(crop: str, week: int, chance: random.Random) -> OrderWeekDoc:
    planned = 30 if chance.random() < 0.93 else 21
    return {
        "line": f"L{crop[5:]}",
        "customer": "Corner Kitchen",
        "crop": crop,
        "week": _day(week),
        "unit": "head",
        "kg_per_unit": 0.25,
        "ordered": 30,
        "planned": planned,
        "short": 30 - planned,
        "within_tolerance": planned == 30,
        "why": None if planned == 30 else "no gravel place is free in week 12",
        "chance": None,
    }


def _produce(batches: list[BatchDoc]) -> list[ProduceDoc]:
    cut: dict[tuple[str, str], float] = {}
    for batch in batches:
        for row in batch["harvest"]:
            key = row["week"], batch["crop"]
            cut[key] = cut.get(key, 0.0) + row["kg"]
    return [
        {
            "week": week,
            "crop": crop,
            "cut_kg": kg,
            "from_cooler_kg": 0.0,
            "orders_kg": min(kg, 7.5),
            "outlets_kg": max(0.0, kg - 7.5),
            "to_cooler_kg": 0.0,
            "wasted_kg": 0.0,
        }
        for (week, crop), kg in sorted(cut.items())
    ]
