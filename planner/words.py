"""Words for quantities, places and days, in the units that the grower reads.

Weights and sizes come in SI and leave as text. Conversions are the exact ones of the
international yard and pound (1959) and of the US gallon (231 in³).
"""

import math
import re
import unicodedata
from collections.abc import Iterable, Mapping
from datetime import date
from fractions import Fraction
from typing import Literal

from planner.document import PlaceDoc

Units = Literal["us", "metric"]

LB_KG = 0.45359237
FOOT_M = 0.3048
GALLON_M3 = 3.785411784e-3
_OUNCES_IN_LB = 16
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_SHARES = {
    Fraction(1, 2): "half",
    Fraction(1, 3): "a third",
    Fraction(2, 3): "two thirds",
    Fraction(1, 4): "a quarter",
    Fraction(3, 4): "three quarters",
}
_PLURALS = {"each": "pieces", "fish": "fish", "lb": "lb", "kg": "kg"}
_SINGULARS = {"each": "piece"}
_UNSEEN = {"Cc", "Cs", "Zl", "Zp"}  # controls, lone surrogates, line and paragraph separators


def figure(value: float) -> str:
    """Return a number with no more figures than a scale or a tape shows, such as `0.42` or `1,240`.

    Two decimals below 2, one below 20, none above; two figures below 0.1.

    Raises
    ------
    ValueError
        `value` is not finite.
    """
    if not math.isfinite(value):
        raise ValueError(f"a quantity must be a finite number, got {value}")
    size = abs(value)
    if 0 < size < 0.1:
        decimals = 1 - math.floor(math.log10(size))
    else:
        decimals = 2 if size < 1.995 else 1 if size < 19.95 else 0
    text = f"{value:,.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def weight(kg: float, units: Units) -> str:
    """Return a weight: grams below 0.1 kg, ounces below a pound. [kg]"""
    if units == "us":
        ounces = kg / LB_KG * _OUNCES_IN_LB
        small = 0 < abs(ounces) < _OUNCES_IN_LB - 0.05
        return f"{figure(ounces)} oz" if small else f"{figure(kg / LB_KG)} lb"
    return f"{figure(1000 * kg)} g" if 0 < abs(kg) < 0.0995 else f"{figure(kg)} kg"


def length(m: float, units: Units) -> str:
    """Return a length: centimetres or inches below 1 m, else metres or feet. [m]"""
    small = abs(m) < 0.995
    if units == "us":
        return f"{figure(m / FOOT_M * 12)} in" if small else f"{figure(m / FOOT_M)} ft"
    return f"{figure(100 * m)} cm" if small else f"{figure(m)} m"


def area(m2: float, units: Units) -> str:
    """Return an area in m² or square feet. [m²]"""
    return f"{figure(m2 / FOOT_M**2)} ft²" if units == "us" else f"{figure(m2)} m²"


def volume(m3: float, units: Units) -> str:
    """Return a volume in US gallons, or in litres below 10 m³ and cubic metres above. [m³]"""
    if units == "us":
        return f"{figure(m3 / GALLON_M3)} gal"
    return f"{figure(1000 * m3)} L" if abs(m3) < 10 else f"{figure(m3)} m³"


def temperature(c: float, units: Units) -> str:
    """Return a temperature, to a whole °F or half a °C. [°C]"""
    if not math.isfinite(c):
        raise ValueError(f"a temperature must be a finite number, got {c}")
    if units == "us":
        return f"{round(c * 9 / 5 + 32)} °F"
    half = round(2 * c) / 2
    return f"{half:.0f} °C" if half == int(half) else f"{half:.1f} °C"


def plural(count: float, word: str) -> str:
    """Return a count and its word, such as `1 bunch` or `1,240 heads`; `each` becomes `pieces`."""
    number = f"{count:,.0f}" if count == int(count) else figure(count)
    if number == "1":
        return f"1 {_SINGULARS.get(word, word)}"
    ending = "es" if re.search(r"(s|x|z|ch|sh)$", word) else "s"
    return f"{number} {_PLURALS.get(word, word + ending)}"


def quantity(number: float, unit: str, units: Units) -> str:
    """Return a number of an order's unit: a weight for `kg`, else a count of heads, bunches …"""
    return weight(number, units) if unit == "kg" else plural(number, unit)


def plain(text: str) -> str:
    """Return a text on one line, without control characters, in NFC, single-spaced."""
    kept = ("" if unicodedata.category(c) in _UNSEEN and not c.isspace() else c for c in text)
    return " ".join(unicodedata.normalize("NFC", "".join(kept)).split())


def spoken(name: str) -> str:
    """Return a table's name as it is said: `lettuce, butterhead` is `butterhead lettuce`."""
    noun, comma, kind = plain(name).partition(", ")
    if not comma or "," in kind or "(" in noun:
        return plain(name)
    return f"{kind} {noun}"


def day_words(day: date) -> str:
    """Return a day such as `Wed 5 May`, which is read one way everywhere."""
    return f"{_DAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}"


def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Return a sort key in which `raft 9` stands before `raft 10`."""
    pieces = re.split(r"([0-9]+)", text)
    return tuple((1, int(p), "") if i % 2 else (0, 0, p.casefold()) for i, p in enumerate(pieces))


def numbered(names: Iterable[str]) -> str:
    """Return names that end in numbers, shortened: `raft 3-5, 7; tower 1`."""
    return places_text(({"name": name, "parts": 1} for name in names), {})


def places_text(places: Iterable[PlaceDoc], parts_of: Mapping[str, int]) -> str:
    """Return a batch's places, shortened: `north raft 3-5, 7 (half)`.

    Parameters
    ----------
    places
        Places and the parts held in each; a place's name is its zone's and a number.
    parts_of
        Parts of one place by zone; where a zone is missing no share is written.
    """
    zones: dict[str, list[tuple[int, str]]] = {}
    odd: list[str] = []
    for place in places:
        name = plain(place["name"])
        zone, _, number = name.rpartition(" ")
        if zone and number.isascii() and number.isdigit():
            whole = parts_of.get(zone, place["parts"])
            zones.setdefault(zone, []).append((int(number), _share(place["parts"], whole)))
        else:
            odd.append(name)
    found = [f"{zone} {_runs(sorted(numbers))}" for zone, numbers in zones.items()]
    return "; ".join(sorted(found + odd, key=natural))


def _share(parts: int, whole: int) -> str:
    if parts >= whole:
        return ""
    return _SHARES.get(Fraction(parts, whole), f"{parts} of {whole} parts")


def _runs(numbers: list[tuple[int, str]]) -> str:
    """Write 3, 4, 5 as 3-5, each run with its share of the place."""
    runs: list[tuple[int, int, str]] = []
    for number, share in numbers:
        if runs and runs[-1][1] == number - 1 and runs[-1][2] == share:
            runs[-1] = (runs[-1][0], number, share)
        else:
            runs.append((number, number, share))
    words = []
    for first, last, share in runs:
        span = f"{first}" if first == last else f"{first}-{last}"
        words.append(f"{span} ({share}{' each' if first != last else ''})" if share else span)
    return ", ".join(words)
