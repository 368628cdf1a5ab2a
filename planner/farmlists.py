"""The farm's lists: orders, outlets, batches in the house, fish in the house.

Each is one row of a CSV file of the farm folder; columns are the aliases here. The base of all
parts of a farm and the kinds of text and number that they share stand here too.
"""

import re
import unicodedata
from datetime import date
from typing import Annotated, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationInfo,
    field_validator,
)

from planner.horizon import WEEKDAYS
from planner.quantities import Count, Day, Fraction, Number, WeightG, WeightKg, to_count


def _one_line(text: str) -> str:
    if any(unicodedata.category(sign) == "Cc" for sign in text):
        raise ValueError("give a text on one line, without control characters")
    return text


Text = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=200),
    AfterValidator(_one_line),
]
Money = Annotated[Number, Field(ge=0, le=1e6)]
Month = Annotated[Count, Field(ge=1, le=12)]
Weekday = Annotated[Count, Field(ge=0, le=6)]


class Part(BaseModel):
    """Base of every part of a farm: frozen, no unknown keys, no NaN."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", populate_by_name=True, allow_inf_nan=False
    )


def _weekdays(value: object) -> object:
    """Read days such as `tue;fri`: whole names or their first three letters."""
    if not isinstance(value, str):
        return value
    numbers = {day[:3]: number for number, day in enumerate(WEEKDAYS)}
    found = set()
    for word in re.split(r"[;,/\s]+", value.strip().lower()):
        if word not in WEEKDAYS and word not in numbers:
            raise ValueError(f"give days such as tue;fri, from {', '.join(numbers)}")
        found.add(numbers[word[:3]])
    return tuple(sorted(found))


def _place_numbers(value: object) -> object:
    """Read place numbers such as `1-4` or `1 2 5`."""
    if not isinstance(value, str):
        return value
    found: list[int] = []
    for word in re.split(r"[;,\s]+", re.sub(r"\s*-\s*", "-", value.strip())):
        ends = re.fullmatch(r"([0-9]{1,5})(?:-([0-9]{1,5}))?", word)
        if ends is None:
            raise ValueError("give place numbers such as 1-4 or 1 2 5")
        found.extend(range(int(ends[1]), int(ends[2] or ends[1]) + 1))
        if ends[2] and int(ends[2]) < int(ends[1]):
            raise ValueError(f"{word} runs backwards")
    if len(set(found)) < len(found):
        raise ValueError("a place is named twice")
    return tuple(sorted(found))


class Order(Part):
    """One line of `orders.csv`: a standing order."""

    line: Text
    customer: Text
    crops: tuple[Text, ...] = Field(
        alias="crop", min_length=1, description="ids; any of them serves the line"
    )
    crop_text: Text = Field(description="what the grower wrote: an id, a list or a group")
    unit: Text
    quantity: Annotated[Number, Field(gt=0, le=1e6)]
    first_week: Day
    last_week: Day
    every_weeks: Annotated[Count, Field(ge=1, le=52)] = 1
    weekdays: Annotated[tuple[Weekday, ...], BeforeValidator(_weekdays)] = (3,)
    priority: Annotated[Literal[1, 2, 3], BeforeValidator(to_count)] = 2
    price: Money = Field(description="each unit")
    tolerance: Fraction = 0.0
    may_be_cut: bool = True

    @field_validator("last_week")
    @classmethod
    def _weeks_in_order(cls, last_week: date, given: ValidationInfo) -> date:
        first_week = given.data.get("first_week")
        if first_week and last_week < first_week:
            raise ValueError(f"it is before first_week, {first_week}; are they swapped?")
        return last_week


class Outlet(Part):
    """One line of `outlets.csv`: where surplus goes."""

    outlet: Text
    crop: Text
    most_week_kg: WeightKg = Field(alias="most_per_week")
    price_kg: Money


class Standing(Part):
    """One row of `growing.csv`: a batch that is in the house or in its nursery.

    Parameters
    ----------
    parts
        Parts that the batch holds, over all its places. [-]
    places
        Numbers of the places it stands in, from 1; empty when the grower did not say.
    transplant
        Day of setting out; None for a crop sown in place. A day after `as_of`, or none, for a
        batch still in the nursery.
    first_cut
        Day of the first cut; None when it has not been cut.
    ripe
        Day on which the grower sees it ripe; None to leave that to the growth model.
    left
        Share of what may be cut now that still stands; None to leave that to the model. [-]
    finished
        Nothing more comes of it; it only waits to be cleared.
    parts_in
        Parts in each of `places`; empty where they are spread evenly. [-]
    """

    id: Text
    crop: Text
    zone: Text
    parts: Annotated[Count, Field(ge=1, le=400_000)]
    places: Annotated[
        tuple[Annotated[Count, Field(ge=1)], ...], BeforeValidator(_place_numbers)
    ] = ()
    sow: Day
    transplant: Day | None = None
    first_cut: Day | None = None
    as_of: Day
    ripe: Day | None = None
    left: Fraction | None = None
    finished: bool = False
    parts_in: tuple[Annotated[Count, Field(ge=1)], ...] = ()

    @property
    def parts_by_place(self) -> dict[int, int]:
        """Parts in each place named: spread evenly, what is left over to the first ones. [-]"""
        if self.parts_in:
            return dict(zip(self.places, self.parts_in, strict=True))
        each, more = divmod(self.parts, len(self.places)) if self.places else (0, 0)
        return {place: each + (n < more) for n, place in enumerate(self.places)}

    @field_validator("transplant")
    @classmethod
    def _sown_before_set_out(cls, day: date | None, given: ValidationInfo) -> date | None:
        sow = given.data.get("sow")
        if day and sow and day < sow:
            raise ValueError(f"it is before sow, {sow}; are they swapped?")
        return day

    @field_validator("first_cut")
    @classmethod
    def _set_out_before_cut(cls, day: date | None, given: ValidationInfo) -> date | None:
        start = given.data.get("transplant") or given.data.get("sow")
        if day and start and day < start:
            raise ValueError(f"it is before the batch was set out, {start}")
        return day

    @field_validator("as_of")
    @classmethod
    def _sown_by_then(cls, as_of: date, given: ValidationInfo) -> date:
        sow, first_cut = given.data.get("sow"), given.data.get("first_cut")
        if sow and as_of < sow:
            raise ValueError(f"it is before sow, {sow}; list only what is sown")
        if first_cut and as_of < first_cut:
            raise ValueError(f"it is before first_cut, {first_cut}; leave that blank until then")
        return as_of


class FishOrdered(Part):
    """Young fish that the plan in force has ordered and that are still to come."""

    cohort: Text  # by its name in that plan
    species: Text
    tank: Text  # for which they were planned
    count: Annotated[Count, Field(ge=1, le=1_000_000)]
    mean_g: WeightG
    day: Day


class CohortAtHand(Part):
    """One row of `cohorts.csv`: the fish of one tank."""

    tank: Text
    species: Text
    count: Annotated[Count, Field(ge=1, le=1_000_000)]
    mean_g: WeightG = Field(alias="mean_weight")
    as_of: Day
