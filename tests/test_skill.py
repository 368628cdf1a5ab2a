"""Measured skill in small; `python -m tests.skill` measures it at length."""

from collections import Counter

import numpy as np
import pytest

from planner.spread import load_spread
from tests.skill.grower import heads_fit
from tests.skill.measures import against
from tests.skill.nature import Nature, tail
from tests.skill.oracle import other_years
from tests.skill.published import YEAR_1956, YEAR_1957, foretold, line
from tests.skill.rivals import (
    DEGREE_DAYS,
    FACTORS,
    LAST_YEAR,
    LASTING,
    OURS,
    PACKET,
    TABLE,
    errors,
)
from tests.skill.season import House
from tests.skill.simulate import Lived, live, world
from tests.skill.tables import coverage

SEEDS = (100, 101, 102, 103)
LOW, HIGH = 0.70, 0.90


@pytest.fixture(scope="module")
def farms() -> list[Lived]:
    """Farms that lived for two seasons, foretold every sixteen weeks."""
    here = world()
    return [live(here, seed, every=4, draws=200) for seed in SEEDS]


@pytest.mark.parametrize("kind", ["kg", "date", "yield", "fish"])
def test_a_range_of_80_percent_holds_what_comes(farms: list[Lived], kind: str) -> None:
    rows = [row for farm in farms for row in farm.ranged]
    assert LOW <= coverage(rows, kind, 0, 1, 2) <= HIGH


def test_with_one_season_of_records_no_simple_way_foretells_better(farms: list[Lived]) -> None:
    found = errors([farm.grown for farm in farms])
    assert found[OURS].batches > 40
    for rival in (TABLE, PACKET, LAST_YEAR, DEGREE_DAYS):
        assert found[OURS].days < found[rival].days
        assert found[OURS].kg < found[rival].kg


def test_most_that_factors_can_teach_is_learned_and_nothing_beyond_what_lasts(
    farms: list[Lived],
) -> None:
    found = errors([farm.grown for farm in farms])
    ours, table, factors, lasting = (found[name] for name in (OURS, TABLE, FACTORS, LASTING))
    for figure in ("days", "kg"):
        wrong, least = getattr(table, figure), getattr(factors, figure)
        assert getattr(lasting, figure) < least < wrong
        assert getattr(lasting, figure) < getattr(ours, figure) < wrong - (wrong - least) / 2


def test_harvests_alone_teach_the_days_too() -> None:
    here = world()
    found = errors(
        [live(here, seed, every=4, draws=20, notes_ripe=0.0).grown for seed in SEEDS[:3]]
    )
    ours, table, least = (found[name].days for name in (OURS, TABLE, FACTORS))
    assert ours < table - (table - least) / 2


def test_a_grower_says_what_is_put_off_or_cuts_late_without_a_word() -> None:
    here = world()
    told = {}
    for says in (True, False):
        house = House(
            inputs=here.inputs,
            nature=Nature(SEEDS[0], here.environment, load_spread(), 1.0),
            items=here.items,
            empty=here.planned.plan,
            draws=5,
            notes_ripe=0.0,
            puts_off=says,
        )
        months = sum(1 for _ in house.months(5))
        told[says] = Counter(said.entry.kind for said in house.entries)
        assert months == 5
    assert told[True]["skipped"] > 2
    assert told[False]["skipped"] == 0
    assert told[False]["harvest"] > 10


def test_other_years_of_a_house_share_its_habits_alone() -> None:
    here = world()
    nature = Nature(7, here.environment, load_spread(), 1.0)
    crop, zone = here.inputs.crops["lettuce_butterhead"], here.inputs.farm.zones[0]
    one, other = other_years(nature, 2)
    for year in (one, other):
        assert year.habit(crop, zone.method.value) is nature.habit(crop, zone.method.value)
    assert len({year.luck(crop, "B1", 40).days for year in (nature, one, other)}) == 3
    assert not np.allclose(one.sun, other.sun)
    assert not np.allclose(one.sun, nature.sun)


def test_a_number_counts_as_inside_its_own_draws_in_80_of_100_cases() -> None:
    stream = np.random.default_rng(1)
    for draws in (stream.normal(size=1000), stream.poisson(0.4, size=1000).astype(float)):
        found = np.array([against(draws, real) for real in draws])
        assert found[:, 0].mean() == pytest.approx(0.8, abs=0.01)
        assert np.allclose(found.sum(axis=1), 1)


def test_the_truth_has_the_sizes_it_is_given_and_heavier_tails() -> None:
    stream = np.random.default_rng(2)
    luck = np.array([tail(stream, 0.06) for _ in range(20_000)])
    assert luck.std() == pytest.approx(0.06, rel=0.1)
    assert (np.abs(luck) > 3 * 0.06).mean() > 3 * 0.0027  # of a normal number
    sizes = load_spread()
    weight_sd = np.hypot(sizes.yield_prior, sizes.yield_batch)
    heads = [np.log(heads_fit(w)) for w in np.exp(stream.normal(0, weight_sd, 2000))]
    assert np.std(heads) == pytest.approx(sizes.counted_share * weight_sd, rel=0.2)


def test_counts_of_a_second_year_are_foretold_better_from_those_before_them() -> None:
    assert line(YEAR_1956) == pytest.approx((8.40, -2.5), abs=0.05)
    assert line(YEAR_1957) == pytest.approx((7.89, 22.8), abs=0.05)
    found = foretold()
    by_table = sum(abs(row.table - row.real) for row in found[1:])
    learned = sum(abs(row.learned - row.real) for row in found[1:])
    assert learned < 0.5 * by_table
    assert sum(row.held_after for row in found[1:]) > sum(row.held_before for row in found[1:])
