"""Quantities as growers write them. Factors: NIST Handbook 44, appendix C (from memory)."""

import math
import re
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.quantities import to_count, to_day, to_fraction, to_number, to_unit

FOOT_M = 0.3048
GALLON_M3 = 231 * (FOOT_M / 12) ** 3  # 231 cubic inches
POUND_KG = 0.45359237


@pytest.mark.parametrize(
    ("text", "unit", "number"),
    [
        ("250 gal", "m3", 250 * GALLON_M3),
        ("1,000 gal", "m3", 1000 * GALLON_M3),
        ("1200 L", "m3", 1.2),
        ("2 m³", "m3", 2),
        ("40 cu ft", "m3", 40 * FOOT_M**3),
        ("12 ft2", "m2", 12 * FOOT_M**2),
        ("12 ft^2", "m2", 12 * FOOT_M**2),
        ("12ft²", "m2", 12 * FOOT_M**2),
        ("12 sq ft", "m2", 12 * FOOT_M**2),
        ("70 degF", "degC", (70 - 32) / 1.8),
        ("70 F", "degC", (70 - 32) / 1.8),
        ("-40 °F", "degC", -40),
        ("21 C", "degC", 21),
        ("9 F", "delta_degC", 5),
        ("5 degC", "delta_degC", 5),
        ("5 K", "delta_degC", 5),
        ("30 ppm", "mg/L", 30),
        ("0.25 lb/gal", "kg/m3", 0.25 * POUND_KG / GALLON_M3),
        ("100 gal/day", "m3/day", 100 * GALLON_M3),
        ("100 gal per day", "m3/day", 100 * GALLON_M3),
        ("200 µmol/m²/s", "umol/m2/s", 200),
        ("1.5 lb", "g", 1500 * POUND_KG),
        ("640 ft", "m", 640 * FOOT_M),
        ("  3.5  ", "m3", 3.5),
        (".5", "kg", 0.5),
        (7, "kg", 7),
    ],
)
def test_texts_become_numbers_in_the_unit(text: object, unit: str, number: float) -> None:
    assert to_unit(text, unit) == pytest.approx(number, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("5 kg", '"kg" cannot be read as m3'),
        ("5 buckets", '"buckets" cannot be read as m3'),
        ("1,5 m3", "write a decimal point, not a comma"),
        ("1.2.3", '".3" cannot be read as m3'),
        ("9 9**9**9", '"9**9**9" cannot be read as m3'),
        ("2 __import__", '"__import__" cannot be read as m3'),
        ("many", "give a number"),
        ("", "give a number"),
        ("1" * 100, "give a number"),
        (True, "give a number"),
        (None, "give a number"),
        ([1], "give a number"),
        (10**400, "the number is too large"),
    ],
)
def test_what_is_no_volume(text: object, fault: str) -> None:
    with pytest.raises(ValueError, match=re.escape(fault)):
        to_unit(text, "m3")


@given(number=st.floats(-1e9, 1e9), unit=st.sampled_from(["m3", "kg", "degC", "mg/L"]))
def test_a_number_keeps_its_value_in_the_planners_unit(number: float, unit: str) -> None:
    assert to_unit(f"{number!r} {unit}", unit) == pytest.approx(number, rel=1e-12, abs=1e-12)


@given(st.text(max_size=70))
def test_any_text_is_a_number_or_a_value_error(text: str) -> None:
    for unit in ("m3", "degC", "delta_degC"):
        with suppress(ValueError):
            assert isinstance(to_unit(text, unit), float)


def test_counts_numbers_and_shares() -> None:
    assert to_count("1,200") == 1200
    assert isinstance(to_count("3"), int)
    assert to_count("2.5") == 2.5  # left to the model, which refuses it
    assert to_number("1e3") == 1000
    assert to_fraction("12.5 %") == pytest.approx(0.125)
    assert to_fraction("0.1") == to_fraction(0.1) == 0.1
    assert math.isnan(to_number(math.nan))  # type: ignore[arg-type]  # refused by the model
    for wrong in ("x", "3 kg", True):
        with pytest.raises(ValueError, match="give a number"):
            to_number(wrong)


@pytest.mark.parametrize(
    "wrong", ["3/1/2027", "20270301", "2027-W09", "1999-12-31", "2201-01-01", 20270301, None, ""]
)
def test_what_is_no_day(wrong: object) -> None:
    with pytest.raises(ValueError, match="give a date such as 2027-03-01"):
        to_day(wrong)


def test_a_day_that_no_year_has() -> None:
    assert str(to_day(" 2028-02-29 ")) == "2028-02-29"
    with pytest.raises(ValueError, match="no such day"):
        to_day("2027-02-29")
