"""Cohorts in named tanks: one at a time, a week's rest between two, and every fish counted."""

from collections import defaultdict
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest

from planner.assemble import counts
from planner.plan import SeasonPlan, violations
from planner.problem import SeasonProblem
from planner.schools import School, schools
from planner.season.decide import season_plan
from planner.season.effort import Effort
from tests.houses import CROPS, FISH, PLAN_DATES, House, farm, order, solved

SEEDS = range(45)


@pytest.fixture(scope="module", params=PLAN_DATES, ids=str)
def busy(request: pytest.FixtureRequest) -> tuple[SeasonProblem, SeasonPlan]:
    """Three tanks of one kind, one with fish at hand, and 20 weeks of orders for fish."""
    day = request.param
    keys = {
        "tank": [
            {"name": "tank", "places": 3, "volume": 0.2},
            {"name": "vat", "places": 1, "volume": 0.1},
        ],
        "water": {
            "volumes": {"all": 3},
            "temperatures": 27,
            "biofilter_area": 200,
            "nitrate_n": 30,
            "pool_loss_week": 0.3,
        },
        "rules": {"horizon_weeks": 18, "tail_weeks": 2},
        "fish_prices": {"tilapia_nile": 9},
        "weights": {"nitrate_mg_l_week": 0.1},
        "fingerlings": [{"species": "tilapia_nile", "weight": 80, "price": 0.3, "lead_weeks": 1}],
        "cohorts": [
            {
                "tank": "tank 2",
                "species": "tilapia_nile",
                "count": 21,
                "mean_weight": 105,
                "as_of": day - timedelta(days=3),
            }
        ],
        "orders": [order("F", "tilapia_nile", quantity=1, weekdays=(3, 4))],
    }
    problem = House(farm=farm(**keys), plan_date=day, crops=CROPS, fish=FISH).problem
    plan = season_plan(problem, Effort())
    assert violations(problem, plan) == []
    return problem, plan


def check(problem: SeasonProblem, plan: SeasonPlan) -> dict[str, list[School]]:
    """Every promise of `schools`; returns them by tank."""
    found = schools(problem, plan)
    assert len({school.id for school in found}) == len(found)
    numbers = {id(option): n for n, option in enumerate(problem.cohorts)}
    fish, tanks = np.zeros_like(plan.fish), np.zeros_like(plan.tanks)
    by_tank: dict[str, list[School]] = defaultdict(list)
    for school in found:
        at = numbers[id(school.option)]
        fish[at] += school.fish
        tanks[at] += 1
        if school.option.at_hand is None:
            assert school.tank in problem.farm.tanks[school.option.tank].tank_names
            assert 1 <= school.fish <= school.option.most_fish
        else:
            assert school.tank == problem.farm.cohorts[school.option.at_hand].tank
        by_tank[school.tank].append(school)
    assert fish.tolist() == plan.fish.tolist()
    assert tanks.tolist() == plan.tanks.tolist()
    for held in by_tank.values():
        for before, after in pairwise(held):
            assert before.empty is not None
            assert (after.option.stock - before.empty).days >= 7
    return by_tank


@pytest.mark.parametrize("seed", SEEDS)
def test_tanks_hold_one_cohort_at_a_time(seed: int) -> None:
    check(*solved(seed))


def test_a_busy_house_fills_its_tanks_in_turn(busy: tuple[SeasonProblem, SeasonPlan]) -> None:
    by_tank = check(*busy)
    assert len(by_tank) >= 3
    assert max(len(held) for held in by_tank.values()) >= 2


def test_a_tank_is_stocked_again_a_week_after_it_is_empty(
    busy: tuple[SeasonProblem, SeasonPlan],
) -> None:
    """Fish are moved on Thursdays: the week's rest costs no week more than it must."""
    problem, _ = busy
    first = next(o for o in problem.cohorts if o.at_hand == 0 and o.takes)
    taken = first.takes[-1].day
    rest = timedelta(days=7)
    again = [
        o for o in problem.cohorts if o.at_hand is None and o.tank == 0 and o.start >= first.stop
    ]
    soonest = min(o.stock for o in again)
    assert soonest >= taken + rest
    if taken.weekday() == 3:
        assert soonest == max(taken + rest, min(o.stock for o in problem.cohorts if o.offer == 0))


def test_whole_fish_are_taken_and_none_twice(busy: tuple[SeasonProblem, SeasonPlan]) -> None:
    """Takings are whole numbers that add up to the fish alive, within half a fish each."""
    problem, plan = busy
    spread = 0
    for school in schools(problem, plan):
        out, alive = counts(school), [take.share * school.fish for take in school.option.takes]
        assert all(number >= 0 for number in out)
        assert sum(out) == round(sum(alive))
        for number, share in zip(out, alive, strict=True):
            assert abs(number - share) <= 1
        spread += len(out) > 1
    assert spread or all(len(counts(s)) <= 1 for s in schools(problem, plan))


def test_equal_tanks_share_the_fish_evenly(busy: tuple[SeasonProblem, SeasonPlan]) -> None:
    """Ten fish in three tanks are four, three and three, each with its own name."""
    problem, plan = busy
    at = next(
        n
        for n, o in enumerate(problem.cohorts)
        if o.at_hand is None and o.tank == 0 and o.stop == problem.weeks
    )
    none = np.zeros_like(plan.tanks)
    tanks, fish = none.copy(), none.copy()
    tanks[at], fish[at] = 3, 10
    found = schools(problem, replace(plan, tanks=tanks, fish=fish))
    assert [school.fish for school in found] == [4, 3, 3]
    assert {school.tank for school in found} == {"tank 1", "tank 2", "tank 3"}
    year, week, _ = problem.cohorts[at].stock.isocalendar()
    base = f"tilapia_nile-{year % 100:02d}w{week:02d}"
    assert [school.id for school in found] == [base, f"{base}-2", f"{base}-3"]


def test_fish_that_stay_past_the_tail_have_no_last_day(
    busy: tuple[SeasonProblem, SeasonPlan],
) -> None:
    problem, plan = busy
    at = next(n for n, o in enumerate(problem.cohorts) if not o.takes)
    tanks, fish = np.zeros_like(plan.tanks), np.zeros_like(plan.fish)
    tanks[at], fish[at] = 1, 5
    (school,) = schools(problem, replace(plan, tanks=tanks, fish=fish))
    assert school.empty is None
