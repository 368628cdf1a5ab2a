"""What a plan comes to: sums worked out by hand, and what must hold of any plan."""

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from planner.handplan import hand_plan
from planner.measures import measures
from planner.plan import SeasonPlan, Status, planned_units, wasted_kg, worth
from planner.problem import SeasonProblem
from tests.houses import CROPS, FISH, PLAN_DATES, House, farm, order, random_house

SEEDS = range(30)


def house(**parts: Any) -> House:
    return House(farm=farm(**parts), plan_date=PLAN_DATES[0], crops=CROPS, fish=FISH)


def idle(problem: SeasonProblem) -> SeasonPlan:
    """Nothing is sown, stocked or sold."""
    none = np.zeros(len(problem.batches), dtype=np.int64)
    no_fish = np.zeros(len(problem.cohorts), dtype=np.int64)
    return SeasonPlan(
        status=Status.FEASIBLE,
        value=0.0,
        bound=0.0,
        gap=0.0,
        work=0,
        seconds=0.0,
        seed=0,
        stopped_by="work",
        parts=none,
        tanks=no_fish,
        fish=no_fish.copy(),
        harvest_kg={},
        order_kg={},
        outlet_kg={},
        cooler_kg={},
    )


def radishes() -> tuple[SeasonProblem, SeasonPlan]:
    """A bed sown on 2027-03-04 and on 2027-03-25, the first cut in week 2, the other in the tail.

    A horizon of 4 weeks and a tail of 2; a kilogram ordered each week at 10, with a tolerance of
    0.2; a stall that pays 3. In week 2 an order gets 0.7 kg and the stall 0.5 kg, in week 5 an
    order gets 0.8 kg and the stall 0.2 kg.
    """
    problem = house(
        orders=[order("R", "radish", tolerance=0.2, may_be_cut=True)],
        outlets=[{"outlet": "stall", "crop": "radish", "most_per_week": 1, "price_kg": 3}],
        rules={"horizon_weeks": 4, "tail_weeks": 2},
        prices={"seed_cell": 0.05},
        labour={"hours_week": 12, "price_hour": 6, "leaf_kg_min": 15},
    ).problem
    plan = idle(problem)
    sown = [date(2027, 3, 4), date(2027, 3, 25)]
    for n, option in enumerate(problem.batches):
        plan.parts[n] = option.sow in sown
    early, late = (problem.cut_classes.index(("radish", week, week)) for week in (2, 5))
    numbers = {problem.orders[n].week: n for n in range(len(problem.orders))}
    plan = replace(
        plan,
        harvest_kg={(early, 2): 1.2, (late, 5): 1.0},
        order_kg={(numbers[2], "radish"): 0.7, (numbers[5], "radish"): 0.8},
        outlet_kg={(0, 2): 0.5, (0, 5): 0.2},
    )
    return problem, plan


def test_the_tail_is_left_out() -> None:
    """4 orders of 10 count, not the 2 of the tail; of them 0.7 kg is met, all 4 are short.

    Sales are 7 + 1.5. A radish bed of 0.8 m² holds 120 plants at 0.05 for seed; both sowings fall
    in the horizon: 12. Hours: 120 plants of 0.4 min twice and 1.2 kg of 15 min are 1.9 h; the bed
    is cleared in week 3 once, 10 min; what is cut and cleared in the tail does not count. At 6 an
    hour: 12.4.
    """
    problem, plan = radishes()
    found = measures(problem, plan)
    assert found.ordered_worth == pytest.approx(40)
    assert found.met_worth == pytest.approx(7)
    assert found.orders_met == pytest.approx(7 / 40)
    assert found.short_lines == 4
    hours = (2 * 120 * 0.4 + 1.2 * 15 + 10) / 60
    assert found.margin == pytest.approx(7 + 1.5 - 2 * 120 * 0.05 - 6 * hours, abs=1e-3)


def test_within_tolerance_is_not_short() -> None:
    """0.8 kg of 1 kg is what a tolerance of 0.2 allows, 0.79 kg is not."""
    problem, plan = radishes()
    number = next(n for n, o in enumerate(problem.orders) if o.week == 2)
    for kg, short in ((0.79, 4), (0.8, 3), (1.0, 3)):
        some = replace(plan, order_kg={(number, "radish"): kg})
        assert measures(problem, some).short_lines == short


def test_without_orders_all_are_met() -> None:
    problem = house().problem
    found = measures(problem, idle(problem))
    assert (found.ordered_worth, found.orders_met, found.short_lines) == (0, 1, 0)
    assert found.margin == 0


def test_weeks_in_band_are_counted_at_their_ends() -> None:
    """30 mg/L that lose 2 % a week end the weeks at 29.4, 28.81, 28.24 and 27.67."""
    water = {
        "volumes": {"all": 1.5},
        "temperatures": 27,
        "biofilter_area": 60,
        "nitrate_n": 30,
        "pool_loss_week": 0.02,
    }
    for low, high, inside in ((28.5, 60, 2), (5, 60, 4), (5, 28.5, 2), (29.4, 60, 1), (5, 6, 0)):
        problem = house(water=water | {"band_low": low, "band_high": high}).problem
        found = measures(problem, idle(problem))
        assert (found.weeks_in_band, found.weeks) == (inside, 4)


def test_fish_cost_their_feed_of_the_horizon_and_their_price_when_stocked() -> None:
    """Two tanks of 10 fish at 0.5, one stocked in week 1 and one in the tail."""
    problem = house(
        tank=({"name": "tank", "volume": 0.5, "places": 2},),
        fingerlings=[{"species": "tilapia_nile", "weight": 60, "price": 0.5, "lead_weeks": 1}],
        prices={"feed_kg": 4},
        rules={"horizon_weeks": 6, "tail_weeks": 3},
    ).problem
    plan = idle(problem)
    first = next(n for n, o in enumerate(problem.cohorts) if o.start == 1 and not o.takes)
    last = next(n for n, o in enumerate(problem.cohorts) if o.start == 7)
    for n in (first, last):
        plan.tanks[n], plan.fish[n] = 1, 10
    feed_kg = sum(10 * problem.cohorts[first].feed_g[week] for week in range(6)) / 1000
    assert feed_kg > 0
    assert measures(problem, plan).margin == pytest.approx(-10 * 0.5 - 4 * feed_kg)


@pytest.mark.parametrize("seed", SEEDS)
def test_shares_are_shares(seed: int) -> None:
    problem = random_house(seed).problem
    found = measures(problem, hand_plan(problem))
    assert 0 <= found.orders_met <= 1 + 1e-6
    assert found.met_worth <= found.ordered_worth + 1e-6
    assert 0 <= found.weeks_in_band <= found.weeks == problem.horizon.weeks
    assert 0 <= found.short_lines <= len(problem.orders)


@pytest.mark.parametrize("seed", SEEDS)
def test_margin_is_the_worth_without_its_prices(seed: int) -> None:
    """With no tail, nothing standing and all weights 0, a plan is worth its margin."""
    problem = (
        random_house(seed, most_tail=0)
        .changed(
            standing=(),
            weights={
                "shortage": 0,
                "nitrate_mg_l_week": 0,
                "waste_kg": 0,
                "tail_value": 0,
                "discard": 0,
            },
        )
        .problem
    )
    plan = hand_plan(problem)
    assert measures(problem, plan).margin == pytest.approx(worth(problem, plan), abs=1e-6)


def test_more_delivered_is_more_met() -> None:
    """A kilogram sold to an order and no longer to the stall raises all but the weeks in band."""
    problem, plan = radishes()
    number = next(n for n, o in enumerate(problem.orders) if o.week == 2)
    better = replace(plan, order_kg=dict(plan.order_kg) | {(number, "radish"): 1.0})
    better = replace(better, outlet_kg={(0, 2): 0.2, (0, 5): 0.2})
    assert all((kg >= -1e-9).all() for kg in wasted_kg(problem, better).values())
    assert planned_units(problem, better, number) == 1.0
    before, after = measures(problem, plan), measures(problem, better)
    assert after.met_worth - before.met_worth == pytest.approx(3)
    assert after.margin - before.margin == pytest.approx(3 - 0.9)
    assert after.short_lines == before.short_lines - 1
    assert after.weeks_in_band == before.weeks_in_band
