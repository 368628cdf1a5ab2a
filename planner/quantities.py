"""Quantities with units, read at the farm folder's door; SI inside.

`"250 gal"`, `"12 ft2"`, `"70 degF"` and plain numbers, which are already in the planner's
unit, become numbers; pint knows the units.
"""

import re
from collections.abc import Callable
from functools import lru_cache
from typing import Annotated, Any

import pint
from pydantic import BeforeValidator, Field

_POWER = re.compile(r"([A-Za-z])([23])\b")
_NUMBER = re.compile(r"\s*([+-]?(?:\d[\d,]*\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*)", re.DOTALL)
_LONGEST_TEXT = 60


@lru_cache(maxsize=1)
def _registry() -> "pint.UnitRegistry[Any]":
    return pint.UnitRegistry()


def to_unit(value: object, unit: str) -> float:
    """Return `value`, a number or a text such as `"250 gal"`, as a number in `unit`.

    Raises
    ------
    ValueError
        The text is no quantity, or its unit measures something else.
    """
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    found = None
    if isinstance(value, str) and len(value) < _LONGEST_TEXT:
        found = _NUMBER.fullmatch(value)
    if found is None:
        raise ValueError(f'give a number in {unit}, or a text such as "12 {unit}"')
    magnitude, word = float(found[1].replace(",", "")), found[2].strip()
    if not word:
        return magnitude
    try:
        quantity = _registry().Quantity(magnitude, _spelled(word))
        return float(quantity.to(_spelled(unit)).magnitude)
    except Exception as fault:  # pint raises many kinds of its own and of Python's for odd texts
        raise ValueError(f'"{word}" cannot be read as {unit}') from fault


def _spelled(word: str) -> str:
    return _POWER.sub(r"\1**\2", word).replace("umol", "micromole")


def _reader(unit: str) -> Callable[[object], float]:
    def read(value: object) -> float:
        return to_unit(value, unit)

    return read


AreaM2 = Annotated[float, BeforeValidator(_reader("m2")), Field(ge=0.001, le=1e6)]
VolumeM3 = Annotated[float, BeforeValidator(_reader("m3")), Field(ge=0.001, le=1e6)]
FlowM3Day = Annotated[float, BeforeValidator(_reader("m3/day")), Field(ge=0, le=1e5)]
ElevationM = Annotated[float, BeforeValidator(_reader("m")), Field(ge=-430, le=6000)]
TemperatureC = Annotated[float, BeforeValidator(_reader("degC")), Field(ge=-40, le=60)]
WarmthK = Annotated[float, BeforeValidator(_reader("delta_degC")), Field(ge=-15, le=15)]
WeightKg = Annotated[float, BeforeValidator(_reader("kg")), Field(ge=0, le=1e6)]
WeightG = Annotated[float, BeforeValidator(_reader("g")), Field(gt=0, le=1e5)]
DensityKgM3 = Annotated[float, BeforeValidator(_reader("kg/m3")), Field(ge=0.1, le=300)]
ConcentrationMgL = Annotated[float, BeforeValidator(_reader("mg/L")), Field(ge=0, le=2000)]
PhotonFluxUmol = Annotated[float, BeforeValidator(_reader("umol/m2/s")), Field(ge=0, le=2000)]
