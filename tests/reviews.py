"""A farm, a plan and a book for tests of the review, invented; its numbers can be told by hand."""

from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import Any

from planner.book import (
    Delivery,
    Done,
    Entry,
    Feed,
    FishHarvest,
    Harvest,
    Loss,
    Recorded,
    WaterTest,
    Weigh,
)
from planner.document import PlanDoc
from planner.farm import Farm, Order
from planner.review import Review, review
from tests.plandocs import CROPS, FISH, small_plan

NOW = datetime(2027, 12, 1, 9, tzinfo=UTC)
FIRST = date(2027, 3, 3)  # the small plan's day
LAST = date(2027, 4, 18)  # a Sunday: seven whole weeks
LETTUCE, BASIL, TILAPIA = "lettuce_butterhead", "basil_genovese", "tilapia_nile"


def march(day: int) -> date:
    return date(2027, 3, day)


def april(day: int) -> date:
    return date(2027, 4, day)


def order(line: str, customer: str, crop: str, unit: str, quantity: float, price: float) -> Order:
    return Order(
        line=line,
        customer=customer,
        crops=(crop,),
        crop_text=crop,
        unit=unit,
        quantity=quantity,
        first_week=date(2027, 3, 1),
        last_week=date(2027, 12, 31),
        price=price,
        tolerance=0.1,
    )


def farm(**changes: Any) -> Farm:
    """The small plan's farm: a part of gravel is 0.5 m², of raft 0.75 m², a tower 1 m²."""
    values: dict[str, Any] = {
        "name": "Small House",
        "crops": list(CROPS),
        "site": {
            "latitude": 46.8,
            "longitude": -92.1,
            "timezone": "America/Chicago",
            "climate": "duluth_mn",
        },
        "house": {"set_points": 18},
        "water": {"volumes": {"all": 16.0}, "temperatures": 22, "biofilter_area": 400},
        "tank": [{"name": "fish tank", "places": 2, "volume": 2.0}],
        "zone": [
            {"name": "north gravel", "method": "media_bed", "places": 4, "parts": 4, "area": 2.0},
            {"name": "raft", "method": "raft", "places": 6, "parts": 2, "area": 1.5, "sites": 28},
            {"name": "tower row", "method": "tower", "places": 8, "sites": 20},
        ],
        "nursery": {"cells": 600},
        "labour": {"hours_week": 20},
        "orders": (
            order("L1", "Corner Kitchen", LETTUCE, "head", 30, 2.0),
            order("L2", "Mill Street Café", BASIL, "kg", 1, 30.0),
            order("L3", "Corner Kitchen", "radish", "bunch", 12, 1.5),
            order("L4", "Mill Street Café", TILAPIA, "kg", 15, 10.0),
        ),
    }
    return Farm.model_validate(values | changes)


def plan(**changes: Any) -> PlanDoc:
    """The small plan with ranges; lettuce in the week of 15 March is in none of its draws."""
    document = small_plan(**changes)
    document["forecast"] = {
        "draws": 100,
        "seed": 0,
        "produce": [
            {"week": "2027-03-01", "crop": BASIL, "kg_p10": 0.9, "kg_p50": 1.2, "kg_p90": 1.4},
            {"week": "2027-03-15", "crop": BASIL, "kg_p10": 0.9, "kg_p50": 1.1, "kg_p90": 1.25},
            {"week": "2027-03-08", "crop": LETTUCE, "kg_p10": 8.0, "kg_p50": 13.0, "kg_p90": 16.0},
            {"week": "2027-03-15", "crop": TILAPIA, "kg_p10": 9.0, "kg_p50": 10.0, "kg_p90": 11.0},
            {"week": "2027-04-12", "crop": LETTUCE, "kg_p10": 4.0, "kg_p50": 9.0, "kg_p90": 11.0},
        ],
        "weeks": [],
        "cohorts": [],
        "feed_total_kg": {"p10": 1.0, "p50": 2.0, "p90": 3.0},
    }
    return document


def given(day: date, line: str | None, quantity: float, unit: str, **changes: Any) -> Delivery:
    who, crop = {"L1": ("Corner Kitchen", LETTUCE)}.get(line or "", ("Mill Street Café", BASIL))
    return Delivery(
        **{"on": day, "line": line, "customer": who, "crop": crop, "quantity": quantity}
        | {"unit": unit}
        | changes
    )


def cut(day: date, batch: str | None, kg: float, **changes: Any) -> Harvest:
    crop = {"B0004": BASIL, "B0005": BASIL}.get(batch or "", LETTUCE)
    return Harvest(**{"on": day, "crop": crop, "batch": batch, "kg": kg} | changes)


BOOK: tuple[Entry, ...] = (
    cut(march(5), "B0004", 1.0),
    cut(march(18), "B0004", 1.3),
    cut(march(13), "B0001", 6.0),
    cut(march(15), "B0001", 6.0, last=True),
    Loss(on=april(1), batch="B0002", parts=1, cause="aphids"),
    cut(april(15), "B0002", 5.0),
    Done(on=march(26), step="set out", batch="B0003", planned_on=march(24)),
    given(march(12), "L1", 24, "head"),
    given(april(15), "L1", 20, "head"),
    given(march(5), None, 1.0, "kg"),
    given(march(19), "L2", 2.2, "lb"),
    WaterTest(on=march(5), nitrate_n_mg_l=62.0),
    WaterTest(on=march(10), nitrate_n_mg_l=40.0),
    Feed(on=march(4), kg=2.0, tank="fish tank 1"),
    Feed(on=march(9), kg=2.0),
    Weigh(on=march(10), tank="fish tank 1", mean_g=480.0, sampled=10),
    FishHarvest(on=march(17), tank="fish tank 1", count=20, kg=9.8),
)


def recorded(entries: Sequence[Entry]) -> list[Recorded]:
    return [
        Recorded(number=number, written_at=NOW, entry=entry)
        for number, entry in enumerate(entries, start=1)
    ]


def reviewed(
    entries: Sequence[Entry] = BOOK,
    *,
    plans: Sequence[PlanDoc] | None = None,
    house: Farm | None = None,
    first: date | None = None,
    last: date = LAST,
) -> Review:
    """Review the small plan, or other ones, against entries."""
    documents = [plan()] if plans is None else plans
    return review(
        [(date.fromisoformat(document["made_on"]), document) for document in documents],
        recorded(entries),
        farm() if house is None else house,
        CROPS,
        FISH,
        first=first,
        last=last,
    )
