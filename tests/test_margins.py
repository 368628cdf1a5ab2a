"""Marginal worths against the relaxation solved again with a little more of one limit."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from planner.season.decide import decide
from planner.season.effort import Effort
from planner.season.linear import LinearModel
from planner.season.margins import TRAY_CELLS, Margins
from planner.season.rows import SeasonRows
from planner.season.solvers import solve
from tests.houses import House, full_house, random_house

STEP = 1e-3
SEEDS = (3, 5, 8, 13, 21)


def optimum(model: LinearModel) -> float:
    """The relaxation's optimum. [money]"""
    answer = solve(model, whole=np.zeros(model.columns, dtype=bool))
    assert answer.optimal
    return answer.worth


def with_high(model: LinearModel, column: int, by: float) -> LinearModel:
    high = model.high.copy()
    high[column] += by
    return replace(model, high=high)


def with_row(model: LinearModel, row: int, by: float, *, both: bool = False) -> LinearModel:
    row_high, row_low = model.row_high.copy(), model.row_low.copy()
    row_high[row] += by
    if both:
        row_low[row] += by
    return replace(model, row_high=row_high, row_low=row_low)


def checks(house: House) -> Iterator[tuple[str, float, LinearModel, LinearModel, LinearModel]]:
    """Name, margin for one unit of the model, and the model with less, as it is, and with more."""
    problem = house.problem
    found = decide(problem, Effort()).margins
    assert found is not None
    rows = SeasonRows(problem)
    model = rows.model
    for week in range(0, problem.weeks, 3):
        for zone, held, values in zip(problem.farm.zones, rows.held, found.places, strict=True):
            yield (
                f"{zone.name}, week {week}",
                float(values[week]) / zone.parts,
                with_high(model, held[week], -STEP),
                model,
                with_high(model, held[week], STEP),
            )
        yield (
            f"tray, week {week}",
            float(found.tray[week]) / TRAY_CELLS,
            with_high(model, rows.cells[week], -STEP),
            model,
            with_high(model, rows.cells[week], STEP),
        )
        yield (
            f"labour, week {week}",
            float(found.labour[week]),
            with_row(model, rows.hours[week], -STEP),
            model,
            with_row(model, rows.hours[week], STEP),
        )


@pytest.mark.parametrize("house", [full_house(), *map(random_house, SEEDS)])
def test_a_margin_lies_between_what_less_costs_and_more_brings(house: House) -> None:
    """The optimum is concave in each limit: no price may lie outside its two slopes."""
    tried = 0
    for name, margin, less, model, more in checks(house):
        here = optimum(model)
        gain, loss = (optimum(more) - here) / STEP, np.inf
        if (less.high >= less.low).all():  # of nothing there cannot be less
            answer = solve(less, whole=np.zeros(model.columns, dtype=bool))
            loss = (here - answer.worth) / STEP if answer.values is not None else np.inf
        slack = 1e-3 * max(1.0, abs(margin))
        assert gain - slack <= margin <= loss + slack, name
        tried += 1
    assert tried >= 6


def test_some_limit_is_worth_something() -> None:
    found = decide(full_house().problem, Effort()).margins
    assert found is not None
    assert max(series.max() for series in limits(found)) > 0.1


def limits(found: Margins) -> list[NDArray[np.float64]]:
    return [*found.places, found.tray, found.labour]


@pytest.mark.parametrize("seed", SEEDS)
def test_more_of_a_limit_never_costs(seed: int) -> None:
    found = decide(random_house(seed).problem, Effort()).margins
    assert found is not None
    assert all((series >= 0).all() for series in limits(found))


def test_a_gram_of_nitrogen_is_worth_its_price() -> None:
    """A gram added to the water's balance in a week, all else as it is."""
    problem = full_house().changed(water__nitrate_n_mg_l=2.0).problem
    decided = decide(problem, Effort())
    found, rows = decided.margins, SeasonRows(problem)
    assert found is not None
    fed = sum(
        float(problem.cohorts[n].feed_n_g.sum()) * decided.plan.fish[n]
        for n in np.flatnonzero(decided.plan.fish)
    )
    given = sum(
        float(problem.cohorts[n].supply_n_g.sum()) * decided.plan.fish[n]
        for n in np.flatnonzero(decided.plan.fish)
    )
    here = optimum(rows.model)
    for week in (0, 2, 4):
        row = int(rows.water[week])
        gain = (optimum(with_row(rows.model, row, STEP, both=True)) - here) / STEP
        loss = (here - optimum(with_row(rows.model, row, -STEP, both=True))) / STEP
        gram = float(found.feed_n[week]) / 1000 / (given / fed)
        slack = 1e-3 * max(1.0, abs(gram))
        assert min(gain, loss) - slack <= gram <= max(gain, loss) + slack


@pytest.mark.parametrize("key", ["labour__hours_week", "nursery__cells"])
def test_one_more_all_season_brings_no_more_than_its_margins(key: str) -> None:
    """What a whole season's more of a limit brings is below the sum of its weekly margins."""
    house = full_house()
    decided = decide(house.problem, Effort())
    found = decided.margins
    assert found is not None
    part, _, name = key.partition("__")
    now = getattr(getattr(house.farm, part), name)
    more = house.changed(**{key: now + (1 if part == "labour" else TRAY_CELLS)})
    here, there = optimum(SeasonRows(house.problem).model), optimum(SeasonRows(more.problem).model)
    series = found.labour if part == "labour" else found.tray
    assert here - 1e-6 <= there <= here + float(series.sum()) + 1e-6
    whole = decide(more.problem, Effort()).plan.value
    assert whole >= decided.plan.value - 1e-6
