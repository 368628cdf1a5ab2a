"""Quantities with units, read at the farm folder's door; SI inside.

`"250 gal"`, `"12 ft2"`, `"70 degF"` and plain numbers, which are already in the planner's
unit, become numbers; pint knows the units. Counts, shares and days are read here too.
"""

import re
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import Annotated, Any

import pint
from pydantic import BeforeValidator, Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

NOT_A_NUMBER = "not_a_number"  # the kind of fault that asks for a number in the allowed range
FIRST_DAY = date(2000, 1, 1)
LAST_DAY = date(2200, 12, 31)

_NUMBER = re.compile(
    r"\s*([+-]?(?:(?:[0-9]{1,3}(?:,[0-9]{3})+|[0-9]+)(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)"
    r"\s*(.*)",
    re.DOTALL,
)
_UNIT_PART = r"[A-Za-zµμ°]+(?:\s?(?:\*\*|\^)?\s?-?[1-3]|[²³])?"
_UNIT = re.compile(rf"{_UNIT_PART}(?:(?:\s*[/*·]\s*|\s+){_UNIT_PART}){{0,4}}")
_POWER = re.compile(r"([A-Za-z])([23])\b")
_DEGREES = {
    **dict.fromkeys(("C", "°C", "degC"), "degC"),
    **dict.fromkeys(("F", "°F", "degF"), "degF"),
}
_LONGEST_TEXT = 60


@lru_cache(maxsize=1)
def _registry() -> "pint.UnitRegistry[Any]":
    return pint.UnitRegistry()


def to_number(value: object) -> object:
    """Return the number that a text spells, such as `"1,200.5"`; anything else as it came.

    Raises
    ------
    ValueError
        The value is a yes or no, or a text that is no number.
    """
    if isinstance(value, bool):
        raise PydanticCustomError(NOT_A_NUMBER, "give a number, not yes or no")
    if not isinstance(value, str):
        return value
    magnitude, word = _split(value)
    if word:
        raise ValueError(f'give a number alone, without "{word}"')
    return magnitude


def to_count(value: object) -> object:
    """Return the whole number that a text spells, such as `"1,200"`; else as `to_number`."""
    number = to_number(value)
    return int(number) if isinstance(number, float) and number.is_integer() else number


def to_fraction(value: object) -> object:
    """Return a share: `0.1` and `"10 %"` are the same; else as `to_number`."""
    if isinstance(value, str) and value.rstrip().endswith("%"):
        percent = to_number(value.rstrip()[:-1])
        return percent / 100 if isinstance(percent, float) else percent
    return to_number(value)


def to_day(value: object) -> date:
    """Return a date, or the date that a text such as `"2027-03-01"` spells.

    Raises
    ------
    ValueError
        It is neither, or not within 2000 to 2200.
    """
    day = value if isinstance(value, date) and not isinstance(value, datetime) else None
    if isinstance(value, str) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value.strip()):
        try:
            day = date.fromisoformat(value.strip())
        except ValueError as fault:
            raise ValueError("the calendar has no such day") from fault
    if day is None or not FIRST_DAY <= day <= LAST_DAY:
        raise ValueError("give a date such as 2027-03-01, year, month and day, from 2000 to 2200")
    return day


def to_unit(value: object, unit: str) -> float:
    """Return `value`, a number or a text such as `"250 gal"`, as a number in `unit`.

    Raises
    ------
    ValueError
        The text is no quantity, or its unit measures something else.
    """
    if isinstance(value, int | float) and not isinstance(value, bool):
        try:
            return float(value)
        except OverflowError as fault:
            raise ValueError("the number is too large") from fault
    if not isinstance(value, str):
        raise PydanticCustomError(NOT_A_NUMBER, "give a number, or a text such as 12 kg")
    magnitude, word = _split(value)
    if not word:
        return magnitude
    if _UNIT.fullmatch(word):
        try:
            quantity = _registry().Quantity(magnitude, _spelled(word, unit))
            return float(quantity.to(_spelled(unit, unit)).magnitude)
        except Exception as fault:  # pint raises many kinds of its own and of Python's
            raise ValueError(f'"{word}" cannot be read as {unit}') from fault
    raise ValueError(f'"{word}" cannot be read as {unit}')


def _split(text: str) -> tuple[float, str]:
    """Return the number at the beginning of a text and what follows it."""
    found = _NUMBER.fullmatch(text) if len(text) < _LONGEST_TEXT else None
    if found is None:
        raise PydanticCustomError(NOT_A_NUMBER, "give a number")
    word = found[2].strip()
    if word.startswith(","):
        raise ValueError("write a decimal point, not a comma")
    return float(found[1].replace(",", "")), word


def _spelled(word: str, unit: str) -> str:
    """Spell a unit as pint reads it, given the unit that is wanted."""
    if unit.endswith("degC"):
        word = _DEGREES.get(word, word)
    if unit.startswith("delta_") and word in _DEGREES.values():
        return f"delta_{word}"
    if unit == "mg/L" and word == "ppm":  # common practice for water
        return "mg/L"
    word = _POWER.sub(r"\1**\2", word).replace("umol", "micromole")
    return re.sub(r"\bcu\s", "cubic ", word)


@dataclass(frozen=True, slots=True)
class In:
    """Marks a number of a model as a quantity in `unit`, read by `to_unit`."""

    unit: str

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        def read(value: object) -> float:
            return to_unit(value, self.unit)

        return core_schema.no_info_before_validator_function(read, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {**handler(schema), "unit": self.unit}


AreaM2 = Annotated[float, Field(ge=0.001, le=1e6), In("m2")]
SurfaceM2 = Annotated[float, Field(ge=0, le=1e7), In("m2")]
VolumeM3 = Annotated[float, Field(ge=0.001, le=1e6), In("m3")]
FlowM3Day = Annotated[float, Field(ge=0, le=1e5), In("m3/day")]
ElevationM = Annotated[float, Field(ge=-430, le=6000), In("m")]
TemperatureC = Annotated[float, Field(ge=-40, le=60), In("degC")]
WarmthK = Annotated[float, Field(ge=-15, le=15), In("delta_degC")]
WeightKg = Annotated[float, Field(ge=0, le=1e6), In("kg")]
WeightG = Annotated[float, Field(gt=0, le=1e5), In("g")]
DensityKgM3 = Annotated[float, Field(ge=0.1, le=300), In("kg/m3")]
ConcentrationMgL = Annotated[float, Field(ge=0, le=2000), In("mg/L")]
PhotonFluxUmol = Annotated[float, Field(ge=0, le=2000), In("umol/m2/s")]

Number = Annotated[float, BeforeValidator(to_number)]
Count = Annotated[int, BeforeValidator(to_count)]
Fraction = Annotated[float, Field(ge=0, le=1), BeforeValidator(to_fraction)]
Day = Annotated[date, BeforeValidator(to_day)]
