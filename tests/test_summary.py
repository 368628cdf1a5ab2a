"""The season on one sheet: its sums, its shares, and warnings that say what to do."""

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.document import OrderWeekDoc, PlanDoc
from planner.report import warnings
from planner.summary import MOST_SHORT, Summary, share_words, summary
from planner.words import LB_KG, figure
from tests.fullseason import full_season
from tests.plandocs import CROPS, MADE_ON, small_plan

GROUPS = {id: row.family for id, row in CROPS.items()}


def order(customer: str, line: str = "A", **changes: Any) -> OrderWeekDoc:
    """Return a whole order of ten heads of 0.2 kg."""
    row: OrderWeekDoc = {
        "line": line,
        "customer": customer,
        "crop": "lettuce_butterhead",
        "week": "2027-03-15",
        "unit": "head",
        "kg_per_unit": 0.2,
        "ordered": 10.0,
        "planned": 10.0,
        "short": 0.0,
        "within_tolerance": True,
        "why": None,
        "chance": None,
    }
    row.update(changes)  # type: ignore[typeddict-item]
    return row


def made(document: PlanDoc, *, short: tuple[str, ...] = ()) -> Summary:
    return summary(document, MADE_ON, groups=GROUPS, short=short)


def total(sheet: Summary, term: str) -> str:
    return dict(sheet.totals)[term]


def test_what_is_cut_is_summed_by_group_most_first():
    """By hand from the small plan's cuts within its 20 weeks; rosemary is cut later."""
    rows = made(small_plan()).harvest.rows
    assert rows == (
        ("Asteraceae", "butterhead lettuce", "50"),  # 14 + 10.5 + 14 + 12 = 50.5
        ("Lamiaceae", "Genovese basil, mint (spearmint, peppermint)", "13.8"),  # 9.8 + 4
        ("Solanaceae", "cherry tomato", "9.8"),  # 13 picks of 0.75
        ("Brassicaceae", "salad radish", "5.6"),
        ("Amaryllidaceae", "chives", "2.4"),
        ("All crops", "", "82"),
    )


def test_a_crop_without_a_group_stands_by_itself():
    sheet = summary(small_plan(), MADE_ON, groups={}, short=())
    assert [row[0] for row in sheet.harvest.rows][:2] == ["butterhead lettuce", "Genovese basil"]
    assert len(sheet.harvest.rows) == 7


def test_fish_are_not_among_the_crops():
    sheet = made(small_plan())
    assert not any("tilapia" in cell for row in sheet.harvest.rows for cell in row)


def test_each_customer_has_a_share_and_the_last_row_is_all():
    document = small_plan()
    document["orders"] = [
        order("Mill"),
        order("Mill", week="2027-03-22", planned=5.0, short=5.0, within_tolerance=False),
        order("Mill", week="2027-03-29", planned=9.0, short=1.0),
        order("Ferry 10", unit="kg", kg_per_unit=1.0, ordered=2.0, planned=2.0),
        order("Ferry 9", planned=0.0, short=10.0, within_tolerance=False),
    ]
    sheet = made(document).orders
    assert sheet.rows == (
        ("Ferry 9", "2", "0.0%", "1 of 1"),
        ("Ferry 10", "2", "100%", "0 of 1"),
        ("Mill", "6", "80.0%", "1 of 3"),  # 4.8 of 6 kg
        ("All customers", "10", "68.0%", "2 of 5"),
    )


def test_more_than_ordered_of_one_does_not_make_up_for_another():
    document = small_plan()
    document["orders"] = [order("Mill", planned=15.0), order("Mill", planned=5.0, short=5.0)]
    assert made(document).orders.rows[-1][2] == "75.0%"


def test_fish_feed_work_and_nitrogen_are_those_of_the_weeks():
    document = small_plan()
    sheet = made(document)
    # 20 fish of 520.6 g and 20 of 568.6 g; 20 perch of 118, 124 and 130 g
    assert total(sheet, "Fish taken") == "29 kg, 100 fish"
    feed_kg = [week["feed_kg"] for week in document["weeks"]]
    assert total(sheet, "Feed").startswith(f"{figure(sum(feed_kg))} kg; most in week ")
    assert total(sheet, "Feed").endswith(f": {figure(max(feed_kg))} kg")
    document["weeks"][4]["labour_h"] = 90.0
    hours = sum(week["labour_h"] for week in document["weeks"])
    assert total(made(document), "Work") == (f"{figure(hours)} h; most in week 13 (29 Mar): 90 h")
    supply_kg = sum(week["supply_n_g"] for week in document["weeks"]) / 1000
    assert total(sheet, "Nitrogen").startswith(f"{figure(supply_kg)} kg from the feed, ")
    document["weeks"][2]["nitrate_n_mg_l"] = 61.0
    document["weeks"][7]["nitrate_n_mg_l"] = 2.0
    assert "nitrate in its band in 18 of 20 weeks" in total(made(document), "Nitrogen")


def test_a_forecast_adds_what_feed_may_come_to_and_what_may_be_missed():
    document = small_plan(forecast=True)
    document["orders"] = [
        order("Mill", chance=0.9),
        order("Mill", week="2027-03-22", chance=0.3),
        order("Ferry", planned=0.0, short=10.0, within_tolerance=False, chance=0.0),
    ]
    sheet = made(document)
    assert sheet.orders.head[-1] == "Likely missed"
    assert [row[-1] for row in sheet.orders.rows] == ["1", "1", "2"]  # 1, 0.1 + 0.7, 1.8
    fed_kg = sum(week["feed_kg"] for week in document["weeks"])
    low, high = figure(0.85 * fed_kg), figure(1.15 * fed_kg)
    assert total(sheet, "Feed").startswith(f"{figure(fed_kg)} kg, likely {low} to {high} kg; most")
    assert len(made(small_plan()).orders.head) == 4
    assert "likely" not in total(made(small_plan()), "Feed")


def test_fish_taken_after_the_weeks_shown_do_not_count():
    document = small_plan()
    taken = document["cohorts"][0]["taken"]
    end = date.fromisoformat(document["horizon"]["start"]) + timedelta(weeks=20)
    taken[1]["date"] = end.isoformat()
    assert total(made(document), "Fish taken") == "17.9 kg, 80 fish"
    taken[1]["date"] = (end - timedelta(days=1)).isoformat()
    assert total(made(document), "Fish taken") == "29 kg, 100 fish"


def test_fish_too_light_to_sell_are_named():
    document = small_plan()
    document["cohorts"][0]["taken"][0]["saleable"] = False
    assert total(made(document), "Fish taken").endswith("100 fish; 20 of them too light to sell")


def test_us_units():
    sheet = made(small_plan(units="us"))
    assert sheet.harvest.head[-1] == "Cut, lb"
    assert sheet.harvest.rows[-1][-1] == figure(82.05 / LB_KG) == "181"
    assert total(sheet, "Fish taken").startswith("64 lb")


def test_at_most_eight_short_lines_and_the_rest_counted():
    lines = tuple(f"line {number}" for number in range(11))
    sheet = made(small_plan(), short=lines)
    assert (sheet.short, sheet.more) == (lines[:MOST_SHORT], 3)
    assert (made(small_plan(), short=lines[:8]).more, made(small_plan()).short) == (0, ())


def test_a_house_without_crops_fish_or_orders():
    document = small_plan()
    for key in ("tanks", "cohorts", "orders", "deliveries", "produce", "batches"):
        document[key] = []  # type: ignore[literal-required]
    for week in document["weeks"]:
        week["feed_kg"] = week["labour_h"] = 0.0
    sheet = made(document)
    assert sheet.harvest.rows == sheet.orders.rows == ()
    assert total(sheet, "Fish taken") == "none"
    assert (total(sheet, "Feed"), total(sheet, "Work")) == ("0 kg", "0 h")


def test_a_year_of_weeks_adds_up():
    document = full_season()
    sheet = summary(document, date(2027, 4, 7), groups={}, short=())
    cut = sum(row["cut_kg"] for row in document["produce"])
    assert sheet.harvest.rows[-1][-1] == figure(cut)
    assert sheet.orders.rows[-1][3].endswith(f" of {len(document['orders']):,}")
    missed = sum(1 - (order["chance"] or 0.0) for order in document["orders"])
    assert sheet.orders.rows[-1][4] == f"{missed:,.0f}"


@given(
    part=st.floats(0, 1e6, allow_subnormal=False),
    missing=st.floats(0, 1e6, allow_subnormal=False),
)
def test_a_share_is_never_rounded_up(part, missing):
    whole = part + missing
    said = share_words(part, whole)
    if said == "100%":
        assert missing <= 2e-9 * whole
    else:
        assert float(said[:-1]) <= 100 * part / whole + 2e-6
        assert float(said[:-1]) > 100 * part / whole - 0.11


def test_a_share_of_nothing_is_all():
    assert share_words(0.0, 0.0) == "100%"
    assert share_words(1.0, 3.0) == "33.3%"
    assert share_words(99.99, 100.0) == "99.9%"


# Warnings


def test_a_short_order_says_what_to_do_and_no_more():
    document = small_plan()
    document["orders"] = [
        order("Mill", planned=4.0, short=6.0, within_tolerance=False, why="no place is free")
    ]
    assert warnings(document, MADE_ON, ()) == (
        "1 order line is short. Mill, line A: 6 of 10 heads butterhead lettuce missing, "
        "week 11 (15 Mar). Tell the customer, or buy in.",
    )


def test_of_several_short_lines_the_soonest_is_named():
    document = small_plan()
    lacking = {"planned": 4.0, "short": 6.0, "within_tolerance": False}
    document["orders"] = [
        order("Mill", "A", week="2027-04-05", **lacking),
        order("Mill", "A", week="2027-04-12", **lacking),
        order("Ferry", "B", week="2027-03-22", **lacking),
    ]
    (said,) = warnings(document, MADE_ON, ())
    assert said.startswith("2 order lines are short. Soonest: Ferry, line B: 6 of 10 heads")
    assert said.endswith("week 12 (22 Mar). Tell the customers, or buy in.")


@pytest.mark.parametrize(
    ("weeks", "advice"),
    [
        ({2: 4.0}, "feed more if the fish eat it all and ammonia stays low, or set out less."),
        ({2: 61.0}, "feed less, set out more or exchange some water."),
        ({2: 4.0, 9: 61.0}, "Where it is over: feed less, set out more or exchange some water."),
    ],
)
def test_nitrate_outside_its_band_says_what_to_do(weeks, advice):
    document = small_plan()
    document["orders"] = []
    for week, level in weeks.items():
        document["weeks"][week]["nitrate_n_mg_l"] = level
    (said,) = warnings(document, MADE_ON, ())
    assert said.startswith("Nitrate is outside 5 to 60 mg/L nitrate-N in ")
    assert ". Test weekly" in said
    assert said.endswith(advice)


def test_a_place_held_twice_says_what_to_do():
    document = small_plan(warnings=("Its own words.",))
    document["orders"] = []
    assert warnings(document, MADE_ON, ("raft 3 holds more than its 2 parts from 16 Mar",)) == (
        "raft 3 holds more than its 2 parts from 16 Mar. Move a batch, or clear the one before it "
        "sooner.",
        "Its own words.",
    )
