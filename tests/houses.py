"""Seeded small houses in memory: few crops, zones and weeks, so that a season can be solved.

Invented. The crops and the fish are rows of the shipped tables with their days shortened, so that
something ripens within the few weeks of a house.
"""

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

from planner.farm import Farm
from planner.plan import SeasonPlan
from planner.problem import SeasonProblem, build
from planner.season.decide import season_plan
from planner.season.effort import Effort
from planner.tables import Crop, Fish, load_crops, load_fish, load_stations

PLAN_DATES = (date(2027, 3, 1), date(2027, 6, 2), date(2027, 9, 17))  # Monday, Wednesday, Friday
_DAYS: dict[str, dict[str, int]] = {
    "radish": {"days_to_harvest": 9, "harvest_window_days": 7},
    "lettuce_butterhead": {"nursery_days": 6, "days_to_harvest": 11, "shelf_days": 7},
    "lettuce_babyleaf": {
        "nursery_days": 5,
        "days_to_harvest": 9,
        "harvest_window_days": 20,
        "regrowth_interval_days": 10,
        "shelf_days": 14,
    },
    "tomato_cherry_indet": {"nursery_days": 8, "days_to_harvest": 10, "harvest_window_days": 16},
    "chives": {
        "nursery_days": 7,
        "days_to_harvest": 8,
        "regrowth_interval_days": 12,
        "renew_after_days": 90,
    },
}
CROPS: Mapping[str, Crop] = {
    name: replace(load_crops()[name], **days) for name, days in _DAYS.items()
}
UNITS = {"radish": "bunch", "lettuce_butterhead": "head"}
FISH: Mapping[str, Fish] = {
    "tilapia_nile": replace(load_fish()["tilapia_nile"], fingerling_g=60, market_g=120)
}
_ZONES: tuple[dict[str, Any], ...] = (
    {"name": "gravel", "method": "media_bed", "area": 0.8},
    {"name": "rafts", "method": "raft", "area": 0.6, "sites": 14},
    {"name": "towers", "method": "tower", "sites": 12},
)


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """A farm in memory with its tables and plan date."""

    farm: Farm
    plan_date: date
    crops: Mapping[str, Crop]
    fish: Mapping[str, Fish]

    @property
    def problem(self) -> SeasonProblem:
        """The season's problem of this house."""
        station = load_stations()[self.farm.site.climate]
        return build(self.farm, self.crops, self.fish, station, self.plan_date)

    def changed(self, **changes: Any) -> "House":
        """The same house with some keys of its farm changed, `part__key` for a key of a part."""
        parts = dict(self.farm)
        for name, value in changes.items():
            part, _, key = name.partition("__")
            parts[part] = parts[part].model_copy(update={key: value}) if key else value
        return replace(self, farm=Farm.model_validate(parts))


def farm(**parts: Any) -> Farm:
    """A bare farm: one gravel bed, no fish, nothing sold; `parts` replace or add keys."""
    keys: dict[str, Any] = {
        "name": "Small house",
        "crops": ("radish",),
        "site": {
            "latitude": 46.8,
            "longitude": -92.1,
            "timezone": "America/Chicago",
            "climate": "duluth_mn",
        },
        "house": {"set_points": 19},
        "water": {
            "volumes": {"all": 1.5},
            "temperatures": 27,
            "biofilter_area": 60,
            "nitrate_n": 30,
        },
        "zone": ({"name": "gravel", "method": "media_bed", "area": 0.8, "places": 1},),
        "nursery": {"cells": 60},
        "labour": {"hours_week": 12, "price_hour": 2},
        "rules": {"horizon_weeks": 4, "tail_weeks": 0},
    }
    return Farm.model_validate(keys | parts)


def order(line: str, crop: str | tuple[str, ...], **keys: Any) -> dict[str, Any]:
    """An order line, a kilogram a week all year unless told otherwise."""
    crops = (crop,) if isinstance(crop, str) else crop
    usual = {
        "customer": "Kitchen",
        "crop": crops,
        "crop_text": ", ".join(crops),
        "unit": "kg",
        "quantity": 1,
        "first_week": date(2026, 1, 5),
        "last_week": date(2029, 1, 1),
        "price": 10,
    }
    return {"line": line, **usual, **keys}


@lru_cache(maxsize=128)
def solved(seed: int) -> tuple[SeasonProblem, SeasonPlan]:
    """The problem of `random_house(seed)` and its plan."""
    problem = random_house(seed).problem
    return problem, season_plan(problem, Effort())


def random_house(seed: int, *, weeks: tuple[int, int] = (4, 8), most_tail: int = 3) -> House:
    """A house with all features, drawn with `seed`."""
    chance = random.Random(seed)
    crops = chance.sample(sorted(CROPS), chance.randint(1, 3))
    plan_date = chance.choice(PLAN_DATES)
    zones = [
        zone | {"places": chance.randint(1, 3), "parts": chance.choice((1, 1, 2))}
        for zone in chance.sample(_ZONES, chance.randint(1, 2))
    ]
    tanks = chance.choice(((), ({"name": "tank", "places": 1}, {"name": "vat", "places": 2})))
    tanks = tuple(t | {"volume": chance.choice((0.1, 0.25))} for t in tanks[: chance.randint(1, 2)])
    parts: dict[str, Any] = {
        "crops": crops,
        "zone": zones,
        "tank": tanks,
        "water": {
            "volumes": {"all": chance.uniform(1.0, 2.0)},
            "temperatures": chance.choice((24, 27)),
            "biofilter_area": chance.choice((20, 60)),
            "nitrate_n": chance.choice((2, 30, 58)),
            "solids_kept": chance.random() < 0.5,
        },
        "nursery": {"cells": chance.choice((0, 30, 60, 200))},
        "labour": {"hours_week": chance.choice((1, 12)), "price_hour": chance.choice((0, 8))},
        "weights": {
            "shortage": chance.choice((0, 1, 10)),
            "nitrate_mg_l_week": chance.choice((0, 0.5, 5)),
            "waste_kg": chance.choice((0, 1)),
        },
        "rules": {
            "horizon_weeks": chance.randint(*weeks),
            "tail_weeks": chance.randint(0, most_tail),
        },
        "orders": [_order(chance, number, crops, plan_date) for number in range(3)],
        "outlets": [
            {
                "outlet": f"stall {number}",
                "crop": chance.choice(crops),
                "most_per_week": chance.choice((0.5, 2)),
                "price_kg": chance.uniform(2, 9),
            }
            for number in range(chance.randint(0, 2))
        ],
        "standing": list(_standing(chance, crops, zones, plan_date)),
    }
    if tanks:
        parts["fish_prices"] = {"tilapia_nile": 6}
        parts["cohorts"] = [
            {
                "tank": "tank 1",
                "species": "tilapia_nile",
                "count": chance.randint(8, 14),
                "mean_weight": chance.choice((70, 110, 150)),
                "as_of": plan_date - timedelta(days=chance.randint(0, 9)),
            }
        ][: chance.randint(0, 1)]
        parts["fingerlings"] = [
            {
                "species": "tilapia_nile",
                "weight": 60,
                "price": 0.4,
                "lead_weeks": 1,
                "least_count": 4,
            }
        ][: chance.randint(0, 2)]
        if chance.random() < 0.5:
            fish = order("fish", "tilapia_nile", quantity=0.5, every_weeks=2, weekdays=(3, 4))
            parts["orders"].append(fish)
    return House(farm=farm(**parts), plan_date=plan_date, crops=CROPS, fish=FISH)


def _order(chance: random.Random, number: int, crops: list[str], plan_date: date) -> dict[str, Any]:
    either = len(crops) > 1 and chance.random() < 0.3
    wanted = tuple(crops[:2]) if either else (chance.choice(crops),)
    unit = "kg" if either else UNITS.get(wanted[0], "kg")
    heads = unit != "kg"
    return order(
        f"L{number}",
        wanted,
        unit=unit,
        quantity=chance.randint(2, 9) if heads else chance.choice((0.3, 0.8, 1.5)),
        first_week=plan_date + timedelta(weeks=chance.randint(-2, 3)),
        every_weeks=chance.choice((1, 1, 2)),
        weekdays=chance.choice(((3,), (1, 4), (0,), (5,))),
        priority=chance.randint(1, 3),
        price=chance.uniform(1, 3) if heads else chance.uniform(6, 14),
        tolerance=chance.choice((0, 0.2)),
        may_be_cut=chance.random() < 0.8,
    )


def _standing(
    chance: random.Random, crops: list[str], zones: list[dict[str, Any]], day: date
) -> Iterator[dict[str, Any]]:
    """A few batches in the house, set out or still in their trays, never more than a zone has."""
    for number, zone in enumerate(zones):
        fitting = [
            name
            for name in crops
            if getattr(CROPS[name], f"{zone['method']}_fit") != "no"
            and (not CROPS[name].trellis or zone["method"] == "media_bed")
        ]
        if not fitting or chance.random() < 0.4:
            continue
        crop = CROPS[chance.choice(fitting)]
        age = chance.choice((-4, 3, 9, 16, 24))
        set_out = day - timedelta(days=age)
        if crop.direct_sow:
            age, set_out = max(age, 3), day - timedelta(days=max(age, 3))
        cut = crop.harvest_kind != "once" and age > 12 and chance.random() < 0.5
        yield {
            "id": f"G{number}",
            "crop": crop.id,
            "zone": zone["name"],
            "parts": chance.randint(1, zone["places"] * zone["parts"]),
            "sow": set_out - timedelta(days=0 if crop.direct_sow else crop.nursery_days),
            "transplant": None if crop.direct_sow else set_out,
            "first_cut": set_out + timedelta(days=11) if cut else None,
            "as_of": day,
        }


def small_house(seed: int) -> House:
    """A house with every feature at once, its limits drawn close to what a plan would use.

    Its water is little, so that a few fish bring the nitrate to a limit; its season is solved by
    any exact solver in about a second.
    """
    chance = random.Random(seed)
    plan_date = chance.choice(PLAN_DATES)
    crops = ["lettuce_babyleaf", *chance.sample(sorted(set(CROPS) - {"lettuce_babyleaf"}), 2)]
    zones = [
        zone | {"places": chance.randint(1, 2), "parts": chance.choice((1, 1, 2))}
        for zone in chance.sample(_ZONES, 2)
    ]
    tanks = ({"name": "tank", "volume": 0.1}, {"name": "vat", "volume": 0.05, "places": 2})
    fish = {"quantity": 0.4, "every_weeks": 2, "price": chance.choice((9, 15))}
    parts: dict[str, Any] = {
        "crops": crops,
        "zone": zones,
        "tank": tanks[: chance.randint(1, 2)],
        "water": {
            "volumes": {"all": chance.uniform(0.15, 0.5)},
            "temperatures": chance.choice((24, 27)),
            "biofilter_area": chance.choice((1, 2, 20)),
            "nitrate_n": chance.choice((4, 45, 84)),
            "pool_loss_week": chance.choice((0.02, 0.1)),
            "solids_kept": chance.random() < 0.5,
        },
        "nursery": {"cells": chance.choice((16, 30, 60))},
        "labour": {
            "hours_week": chance.choice((0.15, 0.2, 0.2, 0.4, 0.4, 0.4, 2, 2)),
            "price_hour": chance.choice((0, 8)),
        },
        "weights": {
            "shortage": chance.choice((0.2, 1, 10)),
            "nitrate_mg_l_week": chance.choice((0, 0.02, 0.2)),
        },
        "rules": {"horizon_weeks": chance.randint(4, 6), "tail_weeks": chance.randint(0, 2)},
        "orders": [
            *(_order(chance, number, crops, plan_date) for number in range(3)),
            order("fish", "tilapia_nile", **fish),
        ],
        "outlets": [
            {
                "outlet": "stall",
                "crop": chance.choice(crops),
                "most_per_week": chance.choice((0.3, 2)),
                "price_kg": chance.uniform(3, 9),
            }
        ],
        "standing": list(_standing(chance, crops, zones, plan_date)),
        "fish_prices": {"tilapia_nile": chance.choice((6, 10))},
        "cohorts": [
            {
                "tank": "tank 1",
                "species": "tilapia_nile",
                "count": chance.randint(5, 11),
                "mean_weight": chance.choice((70, 110, 150)),
                "as_of": plan_date - timedelta(days=chance.randint(0, 9)),
            }
        ][: chance.randint(0, 1)],
        "fingerlings": [
            {
                "species": "tilapia_nile",
                "weight": chance.choice((60, 90)),
                "price": 0.4,
                "lead_weeks": chance.randint(0, 1),
                "least_count": chance.choice((1, 4)),
            }
        ],
    }
    return House(farm=farm(**parts), plan_date=plan_date, crops=CROPS, fish=FISH)


def tiny_house(seed: int) -> House:
    """A house of so few choices that all of them can be tried: one or two crops, 4 or 5 weeks.

    Every third has two fish at hand or the choice to buy two, in a vat of 20 litres.
    """
    chance = random.Random(seed)
    plan_date = chance.choice(PLAN_DATES)
    crops = chance.sample(["radish", "lettuce_butterhead", "lettuce_babyleaf"], 1 + seed % 2)
    zones = [
        {
            "name": "gravel",
            "method": "media_bed",
            "area": 0.8,
            "places": 1,
            "parts": 1 + seed % 4 // 2,
        },
        {"name": "rafts", "method": "raft", "area": 0.6, "sites": 14, "places": 1, "parts": 1},
    ]
    zones = zones[:1] if crops == ["radish"] else zones[1:] if "radish" not in crops else zones
    parts: dict[str, Any] = {
        "crops": crops,
        "zone": zones,
        "water": {
            "volumes": {"all": 0.05},
            "temperatures": 27,
            "biofilter_area": chance.choice((0.3, 4)),
            "nitrate_n": chance.choice((3, 40, 88)),
            "pool_loss_week": 0.03,
        },
        "nursery": {"cells": chance.choice((15, 30))},
        "labour": {"hours_week": chance.choice((0.3, 1, 4)), "price_hour": chance.choice((0, 8))},
        "weights": {
            "shortage": chance.choice((0.3, 1)),
            "nitrate_mg_l_week": chance.choice((0.02, 0.2)),
        },
        "rules": {"horizon_weeks": 6 - len(crops), "tail_weeks": chance.randint(0, 1)},
        "orders": [_order(chance, number, crops, plan_date) for number in range(2)],
        "outlets": [{"outlet": "stall", "crop": crops[0], "most_per_week": 1, "price_kg": 3}],
        "standing": list(_standing(chance, crops, zones, plan_date)),
    }
    if seed % 3 == 0:
        parts["tank"] = ({"name": "vat", "volume": 0.02},)
        parts["fish_prices"] = {"tilapia_nile": 40}
        parts["cohorts"] = [
            {
                "tank": "vat 1",
                "species": "tilapia_nile",
                "count": 2,
                "mean_weight": chance.choice((90, 118)),
                "as_of": plan_date,
            }
        ][: seed % 2]
        parts["fingerlings"] = [{"species": "tilapia_nile", "weight": 80, "price": 1}]
    return House(farm=farm(**parts), plan_date=plan_date, crops=CROPS, fish=FISH)


def full_house() -> House:
    """A house with all features whose plan uses them: tray crops, a cooler, old and new fish."""
    monday = PLAN_DATES[0]
    keys: dict[str, Any] = {
        "crops": ("lettuce_butterhead", "lettuce_babyleaf", "radish"),
        "zone": (
            {"name": "rafts", "method": "raft", "area": 0.6, "sites": 14, "places": 5},
            {"name": "gravel", "method": "media_bed", "area": 0.8, "places": 2},
        ),
        "tank": ({"name": "tank", "volume": 0.25}, {"name": "vat", "volume": 0.1}),
        "nursery": {"cells": 40},
        "labour": {"hours_week": 1.7, "price_hour": 2},
        "water": {
            "volumes": {"all": 1.0},
            "temperatures": 27,
            "biofilter_area": 60,
            "nitrate_n": 40,
        },
        "weights": {"nitrate_mg_l_week": 0.2},
        "rules": {"horizon_weeks": 9, "tail_weeks": 0},
        "fish_prices": {"tilapia_nile": 12},
        "cohorts": [
            {
                "tank": "tank 1",
                "species": "tilapia_nile",
                "count": 30,
                "mean_weight": 100,
                "as_of": monday,
            }
        ],
        "fingerlings": [
            {
                "species": "tilapia_nile",
                "weight": 60,
                "price": 0.5,
                "lead_weeks": 1,
                "least_count": 4,
            }
        ],
        "orders": [
            order("L", "lettuce_butterhead", unit="head", quantity=10, price=2),
            order("B", "lettuce_babyleaf", quantity=0.5, every_weeks=2, price=12),
            order("R", "radish", quantity=0.6, price=8),
        ],
        "outlets": [
            {"outlet": "stall", "crop": "lettuce_babyleaf", "most_per_week": 0.3, "price_kg": 4}
        ],
    }
    return House(farm=farm(**keys), plan_date=monday, crops=CROPS, fish=FISH)
