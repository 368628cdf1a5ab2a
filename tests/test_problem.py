"""The season's problem: what already stands in the house never makes a plan impossible."""

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from planner.errors import ImpossiblePlanError
from planner.plan import SeasonPlan, violations, water_balance, worth
from planner.problem import SeasonProblem
from planner.season.decide import season_plan
from planner.season.effort import Effort
from planner.water import biofilter_capacity_g_day
from tests.houses import CROPS, FISH, PLAN_DATES, House, farm, full_house, order, random_house

MONDAY, WEDNESDAY, FRIDAY = PLAN_DATES
WATER = {"volumes": {"all": 1.5}, "temperatures": 27, "biofilter_area": 60, "nitrate_n": 30}


def fish_house(
    count: int, mean_g: float, plan_date: date = MONDAY, water: dict[str, Any] | None = None
) -> House:
    """Fish in one tank of 250 litres, which bears 5 kg, and a gravel bed."""
    cohort = {
        "tank": "tank 1",
        "species": "tilapia_nile",
        "count": count,
        "mean_weight": mean_g,
        "as_of": plan_date,
    }
    return House(
        farm=farm(
            tank=[{"name": "tank", "volume": 0.25}],
            water=WATER | (water or {}),
            rules={"horizon_weeks": 6, "tail_weeks": 0},
            fish_prices={"tilapia_nile": 6},
            cohorts=[cohort],
            orders=[order("R", "radish", quantity=0.3)],
        ),
        plan_date=plan_date,
        crops=CROPS,
        fish=FISH,
    )


def planned(house: House) -> tuple[SeasonProblem, SeasonPlan]:
    """The problem and a plan that keeps every rule and is worth what it says."""
    problem = house.problem
    plan = season_plan(problem, Effort())
    assert violations(problem, plan) == []
    assert worth(problem, plan) == pytest.approx(plan.value, rel=1e-6)
    return problem, plan


def test_a_sound_house_has_no_warnings() -> None:
    problem, _ = planned(fish_house(20, 110))
    assert problem.warnings == ()
    assert not problem.inherited.any()
    assert problem.nitrate_max_g == pytest.approx(90 * 1.5)  # mg/L of tilapia, m³


@pytest.mark.parametrize(("count", "mean_g"), [(60, 110), (120, 60), (40, 200)])
@pytest.mark.parametrize("plan_date", PLAN_DATES)
def test_an_overfull_tank_is_a_warning(count: int, mean_g: float, plan_date: date) -> None:
    """It is emptied at the first fish day, and only the weeks until then are inherited."""
    problem, plan = planned(fish_house(count, mean_g, plan_date))
    assert any("tank 1 holds more fish than its density" in text for text in problem.warnings)
    (at,) = np.flatnonzero(plan.tanks)
    first = problem.cohorts[at].takes[0].day
    assert plan_date <= first <= plan_date + timedelta(days=3)
    assert problem.inherited[0]
    assert not problem.inherited[1:].any()


@pytest.mark.parametrize("nitrate", [86, 88, 89.9, 90.5, 91, 92, 95, 99, 120, 250])
@pytest.mark.parametrize("plan_date", PLAN_DATES)
def test_nitrate_near_or_over_the_limit_is_a_warning(nitrate: float, plan_date: date) -> None:
    """Above what the fish bear on the plan day, or pushed over it before they can be taken out."""
    problem, plan = planned(fish_house(40, 110, plan_date, {"nitrate_n": nitrate}))
    over = water_balance(problem, plan).nitrate_mg_l > 90 + 1e-6
    assert problem.inherited[over].all()
    if nitrate > 90 or over.any():
        assert any("that the fish bear: exchange water" in text for text in problem.warnings)
    says_above = any("above the 90 that the fish bear" in text for text in problem.warnings)
    assert says_above == (nitrate > 90)


def test_the_nitrate_limit_binds_again_once_it_can() -> None:
    """With all fish out at once 92 mg/L fades by 2 % a week: under 90 in the second week."""
    problem, _ = planned(fish_house(2, 110, FRIDAY, {"nitrate_n": 92}))
    limit = problem.nitrate_max_g / 1.5
    assert limit[0] > 90
    assert limit[-1] == pytest.approx(90)
    assert np.flatnonzero(problem.inherited).tolist() == np.flatnonzero(limit > 90 + 1e-6).tolist()


def test_without_fish_nitrate_has_no_hard_limit() -> None:
    keys = {"water": WATER | {"nitrate_n": 300}, "orders": [order("R", "radish")]}
    problem, _ = planned(House(farm=farm(**keys), plan_date=MONDAY, crops=CROPS, fish=FISH))
    assert np.isinf(problem.nitrate_max_g).all()
    assert problem.warnings == ()


@pytest.mark.parametrize("area", [0, 1, 3, 60])
@pytest.mark.parametrize("plan_date", [MONDAY, WEDNESDAY])
def test_a_weak_biofilter_is_a_warning(area: float, plan_date: date) -> None:
    house = fish_house(40, 110, plan_date, {"biofilter_area": area})
    problem, plan = planned(house)
    if problem.inherited.any():
        assert any("more ammonia than the biofilter" in text for text in problem.warnings)
        (at,) = np.flatnonzero(plan.tanks)
        assert problem.cohorts[at].takes[0].week == 0
        own = float(biofilter_capacity_g_day(area, 27.0))
        raised = problem.biofilter_g_day > own + 1e-3
        assert problem.inherited[raised].all()
    else:
        assert problem.warnings == ()
    assert problem.inherited.any() or area > 0
    assert not problem.inherited.any() or area < 60


@pytest.mark.parametrize("number", range(30))
def test_a_raised_biofilter_always_leaves_a_plan(number: int) -> None:
    """Whatever the digits: a limit rounded below what the fish make would leave none."""
    planned(fish_house(20 + number, 60 + 0.7 * number, MONDAY, {"biofilter_area": 0}))


@pytest.mark.parametrize("number", range(10))
def test_a_raised_nitrate_limit_always_leaves_a_plan(number: int) -> None:
    water = {"nitrate_n": 0.3 * number, "volumes": {"all": 0.26}}
    planned(fish_house(60 + 7 * number, 110 + 0.7 * number, MONDAY, water))


def test_an_untested_water_is_said() -> None:
    problem, _ = planned(fish_house(5, 110, MONDAY, {"nitrate_n": None}))
    assert problem.start_pool_g == pytest.approx(30 * 1.5)
    assert any("No nitrate test is given" in text for text in problem.warnings)


def test_fish_priced_but_not_kept_are_no_produce() -> None:
    keys = {"fish_prices": {"tilapia_nile": 5}, "orders": [order("R", "radish")]}
    problem, _ = planned(House(farm=farm(**keys), plan_date=MONDAY, crops=CROPS, fish=FISH))
    assert problem.produce == ("radish",)
    assert problem.outlets == ()


def test_fish_kept_are_sold_live() -> None:
    problem = fish_house(20, 110).problem
    (live,) = problem.outlets
    assert (live.crop, live.price_kg) == ("tilapia_nile", 6)
    assert problem.tail_price_kg["tilapia_nile"] == 6


def test_what_is_ripe_and_ordered_has_a_place_in_every_list() -> None:
    problem = full_house().problem
    names = set(problem.produce)
    assert {option.crop for option in problem.batches} <= names
    assert {option.species for option in problem.cohorts} <= names
    assert {crop for line in problem.orders for crop in line.crops} <= names
    for table in (problem.harvest_h_kg, problem.shelf_weeks, problem.tail_price_kg):
        assert set(table) == names
    classes = {(o.crop, cut.first, cut.last) for o in problem.batches for cut in o.cuts}
    assert set(problem.cut_classes) == classes
    assert len(problem.cut_classes) == len(classes)


def test_shelf_weeks_are_whole_weeks() -> None:
    problem = full_house().problem
    assert problem.shelf_weeks["lettuce_butterhead"] == 1  # 7 days
    assert problem.shelf_weeks["lettuce_babyleaf"] == 2  # 14 days
    assert problem.shelf_weeks["tilapia_nile"] == 0


@pytest.mark.parametrize("seed", range(20))
def test_every_group_holds_its_own_options(seed: int) -> None:
    problem = random_house(seed).problem
    for number, (options, parts, _) in enumerate(problem.batch_groups):
        assert parts == problem.farm.standing[number].parts
        assert {problem.batches[n].standing for n in options} <= {number}
    for number, options in enumerate(problem.cohort_groups):
        assert options
        assert {problem.cohorts[n].at_hand for n in options} == {number}
    new = [option for option in problem.batches if option.standing is None]
    assert all(option.sow >= problem.horizon.plan_date for option in new)


def test_the_tail_counts_no_more_than_its_orders_take() -> None:
    """Two weeks of tail: four weeks of orders at the least, here 1.5 kg each."""
    keys = {
        "orders": [order("R", "radish", quantity=1.5)],
        "rules": {"horizon_weeks": 8, "tail_weeks": 4},
    }
    problem = House(farm=farm(**keys), plan_date=MONDAY, crops=CROPS, fish=FISH).problem
    assert problem.tail_most_kg["radish"] == pytest.approx(4 * 1.5)


def test_clearing_a_sound_crop_has_a_price() -> None:
    """A tenth of the price of what it could still give; the last harvest costs nothing."""
    standing = {
        "id": "G1",
        "crop": "lettuce_babyleaf",
        "zone": "rafts",
        "parts": 1,
        "sow": MONDAY - timedelta(days=12),
        "transplant": MONDAY - timedelta(days=7),
        "as_of": MONDAY,
    }
    keys = {
        "crops": ["lettuce_babyleaf"],
        "zone": [{"name": "rafts", "method": "raft", "area": 0.6, "sites": 14, "places": 1}],
        "rules": {"horizon_weeks": 8, "tail_weeks": 0},
        "orders": [order("B", "lettuce_babyleaf", price=10)],
        "standing": [standing],
    }
    problem = House(farm=farm(**keys), plan_date=MONDAY, crops=CROPS, fish=FISH).problem
    ((options, _, stands),) = problem.batch_groups
    assert stands
    gives = {n: sum(cut.kg for cut in problem.batches[n].cuts) for n in options}
    most = max(gives.values())
    for n, kg in gives.items():
        assert problem.discard_cost[n] == pytest.approx(0.1 * 10 * (most - kg), abs=1e-3)
    assert problem.discard_cost[[n for n in gives if gives[n] == 0]].min() > 0
    others = [n for n in range(len(problem.batches)) if n not in options]
    assert not problem.discard_cost[others].any()


def test_a_batch_that_cannot_stand_where_it_is_said_to_is_named() -> None:
    """A raft crop in gravel too small for one plant of it has no option."""
    standing = {
        "id": "G7",
        "crop": "tomato_cherry_indet",
        "zone": "gravel",
        "parts": 1,
        "sow": MONDAY - timedelta(days=30),
        "transplant": MONDAY - timedelta(days=10),
        "as_of": MONDAY,
    }
    zone = {"name": "gravel", "method": "media_bed", "area": 0.2, "places": 1}
    house = House(
        farm=farm(zone=[zone], standing=[standing]), plan_date=MONDAY, crops=CROPS, fish=FISH
    )
    with pytest.raises(ImpossiblePlanError, match=r'"G7" \(tomato_cherry_indet\) stands in gravel'):
        _ = house.problem
