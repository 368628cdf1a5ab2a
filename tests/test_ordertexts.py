"""Orders that are doubtful, in words: which line, how likely, when, and what to do."""

from typing import Any

import pytest

from planner.document import OrderWeekDoc, PlanDoc
from planner.ordertexts import doubt_warning, doubts, short_weeks_table, shortages
from planner.report import warnings
from tests.plandocs import MADE_ON, small_plan


def order(line: str, week: str, chance: float | None, **changes: Any) -> OrderWeekDoc:
    """Return an order of ten heads that is planned in full."""
    row: OrderWeekDoc = {
        "line": line,
        "customer": "Mill",
        "crop": "lettuce_butterhead",
        "week": week,
        "unit": "head",
        "kg_per_unit": 0.2,
        "ordered": 10.0,
        "planned": 10.0,
        "short": 0.0,
        "within_tolerance": True,
        "why": None,
        "chance": chance,
    }
    row.update(changes)  # type: ignore[typeddict-item]
    return row


SHORT = {"planned": 4.0, "short": 6.0, "within_tolerance": False}


def plan(*orders: OrderWeekDoc) -> PlanDoc:
    document = small_plan(forecast=True)
    document["orders"] = list(orders)
    return document


def test_a_line_is_named_with_its_least_chance_and_week():
    assert doubts(plan(order("H2", "2027-03-15", 0.64)), MADE_ON) == (
        "Mill, line H2, butterhead lettuce: 64% likely in week 11 (15 Mar).",
    )


def test_the_weeks_of_a_line_are_together_and_the_worst_line_is_first():
    document = plan(
        order("H1", "2027-03-15", 0.7),
        order("H2", "2027-03-29", 0.31),
        order("H2", "2027-03-15", 0.6),
        order("H2", "2027-03-22", 0.79),
        order("H2", "2027-04-05", 0.8),
    )
    assert doubts(document, MADE_ON) == (
        "Mill, line H2, butterhead lettuce: 31% likely in week 13 (29 Mar); under 80% in 3 weeks: "
        "weeks 11-13 (15 Mar to 4 Apr).",
        "Mill, line H1, butterhead lettuce: 70% likely in week 11 (15 Mar).",
    )


@pytest.mark.parametrize("chance", [None, 0.8, 1.0])
def test_a_likely_order_is_not_doubted(chance):
    assert doubts(plan(order("H1", "2027-03-15", chance)), MADE_ON) == ()
    assert doubt_warning(plan(order("H1", "2027-03-15", chance)), MADE_ON) == ()


def test_what_is_short_in_the_plan_is_not_told_twice():
    document = plan(order("H1", "2027-03-15", 0.02, **SHORT))
    assert len(shortages(document, MADE_ON)) == 1
    assert doubts(document, MADE_ON) == doubt_warning(document, MADE_ON) == ()


def test_a_line_that_is_rather_missed_is_a_warning_and_says_what_to_do():
    document = plan(order("H1", "2027-03-15", 0.49), order("H1", "2027-03-22", 0.2))
    assert warnings(document, MADE_ON, ()) == (
        "1 order line is more likely missed than met in some week. Mill, line H1, butterhead "
        "lettuce, 49% likely in week 11 (15 Mar). Tell the customer early, or sow a spare batch.",
    )


def test_of_several_the_soonest_is_named_after_what_is_short():
    document = plan(
        order("H1", "2027-03-22", 0.4),
        order("H2", "2027-03-15", 0.45),
        order("H3", "2027-03-15", 0.5),
        order("H4", "2027-04-15", 0.0, **SHORT),
    )
    short, doubt = warnings(document, MADE_ON, ())
    assert short.startswith("1 order line is short.")
    assert doubt.startswith("2 order lines are more likely missed than met in some week. Soonest: ")
    assert "Mill, line H2, butterhead lettuce, 45% likely in week 11 (15 Mar)" in doubt
    assert doubt.endswith("Tell the customers early, or sow a spare batch.")


def test_the_table_has_what_is_short_or_rather_missed():
    document = plan(
        order("H1", "2027-03-22", 0.4),
        order("H2", "2027-03-15", 0.6),
        order("H3", "2027-03-15", 0.004, **SHORT),
        order("H4", "2027-03-29", None, planned=9.0, short=1.0),
    )
    rows = short_weeks_table(document, MADE_ON).rows
    assert [(row[1], row[5], row[6]) for row in rows] == [
        ("H3", "6 heads", "under 1%"),
        ("H1", "", "40%"),
    ]


def test_the_order_of_the_document_does_not_matter():
    rows = [order(f"H{n}", f"2027-03-{day}", 0.3) for n in (10, 9, 2) for day in (15, 22)]
    found = doubts(plan(*rows), MADE_ON)
    assert found == doubts(plan(*reversed(rows)), MADE_ON)
    assert [text.split(",")[1] for text in found] == [" line H2", " line H9", " line H10"]
