"""Lots to named places: what the placement is told of a season's lots, zone by zone."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, timedelta

from planner import placement
from planner.document import PlaceDoc, PlanDoc
from planner.lots import Lot
from planner.problem import SeasonProblem

PROMISED_WEEKS = 4  # in which places are on labels and in heads already; judgement

_Planned = dict[tuple[str, str, date, int], list[Mapping[int, int]]]


def placed(
    season: SeasonProblem, all_lots: tuple[Lot, ...], before: PlanDoc | None = None
) -> dict[str, list[PlaceDoc]]:
    """Return the places of every lot, by its id.

    Lots set out within `PROMISED_WEEKS` stand where the plan `before` has them, if there is room.
    """
    found: dict[str, list[PlaceDoc]] = {}
    planned = _planned(season, before)
    for number, zone in enumerate(season.farm.zones):
        here = [lot for lot in all_lots if lot.option.zone == number]
        stands = _standing_places(season, here)
        for lot in here:
            where = planned.get((lot.option.crop, zone.name, lot.option.set_out, lot.parts))
            if where and not stands.get(lot.id):
                stands[lot.id] = where.pop(0)
        layout = placement.assign(
            [
                placement.Lot(
                    id=lot.id,
                    crop=lot.option.crop,
                    family=season.crops[lot.option.crop].family,
                    parts=lot.parts,
                    start=min(lot.option.set_out, lot.option.clear),
                    end=max(
                        lot.option.clear + timedelta(days=zone.sanitation_days),
                        lot.option.set_out + timedelta(days=1),
                    ),
                    places=stands.get(lot.id, {}),
                    alone=season.crops[lot.option.crop].harvest_kind == "perennial",
                )
                for lot in here
            ],
            places=zone.places,
            parts=zone.parts,
            rotate=zone.method.value == "media_bed",
        )
        found |= {
            name: [PlaceDoc(name=f"{zone.name} {place}", parts=parts) for place, parts in where]
            for name, where in layout.where.items()
        }
    return found


def _planned(season: SeasonProblem, before: PlanDoc | None) -> _Planned:
    """Places by number that a plan has for what it sets out soon; by crop, zone, day and parts."""
    found: _Planned = defaultdict(list)
    first = season.horizon.plan_date
    places = {
        f"{zone.name} {number}": number
        for zone in season.farm.zones
        for number in range(1, zone.places + 1)
    }
    for batch in () if before is None else before["batches"]:
        set_out = date.fromisoformat(batch["transplant"] or batch["sow"])
        names = [place["name"] for place in batch["places"]]
        soon = first <= set_out < first + timedelta(weeks=PROMISED_WEEKS)
        if soon and places.keys() >= set(names):
            where = {places[place["name"]]: place["parts"] for place in batch["places"]}
            if sum(where.values()) == batch["parts"]:
                key = (batch["crop"], batch["zone"], set_out, batch["parts"])
                found[key].append(where)
    return found


def _standing_places(season: SeasonProblem, here: list[Lot]) -> dict[str, Mapping[int, int]]:
    """Share the places of each standing batch over the lots that it is cleared in."""
    shares: dict[int, list[Lot]] = defaultdict(list)
    for lot in here:
        if lot.option.standing is not None and lot.option.nursery is None:
            shares[lot.option.standing].append(lot)
    return {
        lot.id: places
        for number, parts in shares.items()
        for lot, places in zip(
            parts,
            placement.share_places(
                season.farm.standing[number].parts_by_place, [lot.parts for lot in parts]
            ),
            strict=True,
        )
    }
