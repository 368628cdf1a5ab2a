"""A house with a plan in force, for tests of what stands in it: built on the plan of `plandocs`."""

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

from planner.book import Entry, Recorded
from planner.document import PlanDoc
from planner.farm import CohortAtHand, Farm, Standing
from planner.horizon import monday_of
from planner.present import Present, present
from tests import plandocs

MADE_ON = plandocs.MADE_ON
MONDAY = monday_of(MADE_ON)
NOON = datetime(2027, 3, 3, 12, tzinfo=UTC)


def day(offset: int) -> date:
    """A day, counted from the Monday of the plan's week."""
    return MONDAY + timedelta(days=offset)


def farm(
    *,
    standing: Sequence[Standing] = (),
    cohorts: Sequence[CohortAtHand] = (),
    nitrate: float | None = None,
    tested: date | None = None,
    units: str = "metric",
) -> Farm:
    """The farm of the plan in `plandocs`."""
    water: dict[str, Any] = {
        "volumes": {"all": plandocs.VOLUME_M3},
        "temperatures": 24,
        "biofilter_area": 400,
        "nitrate_n": nitrate,
        "nitrate_tested": tested,
    }
    return Farm.model_validate(
        {
            "name": "Small House",
            "units": units,
            "crops": list(plandocs.CROPS),
            "site": {"latitude": 45, "longitude": -90, "timezone": "UTC", "climate": "duluth_mn"},
            "house": {"set_points": 18},
            "water": water,
            "tank": [{"name": "fish tank", "places": 2, "volume": 2.0}],
            "fingerlings": [
                {"species": species, "weight": weight, "price": 1, "lead_weeks": 3}
                for species, weight in (("tilapia_nile", 50), ("perch_yellow", 40))
            ],
            "zone": [
                {
                    "name": "north gravel",
                    "method": "media_bed",
                    "places": 4,
                    "parts": 4,
                    "area": 1.5,
                },
                {
                    "name": "raft",
                    "method": "raft",
                    "places": 6,
                    "parts": 2,
                    "area": 1.44,
                    "sites": 28,
                },
                {"name": "tower row", "method": "tower", "places": 8, "parts": 1, "sites": 16},
            ],
            "nursery": {"cells": 600},
            "labour": {"hours_week": 20},
            "standing": tuple(standing),
            "cohorts": tuple(cohorts),
        }
    )


def plan(*, read: Iterable[dict[str, Any]] = (), **changes: Any) -> PlanDoc:
    """The plan of `plandocs` with the house that it began with, and keys changed.

    `read` are the rows of the farm's lists that it has read.
    """
    document = plandocs.small_plan()
    rows = []
    for batch in document["batches"]:
        if batch["origin"] is None:
            continue
        transplant = batch["transplant"]
        in_tray = transplant is not None and date.fromisoformat(transplant) > MADE_ON
        row = Standing(
            id=batch["id"],
            crop=batch["crop"],
            zone=batch["zone"],
            parts=batch["parts"],
            places=()
            if in_tray
            else tuple(int(place["name"].rpartition(" ")[2]) for place in batch["places"]),
            parts_in=() if in_tray else tuple(place["parts"] for place in batch["places"]),
            sow=date.fromisoformat(batch["sow"]),
            transplant=None if in_tray or transplant is None else date.fromisoformat(transplant),
            first_cut=day(-5) if batch["state"] == "cutting" else None,
            as_of=MADE_ON,
        )
        rows.append(row.model_dump(mode="json", by_alias=True, exclude_defaults=True))
    fish = [
        CohortAtHand(
            tank=cohort["tank"],
            species=cohort["species"],
            count=int(cohort["weeks"][0]["count"]),
            mean_g=cohort["weeks"][0]["mean_g"],
            as_of=MADE_ON,
        ).model_dump(mode="json", by_alias=True)
        for cohort in document["cohorts"]
        if cohort["at_hand"]
    ]
    document["house"] = {
        "standing": rows,
        "cohorts": fish,
        "nitrate_n_mg_l": plandocs.NITRATE_START_MG_L,
        "rows_read": list(read),
    }
    document["book_entries"] = 100
    return {**document, **changes}  # type: ignore[typeddict-item]


def recorded(*entries: Entry, first: int = 101) -> tuple[Recorded, ...]:
    """Entries as the book gives them, numbered from `first`."""
    return tuple(
        Recorded(number=number, written_at=NOON, entry=entry)
        for number, entry in enumerate(entries, start=first)
    )


def now(
    today: date, *entries: Entry, document: PlanDoc | None = None, house: Farm | None = None
) -> Present:
    """The house today by the plan, with entries that are news to it."""
    return present(
        house or farm(),
        document or plan(),
        recorded(*entries),
        today,
        crops=plandocs.CROPS,
        fish=plandocs.FISH,
    )


def by_lists(house: Farm, today: date, *entries: Entry) -> Present:
    """The house today without a plan."""
    return present(house, None, recorded(*entries), today, crops=plandocs.CROPS, fish=plandocs.FISH)


def rows(found: Present) -> dict[str, Standing]:
    """The batches by id; ids must differ."""
    by_id = {row.id: row for row in found.farm.standing}
    assert len(by_id) == len(found.farm.standing)
    return by_id


def tanks(found: Present) -> dict[str, CohortAtHand]:
    """The fish by tank; one cohort a tank."""
    by_tank = {row.tank: row for row in found.farm.cohorts}
    assert len(by_tank) == len(found.farm.cohorts)
    return by_tank
