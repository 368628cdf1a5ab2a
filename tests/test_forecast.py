"""The forecast of a season: ordered, calibrated, repeatable, and the plan itself without spread."""

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from planner.assemble import document
from planner.forecast import Forecast, fill
from planner.insight import Insight
from planner.learning import Factor, Factors
from planner.lots import Lot
from planner.plan import cut_kg, fish_sum, planned_units, water_balance
from planner.spread import load_spread
from tests.farms import write_small_farm
from tests.forecasts import Case, case

DRAWS = 600
NO_SPREAD = load_spread().scaled(0)


SURE = Factor(mean_log=0.0, sd_log=0.0, n=1000)


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Case:
    return case(write_small_farm(tmp_path_factory.mktemp("forecast") / "farm"))


@pytest.fixture(scope="module")
def usual(planned: Case) -> Forecast:
    return planned.forecast(draws=DRAWS)


@pytest.fixture(scope="module")
def certain(planned: Case) -> Forecast:
    return planned.forecast(draws=20, spread=NO_SPREAD)


def width(found: Forecast) -> float:
    """Kilograms between p10 and p90, all weeks and crops together."""
    return sum(float((kg[2] - kg[0]).sum()) for kg in found.produce_kg.values())


def in_horizon(planned: Case) -> list[int]:
    weeks = planned.problem.horizon.weeks
    return [n for n, order in enumerate(planned.problem.orders) if order.week < weeks]


def met_by_plan(planned: Case) -> list[int]:
    return [
        n
        for n in in_horizon(planned)
        if planned_units(planned.problem, planned.plan, n) >= planned.problem.orders[n].least - 1e-6
    ]


def test_ranges_are_in_order_and_none_is_below_nothing(usual: Forecast) -> None:
    arrays = [*usual.produce_kg.values(), usual.nitrate_mg_l, usual.feed_kg]
    for low, middle, high in arrays:
        assert (low >= 0).all()
        assert (low <= middle).all()
        assert (middle <= high).all()
    single = [
        band
        for by_week in (*usual.batch_kg.values(), *usual.mean_g.values(), *usual.fish_kg.values())
        for band in by_week.values()
    ]
    assert len(single) > 200
    for band in (*single, usual.feed_total_kg):
        assert 0 <= band.p10 <= band.p50 <= band.p90
    for dates in usual.first_harvest.values():
        days = [day or date.max for day in dates]
        assert days == sorted(days)


def test_something_is_uncertain(usual: Forecast) -> None:
    assert width(usual) > 0.2 * sum(float(kg[1].sum()) for kg in usual.produce_kg.values())
    assert np.mean([0.01 < chance < 0.99 for chance in usual.chance.values()]) > 0.02


def test_each_order_of_the_horizon_has_a_chance(planned: Case, usual: Forecast) -> None:
    assert sorted(usual.chance) == in_horizon(planned)
    assert all(0 <= chance <= 1 for chance in usual.chance.values())


def test_without_spread_the_harvest_is_the_plans(planned: Case, certain: Forecast) -> None:
    weeks = planned.problem.horizon.weeks
    for name, kg in cut_kg(planned.problem, planned.plan).items():
        for row in certain.produce_kg[name]:
            assert row == pytest.approx(kg[:weeks], abs=1e-4)
    for lot in planned.lots:
        if lot.id not in certain.batch_kg:
            continue
        kg = {w: kg for w, kg in lot.harvest_kg.items() if w < weeks}
        found = certain.batch_kg[lot.id]
        assert set(found) == set(kg)
        for week, band in found.items():
            assert band == pytest.approx((kg[week],) * 3, rel=1e-5)


def test_without_spread_first_cuts_are_on_the_plans_days(planned: Case, certain: Forecast) -> None:
    end = planned.problem.horizon.monday(planned.problem.horizon.weeks)
    first: dict[str, date] = {}
    for source, day in planned.flows.cut:
        if day < end:
            first[source] = min(day, first.get(source, day))
    checked = 0
    for name, dates in certain.first_harvest.items():
        assert set(dates) == {first.get(name)}
        checked += name in first
    assert checked > 20


def test_without_spread_what_the_plan_meets_is_met(planned: Case, certain: Forecast) -> None:
    met = met_by_plan(planned)
    assert len(met) > 50
    assert {certain.chance[n] for n in met} == {1.0}
    assert set(certain.chance.values()) <= {0.0, 1.0}


def test_without_spread_fish_feed_and_water_are_the_plans(planned: Case, certain: Forecast) -> None:
    problem, plan, weeks = planned.problem, planned.plan, planned.problem.horizon.weeks
    feed_kg = fish_sum(problem, plan, "feed_g")[:weeks] / 1000
    nitrate = water_balance(problem, plan).nitrate_mg_l[:weeks]
    for number in range(3):
        assert certain.feed_kg[number] == pytest.approx(feed_kg, rel=1e-6, abs=1e-9)
        assert certain.nitrate_mg_l[number] == pytest.approx(nitrate, rel=1e-6, abs=1e-6)
        assert certain.feed_total_kg[number] == pytest.approx(feed_kg.sum())
    for school in planned.schools:
        for week, band in certain.mean_g.get(school.id, {}).items():
            assert band == pytest.approx((float(school.option.mean_g[week]),) * 3, rel=1e-5)


def test_more_spread_gives_wider_ranges(planned: Case, usual: Forecast) -> None:
    narrow = planned.forecast(draws=DRAWS, spread=load_spread().scaled(0.5))
    wide = planned.forecast(draws=DRAWS, spread=load_spread().scaled(1.5))
    assert width(narrow) < 0.8 * width(usual)
    assert width(usual) < 0.9 * width(wide)


@pytest.mark.parametrize("name", ["days", "yields", "losses", "fish_growth", "survival", "fcr"])
def test_what_was_learned_narrows_what_it_is_about(
    planned: Case, usual: Forecast, name: str
) -> None:
    farm = planned.problem.farm
    keys = (
        [(crop, zone.method.value) for crop in planned.problem.crops for zone in farm.zones]
        if name in {"days", "yields", "losses"}
        else [*planned.problem.fish]
    )
    learned = Factors(**{name: dict.fromkeys(keys, SURE)})
    found = planned.forecast(draws=DRAWS, factors=learned)
    if name == "fcr":
        widths = [f.feed_total_kg.p90 - f.feed_total_kg.p10 for f in (found, usual)]
    elif name == "survival":
        widths = [
            sum(b.p90 - b.p10 for by in f.fish_kg.values() for b in by.values())
            for f in (found, usual)
        ]
    else:
        widths = [width(found), width(usual)]
    assert widths[0] < 0.995 * widths[1]


def test_same_seed_same_forecast(planned: Case, usual: Forecast) -> None:
    again = planned.forecast(draws=DRAWS)
    assert again.chance == usual.chance
    assert again.batch_kg == usual.batch_kg
    assert again.first_harvest == usual.first_harvest
    assert again.mean_g == usual.mean_g
    assert again.nitrate_mg_l.tobytes() == usual.nitrate_mg_l.tobytes()
    for name, kg in usual.produce_kg.items():
        assert again.produce_kg[name].tobytes() == kg.tobytes()


def test_another_seed_another_forecast_that_says_nearly_the_same(
    planned: Case, usual: Forecast
) -> None:
    other = planned.forecast(draws=DRAWS, seed=1)
    assert other.batch_kg != usual.batch_kg
    shifts = [abs(other.chance[n] - chance) for n, chance in usual.chance.items()]
    assert max(shifts) < 0.15
    assert np.mean(shifts) < 0.03


def test_a_batch_less_leaves_the_draws_of_the_others(planned: Case, usual: Forecast) -> None:
    gone = planned.lots[len(planned.lots) // 2].id
    fewer = planned.forecast([lot for lot in planned.lots if lot.id != gone], draws=DRAWS)
    assert gone in usual.batch_kg
    assert fewer.batch_kg == {k: v for k, v in usual.batch_kg.items() if k != gone}
    assert fewer.mean_g == usual.mean_g


def more_of(lot: Lot, crop: str) -> Lot:
    if lot.option.crop != crop:
        return lot
    kg = {week: 1.5 * kg for week, kg in lot.harvest_kg.items()}
    return replace(lot, harvest_kg=kg)


@pytest.mark.parametrize("crop", ["lettuce_butterhead", "basil_genovese"])
def test_more_of_a_crop_never_lowers_a_chance(planned: Case, usual: Forecast, crop: str) -> None:
    more = planned.forecast([more_of(lot, crop) for lot in planned.lots], draws=DRAWS)
    assert all(more.chance[n] >= chance for n, chance in usual.chance.items())
    of_crop = [n for n in met_by_plan(planned) if planned.problem.orders[n].crops == (crop,)]
    gain = np.mean([more.chance[n] - usual.chance[n] for n in of_crop])
    assert gain > 0.02


def test_no_more_goes_out_than_is_cut(planned: Case) -> None:
    drawn = planned.draw(draws=DRAWS)
    for name, cut in drawn.cut_kg.items():
        out = drawn.sales.orders_kg[name] + drawn.sales.outlets_kg[name]
        assert (out >= -1e-9).all()
        assert (np.cumsum(out, axis=0) <= np.cumsum(cut, axis=0) + 1e-6).all()
        # nor is anything sold later than its shelf life
        kept = planned.problem.shelf_weeks[name]
        recent = sum(np.pad(cut, ((n, 0), (0, 0)))[: len(cut)] for n in range(kept + 1))
        assert (out <= recent + 1e-6).all()


def test_two_orders_of_one_crop_fail_together(planned: Case, usual: Forecast) -> None:
    drawn = planned.draw(draws=DRAWS)
    problem = planned.problem
    ways = []
    for first in met_by_plan(planned):
        for second in met_by_plan(planned):
            one, two = problem.orders[first], problem.orders[second]
            unsure = all(0.1 < usual.chance[n] < 0.9 for n in (first, second))
            if unsure and one.crops == two.crops and 3 <= two.week - one.week <= 6:
                ways.append(np.corrcoef(drawn.sales.met[first], drawn.sales.met[second])[0, 1])
    assert len(ways) > 20
    assert np.mean(ways) > 0.05


def held(found: Forecast, truth: Mapping[str, np.ndarray]) -> float:
    """Share of weeks, crops and truths that lie between p10 and p90, where both are something."""
    within, counted = 0, 0
    for name, (low, _, high) in found.produce_kg.items():
        weeks = np.flatnonzero(low > 0)
        kg = truth[name][weeks]
        within += int(((kg >= low[weeks, None]) & (kg <= high[weeks, None])).sum())
        counted += kg.size
    assert counted > 10_000
    return within / counted


def test_eight_of_ten_harvests_come_out_within_their_range(planned: Case) -> None:
    found = planned.forecast(draws=2000)
    assert 0.77 < held(found, planned.draw(draws=DRAWS, seed=12).cut_kg) < 0.83


def test_ranges_that_are_too_narrow_are_found_out(planned: Case) -> None:
    found = planned.forecast(draws=DRAWS, spread=load_spread().scaled(0.5))
    assert held(found, planned.draw(draws=DRAWS, seed=12).cut_kg) < 0.65


def test_a_chance_is_how_often_an_order_is_met(planned: Case) -> None:
    found = planned.forecast(draws=2000)
    met = planned.draw(draws=2000, seed=12).sales.met
    for low, high in ((0.3, 0.6), (0.6, 0.8), (0.8, 0.95)):
        numbers = [n for n, chance in found.chance.items() if low <= chance < high]
        assert len(numbers) > 5
        said = np.mean([found.chance[n] for n in numbers])
        assert np.mean([met[n].mean() for n in numbers]) == pytest.approx(said, abs=0.04)


def test_one_draw_will_do_and_none_will_not(planned: Case) -> None:
    found = planned.forecast(draws=1)
    assert all(chance in {0.0, 1.0} for chance in found.chance.values())
    with pytest.raises(ValueError, match="draws must be 1 or more"):
        planned.forecast(draws=0)


def test_the_document_gets_every_range(planned: Case, usual: Forecast) -> None:
    measures = {"orders_met": 1.0, "short_orders": 0, "weeks_in_band": 52, "margin": 0.0}
    found = document(
        planned.problem,
        planned.plan,
        planned.lots,
        planned.schools,
        planned.flows,
        {lot.id: [] for lot in planned.lots},
        [],
        [],
        Insight(why={}, marginal=(), comparison={"plan": measures, "by_hand": measures}),
    )
    fill(found, usual)
    for batch in found["batches"]:
        assert {"first_harvest_p10", "first_harvest_p90"} <= set(batch)
        for harvest in batch["harvest"]:
            assert 0 <= harvest["kg_p10"] <= harvest["kg_p50"] <= harvest["kg_p90"]
    assert any(h["kg_p90"] > h["kg"] for b in found["batches"] for h in b["harvest"])
    for number, order in zip(in_horizon(planned), found["orders"], strict=True):
        assert order["chance"] == pytest.approx(usual.chance[number], abs=6e-4)
        line = planned.problem.farm.orders[planned.problem.orders[number].line]
        assert order["line"] == line.line
    ranges = found["forecast"]
    assert (ranges["draws"], ranges["seed"]) == (DRAWS, 0)
    assert [w["week"] for w in ranges["weeks"]] == [w["week"] for w in found["weeks"]]
    said = {(row["week"], row["crop"]): row for row in ranges["produce"]}
    for row in found["produce"]:
        if row["cut_kg"] > 0.01:
            assert said[row["week"], row["crop"]]["kg_p90"] > 0
    assert {(c["id"], c["week"]) for c in ranges["cohorts"]} <= {
        (cohort["id"], week["week"]) for cohort in found["cohorts"] for week in cohort["weeks"]
    }
    total = ranges["feed_total_kg"]
    assert 0 < total["p10"] < total["p50"] < total["p90"]
    found["orders"].pop()
    before = json.dumps(found)
    with pytest.raises(ValueError, match="order weeks"):
        fill(found, usual)
    assert json.dumps(found) == before


def test_a_farm_without_crops_or_orders_is_foretold_too(tmp_path: Path) -> None:
    bare = write_small_farm(
        tmp_path / "farm", orders_csv=None, outlets_csv=None, growing_csv=None, cohorts_csv=None
    )
    found = case(bare).forecast(draws=10)
    assert found.chance == {}
    assert found.batch_kg == {}
    assert found.nitrate_mg_l.shape == (3, 52)
