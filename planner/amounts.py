"""Amounts as a grower says them: `24 heads`, `2.4 kg`, `5 lb`, `1 lb 4 oz`."""

import re
from dataclasses import dataclass
from typing import Literal

from planner.quantities import to_number, to_unit
from planner.wording import shown

CountUnit = Literal["head", "bunch", "each"]

_COUNTED: dict[str, CountUnit] = {
    "head": "head",
    "heads": "head",
    "bunch": "bunch",
    "bunches": "bunch",
    "each": "each",
    "ea": "each",
    "piece": "each",
    "pieces": "each",
}
_PIECE = re.compile(r"\s*([+-]?[0-9.,]+)\s*([^0-9\s.,+-][^0-9.,+-]*)")
_LONGEST_TEXT = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """How much of something: a number of `kg`, `head`, `bunch` or `each`."""

    number: float
    unit: str


def amount_of(text: str, unit: str = "") -> Amount:
    """Return the amount that a text spells; `unit` is that of a number alone.

    Weights come in kg, whatever they were given in; pieces and heads stay as they were counted.

    Raises
    ------
    ValueError
        It is no amount, it has no unit, or it is not above 0.
    """
    text = text.strip().removesuffix(".")
    if len(text) > _LONGEST_TEXT:
        raise ValueError('give an amount with its unit, such as "2.4 kg" or "24 heads"')
    try:
        number = to_number(text)
    except ValueError:
        pieces = _pieces(text)
    else:
        if not unit.strip():
            raise ValueError(
                f'its unit is missing; give it as "{text} heads", "{text} kg" or "{text} lb"'
            )
        pieces = [(str(number), unit.strip())]
    counted = _COUNTED.get(pieces[0][1].casefold()) if len(pieces) == 1 else None
    if counted is not None:
        return Amount(number=_above_0(to_number(pieces[0][0])), unit=counted)
    return Amount(number=round(_above_0(sum(_weight_kg(*p) for p in pieces)), 6), unit="kg")


def weight_in(text: str, unit: Literal["kg", "g"], alone: str = "") -> float:
    """Return a weight such as `210 g` or `1 lb 4 oz` in `unit`; `alone` is a bare number's unit.

    Raises
    ------
    ValueError
        It is no weight, it has no unit, or it is not above 0.
    """
    example = "2.4 kg" if unit == "kg" else "210 g"
    try:
        to_number(text)
    except ValueError:
        amount = amount_of(text)
    else:
        if not alone:
            raise ValueError(f'its unit is missing; give a weight such as "{example}"')
        amount = amount_of(text, alone)
    if amount.unit != "kg":
        raise ValueError(f'give a weight such as "{example}"')
    return amount.number if unit == "kg" else round(1000 * amount.number, 6)


def _pieces(text: str) -> list[tuple[str, str]]:
    """Return the numbers of a text and the word after each."""
    found = [(match[1], match[2].strip()) for match in _PIECE.finditer(text)]
    if not found or _PIECE.sub("", text).strip():
        raise ValueError('give an amount with its unit, such as "2.4 kg" or "24 heads"')
    return found


def _weight_kg(number: str, word: str) -> float:
    if word.casefold() in _COUNTED:
        raise ValueError("give the count and the weight apart")
    try:
        to_number(number)
    except ValueError as fault:
        raise ValueError(f"{shown(number)} is no number; {fault}") from None
    try:
        kg = to_unit(f"{number} {word}", "kg")
    except ValueError as fault:
        if "decimal point" in str(fault):
            raise
        raise ValueError(
            f"{shown(word)} is no unit of produce; give kg, g, lb, oz, heads, bunches or pieces"
        ) from None
    if kg < 0:
        raise ValueError("give an amount above 0")
    return kg


def _above_0(number: object) -> float:
    if not isinstance(number, int | float) or not number > 0:
        raise ValueError("give an amount above 0")
    return float(number)
