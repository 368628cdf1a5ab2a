"""The kinds of entry of the book: one model for each, checked when it is made."""

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Literal, Self, get_args

from pydantic import field_validator, model_validator

from planner.book.fields import (
    FISH_STEPS,
    Amount,
    EntryNumber,
    FishCount,
    HeldKg,
    MayBeBlank,
    Parts,
    Ph,
    SomeWords,
    Step,
    Words,
)
from planner.farmlists import Part, Text
from planner.quantities import ConcentrationMgL, Day, TemperatureC, WeightG
from planner.wording import shown


class _Base(Part):
    """What every entry has.

    Parameters
    ----------
    on
        The day it happened.
    who
        Who did or saw it: a role, or a name that the grower chose.
    corrects
        Number of the entry that this one replaces.
    """

    on: Day
    who: Words = ""
    note: Words = ""
    corrects: EntryNumber | None = None

    @field_validator("*", mode="before")
    @classmethod
    def _without_byte_order_marks(cls, value: object) -> object:
        return value.replace("\ufeff", "") if isinstance(value, str) else value

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Self:
        if faults := list(self._contradictions()):
            raise ValueError("\n".join(faults))
        return self

    def _contradictions(self) -> Iterator[str]:
        """Yield a sentence for each pair of fields that do not go together."""
        yield from ()


class _OfStep(_Base):
    """A step of a batch or cohort, as the plan names it.

    Parameters
    ----------
    batch
        Id of the batch or cohort; empty for jobs of the water.
    planned_on
        Day for which the plan had it.
    """

    step: Step
    batch: MayBeBlank = ""
    planned_on: Day | None = None

    def _contradictions(self) -> Iterator[str]:
        if not self.batch and self.step != "water":
            yield f'batch is missing; give the id of what the step "{self.step}" was for'


class Done(_OfStep):
    """A step that was done.

    Parameters
    ----------
    parts
        Parts that it was done to, when fewer or more than planned. [-]
    count
        Fish stocked or taken. [-]
    """

    kind: Literal["done"] = "done"
    parts: Parts | None = None
    count: FishCount | None = None
    tank: Text | None = None

    def _contradictions(self) -> Iterator[str]:
        yield from super()._contradictions()
        if self.count is not None and self.step not in FISH_STEPS:
            yield f'count is {self.count}; only fish are counted, not the step "{self.step}"'
        if self.tank is not None and self.step not in (*FISH_STEPS, "water"):
            yield f'tank is {shown(self.tank)}; the step "{self.step}" is in no tank'
        if self.parts is not None and self.step in (*FISH_STEPS, "water"):
            yield f'parts is {self.parts}; the step "{self.step}" has no parts of a place'


class Skipped(_OfStep):
    """A step that was due and was not done.

    Parameters
    ----------
    until
        Day on which it will be done, or will be ready; None when nobody knows yet.
    """

    kind: Literal["skipped"] = "skipped"
    until: Day | None = None
    cause: Words = ""

    def _contradictions(self) -> Iterator[str]:
        yield from super()._contradictions()
        if self.until is not None and self.until < self.on:
            yield f"until is {self.until}; give a day not before {self.on}, when it was skipped"


class Harvest(_Base):
    """What was cut of a crop.

    Parameters
    ----------
    kg
        Weight. [kg]
    units, unit
        The same in units that were counted, such as 24 and `head`. [-]
    last
        Whether the batch will give nothing more.
    """

    kind: Literal["harvest"] = "harvest"
    crop: Text
    kg: HeldKg
    batch: Text | None = None
    units: Amount | None = None
    unit: Text | None = None
    lot_code: Text | None = None
    last: bool = False

    def _contradictions(self) -> Iterator[str]:
        if self.units is not None and self.unit is None:
            yield f"unit is missing; say what the {self.units:g} units are, such as head"
        if self.unit is not None and self.units is None:
            yield f"units is missing; say how many {self.unit}"
        if self.last and self.batch is None:
            yield "batch is missing; say which batch will give nothing more"


class Loss(_Base):
    """Parts of a batch that were lost; `parts` None is all of it. [-]"""

    kind: Literal["loss"] = "loss"
    batch: Text
    parts: Parts | None = None
    cause: Words = ""


class Weigh(_Base):
    """A weighing of fish: their mean weight [g] and how many were weighed [-]."""

    kind: Literal["weigh"] = "weigh"
    tank: Text
    mean_g: WeightG
    sampled: FishCount | None = None


class Deaths(_Base):
    """Fish found dead. [-]"""

    kind: Literal["deaths"] = "deaths"
    tank: Text
    count: FishCount
    cause: Words = ""


class FishHarvest(_Base):
    """Fish taken out to sell or eat: how many [-] and their weight together [kg]."""

    kind: Literal["fish_harvest"] = "fish_harvest"
    tank: Text
    count: FishCount
    kg: HeldKg
    emptied: bool = False


class Feed(_Base):
    """Feed given [kg]; to one tank, or to all when `tank` is None."""

    kind: Literal["feed"] = "feed"
    kg: HeldKg
    tank: Text | None = None


class WaterTest(_Base):
    """A test of the water; at least one figure. Nitrogen as N, alkalinity and hardness as CaCO3."""

    kind: Literal["water_test"] = "water_test"
    ph: Ph | None = None
    tan_mg_l: ConcentrationMgL | None = None
    nitrite_n_mg_l: ConcentrationMgL | None = None
    nitrate_n_mg_l: ConcentrationMgL | None = None
    do_mg_l: ConcentrationMgL | None = None
    temperature_c: TemperatureC | None = None
    alkalinity_mg_l: ConcentrationMgL | None = None
    hardness_mg_l: ConcentrationMgL | None = None
    iron_mg_l: ConcentrationMgL | None = None
    potassium_mg_l: ConcentrationMgL | None = None

    def _contradictions(self) -> Iterator[str]:
        if all(getattr(self, name) is None for name in WATER_FIGURES):
            yield f"no figure is given; give at least one of {', '.join(WATER_FIGURES)}"


WATER_FIGURES = tuple(
    name for name in WaterTest.model_fields if name not in {*_Base.model_fields, "kind"}
)


class Delivery(_Base):
    """What a customer was given, for an order line or beside the orders."""

    kind: Literal["delivery"] = "delivery"
    line: Text | None = None
    customer: Text
    crop: Text
    quantity: Amount
    unit: Text
    batch: Text | None = None


class Note(_Base):
    """Anything worth remembering."""

    kind: Literal["note"] = "note"
    text: SomeWords


class Void(_Base):
    """Takes the entry that it corrects away."""

    kind: Literal["void"] = "void"
    corrects: EntryNumber


Entry = (
    Done
    | Skipped
    | Harvest
    | Loss
    | Weigh
    | Deaths
    | FishHarvest
    | Feed
    | WaterTest
    | Delivery
    | Note
    | Void
)
KINDS: Mapping[str, type[Entry]] = MappingProxyType(
    {model.model_fields["kind"].default: model for model in get_args(Entry)}
)
