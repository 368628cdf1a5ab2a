"""The page's tables of what more would be worth, and of the plan beside one made by hand."""

from copy import deepcopy

import pytest

from planner.worthtables import LEAST_WORTH, comparison_table, margins_table
from tests.plandocs import small_plan

DOCUMENT = small_plan()


def test_what_more_is_worth_is_summed_over_the_season() -> None:
    table = margins_table(DOCUMENT)
    rows = {row[0]: row[1:] for row in table.rows}
    weeks = len(DOCUMENT["weeks"])
    for zone in DOCUMENT["zones"]:
        assert rows[f"{zone['name']} place"][0] == f"{1.5 * weeks:,.0f}"
    assert rows["nursery tray of 72 cells"] == ("nothing", "")
    total, most = rows["hour of work in every week"]
    assert total == "18"
    assert most.startswith("week ")
    assert rows["kg of nitrogen in every week's feed"][0] == f"{-2.5 * weeks:,.0f}"


def test_nothing_is_said_without_prices() -> None:
    document = deepcopy(DOCUMENT)
    document["marginal"] = []
    assert margins_table(document).rows == ()


@pytest.mark.parametrize(("each", "said"), [(0.0, "nothing"), (2 * LEAST_WORTH, "1")])
def test_a_trifle_is_nothing(each: float, said: str) -> None:
    document = deepcopy(DOCUMENT)
    for number, week in enumerate(document["marginal"]):
        week["labour_h"] = 0.0 if number else each
    rows = {row[0]: row[1] for row in margins_table(document).rows}
    assert rows["hour of work in every week"] == said


def test_the_plan_stands_before_the_hand_plan() -> None:
    table = comparison_table(DOCUMENT)
    assert table.head[1:] == ("This plan", "By hand")
    assert ("Orders met, by worth", "95%", "80%") in table.rows
    assert ("Sales less seed, feed, fish and work", "900", "640") in table.rows
