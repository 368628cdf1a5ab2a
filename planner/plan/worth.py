"""What a plan is worth in the farm's money, reckoned without the solver."""

import numpy as np

from planner.plan.sums import (
    SeasonPlan,
    labour_h,
    planned_units,
    units_of,
    wasted_kg,
    water_balance,
)
from planner.problem import SeasonProblem

RESERVE_PRICE = 0.3  # of a shortage: less than what a line of lower priority goes short for


def reserve_cost(problem: SeasonProblem, plan: SeasonPlan) -> float:
    """Return what is charged for reserves that are not held. [money]"""
    cost = 0.0
    for number, order in enumerate(problem.orders):
        if order.reserve > 0:
            held = units_of(problem, plan.reserve_kg, number)
            cost += max(0.0, order.reserve - held) * order.shortage_price * RESERVE_PRICE
    return cost


def changed_cost(problem: SeasonProblem, plan: SeasonPlan) -> float:
    """Return what starting otherwise than the plan in force is charged. [money]"""
    changes = problem.changes
    cost = float(changes.taken_cost @ plan.tanks)
    cost += float(changes.new_part_cost @ plan.parts + changes.new_fish_cost @ plan.fish)
    for groups, numbers in ((changes.parts, plan.parts), (changes.fish, plan.fish)):
        for group in groups:
            now = sum(int(numbers[n]) for n in group.options)
            cost += group.price * abs(now - group.before)
    return cost


def worth(problem: SeasonProblem, plan: SeasonPlan) -> float:
    """Return the objective of a plan, reckoned without the solver. [money]"""
    farm = problem.farm
    water = farm.water
    total = 0.0
    tail_kg = dict.fromkeys(problem.produce, 0.0)
    for n in np.flatnonzero(plan.parts).tolist():
        option = problem.batches[n]
        total -= (option.seed_cost + problem.discard_cost[n]) * plan.parts[n]
        tail_kg[option.crop] += option.tail_kg * plan.parts[n]
    for n in np.flatnonzero(plan.fish).tolist():
        cohort = problem.cohorts[n]
        feed = cohort.feed_g.sum() / 1000 * farm.prices.feed_kg
        tail = farm.weights.tail_value * problem.tail_price_kg[cohort.species] * cohort.tail_kg
        total += (tail - cohort.fingerling_price - feed) * plan.fish[n]
    total -= farm.labour.price_hour * labour_h(problem, plan).sum()
    for name, kilograms in tail_kg.items():
        counted = min(kilograms, problem.tail_most_kg.get(name, 0.0))
        total += farm.weights.tail_value * problem.tail_price_kg[name] * counted
    for number, order in enumerate(problem.orders):
        planned = planned_units(problem, plan, number)
        total += planned * order.price
        total -= max(0.0, order.least - planned) * order.shortage_price
    for (number, _), kilograms in plan.outlet_kg.items():
        total += problem.outlets[number].price_kg * kilograms
    pool = water_balance(problem, plan)
    price = farm.weights.nitrate_mg_l_week
    over = np.maximum(0, pool.nitrate_mg_l - water.band_high_mg_l)
    under = np.maximum(0, water.band_low_mg_l - pool.nitrate_mg_l)
    total -= price * (over.sum() + under.sum())
    total -= float(problem.deficit_price_g @ pool.deficit_g)
    wasted = wasted_kg(problem, plan)
    total -= changed_cost(problem, plan) + reserve_cost(problem, plan)
    return float(total) - farm.weights.waste_kg * sum(float(s.sum()) for s in wasted.values())
