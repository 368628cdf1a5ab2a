"""The batches that stand in the house today."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from planner.document import BatchDoc, PlanDoc
from planner.farm import Farm, Standing, Zone
from planner.present.findings import Findings, name_of
from planner.present.lot import Lot, Stands, carried, trimmed, unlike
from planner.present.told import Told, spread
from planner.tables import Crop
from planner.words import day_words, plural

WITHOUT_PLACE = {"places": (), "parts_in": ()}


def by_lists(
    farm: Farm, news: Told, today: date, crops: Mapping[str, Crop], findings: Findings
) -> tuple[Standing, ...]:
    """Return the rows of growing.csv as the book has changed them since they were counted."""
    found: list[Stands] = []
    changed = False
    for row in farm.standing:
        lot = _counted(farm, row, None, news, crops)
        if lot is None or not lot.news or row.as_of > today:
            found.append(_as_it_is(row, crops, today))
        else:
            found.extend(carried(lot, today, findings))
            changed = True
    return _in_their_places(farm, found, crops, findings) if changed else farm.standing


def by_plan(
    farm: Farm,
    plan: PlanDoc,
    news: Told,
    today: date,
    crops: Mapping[str, Crop],
    findings: Findings,
) -> tuple[Standing, ...]:
    """Return the house of the plan in force, carried through its steps to today."""
    return _ByPlan(farm, plan, news, today, crops, findings).standing()


def _counted(
    farm: Farm, row: Standing, batch: BatchDoc | None, news: Told, crops: Mapping[str, Crop]
) -> Lot | None:
    """A row of growing.csv with the entries on or after the day it was counted."""
    zone = _zone(farm, row.zone)
    if zone is None or row.crop not in crops:
        return None
    places = row.parts_by_place
    if not places and batch is not None and batch["parts"] == row.parts:
        places = _places(batch)
    return Lot(
        id=row.id,
        crop=crops[row.crop],
        zone=zone,
        parts=row.parts,
        places=places,
        base=row,
        batch=batch,
        counted=row.as_of,
        first=row.as_of + timedelta(days=1),
        news=[entry for entry in news.of_batch(row.id) if entry.on >= row.as_of],
    )


@dataclass(slots=True)
class _ByPlan:
    """Carries every batch of a plan to today."""

    farm: Farm
    plan: PlanDoc
    news: Told
    today: date
    crops: Mapping[str, Crop]
    findings: Findings
    found: list[Stands] = field(default_factory=list)

    def standing(self) -> tuple[Standing, ...]:
        plan, today = self.plan, self.today
        made_on = date.fromisoformat(plan["made_on"])
        house = [Standing.model_validate(row) for row in plan["house"]["standing"]]
        batches = {batch["id"]: batch for batch in plan["batches"]}
        lots_of: dict[str, list[BatchDoc]] = {row.id: [] for row in house}
        for batch in plan["batches"]:
            if batch["origin"] in lots_of:
                lots_of[batch["origin"]].append(batch)
        newer = self._newer_rows()
        self.news = spread(
            self.news,
            {
                origin: [(lot["id"], lot["parts"]) for lot in lots]
                for origin, lots in lots_of.items()
                if lots and origin not in batches and origin not in newer
            },
        )
        for row in house:
            lots = lots_of[row.id]
            told = [lot for lot in lots if lot["id"] in newer or self.news.of_batch(lot["id"])]
            if row.id in newer:
                continue
            if today == made_on and not told:
                self.found.append(_as_it_is(row, self.crops, today))
            elif not lots:
                kept = row.model_copy(update={"as_of": today})
                self.found.append(_as_it_is(kept, self.crops, today))
            for lot in lots if told or today > made_on else ():
                if lot["id"] not in newer:
                    self._carry(lot, row, made_on)
        for batch in plan["batches"]:
            if batch["origin"] not in lots_of and batch["id"] not in newer:
                self._carry(batch, None, made_on)
        for row in newer.values():
            counted = _counted(self.farm, row, batches.get(row.id), self.news, self.crops)
            if counted is not None:
                self.findings.say(5, f"{counted.name}: counted on {day_words(row.as_of)}")
                self.found.extend(carried(counted, today, self.findings))
        return _in_their_places(self.farm, self.found, self.crops, self.findings)

    def _newer_rows(self) -> dict[str, Standing]:
        for row in self.farm.standing:
            if row.as_of > self.today:
                self.findings.doubt(
                    f'growing.csv: batch "{row.id}" was counted on {row.as_of}, after {self.today};'
                    " it is left out"
                )
        return {row.id: row for row in self.farm.standing if row.as_of <= self.today}

    def _carry(self, batch: BatchDoc, base: Standing | None, made_on: date) -> None:
        zone, crop = _zone(self.farm, batch["zone"]), self.crops.get(batch["crop"])
        if zone is None or crop is None:
            what = f'crop "{batch["crop"]}"' if crop is None else f'zone "{batch["zone"]}"'
            self.findings.doubt(f"batch {batch['id']} is left out: the farm has no more {what}")
            return
        lot = Lot(
            id=batch["id"],
            crop=crop,
            zone=zone,
            parts=batch["parts"],
            places=_places(batch),
            base=base,
            batch=batch,
            counted=made_on,
            first=made_on,
            news=self.news.of_batch(batch["id"]),
        )
        self.found.extend(carried(lot, self.today, self.findings))


def _zone(farm: Farm, name: str) -> Zone | None:
    return next((zone for zone in farm.zones if zone.name == name), None)


def _places(batch: BatchDoc) -> dict[int, int]:
    """Parts by number of the place."""
    numbers = ((place["name"].rpartition(" ")[2], place["parts"]) for place in batch["places"])
    return dict(sorted((int(number), parts) for number, parts in numbers))


def _as_it_is(row: Standing, crops: Mapping[str, Crop], today: date) -> Stands:
    day = row.transplant or (row.sow if row.crop in crops and crops[row.crop].direct_sow else None)
    return Stands(row=row, certain=True, set_out=day is not None and day <= today)


def _in_their_places(
    farm: Farm, found: Sequence[Stands], crops: Mapping[str, Crop], findings: Findings
) -> tuple[Standing, ...]:
    """Return the rows, each with an id of its own and with room where it stands.

    What was counted or recorded comes first. What was only planned to be set out by now stays in
    the nursery where its places are still taken; of what is certain more than there is room for,
    the places are taken as unknown, and what the whole zone cannot hold is left out.
    """
    room: dict[str, _Room] = {zone.name: _Room(zone) for zone in farm.zones}
    kept: dict[int, Standing] = {}
    for number in sorted(range(len(found)), key=lambda n: (not found[n].certain, n)):
        stands, row = found[number], found[number].row
        if not stands.set_out or row.zone not in room:
            kept[number] = row
        elif fitted := room[row.zone].fit(stands, crops, findings):
            kept[number] = fitted
    names: list[str] = []
    rows = []
    for number in sorted(kept):
        name = unlike(kept[number].id, names)
        names.append(name)
        rows.append(
            kept[number].model_copy(update={"id": name})
            if name != kept[number].id
            else kept[number]
        )
    return tuple(rows)


@dataclass(slots=True)
class _Room:
    """What is free of a zone."""

    zone: Zone
    held: Counter[int] = field(default_factory=Counter)
    parts: int = 0

    def fit(self, stands: Stands, crops: Mapping[str, Crop], findings: Findings) -> Standing | None:
        """Return the row as it fits, or None, and hold its parts."""
        row, zone = stands.row, self.zone
        here = row.parts_by_place
        in_place = all(
            1 <= place <= zone.places and self.held[place] + parts <= zone.parts
            for place, parts in here.items()
        )
        free = zone.all_parts - self.parts
        name = name_of(crops[row.crop], row.id) if row.crop in crops else row.id
        if not stands.certain and not (in_place and row.parts <= free):
            findings.forget(row.id, but="sow")
            if row.crop in crops and crops[row.crop].direct_sow:
                findings.forget(row.id)
                findings.doubt(f"{name} is taken as not sown: its places are not free yet")
                return None
            findings.doubt(
                f"{name} is taken to stand in the nursery still: its places are not free yet"
            )
            back = {"transplant": None, "first_cut": None, "ripe": None, "left": None}
            return row.model_copy(update={**back, "finished": False, **WITHOUT_PLACE})
        if free < 1:
            findings.doubt(f'{name} is left out: zone "{zone.name}" is full; count what is there')
            return None
        if row.parts > free:
            findings.doubt(
                f'{name}: {free} of {plural(row.parts, "part")} taken: zone "{zone.name}" has no '
                "more; count what is there"
            )
            places = trimmed(here, free) if in_place else {}
            changed = {"places": tuple(places), "parts_in": tuple(places.values())}
            row = row.model_copy(update={"parts": free, **changed})
        elif not in_place:
            findings.doubt(f"{name}: its places are taken by others; where it stands is not known")
            row = row.model_copy(update=WITHOUT_PLACE)
        self.parts += row.parts
        self.held.update(row.parts_by_place)
        return row
