"""Words that the review's page, its tables and its five things share."""

from collections.abc import Mapping

from planner.tables import Crop, Fish
from planner.words import Units, figure, plain, spoken, weight

METHODS = {"media_bed": "gravel", "raft": "raft", "tower": "tower"}
SQUARE_FEET_IN_M2 = 0.3048**-2
NOT_RECORDED = "not recorded"


def names(crops: Mapping[str, Crop], fish: Mapping[str, Fish]) -> dict[str, str]:
    """Return the names of crops and fish by id, as they are said."""
    said = {id: spoken(row.name) for id, row in crops.items()}
    return said | {id: spoken(row.name) for id, row in fish.items()}


def money(value: float, currency: str) -> str:
    """Return a sum of the farm's money: `$1,240`, `12.50 EUR`; cents below 100."""
    text = f"{abs(value):,.2f}" if abs(value) < 99.995 else f"{abs(value):,.0f}"
    sign = "−" if value < 0 else ""
    coin = plain(currency)
    return f"{sign}{text} {coin}" if coin[:1].isalpha() else f"{sign}{coin}{text}"


def value_words(value: float | None, currency: str, units: Units) -> str:
    """Return money by area and week, per square foot for who reads those. [money m⁻² week⁻¹]"""
    if value is None:
        return NOT_RECORDED
    return money(value / SQUARE_FEET_IN_M2 if units == "us" else value, currency)


def area_unit(units: Units) -> str:
    """Return the unit by which a value is told."""
    return "ft²" if units == "us" else "m²"


def weight_words(kg: float | None, units: Units) -> str:
    """Return a weight in words, or that none is recorded. [kg]"""
    return NOT_RECORDED if kg is None else weight(kg, units)


def number_words(number: float | None) -> str:
    """Return a number in words, or that none is recorded."""
    return NOT_RECORDED if number is None else figure(number)


def share_words(share: float | None, *, digits: int = 0) -> str:
    """Return a share in per cent, or that none is recorded. [-]"""
    return NOT_RECORDED if share is None else f"{share:.{digits}%}"


def method_words(method: str) -> str:
    """Return a growing method in a word."""
    return METHODS.get(method, plain(method))
