"""Streams, ripeness, sales and nitrogen of the forecast, each on its own."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from planner.environment import zone_air_c
from planner.forecast.bands import band, bands
from planner.forecast.drawing import nitrate_mg_l
from planner.forecast.growing import NEVER, Clock, clock
from planner.forecast.selling import Store, sell
from planner.forecast.streams import Streams, shares
from planner.forecast.weather import weather
from planner.nitrogen import balance
from planner.season.decide import season_plan
from planner.season.effort import Effort
from planner.spread import load_spread
from planner.weatheryears import WEEKS_OF_YEAR, YearFactor
from tests.forecasts import Case, case_of
from tests.houses import FISH, PLAN_DATES, House, farm, full_house, order

STREAMS = Streams(5, 4000)
FULL = full_house().problem


def test_streams_go_by_name_and_seed() -> None:
    first = STREAMS.of("batch/a").standard_normal(9)
    assert (first == STREAMS.of("batch/a").standard_normal(9)).all()
    assert (first != STREAMS.of("batch/b").standard_normal(9)).all()
    assert (first != Streams(6, 4000).of("batch/a").standard_normal(9)).all()


def test_wandering_has_its_spread_in_every_week_and_forgets() -> None:
    series = STREAMS.wandering("w", 0.2, 4, 30)
    assert series.shape == (30, 4000)
    assert series.std(axis=1) == pytest.approx(np.full(30, 0.2), rel=0.06)
    along = [np.corrcoef(series[10], series[10 + lag])[0, 1] for lag in (1, 4, 19)]
    assert along == pytest.approx([np.exp(-1 / 4), np.exp(-1), 0.0], abs=0.05)


@pytest.mark.parametrize("of", [4, 30, 1000])
def test_few_plants_spread_more_than_many(of: int) -> None:
    found = shares(STREAMS.of("x"), 0.2, 0.05, of, 20_000)
    assert found.mean() == pytest.approx(0.2, abs=0.005)
    assert found.var() == pytest.approx(0.05**2 + 0.2 * 0.8 / of, rel=0.05)
    assert ((found >= 0) & (found <= 1)).all()


def test_bands_are_draws_in_order() -> None:
    values = STREAMS.of("v").standard_normal((3, 1001))
    low, middle, high = bands(values)
    assert (low == np.sort(values)[:, 100]).all()
    assert (middle == np.median(values, axis=1)).all()
    assert (high == np.sort(values)[:, 900]).all()
    assert band(np.array([7.0])) == (7.0, 7.0, 7.0)


def lettuce_clock(growth: np.ndarray) -> Clock:
    return clock(FULL, FULL.crops["lettuce_butterhead"], FULL.farm.zones[0], growth)


def test_growth_as_planned_is_ripe_as_planned() -> None:
    ticks = lettuce_clock(np.ones((FULL.horizon.weeks, 3)))
    for origin, ripe in ((-10, 5), (0, 11), (3, 20), (9, 40)):
        assert ticks.ripe(origin, ripe, np.ones(3)).tolist() == [ripe] * 3
        assert (ticks.pace(origin, ripe) == 1).all()


def test_slow_growth_is_ripe_later_in_proportion() -> None:
    ticks = lettuce_clock(np.ones((FULL.horizon.weeks, 4)))
    speed = np.array([1.25, 1.0, 1 / 1.25, 0.2])
    ripe = ticks.ripe(0, 20, speed)
    assert ripe[:3] == pytest.approx([16, 20, 25], abs=1)  # the climate is nearly even
    assert ripe[3] == NEVER


def test_dull_weeks_slow_only_what_stands_in_them() -> None:
    growth = np.ones((FULL.horizon.weeks, 2))
    growth[:2, 0] = 0.5
    ticks = lettuce_clock(growth)
    assert ticks.ripe(0, 28, np.ones(2)) == pytest.approx([35, 28], abs=1)
    assert ticks.ripe(14, 28, np.ones(2)).tolist() == [28, 28]
    assert ticks.pace(0, 14) == pytest.approx([0.5, 1])
    assert ticks.pace(14, 28) == pytest.approx([1, 1])
    assert ticks.pace(7, 21)[0] == pytest.approx(0.75, abs=0.01)


def test_the_clock_is_set_by_the_zones_air() -> None:
    assert len(zone_air_c(FULL.environment, FULL.farm.zones[0])) > 7 * FULL.horizon.weeks
    ticks = lettuce_clock(np.ones((FULL.horizon.weeks, 1)))
    assert ticks.at(7) - ticks.at(0) == pytest.approx(np.diff(ticks.mondays)[0])


def test_the_oldest_is_sold_first_and_nothing_is_kept_too_long() -> None:
    store = Store(1, 2)
    store.fill(np.array([3.0, 1.0]))
    assert store.take(np.array([1.0, 2.0])).tolist() == [1, 1]
    assert store.gone.tolist() == [1, 1]
    store.close()
    store.fill(np.array([5.0, 5.0]))
    assert store.left.tolist() == [7, 5]
    store.take(np.array([3.0, 3.0]))
    store.close()
    store.fill(np.zeros(2))
    assert store.left.tolist() == [4, 2]  # of the second week; the first's two were sold
    store.close()
    store.fill(np.zeros(2))
    assert store.left.tolist() == [0, 0]


def two_orders(first: int, second: int) -> Case:
    """Two lines of one lettuce with priorities, and one that takes either of two crops."""
    lines = [
        order("P", "lettuce_butterhead", unit="head", quantity=6, price=2, priority=first),
        order("Q", "lettuce_butterhead", unit="head", quantity=6, price=2, priority=second),
    ]
    house = House(
        farm=farm(
            crops=("lettuce_butterhead",),
            zone=({"name": "rafts", "method": "raft", "area": 0.6, "sites": 14, "places": 4},),
            rules={"horizon_weeks": 5, "tail_weeks": 0},
            orders=lines,
        ),
        plan_date=PLAN_DATES[0],
        crops=full_house().crops,
        fish=FISH,
    )
    problem = house.problem
    return case_of(problem, season_plan(problem, Effort(work=0)))


@pytest.mark.parametrize(("first", "second"), [(1, 3), (3, 1)])
def test_orders_are_served_by_priority(first: int, second: int) -> None:
    found = two_orders(first, second)
    problem, weeks = found.problem, found.problem.horizon.weeks
    kg = np.zeros((weeks, 2))
    kg[weeks - 1] = 6 * 0.25, 12 * 0.25
    sales = sell(problem, found.plan, {"lettuce_butterhead": kg})
    last = {
        problem.farm.orders[o.line].line: sales.met[n].tolist()
        for n, o in enumerate(problem.orders)
        if o.week == weeks - 1
    }
    served, other = ("P", "Q") if first < second else ("Q", "P")
    assert last == {served: [True, True], other: [False, True]}


def test_what_is_left_over_fills_an_order_from_any_of_its_crops() -> None:
    lines = [order("E", ("lettuce_butterhead", "lettuce_babyleaf"), quantity=2)]
    bare = House(
        farm=farm(
            crops=("lettuce_butterhead", "lettuce_babyleaf"),
            zone=({"name": "rafts", "method": "raft", "area": 0.6, "sites": 14, "places": 1},),
            orders=lines,
        ),
        plan_date=PLAN_DATES[0],
        crops=full_house().crops,
        fish=FISH,
    )
    problem = bare.problem
    plan = replace(season_plan(problem, Effort(work=0)), order_kg={}, outlet_kg={}, cooler_kg={})
    cut = {
        "lettuce_butterhead": np.array([[1.0, 1.0, 0.0]] * problem.horizon.weeks),
        "lettuce_babyleaf": np.array([[1.0, 0.9, 2.5]] * problem.horizon.weeks),
    }
    sales = sell(problem, plan, cut)
    first = next(n for n, o in enumerate(problem.orders) if o.week == 0)
    assert sales.met[first].tolist() == [True, False, True]
    assert sales.orders_kg["lettuce_babyleaf"][0].tolist() == [1.0, 0.9, 2.0]


def test_the_pool_of_nitrate_is_the_balances_in_every_draw() -> None:
    stream = STREAMS.of("pool")
    supply, uptake = stream.gamma(2, 20, (12, 6)), stream.gamma(2, 22, (12, 6))
    found = nitrate_mg_l(FULL, supply, uptake)
    water = FULL.farm.water
    for column in range(6):
        one = balance(
            FULL.start_pool_g,
            supply[:, column],
            uptake[:, column],
            water.pool_loss_week,
            water.volume_m3,
        )
        assert found[:, column] == pytest.approx(one.nitrate_mg_l)
    assert (found >= 0).all()


def years(**factors: float) -> tuple[YearFactor, ...]:
    return tuple(
        YearFactor(year=2000 + n, by_week=(factor,) * WEEKS_OF_YEAR)
        for n, factor in enumerate(factors.values())
    )


def test_weather_years_are_drawn_whole() -> None:
    """A dull year is dull in all its weeks, and the next calendar year is drawn anew."""
    horizon = replace(FULL.horizon, plan_date=date(2027, 9, 6), weeks=40)
    calm = load_spread().scaled(0)
    found = weather(STREAMS, calm, horizon, years(dull=0.8, bright=1.2))
    assert set(np.round(found.growth, 6).ravel()) == {0.8, 1.2}
    assert found.growth[0] == pytest.approx(found.growth[15])
    both = [(a > 1, b > 1) for a, b in zip(found.growth[0], found.growth[-1], strict=True)]
    assert {both.count(pair) > 800 for pair in set(both)} == {True}
    assert len(set(both)) == 4


def test_the_more_years_are_given_the_less_is_judged() -> None:
    few = weather(STREAMS, load_spread(), FULL.horizon, years(a=1.0, b=1.0))
    many = weather(STREAMS, load_spread(), FULL.horizon, years(**{f"y{n}": 1.0 for n in range(16)}))
    none = weather(STREAMS, load_spread(), FULL.horizon, ())
    sizes = [np.log(w.growth).std() for w in (none, few, many)]
    assert sizes[1] == pytest.approx(sizes[0] / np.sqrt(2), rel=0.02)
    assert sizes[2] == pytest.approx(sizes[0] / 4, rel=0.02)


def test_weather_years_spread_the_harvest() -> None:
    found = case_of(FULL, season_plan(FULL, Effort(work=0)))
    calm = load_spread().scaled(0)
    same = found.forecast(draws=200, spread=calm, years=years(a=1.0, b=1.0))
    unlike = found.forecast(draws=200, spread=calm, years=years(a=0.7, b=1.3))

    def width(forecast: object) -> float:
        return sum(float((kg[2] - kg[0]).sum()) for kg in forecast.produce_kg.values())  # type: ignore[attr-defined]

    assert width(same) == pytest.approx(0, abs=1e-9)
    assert width(unlike) > 0.1
