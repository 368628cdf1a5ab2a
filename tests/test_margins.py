"""What a little more of each limit is worth, against the relaxation solved again with it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from planner.plan import SeasonPlan, fish_sum
from planner.problem import SeasonProblem
from planner.season.decide import decide
from planner.season.effort import Effort
from planner.season.linear import LinearModel
from planner.season.margins import TRAY_CELLS, Margins, margins
from planner.season.rows import SeasonRows
from planner.season.search import Search
from planner.season.solvers import Solver, solve
from tests.houses import (
    CROPS,
    FISH,
    PLAN_DATES,
    House,
    farm,
    full_house,
    order,
    random_house,
    small_house,
)

Floats = NDArray[np.float64]
MONDAY = PLAN_DATES[0]
STEP = 1e-4  # of a part, a cell, an hour or a gram
HOUSES: dict[str, Callable[[], House]] = {
    "random 2": lambda: random_house(2),
    "random 29": lambda: random_house(29),
    "small 5": lambda: small_house(5),
    "small 12": lambda: small_house(12),
    "small 14": lambda: small_house(14),
    "full": full_house,
}
by_name = pytest.mark.parametrize("name", HOUSES)


@cache
def decided(name: str) -> tuple[SeasonProblem, SeasonRows, SeasonPlan, Margins]:
    """A house's problem, its model, its plan and what more of each limit is worth."""
    problem = HOUSES[name]().problem
    season = decide(problem, Effort())
    assert season.margins is not None
    return problem, SeasonRows(problem), season.plan, season.margins


@cache
def random_season(seed: int) -> tuple[House, SeasonRows, Margins]:
    """A random house, its model and what more of each limit is worth."""
    house = random_house(seed)
    problem = house.problem
    found = decide(problem, Effort()).margins
    assert found is not None
    return house, SeasonRows(problem), found


def wide(problem: SeasonProblem, rows: SeasonRows) -> LinearModel:
    """The model without the bound on the parts that follow one new option.

    It cuts nothing off: an option's parts are held in a zone, whose places are bounded. But it
    would keep a zone's places from being worth anything alone.
    """
    high = rows.model.high.copy()
    for column, option in zip(rows.sown, problem.batches, strict=True):
        if option.standing is None:
            high[column] = np.inf
    return replace(rows.model, high=high)


def best(model: LinearModel) -> float:
    """The optimum in fractions, by another solver than that of the margins; −∞ for none."""
    none = np.zeros(model.columns, dtype=bool)
    return solve(model, whole=none, solver=Solver.GLOP).worth


def between(now: float, moved: Callable[[float], LinearModel], price: float) -> bool:
    """Whether a price lies between what a step more gains and what a step less loses.

    Where the optimum, which is `now`, has a kink the two differ, and any price between is right.
    """
    gain, loss = (best(moved(STEP)) - now) / STEP, (now - best(moved(-STEP))) / STEP
    slack = 1e-3 * max(1.0, abs(price))
    return gain - slack <= price <= loss + slack


def raised(model: LinearModel, column: int) -> Callable[[float], LinearModel]:
    """The upper bound of a column moved by a step."""

    def move(step: float) -> LinearModel:
        high = model.high.copy()
        high[column] += step
        return replace(model, high=high)

    return move


def shifted(model: LinearModel, row: int) -> Callable[[float], LinearModel]:
    """Both sides of a row moved by a step."""

    def move(step: float) -> LinearModel:
        low, high = model.row_low.copy(), model.row_high.copy()
        low[row] += step
        high[row] += step
        return replace(model, row_low=low, row_high=high)

    return move


@by_name
def test_places_are_worth_what_the_optimum_gains(name: str) -> None:
    problem, rows, _, found = decided(name)
    model = wide(problem, rows)
    now = best(model)
    for zone, held, worth in zip(problem.farm.zones, rows.held, found.places, strict=True):
        for column, place in zip(held, worth, strict=True):
            assert between(now, raised(model, column), place / zone.parts)


@by_name
def test_trays_are_worth_what_the_optimum_gains(name: str) -> None:
    problem, rows, _, found = decided(name)
    now = best(rows.model)
    assert problem.farm.nursery.cells > 0
    for column, tray in zip(rows.cells, found.tray, strict=True):
        assert between(now, raised(rows.model, column), tray / TRAY_CELLS)


@by_name
def test_hours_are_worth_what_the_optimum_gains(name: str) -> None:
    _, rows, _, found = decided(name)
    now = best(rows.model)
    for row, hour in zip(rows.hours, found.labour, strict=True):
        assert between(now, shifted(rows.model, row), hour)


@by_name
def test_nitrogen_is_worth_what_the_optimum_gains(name: str) -> None:
    """A gram put into the water in one week; of feed, the plan's own share gets there.

    A whole gram gains no more than the price, and one taken out loses no less: the relaxation's
    optimum is concave.
    """
    problem, rows, plan, found = decided(name)
    supply, feed = (fish_sum(problem, plan, key).sum() for key in ("supply_n_g", "feed_n_g"))
    if feed == 0:
        assert not found.feed_n.any()
        return
    assert 0 < supply < feed
    now = best(rows.model)
    for row, kilogram in zip(rows.water, found.feed_n, strict=True):
        gram = kilogram / 1000 * feed / supply
        move = shifted(rows.model, row)
        assert between(now, move, gram)
        assert best(move(1.0)) - now <= gram + 1e-4 * max(1.0, abs(gram))
        assert now - best(move(-1.0)) >= gram - 1e-4 * max(1.0, abs(gram))


def test_the_houses_put_every_limit_to_the_test() -> None:
    """Somewhere a place, a tray, an hour and nitrogen are worth something, and nitrogen costs."""
    all_found = [decided(name)[3] for name in HOUSES]
    assert max(worth.max() for found in all_found for worth in found.places) > 1
    assert max(found.tray.max() for found in all_found) > 1
    assert max(found.labour.max() for found in all_found) > 1
    assert max(found.feed_n.max() for found in all_found) > 1
    assert min(found.feed_n.min() for found in all_found) < -1


@pytest.mark.parametrize("seed", range(0, 60, 5))
def test_places_trays_and_hours_never_cost(seed: int) -> None:
    """One figure a week of horizon and tail, none below 0 nor without end."""
    problem = random_house(seed).problem
    search = Search(problem, Effort())
    season = decide(problem, Effort())
    assert margins(search, season.plan) is None  # not yet run: no prices
    found = season.margins
    assert found is not None
    assert len(found.places) == len(problem.farm.zones)
    for worth in (*found.places, found.tray, found.labour):
        assert worth.shape == (problem.weeks,)
        assert np.isfinite(worth).all()
        assert (worth >= 0).all()
    assert found.feed_n.shape == (problem.weeks,)
    assert np.isfinite(found.feed_n).all()
    if not season.plan.fish.any():
        assert not found.feed_n.any()


def _one_place(zone: int) -> Callable[[House], House]:
    def change(house: House) -> House:
        zones = list(house.farm.zones)
        zones[zone] = zones[zone].model_copy(update={"places": zones[zone].places + 1})
        return house.changed(zones=zones)

    return change


def _one_tray(house: House) -> House:
    return house.changed(nursery__cells=house.farm.nursery.cells + TRAY_CELLS)


def _one_hour(house: House) -> House:
    return house.changed(labour__hours_week=house.farm.labour.hours_week + 1)


@pytest.mark.parametrize("seed", [6, 11, 23, 29, 44, 52])
def test_one_more_all_season_gains_no_more_than_its_weeks(seed: int) -> None:
    """The farm built anew with one more; the relaxation's optimum is concave in its limits.

    House 29 has a zone that one batch fills, so that the bound on the batch stands for the places.
    """
    house, rows, found = random_season(seed)
    now = best(rows.model)
    changes = [(_one_place(zone), worth) for zone, worth in enumerate(found.places)]
    changes += [(_one_tray, found.tray), (_one_hour, found.labour)]
    for change, worth in changes:
        gain = best(SeasonRows(change(house).problem).model) - now
        weeks = float(worth.sum())
        slack = 1e-5 * max(1.0, abs(now))
        assert -slack <= gain <= weeks + slack


@pytest.mark.parametrize(
    ("seed", "change", "pick"),
    [
        (2, _one_place(0), lambda found: found.places[0]),
        (29, _one_place(0), lambda found: found.places[0]),
        (52, _one_place(1), lambda found: found.places[1]),
        (11, _one_tray, lambda found: found.tray),
        (32, _one_tray, lambda found: found.tray),
        (6, _one_hour, lambda found: found.labour),
    ],
    ids=["bed", "bed of one batch", "half boards", "tray", "another tray", "hour"],
)
def test_what_is_worth_something_gains_something(
    seed: int, change: Callable[[House], House], pick: Callable[[Margins], Floats]
) -> None:
    house, rows, found = random_season(seed)
    weeks = float(pick(found).sum())
    now, more = best(rows.model), best(SeasonRows(change(house).problem).model)
    assert weeks > 0.1
    assert more - now > 0.01 * weeks


def test_an_hour_is_worth_the_leaf_that_it_cuts() -> None:
    """Ripe leaf in plenty and a stall that takes all of it: by hand.

    At 15 minutes a kilogram an hour cuts 4 kg, which bring 8 each, and is paid 2: 30. More is ripe
    than can be cut in the hours of all its weeks.
    """
    beds = {"name": "gravel", "method": "media_bed", "area": 0.8, "places": 12}
    standing = {
        "id": "G1",
        "crop": "radish",
        "zone": "gravel",
        "parts": 12,
        "sow": MONDAY - timedelta(days=14),
        "as_of": MONDAY,
    }
    keys: dict[str, Any] = {
        "zone": [beds],
        "standing": [standing],
        "weights": {"discard": 0},
        "labour": {"hours_week": 2, "price_hour": 2, "leaf_kg_min": 15, "place_min": 5},
        "outlets": [{"outlet": "stall", "crop": "radish", "most_per_week": 99, "price_kg": 8}],
    }
    house = House(farm=farm(**keys), plan_date=MONDAY, crops=CROPS, fish=FISH)
    season = decide(house.problem, Effort())
    assert season.margins is not None
    ripe_kg = 12 * max(sum(cut.kg for cut in option.cuts) for option in house.problem.batches)
    assert ripe_kg > sum(season.plan.harvest_kg.values()) + 4
    assert season.margins.labour[0] == pytest.approx(30)


def test_without_need_nothing_is_worth_more() -> None:
    """A house with far more of everything than one small order wants."""
    beds = {"name": "gravel", "method": "media_bed", "area": 0.8, "places": 9}
    keys: dict[str, Any] = {
        "zone": [beds],
        "labour": {"hours_week": 99},
        "orders": [order("R", "radish", quantity=0.5, first_week=MONDAY + timedelta(weeks=3))],
    }
    house = House(farm=farm(**keys), plan_date=MONDAY, crops=CROPS, fish=FISH)
    found = decide(house.problem, Effort()).margins
    assert found is not None
    for worth in (*found.places, found.tray, found.labour, found.feed_n):
        assert np.allclose(worth, 0, atol=1e-6)
