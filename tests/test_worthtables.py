"""The page's tables of what more would be worth, and of the plan beside one made by hand."""

import random
from copy import deepcopy
from datetime import date

import pytest

from planner.document import PlanDoc
from planner.worthtables import (
    LEAST_WORTH,
    certainty_table,
    certainty_words,
    comparison_table,
    margins_table,
)
from tests.plandocs import small_plan

ZONES = ("north gravel", "raft", "tower row")
TRAY = "nursery tray of 72 cells"
HOUR = "hour of work in every week"
NITROGEN = "kg of nitrogen in every week's feed"


def with_hours(*worth: float) -> PlanDoc:
    """The small plan with the worth of an hour by week; of the weeks left out, nothing."""
    document = small_plan()
    for number, week in enumerate(document["marginal"]):
        week["labour_h"] = worth[number] if number < len(worth) else 0.0
    return document


def row(document: PlanDoc, what: str) -> tuple[str, ...]:
    """What a row of the margins' table says after its name."""
    return {name: tuple(rest) for name, *rest in margins_table(document).rows}[what]


def test_each_limit_has_its_row() -> None:
    """20 weeks at 1.5 a place and at -2.5 a kg of nitrogen; 18 for the hours of week 3 alone.

    The plan begins on Monday 1 March 2027, which is week 9 (ISO 8601).
    """
    table = margins_table(small_plan())
    assert table.head == ("One more", "Over the season", "Most in")
    assert "money" in table.caption
    assert table.rows == (
        *((f"{zone} place", "30", "week 9 (1 Mar)") for zone in ZONES),
        (TRAY, "nothing", ""),
        (HOUR, "18", "week 12 (22 Mar)"),
        (NITROGEN, "-50", "week 9 (1 Mar)"),
    )


def test_a_zone_has_its_own_figures() -> None:
    document = small_plan()
    for number, week in enumerate(document["marginal"]):
        week["place"] = {"north gravel": 0.0, "raft": float(number), "tower row": 100.0 - number}
    assert row(document, "north gravel place") == ("nothing", "")
    assert row(document, "raft place") == ("190", "week 28 (12 Jul)")
    assert row(document, "tower row place") == ("1,810", "week 9 (1 Mar)")


def test_sums_and_weeks_are_those_of_the_document() -> None:
    """Against the document's own figures, drawn at random, some below nothing."""
    chance = random.Random(7)
    for _ in range(20):
        document = small_plan()
        worth = [chance.uniform(-20, 30) for _ in document["marginal"]]
        for week, each in zip(document["marginal"], worth, strict=True):
            week["feed_n_kg"] = each
        total, most = row(document, NITROGEN)
        assert abs(float(total.replace(",", "")) - sum(worth)) <= 0.5
        peak = worth.index(max(worth) if sum(worth) > 0 else min(worth))
        day = date.fromisoformat(document["marginal"][peak]["week"])
        assert most.startswith(f"week {day.isocalendar().week} (")


@pytest.mark.parametrize(
    ("worth", "said"),
    [
        ((0.0,), "nothing"),
        ((0.1,) * 4, "nothing"),
        ((0.3, -0.3), "nothing"),
        ((-LEAST_WORTH * 0.98,), "nothing"),
        ((LEAST_WORTH * 1.02,), "1"),
        ((0.1,) * 9, "1"),
        ((-0.6,), "-1"),
        ((1234.4,), "1,234"),
        ((-1234.6,), "-1,235"),
    ],
)
def test_a_trifle_is_nothing(worth: tuple[float, ...], said: str) -> None:
    """By the sum over the season; where it is nothing, no week is named."""
    total, most = row(with_hours(*worth), HOUR)
    assert total == said
    assert (most == "") == (said == "nothing")


def test_what_costs_names_the_week_in_which_it_costs_most() -> None:
    assert row(with_hours(5, -30, 2), HOUR) == ("-23", "week 10 (8 Mar)")
    assert row(with_hours(5, -30, 40), HOUR) == ("15", "week 11 (15 Mar)")


def test_without_prices_there_is_no_row() -> None:
    document = small_plan()
    document["marginal"] = []
    assert margins_table(document).rows == ()


def test_names_stand_on_one_line_and_are_left_as_they_are() -> None:
    """Control characters go; markup is the template's to escape."""
    document = small_plan()
    name = "<b>A & B</b>\n\u0007 bed"
    document["zones"][0]["name"] = name
    for week in document["marginal"]:
        week["place"][name] = week["place"].pop("north gravel")
    assert margins_table(document).rows[0][:2] == ("<b>A & B</b> bed place", "30")


def test_the_plan_stands_before_the_hand_plan() -> None:
    table = comparison_table(small_plan())
    assert table.head == ("", "This plan", "By hand")
    assert table.rows == (
        ("Orders met, by worth", "95%", "80%"),
        ("Orders short beyond their tolerance", "2", "9"),
        ("Weeks with nitrate in its band", "7 of 20", "5 of 20"),
        ("Sales less seed, feed, fish and work", "900", "640"),
    )


def test_the_comparison_takes_large_and_small_figures() -> None:
    document = small_plan(weeks=12)
    document["comparison"]["plan"] = {
        "orders_met": 1.0,
        "short_orders": 0,
        "weeks_in_band": 12,
        "margin": 1234567.4,
    }
    document["comparison"]["by_hand"]["margin"] = -1234.6
    cells = [cells[1:] for cells in comparison_table(document).rows]
    assert cells[0][0] == "100%"
    assert cells[1][0] == "0"
    assert cells[2][0] == "12 of 12"
    assert cells[3] == ("1,234,567", "-1,235")


def test_tables_leave_the_document_as_it_is() -> None:
    document = small_plan()
    before = deepcopy(document)
    for table in (margins_table(document), comparison_table(document)):
        assert all(len(cells) == len(table.head) for cells in table.rows)
    assert document == before


def test_the_price_of_certainty_is_shown_only_when_it_was_asked_for() -> None:
    plan = small_plan()
    assert certainty_table(plan).rows == ()
    assert certainty_words(plan) == ""
    plan["certainty"] = {
        "asked": 0.8,
        "order_weeks": 12,
        "met": 9,
        "prices": [{"certainty": 0.8, "cost": 168.4, "missing": 0.0}],
    }
    assert certainty_table(plan).rows == (("80%", "168", "0"),)
    assert "9 of 12 order weeks" in certainty_words(plan)
