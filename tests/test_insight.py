"""Reasons, margins and the hand plan in words and figures."""

import json
import re
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from planner.document import MeasuresDoc
from planner.handplan import hand_plan
from planner.insight import comparison, insight, marginal, why
from planner.measures import Measures, measures
from planner.season.decide import Season, decide
from planner.season.effort import Effort
from planner.season.margins import TRAY_CELLS, Margins
from planner.season.reasons import Reason, Rule
from tests.houses import PLAN_DATES, full_house, random_house

FULL = full_house()  # from Monday 1 March 2027, which is week 9
PROBLEM = FULL.problem
TAILED = random_house(6).problem  # with weeks after the horizon
LIMITS = [
    (Rule.PLACES, "no gravel place is free"),
    (Rule.NURSERY, "the nursery has no cell free"),
    (Rule.HOURS, "there are no hours of work left"),
    (Rule.TANKS, "no tank is free"),
    (Rule.FILTER, "the biofilter can turn over no more ammonia"),
    (Rule.NITRATE_MOST, "nitrate would rise above what the fish bear"),
    (Rule.BAND_LOW, "nitrate would fall under its band"),
    (Rule.BAND_HIGH, "nitrate would rise over its band"),
]


@pytest.fixture(scope="module")
def season() -> Season:
    return decide(PROBLEM, Effort())


@pytest.mark.parametrize(("rule", "words"), LIMITS)
@pytest.mark.parametrize(
    ("weeks", "when"),
    [
        ((), ""),
        ((0, 0), " in week 9 (1 Mar)"),
        ((2, 4), " in weeks 11-13 (15 Mar to 4 Apr)"),
        ((7, 8), " in weeks 16-17 (19 Apr to 2 May)"),
    ],
)
def test_a_limit_is_said_with_its_weeks(
    rule: Rule, words: str, weeks: tuple[int, ...], when: str
) -> None:
    """Weeks by their ISO number: 1 March 2027 is the Monday of week 9 (ISO 8601)."""
    reason = Reason(rule=rule, zone=1 if rule is Rule.PLACES else None, weeks=weeks)
    assert why(PROBLEM, {7: reason}) == {7: words + when}


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (
            Reason(rule=Rule.TIME, weeks=(4,)),
            "nothing begun from the plan's start on is ready before week 13 (29 Mar)",
        ),
        (Reason(rule=Rule.PLACES, zone=0), "no rafts place is free"),
    ],
)
def test_a_reason_is_said_in_words(reason: Reason, words: str) -> None:
    assert why(PROBLEM, {0: reason}) == {0: words}


def test_a_week_of_the_next_year_says_so() -> None:
    autumn = replace(FULL.changed(rules__horizon_weeks=30), plan_date=PLAN_DATES[2]).problem
    weeks = (autumn.horizon.week_of(date(2027, 12, 27)), autumn.horizon.week_of(date(2028, 1, 3)))
    text = why(autumn, {0: Reason(rule=Rule.HOURS, weeks=weeks)})[0]
    assert text == "there are no hours of work left in weeks 52-1 (27 Dec to 9 Jan 2028)"


def test_the_rules_with_words_of_weeks_are_all_but_four() -> None:
    plain = {Rule.TIME, Rule.TOGETHER, Rule.WORTH, Rule.SEARCH}
    assert {rule for rule, _ in LIMITS} == set(Rule) - plain


@pytest.mark.parametrize("rule", Rule)
def test_every_rule_has_words_of_its_own(rule: Rule) -> None:
    """Part of a sentence: no capital, no full stop, and no name that only the program knows."""
    known = {
        one: why(PROBLEM, {0: Reason(rule=one, zone=0 if one is Rule.PLACES else None)})[0]
        for one in Rule
    }
    text = known.pop(rule)
    assert text not in known.values()
    assert len(text.split()) >= 4
    assert re.fullmatch(r"[a-z][^_]*[a-z)]", text)
    assert not re.search(r"Rule|None|\b(tan|lp|milp|slack)\b", text)


def test_each_short_order_keeps_its_own_reason() -> None:
    found = why(
        PROBLEM,
        {
            3: Reason(rule=Rule.PLACES, zone=0, weeks=(1, 1)),
            1: Reason(rule=Rule.PLACES, zone=1, weeks=(1, 1)),
            8: Reason(rule=Rule.WORTH),
        },
    )
    assert found[3] == "no rafts place is free in week 10 (8 Mar)"
    assert found[1] == "no gravel place is free in week 10 (8 Mar)"
    assert set(found) == {1, 3, 8}
    assert why(PROBLEM, {}) == {}


def test_only_short_orders_have_a_reason(season: Season) -> None:
    found = insight(PROBLEM, season).why
    assert found
    assert set(found) == set(season.reasons)
    assert all(re.fullmatch(r"[a-z].*[a-z)]", text) for text in found.values())


def test_margins_stand_in_the_weeks_and_zones_they_are_of() -> None:
    """Figures that name their own zone and week, so that none can be taken for another."""
    zones, weeks = TAILED.farm.zones, np.arange(TAILED.weeks, dtype=float)
    assert TAILED.horizon.weeks < TAILED.weeks
    margins = Margins(
        places=tuple(100.0 * (number + 1) + weeks for number in range(len(zones))),
        tray=1000 + weeks,
        labour=2000 + weeks,
        feed_n=-3000 - weeks,
    )
    rows = marginal(TAILED, margins)
    assert len(rows) == TAILED.horizon.weeks  # the tail is left out
    for week, row in enumerate(rows):
        assert date.fromisoformat(row["week"]) == TAILED.horizon.start + timedelta(weeks=week)
        assert row == {
            "week": row["week"],
            "place": {zone.name: 100.0 * (n + 1) + week for n, zone in enumerate(zones)},
            "nursery_tray": 1000 + week,
            "labour_h": 2000 + week,
            "feed_n_kg": -3000 - week,
        }


def test_margins_of_a_plan_are_those_of_its_search(season: Season) -> None:
    margins = season.margins
    assert margins is not None
    rows = marginal(PROBLEM, margins)
    count = PROBLEM.horizon.weeks
    for number, zone in enumerate(PROBLEM.farm.zones):
        written = [row["place"][zone.name] for row in rows]
        assert written == pytest.approx(margins.places[number][:count].tolist(), abs=5e-5)
    for key, series in (
        ("nursery_tray", margins.tray),
        ("labour_h", margins.labour),
        ("feed_n_kg", margins.feed_n),
    ):
        assert [row[key] for row in rows] == pytest.approx(series[:count].tolist(), abs=5e-5)
    assert sum(row["place"]["gravel"] + row["nursery_tray"] + row["labour_h"] for row in rows) > 1
    assert json.loads(json.dumps(rows)) == rows
    assert TRAY_CELLS == 72  # what the page says; common practice
    assert marginal(PROBLEM, None) == []


@pytest.mark.parametrize("seed", [None, 6, 10])
def test_the_comparison_is_what_the_plans_come_to(seed: int | None, season: Season) -> None:
    """For a house with shortages and one with weeks after the horizon too."""
    problem = PROBLEM if seed is None else random_house(seed).problem
    plan = season.plan if seed is None else decide(problem, Effort()).plan
    found = comparison(problem, plan)
    assert set(found) == {"plan", "by_hand"}
    _same(found["plan"], measures(problem, plan))
    _same(found["by_hand"], measures(problem, hand_plan(problem)))
    assert json.loads(json.dumps(found)) == found


def _same(written: MeasuresDoc, known: Measures) -> None:
    assert written["orders_met"] == pytest.approx(known.orders_met, abs=5e-5)
    assert written["short_orders"] == known.short_lines
    assert written["weeks_in_band"] == known.weeks_in_band
    assert written["margin"] == pytest.approx(known.margin, abs=5e-3)
    assert len(written) == 4


def test_the_plan_and_the_hand_plan_are_not_mixed_up(season: Season) -> None:
    """In this house they differ, and the search does no worse by orders."""
    found = comparison(PROBLEM, season.plan)
    assert found["plan"] != found["by_hand"]
    assert found["plan"]["orders_met"] >= found["by_hand"]["orders_met"]


def test_all_three_are_put_together(season: Season) -> None:
    found = insight(PROBLEM, season)
    assert found.why == why(PROBLEM, season.reasons)
    assert list(found.marginal) == marginal(PROBLEM, season.margins)
    assert found.comparison == comparison(PROBLEM, season.plan)
