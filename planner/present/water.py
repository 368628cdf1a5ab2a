"""The nitrate of the water today: the newest test, and how the plan has it drift since then."""

from datetime import date, timedelta

import numpy as np

from planner.document import PlanDoc
from planner.farm import Farm, Water
from planner.present.findings import Findings, percent
from planner.present.told import Told
from planner.words import day_words, figure

WORTH_TELLING_MG_L = 2.0  # judgement, as the next
WORTH_TELLING = 0.05


def water_now(
    farm: Farm, plan: PlanDoc | None, news: Told, today: date, findings: Findings
) -> Water:
    """Return the farm's water with its nitrate nitrogen as it is today.

    Without a plan it is the newest test's, of the farm file or the book. With one, it is the newest
    test's since the plan was made, else the nitrate the plan began with, moved by as much as the
    plan has it rise or fall from that day to today, never below 0.
    """
    water = farm.water
    tests = [(test.on, test.nitrate_n_mg_l or 0.0) for test in news.tests()]
    own = water.nitrate_tested
    given = water.nitrate_n_mg_l if own is not None and own <= today else None
    if plan is None:
        newest = max(tests, key=lambda test: test[0], default=None)
        if newest is None or (own is not None and newest[0] < own):
            return water
        newest = [test for test in tests if test[0] == newest[0]][-1]
        return water.model_copy(update={"nitrate_n_mg_l": newest[1], "nitrate_tested": newest[0]})
    made_on = date.fromisoformat(plan["made_on"])
    known = list(news.known_tests)
    if own is not None and own <= made_on:
        known.append(own)
    fresh = [test for test in tests if test[0] >= max(known, default=date.min)]
    if given is not None and own is not None and own > made_on:
        fresh = [(own, given), *fresh]
    nitrate, tested = _projected(plan, today), max(known, default=None)
    if fresh:
        day = max(day for day, _ in fresh)
        value = [found for on, found in fresh if on == day][-1]
        planned = _projected(plan, day)
        nitrate, tested = max(0.0, value + _projected(plan, today) - planned), day
        off = abs(value - planned)
        if off >= max(WORTH_TELLING_MG_L, WORTH_TELLING * planned):
            against = f" ({percent(value, planned)})" if planned >= 1 else ""
            findings.say(
                100 * off / max(planned, 1.0),
                f"water: nitrate-N {figure(value)} mg/L on {day_words(day)}, planned "
                f"{figure(planned)} mg/L{against}",
            )
    return water.model_copy(
        update={"nitrate_n_mg_l": nitrate, "nitrate_tested": tested or water.nitrate_tested}
    )


def _projected(plan: PlanDoc, day: date) -> float:
    """Nitrate nitrogen that the plan had for a day, between its weeks' ends. [mg/L]"""
    made_on = date.fromisoformat(plan["made_on"])
    days, values = [0], [float(plan["house"]["nitrate_n_mg_l"])]
    for week in plan["weeks"]:
        after = (date.fromisoformat(week["week"]) + timedelta(weeks=1) - made_on).days
        if after > days[-1]:
            days.append(after)
            values.append(week["nitrate_n_mg_l"])
    at = (day - made_on).days
    return values[0] if at <= 0 else float(np.interp(at, days, values))
