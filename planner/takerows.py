"""What a grower takes along, as facts: sowings, settings out, deliveries, fish days.

Ids, days and SI units, in the order in which they are needed; `takelists` puts them into words.
"""

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from planner.document import CohortDoc, PlaceDoc, PlanDoc, TakenDoc
from planner.ranges import Range, fish_shares
from planner.tables import Crop
from planner.words import natural, numbered

TRAY_CELLS = 72
PERMIT = "order ahead, check permit before ordering"
ON_ORDER = "on order"
_LEAST = 1e-6  # of any unit; less is nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Sowing:
    """A batch to start.

    Parameters
    ----------
    started_from
        seed, plug, division or cutting.
    seeds
        None where the crop starts from something else, or its row does not say how many.
    cells
        Cells of the nursery; 0 for a crop that is sown in its place, whose `set_out` is None.
    """

    day: date
    crop: str
    batch: str
    started_from: str
    seeds: int | None
    cells: int
    plants: int
    zone: str
    set_out: date | None

    @property
    def trays(self) -> int:
        """Trays that the cells fill or begin."""
        return math.ceil(self.cells / TRAY_CELLS)

    @property
    def amount(self) -> tuple[int, str]:
        """What to have at hand, and its unit; where seeds are not known, cells or plants."""
        if self.seeds is not None:
            return self.seeds, "seed"
        count, unit = (self.cells, "cell") if self.cells else (self.plants, "plant")
        return count, unit if self.started_from == "seed" else self.started_from


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingOut:
    """A batch that goes from the nursery to its places."""

    day: date
    crop: str
    batch: str
    plants: int
    zone: str
    places: tuple[PlaceDoc, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """What a batch or cohort gives to an order line in a week, or what the line is short.

    `quantity` and `short` are in the line's unit. A line that is short has a row more, without
    batch and with no quantity, so that both may be added up. `chance` is the forecast's that the
    line gets what it tolerates in the week. [-]
    """

    week: date
    customer: str
    line: str
    crop: str  # what is delivered; of a short row, what was ordered
    quantity: float
    unit: str
    batch: str = ""
    places: tuple[str, ...] = ()
    from_cooler: bool = False  # nothing of the batch is cut in this week
    short: float = 0.0
    chance: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FishDay:
    """A stocking, or a taking and the deliveries that it serves, up to the cohort's next one.

    A stocking has the last day on which its fish can be ordered, or they are `ordered`; a plan of
    before that day was told has neither. `mean_g` is the weight of one fish, `kg` of all; `share`
    is the forecast's range of both over these. [g, kg, -]
    """

    day: date
    stocked: bool
    species: str
    cohort: str
    tank: str
    count: int
    mean_g: float
    kg: float
    share: Range | None = None
    saleable: bool = True
    serves: tuple[Delivery, ...] = ()
    order_by: date | None = None
    ordered: bool = False


def sowings(document: PlanDoc, crops: Mapping[str, Crop]) -> tuple[Sowing, ...]:
    """Return every batch that is still to be started, by day.

    The cells reckon with seeds that do not germinate. A crop sown in its place gets as many more
    seeds than plants. A crop without a row in `crops` (by id) counts as sown, seeds not known.
    """
    found = []
    for batch in document["batches"]:
        if batch["state"] != "planned":
            continue
        crop, set_out = crops.get(batch["crop"]), batch["transplant"]
        seeds = None
        if crop and crop.started_from == "seed" and crop.seeds_per_cell:
            spots = batch["cells"]
            if set_out is None:
                spots = math.ceil(batch["plants"] * 100 / crop.germination_rate_pct - _LEAST)
            seeds = spots * crop.seeds_per_cell
        found.append(
            Sowing(
                day=date.fromisoformat(batch["sow"]),
                crop=batch["crop"],
                batch=batch["id"],
                started_from=crop.started_from if crop else "seed",
                seeds=seeds,
                cells=batch["cells"] if set_out else 0,
                plants=batch["plants"],
                zone=batch["zone"],
                set_out=date.fromisoformat(set_out) if set_out else None,
            )
        )
    return tuple(sorted(found, key=lambda row: (row.day, row.crop, natural(row.batch), row.batch)))


def settings_out(document: PlanDoc) -> tuple[SettingOut, ...]:
    """Return every batch that is still to be set out, by day and place."""
    found = [
        SettingOut(
            day=date.fromisoformat(batch["transplant"]),
            crop=batch["crop"],
            batch=batch["id"],
            plants=batch["plants"],
            zone=batch["zone"],
            places=tuple(batch["places"]),
        )
        for batch in document["batches"]
        if batch["state"] in ("planned", "sown") and batch["transplant"]
    ]

    def walk(row: SettingOut) -> tuple[object, ...]:
        names = numbered(place["name"] for place in row.places)
        return row.day, natural(row.zone), natural(names), row.batch

    return tuple(sorted(found, key=walk))


def harvests(document: PlanDoc) -> tuple[Delivery, ...]:
    """Return every delivery and every short order, by week, customer and line; fish too."""
    orders = {(row["line"], row["week"]): row for row in document["orders"]}
    sources = _sources(document)
    found = []
    for given in document["deliveries"]:
        order = orders.get((given["line"], given["week"]))
        if order is None or given["batch"] not in sources:
            continue
        crop, places, cut_in = sources[given["batch"]]
        found.append(
            Delivery(
                week=date.fromisoformat(given["week"]),
                customer=order["customer"],
                line=given["line"],
                crop=crop,
                quantity=float(given["quantity"]),
                unit=order["unit"],
                batch=given["batch"],
                places=places,
                from_cooler=given["week"] not in cut_in,
                chance=order["chance"],
            )
        )
    found += [
        Delivery(
            week=date.fromisoformat(order["week"]),
            customer=order["customer"],
            line=order["line"],
            crop=order["crop"],
            quantity=0.0,
            unit=order["unit"],
            short=float(order["short"]),
            chance=order["chance"],
        )
        for order in document["orders"]
        if order["short"] > _LEAST
    ]

    def walk(row: Delivery) -> tuple[object, ...]:
        who, line = (natural(row.customer), row.customer), (natural(row.line), row.line)
        return row.week, who, line, row.short > 0, row.crop, natural(row.batch), row.batch

    return tuple(sorted(found, key=walk))


def _sources(document: PlanDoc) -> dict[str, tuple[str, tuple[str, ...], set[str]]]:
    """Return crop, places and weeks of harvest of every batch and cohort."""
    found = {}
    for batch in document["batches"]:
        places = tuple(place["name"] for place in batch["places"]) or (batch["zone"],)
        found[batch["id"]] = batch["crop"], places, {row["week"] for row in batch["harvest"]}
    for cohort in document["cohorts"]:
        weeks = {taken["week"] for taken in cohort["taken"]}
        found[cohort["id"]] = cohort["species"], (cohort["tank"],), weeks
    return found


def fish_days(document: PlanDoc) -> tuple[FishDay, ...]:
    """Return every stocking to come and every taking, by day and tank."""
    served: dict[str, list[Delivery]] = defaultdict(list)
    for row in harvests(document):
        served[row.batch].append(row)
    shares = fish_shares(document)
    found: list[FishDay] = []
    for cohort in document["cohorts"]:
        if cohort["stock"] >= document["made_on"]:
            found.append(_stocking(cohort, document["made_on"]))
        takes = sorted(cohort["taken"], key=lambda taken: taken["date"])
        for taken, after in zip(takes, [*takes, None][1:], strict=True):
            until = "9999" if after is None else after["week"]
            found.append(
                FishDay(
                    day=date.fromisoformat(taken["date"]),
                    stocked=False,
                    species=cohort["species"],
                    cohort=cohort["id"],
                    tank=cohort["tank"],
                    count=taken["count"],
                    mean_g=_mean_g(cohort, taken),
                    kg=float(taken["kg"]),
                    share=shares.get((cohort["id"], taken["week"])),
                    saleable=taken["saleable"],
                    serves=tuple(
                        row
                        for row in served[cohort["id"]]
                        if taken["week"] <= row.week.isoformat() < until
                    ),
                )
            )
    return tuple(sorted(found, key=lambda row: (row.day, natural(row.tank), row.cohort)))


def _stocking(cohort: CohortDoc, made_on: str) -> FishDay:
    count, mean_g = sum(taken["count"] for taken in cohort["taken"]), 0.0
    if cohort["weeks"]:
        first = cohort["weeks"][0]
        count, mean_g = round(first["count"]), first["mean_g"]
    last = cohort.get("order_by")
    ordered = last is not None and last < made_on
    return FishDay(
        day=date.fromisoformat(cohort["stock"]),
        stocked=True,
        species=cohort["species"],
        cohort=cohort["id"],
        tank=cohort["tank"],
        count=count,
        mean_g=mean_g,
        kg=count * mean_g / 1000,
        order_by=None if last is None or ordered else date.fromisoformat(last),
        ordered=ordered,
    )


def _mean_g(cohort: CohortDoc, taken: TakenDoc) -> float:
    """Return what a fish weighs on the day it is taken, by the growth of that week. [g]

    Weight over count would not do: the weight is that of the fish expected alive, not of whole
    ones.
    """
    mondays = [row["week"] for row in cohort["weeks"]]
    if taken["week"] not in mondays:
        return 1000 * float(taken["kg"]) / taken["count"] if taken["count"] else 0.0
    at = mondays.index(taken["week"])
    weights_g = [float(row["mean_g"]) for row in cohort["weeks"]]
    before, after = (at, at + 1) if at + 1 < len(mondays) else (max(0, at - 1), at)
    days = (date.fromisoformat(taken["date"]) - date.fromisoformat(taken["week"])).days
    return weights_g[at] + (weights_g[after] - weights_g[before]) * days / 7
