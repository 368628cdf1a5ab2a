"""The names that a record may use, and what the plan in force says of each.

A grower writes names as they come: in any case, with spaces or underscores, by a table's name or
its id, or as the beginning of a name that only one thing has.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import chain

from planner.document import BatchDoc, CohortDoc, PlanDoc
from planner.farm import Farm
from planner.farmfile import Inputs
from planner.farmlists import CohortAtHand, Standing
from planner.finding import UnclearError, first_found, found, near, plain_name
from planner.tables import Crop, Fish
from planner.words import Units, spoken

_EARLY = timedelta(days=14)  # before the first cut of the plan; judgement
_LATE = timedelta(days=21)  # after the day of clearing in the plan; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchName:
    """A batch of the plan in force or of `growing.csv`.

    Parameters
    ----------
    parts
        Parts that it holds. [-]
    set_out
        The day it came or comes to its place; None where that is not known.
    first_cut, clear
        Days of the plan; None for what no plan says.
    steps
        The plan's jobs of it: what is done and when.
    in_all_kg, best_week_kg
        What the plan expects of it from the plan date on, and of its best week; None without a
        plan. [kg]
    """

    id: str
    crop: str
    parts: int
    set_out: date | None
    first_cut: date | None = None
    clear: date | None = None
    steps: tuple[tuple[str, date], ...] = ()
    in_all_kg: float | None = None
    best_week_kg: float | None = None

    def may_be_cut(self, day: date) -> bool:
        """Whether it stands on a day and is not far from being ripe, as far as is known."""
        return (
            self.set_out is not None
            and self.set_out <= day
            and (self.first_cut is None or self.first_cut - _EARLY <= day)
            and (self.clear is None or day <= self.clear + _LATE)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CohortName:
    """The fish of one tank, from the plan in force or from `cohorts.csv`.

    Parameters
    ----------
    stock, empty
        First day in the tank, and the day it is empty again; None where that is not known.
    weeks
        What is expected: day, mean weight and count, and the feed of the week from that day.
        [g], [-], [kg week⁻¹]
    steps
        The plan's jobs of it: what is done and when.
    """

    id: str
    species: str
    tank: str
    stock: date | None
    empty: date | None
    weeks: tuple[tuple[date, float, float, float], ...]
    steps: tuple[tuple[str, date], ...] = ()

    def is_in(self, day: date) -> bool:
        """Whether these fish are in their tank on a day."""
        return (self.stock is None or self.stock <= day) and (
            self.empty is None or day <= self.empty
        )

    def expected(self, day: date) -> tuple[date, float, float, float] | None:
        """Return the last of `weeks` that began by `day`, or the first; None when none is known."""
        begun = [week for week in self.weeks if week[0] <= day]
        return begun[-1] if begun else self.weeks[0] if self.weeks else None


@dataclass(frozen=True, slots=True, kw_only=True)
class LineName:
    """A line of `orders.csv`; `quantity` is in `unit`."""

    line: str
    customer: str
    crops: tuple[str, ...]
    quantity: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Names:
    """All that records of a farm may refer to, by id or name.

    Parameters
    ----------
    crops, fish
        The whole tables, by id.
    grown
        Ids of crops that the farm grows or has standing; these are meant first.
    zones, tanks
        Names of zones and of single tanks.
    batches, cohorts, lines
        Those of the house's lists and of the plan in force.
    water_jobs
        Days on which the plan in force has jobs with the water.
    units
        Those that the grower reads.
    has_plan
        Whether a plan is in force.
    """

    crops: Mapping[str, Crop]
    fish: Mapping[str, Fish]
    grown: frozenset[str]
    zones: tuple[str, ...]
    tanks: tuple[str, ...]
    batches: Mapping[str, BatchName]
    cohorts: Mapping[str, CohortName]
    lines: Mapping[str, LineName]
    water_jobs: tuple[date, ...]
    units: Units
    has_plan: bool

    @property
    def spoken(self) -> dict[str, str]:
        """Names of crops and fish as they are said, by id."""
        table: dict[str, Crop | Fish] = {**self.crops, **self.fish}
        return {id: spoken(row.name) for id, row in table.items()}

    def crop(self, text: str) -> str:
        """Return the id of the crop that a text means; raises ValueError with what is known."""
        in_use = {id: row for id, row in self.crops.items() if id in self.grown}
        return first_found(text, "crop", _labels(in_use), _labels(self.crops))

    def product(self, text: str) -> str:
        """Return the id of the crop or fish that a text means; raises ValueError as `crop`."""
        kept = {cohort.species for cohort in self.cohorts.values()}
        table: dict[str, Crop | Fish] = {**self.crops, **self.fish}
        in_use = {id: row for id, row in table.items() if id in self.grown or id in kept}
        return first_found(text, "crop or fish", _labels(in_use), _labels(table))

    def batch(self, text: str) -> str:
        """Return the id of the batch that a text means; raises ValueError with what is known."""
        return found(text, "batch", {id: (id,) for id in self.batches})

    def batch_or_crop(self, text: str) -> tuple[str | None, str]:
        """Return the batch that a text means and its crop, or no batch and a crop.

        Raises ValueError with what is known. A batch's whole name comes first, then a crop's.
        """
        for id, batch in self.batches.items():
            if plain_name(id) == plain_name(text):
                return id, batch.crop
        try:
            return None, self.crop(text)
        except UnclearError:
            raise
        except ValueError as fault:
            no_crop = str(fault)
        try:
            meant = self.batch(text)
        except UnclearError:
            raise
        except ValueError:
            hint = near(text, {id: (id,) for id in self.batches})
            hint = hint or f"; {no_crop.partition('; ')[2]}"
            raise ValueError(f"there is no such crop or batch{hint}") from None
        return meant, self.batches[meant].crop

    def to_be_cut(self, crop: str, day: date) -> tuple[BatchName, ...]:
        """Return the batches of a crop that may be cut on a day."""
        own = (batch for batch in self.batches.values() if batch.crop == crop)
        return tuple(batch for batch in own if batch.may_be_cut(day))

    def lot(self, text: str) -> str:
        """Return the id of the batch, or of the fish, that a text means; a batch comes first."""
        ids = {id: (id,) for id in chain(self.batches, self.cohorts)}
        return found(text, "batch or cohort", ids)

    def tank(self, text: str) -> str:
        """Return the tank that a text means; raises ValueError with what is known."""
        return found(text, "tank", {name: (name,) for name in self.tanks})

    def line(self, text: str) -> LineName:
        """Return the order line that a text means; raises ValueError with what is known."""
        return self.lines[found(text, "line of orders.csv", {id: (id,) for id in self.lines})]

    def is_line(self, text: str) -> bool:
        """Whether a text is the whole name of an order line."""
        return any(plain_name(id) == plain_name(text) for id in self.lines)

    def in_tank(self, tank: str, day: date) -> CohortName | None:
        """Return the fish that are in a tank on a day, the latest to come, as far as is known."""
        held = [c for c in self.cohorts.values() if c.tank == tank and c.is_in(day)]
        return max(held, key=lambda cohort: cohort.stock or date.min, default=None)


def names(inputs: Inputs, document: PlanDoc | None) -> Names:
    """Return the names of a farm and of its plan in force, if there is one."""
    farm = inputs.farm
    batches = {row.id: _standing(row, inputs.crops[row.crop].direct_sow) for row in farm.standing}
    cohorts: dict[str, CohortName] = {}
    water_jobs: tuple[date, ...] = ()
    if document is not None:
        made_on = date.fromisoformat(document["made_on"])
        taken = (Standing.model_validate(row) for row in document["house"]["standing"])
        batches |= {
            row.id: _standing(row, inputs.crops[row.crop].direct_sow)
            for row in taken
            if row.crop in inputs.crops
        }
        batches |= {batch["id"]: _batch(batch, made_on) for batch in document["batches"]}
        cohorts = {cohort["id"]: _cohort(cohort, made_on) for cohort in document["cohorts"]}
        mondays = (date.fromisoformat(week["week"]) for week in document["weeks"])
        water_jobs = tuple(max(monday, made_on) for monday in mondays)
    planned_in = {cohort.tank for cohort in cohorts.values()}
    cohorts |= {row.tank: _at_hand(row) for row in farm.cohorts if row.tank not in planned_in}
    return Names(
        crops=inputs.crops,
        fish=inputs.fish,
        grown=frozenset((*farm.crops_in_use, *(batch.crop for batch in batches.values()))),
        zones=tuple(zone.name for zone in farm.zones),
        tanks=tuple(name for tank in farm.tanks for name in tank.tank_names),
        batches=batches,
        cohorts=cohorts,
        lines=_lines(farm),
        water_jobs=water_jobs,
        units=farm.units,
        has_plan=document is not None,
    )


def _labels(rows: Mapping[str, Crop | Fish]) -> dict[str, tuple[str, ...]]:
    return {id: (id, row.name, spoken(row.name)) for id, row in rows.items()}


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def _standing(row: Standing, direct_sow: bool) -> BatchName:
    set_out = row.transplant or (row.sow if row.first_cut or direct_sow else None)
    return BatchName(
        id=row.id, crop=row.crop, parts=row.parts, set_out=set_out, first_cut=row.first_cut
    )


def _batch(batch: BatchDoc, made_on: date) -> BatchName:
    transplant, sow = _day(batch["transplant"]), date.fromisoformat(batch["sow"])
    clear = date.fromisoformat(batch["clear"])
    cuts = [date.fromisoformat(cut["date"]) for cut in batch["cuts"]]
    planned = [("sow", sow), *(("cut", day) for day in cuts), ("clear", clear)]
    if transplant is not None:
        planned.insert(1, ("set out", transplant))
    weeks_kg = [week["kg"] for week in batch["harvest"]]
    return BatchName(
        id=batch["id"],
        crop=batch["crop"],
        parts=batch["parts"],
        set_out=transplant or sow,
        first_cut=min(cuts, default=None),
        clear=clear,
        steps=tuple((step, day) for step, day in planned if day >= made_on),
        in_all_kg=sum(weeks_kg),
        best_week_kg=max(weeks_kg, default=0.0),
    )


def _cohort(cohort: CohortDoc, made_on: date) -> CohortName:
    stock, empty = date.fromisoformat(cohort["stock"]), _day(cohort["harvest"])
    planned = [("order", _day(cohort.get("order_by"))), ("stock", stock)]
    planned += [("take", _day(taken["date"])) for taken in cohort["taken"]]
    planned.append(("empty", empty))
    return CohortName(
        id=cohort["id"],
        species=cohort["species"],
        tank=cohort["tank"],
        stock=stock,
        empty=empty,
        weeks=tuple(
            (date.fromisoformat(week["week"]), week["mean_g"], week["count"], week["feed_kg"])
            for week in cohort["weeks"]
        ),
        steps=tuple((step, day) for step, day in planned if day is not None and day >= made_on),
    )


def _at_hand(row: CohortAtHand) -> CohortName:
    return CohortName(
        id=row.tank,
        species=row.species,
        tank=row.tank,
        stock=None,
        empty=None,
        weeks=((row.as_of, row.mean_g, float(row.count), 0.0),),
    )


def _lines(farm: Farm) -> dict[str, LineName]:
    return {
        order.line: LineName(
            line=order.line,
            customer=order.customer,
            crops=order.crops,
            quantity=order.quantity,
            unit=order.unit,
        )
        for order in farm.orders
    }
