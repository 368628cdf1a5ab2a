"""Reasons, margins and the hand plan in words and figures."""

import re

import pytest

from planner.handplan import hand_plan
from planner.insight import comparison, insight, marginal, why
from planner.measures import measures
from planner.season.decide import Season, decide
from planner.season.effort import Effort
from planner.season.margins import TRAY_CELLS
from planner.season.reasons import Reason, Rule
from tests.houses import full_house

PROBLEM = full_house().problem  # from Monday 1 March 2027, which is week 9


@pytest.fixture(scope="module")
def season() -> Season:
    return decide(PROBLEM, Effort())


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (
            Reason(rule=Rule.TIME, weeks=(4,)),
            "nothing begun from the plan's start on is ready before week 13 (29 Mar)",
        ),
        (Reason(rule=Rule.TIME), "nothing that can be grown or kept here is ready in that week"),
        (
            Reason(rule=Rule.PLACES, zone=1, weeks=(2, 4)),
            "no gravel place is free in weeks 11-13 (15 Mar to 4 Apr)",
        ),
        (
            Reason(rule=Rule.HOURS, weeks=(0, 0)),
            "there are no hours of work left in week 9 (1 Mar)",
        ),
        (Reason(rule=Rule.BAND_LOW), "nitrate would fall under its band"),
    ],
)
def test_a_reason_is_said_in_words(reason: Reason, words: str) -> None:
    assert why(PROBLEM, {7: reason}) == {7: words}


@pytest.mark.parametrize("rule", Rule)
def test_every_rule_has_words_of_its_own(rule: Rule) -> None:
    text = why(PROBLEM, {0: Reason(rule=rule, zone=0 if rule is Rule.PLACES else None)})[0]
    assert len(text.split()) >= 4
    assert "_" not in text
    others = {
        why(PROBLEM, {0: Reason(rule=other, zone=0 if other is Rule.PLACES else None)})[0]
        for other in Rule
        if other is not rule
    }
    assert text not in others


def test_margins_are_given_for_every_week_of_the_horizon(season: Season) -> None:
    rows = marginal(PROBLEM, season.margins)
    assert season.margins is not None
    assert len(rows) == PROBLEM.horizon.weeks
    assert all(set(row["place"]) == {"rafts", "gravel"} for row in rows)
    assert [row["nursery_tray"] for row in rows] == pytest.approx(
        season.margins.tray[: len(rows)].tolist(), abs=1e-4
    )
    assert rows[0]["week"] == "2027-03-01"
    assert TRAY_CELLS == 72  # what the page says; common practice
    assert marginal(PROBLEM, None) == []


def test_the_hand_plan_stands_beside_the_plan(season: Season) -> None:
    found = comparison(PROBLEM, season.plan)
    by_hand = measures(PROBLEM, hand_plan(PROBLEM))
    assert found["by_hand"]["margin"] == pytest.approx(by_hand.margin, abs=0.01)
    assert found["plan"]["short_orders"] == measures(PROBLEM, season.plan).short_lines


def test_only_short_orders_have_a_reason(season: Season) -> None:
    found = insight(PROBLEM, season).why
    assert set(found) == set(season.reasons)
    assert all(re.fullmatch(r"[a-z].*[a-z)]", text) for text in found.values())
