"""Whole weeks: nitrate and feed of the water, and what was cut of each crop within its range."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date

from planner.book import Feed, FishHarvest, Harvest, WaterTest
from planner.document import ProduceRangeDoc, WeekDoc
from planner.horizon import monday_of
from planner.observed.plans import Plan
from planner.review.fishery import held, species_on
from planner.review.ground import Ground
from planner.review.kinds import ProduceRow, WeekRow


def week_rows(ground: Ground) -> tuple[WeekRow, ...]:
    """Return a row for each whole week that a plan covers."""
    tested: dict[date, list[float]] = defaultdict(list)
    for test in ground.of(WaterTest):
        if test.nitrate_n_mg_l is not None:
            tested[monday_of(test.on)].append(test.nitrate_n_mg_l)
    fed: dict[date, list[Feed]] = defaultdict(list)
    for feed in ground.of(Feed):
        fed[monday_of(feed.on)].append(feed)
    rows = []
    for monday in ground.weeks():
        plan = ground.of_week(monday)
        planned = None if plan is None else _week_of(plan, monday)
        if plan is None or planned is None:
            continue
        tests, feeds = tested[monday], fed[monday]
        low, high = plan.document["water"]["band_n_mg_l"]
        rows.append(
            WeekRow(
                week=monday,
                planned_mg_l=planned["nitrate_n_mg_l"],
                band_mg_l=(low, high),
                tests=len(tests),
                tested_low_mg_l=min(tests, default=None),
                tested_high_mg_l=max(tests, default=None),
                out_mg_l=max(0.0, *(max(low - t, t - high) for t in tests)) if tests else None,
                planned_feed_kg=_planned_feed_kg(plan, monday, feeds),
                real_feed_kg=sum(feed.kg for feed in feeds) if feeds else None,
            )
        )
    return tuple(rows)


def _week_of(plan: Plan, monday: date) -> WeekDoc | None:
    text = monday.isoformat()
    return next((week for week in plan.document["weeks"] if week["week"] == text), None)


def _planned_feed_kg(plan: Plan, monday: date, feeds: Sequence[Feed]) -> float:
    """Feed that the plan had for the tanks that were written down; for all when none was. [kg]"""
    named = {feed.tank for feed in feeds}
    every = not named or None in named
    return sum(
        (
            row["feed_kg"]
            for cohort in plan.document["cohorts"]
            if every or cohort["tank"] in named
            for row in cohort["weeks"]
            if row["week"] == monday.isoformat()
        ),
        0.0,
    )


def _nothing(week: str, crop: str) -> ProduceRangeDoc:
    """Return the range of a crop that a forecast leaves out: it is hardly ever cut that week."""
    return {"week": week, "crop": crop, "kg_p10": 0.0, "kg_p50": 0.0, "kg_p90": 0.0}


def produce_rows(ground: Ground) -> tuple[ProduceRow, ...]:
    """Return a row for each whole week and crop that was planned or recorded."""
    real_kg: dict[tuple[date, str], float] = defaultdict(float)
    for harvest in ground.of(Harvest):
        real_kg[monday_of(harvest.on), harvest.crop] += harvest.kg
    tanks_held = held(ground)
    for taken in ground.of(FishHarvest):
        species = species_on(tanks_held, taken.tank, taken.on)
        if species is not None:
            real_kg[monday_of(taken.on), species] += taken.kg
    rows = []
    for monday in ground.weeks():
        plan = ground.of_week(monday)
        if plan is None:
            continue
        text = monday.isoformat()
        planned = {
            row["crop"]: row["cut_kg"]
            for row in plan.document["produce"]
            if row["week"] == text and row["cut_kg"] > 0
        }
        foretold = plan.document.get("forecast")
        ranges = {
            row["crop"]: row
            for row in (foretold["produce"] if foretold else ())
            if row["week"] == text
        }
        cut = {crop for week, crop in real_kg if week == monday}
        for crop in sorted({*planned, *ranges, *cut}):
            known = ranges.get(crop, _nothing(text, crop)) if foretold else None
            rows.append(
                ProduceRow(
                    week=monday,
                    crop=crop,
                    planned_kg=planned.get(crop, 0.0),
                    p10_kg=known["kg_p10"] if known else None,
                    p50_kg=known["kg_p50"] if known else None,
                    p90_kg=known["kg_p90"] if known else None,
                    real_kg=real_kg.get((monday, crop)),
                )
            )
    return tuple(rows)
