"""Quantities, places and names in words; conversions are checked against pint."""

from datetime import date

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner import words

UNITS = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("kg", "metric", "us"),
    [
        (0, "0 kg", "0 lb"),
        (0.42, "0.42 kg", "14.8 oz"),
        (0.1, "0.1 kg", "3.5 oz"),
        (0.05, "50 g", "1.76 oz"),
        (0.0006, "0.6 g", "0.021 oz"),
        (0.45359237, "0.45 kg", "1 lb"),
        (1.25, "1.25 kg", "2.8 lb"),
        (5.44, "5.4 kg", "12 lb"),
        (12.5, "12.5 kg", "28 lb"),
        (1240.4, "1,240 kg", "2,735 lb"),
    ],
)
def test_weights_are_short_and_in_the_growers_units(kg, metric, us):
    assert words.weight(kg, "metric") == metric
    assert words.weight(kg, "us") == us


def test_no_weight_reads_as_sixteen_ounces_or_a_thousand_grams():
    for grams in range(1, 2000):
        assert words.weight(grams / 1000, "us") != "16 oz"
        assert not words.weight(grams / 1000, "metric").startswith("1,000 g")


@given(st.floats(min_value=1e-5, max_value=1e5))
def test_a_weight_in_words_is_within_six_hundredths_of_the_weight(kg):
    for units in ("us", "metric"):
        number, unit = words.weight(kg, units).replace(",", "").split()
        told = UNITS.Quantity(float(number), unit).to("kg").magnitude
        assert told == pytest.approx(kg, rel=0.06)


def test_conversions_are_those_of_the_unit_library():
    assert UNITS.Quantity(1, "lb").to("kg").magnitude == pytest.approx(words.LB_KG, rel=1e-12)
    assert UNITS.Quantity(1, "ft").to("m").magnitude == pytest.approx(words.FOOT_M, rel=1e-12)
    assert UNITS.Quantity(1, "gal").to("m**3").magnitude == pytest.approx(
        words.GALLON_M3, rel=1e-12
    )


def test_sizes_and_temperatures():
    assert words.volume(0.94635, "us") == "250 gal"
    assert words.volume(0.94635, "metric") == "946 L"
    assert words.volume(12.5, "metric") == "12.5 m³"
    assert words.area(1.4864, "us") == "16 ft²"
    assert words.area(1.44, "metric") == "1.44 m²"
    assert words.length(2.4384, "us") == "8 ft"
    assert words.length(0.3048, "us") == "12 in"
    assert words.length(0.6, "metric") == "60 cm"
    assert words.temperature(21.1, "us") == "70 °F"
    assert words.temperature(21.6, "metric") == "21.5 °C"
    assert words.temperature(0, "metric") == "0 °C"
    assert words.temperature(-40, "us") == "-40 °F"


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_not_a_number_is_refused(value):
    for said in (words.figure, lambda v: words.weight(v, "us"), lambda v: words.area(v, "metric")):
        with pytest.raises(ValueError, match="finite"):
            said(value)
    with pytest.raises(ValueError, match="finite"):
        words.temperature(value, "metric")


def test_counts():
    assert words.plural(1, "bunch") == "1 bunch"
    assert words.plural(12, "bunch") == "12 bunches"
    assert words.plural(1, "each") == "1 piece"
    assert words.plural(0, "each") == "0 pieces"
    assert words.plural(60, "fish") == "60 fish"
    assert words.plural(1240, "head") == "1,240 heads"
    assert words.plural(2.5, "head") == "2.5 heads"
    assert words.quantity(5.44, "kg", "us") == "12 lb"
    assert words.quantity(84, "head", "us") == "84 heads"


def test_names_are_said_as_people_say_them():
    assert words.spoken("lettuce, butterhead") == "butterhead lettuce"
    assert words.spoken("mint (spearmint, peppermint)") == "mint (spearmint, peppermint)"
    assert words.spoken("kale") == "kale"
    assert words.spoken("salad, green, small") == "salad, green, small"


def test_plain_text_is_one_line_without_controls():
    assert words.plain("  a\x00b\r\nc\td\u2028e\x07 \ud800f ") == "ab c d e f"
    assert words.plain("basil 🌿 — é") == "basil 🌿 — é"


def test_days_are_read_one_way_everywhere():
    assert words.day_words(date(2027, 5, 5)) == "Wed 5 May"


def test_places_are_shortened_with_their_shares():
    places = [
        {"name": f"north raft {number}", "parts": parts}
        for number, parts in ((7, 1), (3, 2), (4, 2), (10, 2), (5, 2), (8, 1))
    ]
    assert words.places_text(places, {"north raft": 2}) == "north raft 3-5, 7-8 (half each), 10"
    quarters = [{"name": "bed 2", "parts": 3}, {"name": "bed 10", "parts": 1}]
    assert words.places_text(quarters, {"bed": 4}) == "bed 2 (three quarters), 10 (a quarter)"
    fifths = [{"name": "bed 1", "parts": 2}]
    assert words.places_text(fifths, {"bed": 5}) == "bed 1 (2 of 5 parts)"
    assert words.places_text([{"name": "window sill", "parts": 1}], {}) == "window sill"
    assert words.places_text([], {}) == ""


def test_names_in_several_zones_are_grouped():
    assert words.numbered(["tank 2", "tank 1", "pond", "tank 10"]) == "pond; tank 1-2, 10"


def test_natural_order_counts():
    assert sorted(["raft 10", "raft 9", "bed 2"], key=words.natural) == [
        "bed 2",
        "raft 9",
        "raft 10",
    ]
