"""Lots and flows: every kilogram that the plan counts comes from a lot and goes somewhere."""

from collections import defaultdict
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from planner.lots import Flows, Lot, flows, lots
from planner.plan import SeasonPlan, cooler_kg, cut_kg, sold_kg, wasted_kg
from planner.problem import SeasonProblem
from planner.season.decide import season_plan
from planner.season.effort import Effort
from tests.houses import CROPS, FISH, PLAN_DATES, House, farm, full_house, order, solved

SEEDS = range(45)
NEAR = 1e-4  # kg; flows leave out what is under a milligram


def sent(problem: SeasonProblem, plan: SeasonPlan) -> tuple[tuple[Lot, ...], Flows]:
    """The lots of a plan and where they go; fish straight from the decisions, whole."""
    taken: dict[tuple[str, int], list[tuple[str, date, float]]] = defaultdict(list)
    for n in np.flatnonzero(plan.fish).tolist():
        option = problem.cohorts[n]
        for take in option.takes:
            if take.saleable:
                kg = float(take.share * plan.fish[n] * take.mean_g / 1000)
                taken[option.species, take.week].append((f"cohort {n}", take.day, kg))
    all_lots = lots(problem, plan)
    return all_lots, flows(problem, plan, all_lots, taken)


def produce_of(problem: SeasonProblem, all_lots: tuple[Lot, ...], source: str) -> str:
    by_name = {lot.id: lot.option.crop for lot in all_lots}
    if source in by_name:
        return by_name[source]
    return problem.cohorts[int(source.removeprefix("cohort "))].species


@pytest.mark.parametrize("seed", SEEDS)
def test_lots_hold_all_that_is_cut(seed: int) -> None:
    """By crop and week, and no lot gives more than it bears."""
    problem, plan = solved(seed)
    all_lots, _ = sent(problem, plan)
    cut = cut_kg(problem, plan)
    sums = {name: np.zeros(problem.weeks) for name in problem.produce if name in problem.crops}
    for lot in all_lots:
        for week, kg in lot.harvest_kg.items():
            assert kg > 0
            sums[lot.option.crop][week] += kg
        bears = sum(c.kg for c in lot.option.cuts) * lot.parts
        assert sum(lot.harvest_kg.values()) <= bears + NEAR
    for name, series in sums.items():
        assert series == pytest.approx(cut[name], abs=NEAR)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_part_is_in_one_lot(seed: int) -> None:
    problem, plan = solved(seed)
    all_lots, _ = sent(problem, plan)
    numbers = {id(option): n for n, option in enumerate(problem.batches)}
    parts = np.zeros_like(plan.parts)
    for lot in all_lots:
        parts[numbers[id(lot.option)]] += lot.parts
    assert parts.tolist() == plan.parts.tolist()
    assert len({lot.id for lot in all_lots}) == len(all_lots)


@pytest.mark.parametrize("seed", SEEDS)
def test_cuts_of_the_days_are_cuts_of_the_weeks(seed: int) -> None:
    problem, plan = solved(seed)
    all_lots, goes = sent(problem, plan)
    sums = {name: np.zeros(problem.weeks) for name in problem.produce}
    for (source, day), kg in goes.cut.items():
        week = problem.horizon.week_of(day)
        sums[produce_of(problem, all_lots, source)][week] += kg
    for name, cut in cut_kg(problem, plan).items():
        assert sums[name] == pytest.approx(cut, abs=NEAR)


@pytest.mark.parametrize("seed", SEEDS)
def test_deliveries_add_up_to_what_orders_get(seed: int) -> None:
    problem, plan = solved(seed)
    all_lots, goes = sent(problem, plan)
    sums: dict[tuple[int, str], float] = defaultdict(float)
    for served in goes.served:
        order_week = problem.orders[served.order]
        assert served.kg > 0
        assert served.crop in order_week.crops
        assert served.crop == produce_of(problem, all_lots, served.source)
        assert problem.horizon.week_of(served.day) == order_week.week
        assert served.day.weekday() in order_week.weekdays
        sums[served.order, served.crop] += served.kg
    assert sums.keys() <= plan.order_kg.keys()
    for key, kg in plan.order_kg.items():
        assert sums.get(key, 0.0) == pytest.approx(kg, abs=NEAR)


@pytest.mark.parametrize("seed", SEEDS)
def test_cut_ripe_and_before_clearing(seed: int) -> None:
    """Never before the plan date or ripeness, never on the day of clearing or after."""
    problem, plan = solved(seed)
    all_lots, goes = sent(problem, plan)
    options = {lot.id: lot.option for lot in all_lots}
    for source, day in goes.cut:
        assert day >= problem.horizon.plan_date
        if source in options:
            assert options[source].ripe <= day < options[source].clear
            assert any(
                cut.ripe <= day
                and problem.horizon.monday(cut.first) <= day < problem.horizon.monday(cut.last + 1)
                for cut in options[source].cuts
            )


@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_is_delivered_before_it_is_cut(seed: int) -> None:
    """And nothing that was cut longer ago than it keeps."""
    problem, plan = solved(seed)
    _, goes = sent(problem, plan)
    horizon = problem.horizon
    for served in goes.served:
        days = [day for source, day in goes.cut if source == served.source]
        before = [horizon.week_of(day) for day in days if day <= served.day]
        assert before
        age = horizon.week_of(served.day) - max(before)
        assert age <= problem.shelf_weeks[served.crop]


def test_what_is_not_ordered_is_cut_too() -> None:
    """Only an outlet takes the crop: its cuts have a day, and nothing is served."""
    keys = {
        "outlets": [{"outlet": "stall", "crop": "radish", "most_per_week": 3, "price_kg": 9}],
        "rules": {"horizon_weeks": 6, "tail_weeks": 0},
    }
    problem = House(farm=farm(**keys), plan_date=PLAN_DATES[0], crops=CROPS, fish=FISH).problem
    plan = season_plan(problem, Effort())
    _, goes = sent(problem, plan)
    assert goes.served == []
    assert sum(goes.cut.values()) == pytest.approx(sum(plan.outlet_kg.values()), abs=NEAR)
    assert sum(goes.cut.values()) > 1


def test_the_oldest_leaves_the_cooler_first() -> None:
    """A delivery is filled from the cooler, then from the lot that was ripe first."""
    problem = full_house().problem
    plan = season_plan(problem, Effort())
    _, goes = sent(problem, plan)
    kept = cooler_kg(problem, plan)["radish"]
    orders, outlets = sold_kg(problem, plan)
    weeks = [week for week in range(1, problem.weeks) if kept[week - 1] > 0]
    assert weeks
    for week in weeks:
        first = [s for s in goes.served if problem.orders[s.order].week == week]
        old = sum(
            s.kg
            for s in first
            if s.crop == "radish"
            and all(
                problem.horizon.week_of(day) < week
                for source, day in goes.cut
                if source == s.source
            )
        )
        assert old == pytest.approx(min(kept[week - 1], orders["radish"][week]), abs=NEAR)
    assert outlets["radish"].sum() == 0


def test_two_lots_of_one_cut_share_it_in_order() -> None:
    """The lot that stands longest gives first; what it cannot give the next one does."""
    problem = full_house().problem
    at = next(
        n for n, o in enumerate(problem.batches) if any(cut.last > cut.first for cut in o.cuts)
    )
    later = problem.batches[at].set_out + timedelta(days=1)
    twin = replace(problem.batches[at], sow=later, set_out=later)
    cut = next(cut for cut in twin.cuts if cut.last > cut.first)
    number = problem.cut_classes.index((twin.crop, cut.first, cut.last))
    parts = np.zeros(len(problem.batches) + 1, dtype=np.int64)
    parts[[at, -1]] = 1
    plan = replace(
        season_plan(problem, Effort()),
        parts=parts,
        harvest_kg={
            (number, cut.first): 0.8 * cut.kg,
            (number, cut.first + 1): 0.9 * cut.kg,
        },
        order_kg={},
        outlet_kg={},
        cooler_kg={},
    )
    one, two = lots(replace(problem, batches=(*problem.batches, twin)), plan)
    assert one.option.set_out < two.option.set_out
    assert one.harvest_kg == pytest.approx({cut.first: 0.8 * cut.kg, cut.first + 1: 0.2 * cut.kg})
    assert two.harvest_kg == pytest.approx({cut.first + 1: 0.7 * cut.kg})


def test_names_say_crop_week_and_zone() -> None:
    """A new lot is the crop, the ISO week of setting out, the zone's number and a letter."""
    problem = full_house().problem
    plan = season_plan(problem, Effort())
    for lot in lots(problem, plan):
        year, week, _ = lot.option.set_out.isocalendar()
        base = f"{lot.option.crop}-{year % 100:02d}w{week:02d}-{lot.option.zone + 1}"
        assert lot.id.startswith(base)
        assert lot.id.removeprefix(base).isalpha()


def test_a_standing_batch_keeps_its_name() -> None:
    """Cleared in one week it is `G1`; cleared in two it is told apart by letters."""
    monday = PLAN_DATES[0]
    standing = {
        "id": "G1",
        "crop": "lettuce_butterhead",
        "zone": "rafts",
        "parts": 2,
        "sow": monday - timedelta(days=12),
        "transplant": monday - timedelta(days=5),
        "as_of": monday,
    }
    keys = {
        "crops": ["lettuce_butterhead"],
        "zone": [{"name": "rafts", "method": "raft", "area": 0.6, "sites": 14, "places": 2}],
        "orders": [order("L", "lettuce_butterhead", unit="head", quantity=10, price=2)],
        "standing": [standing],
    }
    problem = House(farm=farm(**keys), plan_date=monday, crops=CROPS, fish=FISH).problem
    plan = season_plan(problem, Effort())
    ((options, _, _),) = problem.batch_groups
    for split, wanted in (([2], ["G1"]), ([1, 1], ["G1", "G1-b"])):
        parts = np.zeros_like(plan.parts)
        parts[list(options[: len(split)])] = split
        bare = replace(plan, parts=parts, harvest_kg={}, order_kg={}, outlet_kg={}, cooler_kg={})
        assert [lot.id for lot in lots(problem, bare)] == wanted


def test_what_is_wasted_is_cut_all_the_same() -> None:
    """Fish that no one takes leave the tank; no crop is cut to be thrown away."""
    for seed in SEEDS:
        problem, plan = solved(seed)
        for name, wasted in wasted_kg(problem, plan).items():
            if name in problem.crops:
                assert wasted == pytest.approx(np.zeros(problem.weeks), abs=NEAR)
