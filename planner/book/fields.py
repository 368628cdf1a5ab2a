"""The kinds of text and number that entries of the book are made of, with their ranges."""

import unicodedata
from typing import Annotated, Literal, get_args

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints

from planner.quantities import Count, In, Number

Step = Literal["sow", "set out", "ripe", "cut", "clear", "order", "stock", "take", "empty", "water"]
STEPS: tuple[str, ...] = get_args(Step)
FISH_STEPS = ("order", "stock", "take", "empty")


def _on_one_line(value: object) -> object:
    """Put a text of many lines, as a form sends it, on one."""
    return " ".join(value.split()) if isinstance(value, str) else value


def _no_controls(text: str) -> str:
    if any(unicodedata.category(sign) == "Cc" for sign in text):
        raise ValueError("give a text without control characters")
    return text


Words = Annotated[
    str,
    BeforeValidator(_on_one_line),
    StringConstraints(max_length=1000),
    AfterValidator(_no_controls),
]
MayBeBlank = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=200), AfterValidator(_no_controls)
]
SomeWords = Annotated[Words, Field(min_length=1)]
EntryNumber = Annotated[Count, Field(ge=1, le=1_000_000_000)]
HeldKg = Annotated[float, Field(gt=0, le=1e5), In("kg")]
Parts = Annotated[Count, Field(ge=1, le=400_000)]
FishCount = Annotated[Count, Field(ge=1, le=1_000_000)]
Amount = Annotated[Number, Field(gt=0, le=1e6)]
Ph = Annotated[Number, Field(ge=0, le=14)]
