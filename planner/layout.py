"""Lots to named places: what the placement is told of a season's lots, zone by zone."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import timedelta

from planner import placement
from planner.document import PlaceDoc
from planner.lots import Lot
from planner.problem import SeasonProblem


def placed(season: SeasonProblem, all_lots: tuple[Lot, ...]) -> dict[str, list[PlaceDoc]]:
    """Return the places of every lot, by its id."""
    found: dict[str, list[PlaceDoc]] = {}
    for number, zone in enumerate(season.farm.zones):
        here = [lot for lot in all_lots if lot.option.zone == number]
        stands = _standing_places(season, here)
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
