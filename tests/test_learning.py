"""The estimates: nothing from nothing, all from many, and what outliers and bounds do."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from planner.learning import (
    Factor,
    Factors,
    LearnedRow,
    Prior,
    Priors,
    applied,
    applied_fish,
    learn,
    rows,
    shipped_priors,
    used,
)
from planner.learning.shrinkage import CUT, LOGISTIC, Sample, fit
from planner.observed import (
    DaysObs,
    FcrObs,
    GrowthObs,
    LossObs,
    Observations,
    SurvivalObs,
    YieldObs,
)
from tests.plandocs import CROPS, FISH

LETTUCE, BASIL, TOMATO = "lettuce_butterhead", "basil_genovese", "tomato_cherry"
RAFT = "raft"
PRIORS = shipped_priors()
PRIOR = Prior(tau_class=0.1, tau_own=0.1, sigma=0.1)


def samples(values: Sequence[float], key: str = "a", shared: str = "c") -> list[Sample[str]]:
    return [Sample(shared=shared, key=key, value=value) for value in values]


def yield_obs(ratio: float, crop: str = LETTUCE, method: str = RAFT) -> YieldObs:
    return YieldObs(crop=crop, method=method, batch="b", planned_kg=4.0, real_kg=4.0 * ratio)


def days_obs(real_days: float, told: Any = "ripe", **changes: Any) -> DaysObs:
    values = {"crop": LETTUCE, "method": RAFT, "batch": "b", "planned_days": 40.0}
    return DaysObs(**(values | {"real_days": real_days, "told": told} | changes))


def loss_obs(share: float, crop: str = LETTUCE) -> LossObs:
    return LossObs(crop=crop, method=RAFT, batch="b", plants=40, lost=40 * share)


def learned(**observations: Any) -> Factors:
    return learn(Observations(**observations), CROPS, FISH, PRIORS)


# Nothing from nothing


def test_no_records_change_nothing() -> None:
    factors = learned()
    assert factors == Factors(priors=PRIORS)
    for method in ("media_bed", "raft", "tower"):
        table = applied(CROPS, factors, method)
        assert all(table[name] is row for name, row in CROPS.items())
    assert all(applied_fish(FISH, factors)[name] is row for name, row in FISH.items())
    assert used(CROPS, FISH, factors, [(LETTUCE, RAFT)], list(FISH)) == {}
    assert rows(factors, Observations(), CROPS, FISH) == ()


def test_without_records_the_spread_is_the_prior_s_and_the_factor_is_one() -> None:
    factors = learned(yields=(yield_obs(1.3),))
    for known, prior in (
        (factors.days_of(LETTUCE, RAFT), PRIORS.days),
        (factors.loss_of(LETTUCE, RAFT), PRIORS.losses),
        (factors.yield_of(TOMATO, "media_bed"), PRIORS.yields),  # of the other class
        (factors.yield_of("not in the table", RAFT), PRIORS.yields),
        (factors.fcr_of("tilapia_nile"), PRIORS.fcr),
    ):
        assert known == Factor(mean_log=0.0, sd_log=prior.sd, n=0)
        assert known.factor == 1.0
    assert PRIORS.days.sd == pytest.approx(math.hypot(PRIORS.days.tau_class, PRIORS.days.tau_own))


def test_records_of_crops_and_fish_outside_the_tables_are_left_out() -> None:
    stray = yield_obs(2.0, crop="something_else")
    lost_fish = SurvivalObs(species="pike", cohort="x", count=9, dead=9, days=90, expected=1)
    assert learned(yields=(stray,), survival=(lost_fish,)) == Factors(priors=PRIORS)


# A little from few, all from many


@given(st.floats(-0.3, 0.3), st.integers(1, 30))
def test_one_more_agreeing_record_is_nearer_to_the_data_and_surer(value: float, n: int) -> None:
    fewer = fit(samples([value] * n), PRIOR).own["a"]
    more = fit(samples([value] * (n + 1)), PRIOR).own["a"]
    assert more.sd < fewer.sd < PRIOR.sd
    assert abs(more.mean - value) <= abs(fewer.mean - value) + 1e-12
    assert abs(fewer.mean) <= abs(value)
    assert fewer.mean * value >= 0


def test_one_key_by_hand() -> None:
    """Within a class and key of prior variance v each, n records of variance s: 2v / (2v + s/n)."""
    for n in (1, 2, 5):
        found = fit(samples([0.1] * n), PRIOR).own["a"]
        weight = 0.02 / (0.02 + 0.01 / n)
        assert found.mean == pytest.approx(0.1 * weight)
        assert found.sd == pytest.approx(math.sqrt(0.02 * (1 - weight)))
        assert found.n == n


def test_two_keys_agree_with_the_whole_matrix() -> None:
    """The closed form is the mean and spread of a normal vector given the records."""
    values = {"a": [0.05, 0.1], "b": [-0.02]}
    found = fit([s for key, of in values.items() for s in samples(of, key)], PRIOR)
    class2 = own2 = noise2 = 0.01
    owner = np.array([0, 0, 1])
    among = class2 + own2 * (owner[:, None] == owner[None, :]) + noise2 * np.eye(3)
    y = np.array([0.05, 0.1, -0.02])
    for key, number in (("a", 0), ("b", 1), ("unseen", 2)):
        to = class2 + own2 * (owner == number)
        solved = np.linalg.solve(among, to)
        estimate = found.own.get(key, found.shared["c"])
        assert estimate.mean == pytest.approx(solved @ y)
        assert estimate.sd == pytest.approx(math.sqrt(class2 + own2 - solved @ to))


@pytest.mark.parametrize("ratio", [0.5, 0.8, 1.25, 2.0])
def test_many_records_have_full_effect(ratio: float) -> None:
    factors = learned(
        yields=(yield_obs(ratio),) * 200,
        days=(days_obs(40 * ratio),) * 200,
        growth=(
            GrowthObs(
                species="tilapia_nile",
                cohort="c",
                start_g=125.0,
                planned_gain_g=216.0 - 125.0,
                real_gain_g=(5 + ratio) ** 3 - 125.0,
            ),
        )
        * 200,
        fcr=(FcrObs(species="tilapia_nile", cohort="c", feed_kg=1.7 * ratio, gain_kg=1.0),) * 200,
        survival=(
            SurvivalObs(
                species="tilapia_nile", cohort="c", count=500, dead=40 * ratio, days=90, expected=40
            ),
        )
        * 200,
    )
    for factor in (
        factors.yield_of(LETTUCE, RAFT),
        factors.days_of(LETTUCE, RAFT),
        factors.growth_of("tilapia_nile"),
        factors.fcr_of("tilapia_nile"),
        factors.survival_of("tilapia_nile"),
    ):
        assert factor.n == 200
        assert factor.factor == pytest.approx(ratio, rel=0.01)
        assert factor.sd_log < 0.05


def test_a_crop_without_records_moves_part_of_the_way_with_its_class() -> None:
    factors = learned(yields=(yield_obs(1.2),) * 30 + (yield_obs(1.2, BASIL),) * 30)
    own = factors.yield_of(LETTUCE, RAFT)
    for other in (factors.yield_of("mint", RAFT), factors.yield_of(LETTUCE, "tower")):
        assert 1 < other.factor < own.factor
        assert other.n == 0
        assert own.sd_log < other.sd_log < PRIORS.yields.sd
    assert factors.yield_of(TOMATO, RAFT).factor == 1.0


def test_an_odd_crop_does_not_drag_its_class_along() -> None:
    usual = [s for n in range(5) for s in samples([0.0] * 10, key=f"usual {n}")]
    odd = fit([*usual, *samples([0.3] * 10, "odd")], PRIOR).shared["c"].mean
    odder = fit([*usual, *samples([1.5] * 10, "odd")], PRIOR).shared["c"].mean
    assert 0 < odd < 0.05
    assert odder < 0.06


@given(st.lists(st.tuples(st.floats(-3, 3), st.sampled_from("abc")), max_size=15), st.randoms())
@settings(deadline=None)
def test_the_order_of_records_does_not_matter(given_: list[Any], random: Any) -> None:
    records = [Sample(shared="c", key=key, value=value) for value, key in given_]
    mixed = list(records)
    random.shuffle(mixed)
    one, other = fit(records, PRIOR), fit(mixed, PRIOR)
    assert (one.own, one.shared) == (other.own, other.shared)
    assert sorted(one.without) == sorted(other.without)


# Outliers


@pytest.mark.parametrize("off", [0.5, 1.0, 2.3, -2.3, 50.0])
def test_an_outlier_does_not_throw_it(off: float) -> None:
    """It moves the rest by no more than a record one and a half deviations off."""
    good = [-0.05, 0.0, 0.05, 0.1, 0.1, 0.15, 0.2, 0.25] * 3
    without = fit(samples(good), PRIOR).own["a"]
    with_it = fit(samples([*good, off]), PRIOR).own["a"]
    assert abs(with_it.mean - without.mean) <= 1.3 * CUT * PRIOR.sigma / len(good)
    assert with_it.sd == pytest.approx(without.sd, rel=0.05)


def test_a_slip_of_the_pen_in_the_first_record_moves_little() -> None:
    """Ten times the kilograms, a comma in the wrong place, once and with nothing beside it."""
    assert learned(yields=(yield_obs(10.0),)).yield_of(LETTUCE, RAFT).factor < 1.03
    assert learned(yields=(yield_obs(10.0),) * 50).yield_of(LETTUCE, RAFT).factor > 8


def test_a_batch_of_few_plants_tells_less_of_the_yield() -> None:
    few, some, many = (
        learned(yields=(replace(yield_obs(1.2), plants=plants),)).yield_of(LETTUCE, RAFT)
        for plants in (1, 4, 4000)
    )
    assert 1 < few.factor < some.factor < many.factor
    assert many.sd_log < some.sd_log < few.sd_log < PRIORS.yields.sd
    unknown = learned(yields=(yield_obs(1.2),)).yield_of(LETTUCE, RAFT)
    assert many.factor == pytest.approx(unknown.factor, rel=1e-3)


def test_a_record_that_is_itself_unsure_counts_less() -> None:
    sure = fit([Sample(shared="c", key="a", value=0.1)], PRIOR).own["a"]
    unsure = fit([Sample(shared="c", key="a", value=0.1, noise=0.5)], PRIOR).own["a"]
    assert 0 < unsure.mean < 0.2 * sure.mean
    assert unsure.sd > sure.sd


@given(st.lists(st.floats(-50, 50), min_size=1, max_size=6), st.sampled_from([0.0, 0.1]))
@settings(deadline=None)
def test_whatever_is_recorded_the_estimate_is_a_number_within_the_data(
    values: list[float], tau: float
) -> None:
    prior = Prior(tau_class=tau, tau_own=tau, sigma=0.0)
    bounds = [Sample(shared="c", key="b", value=v, bound="by") for v in values]
    found = fit([*samples(values), *bounds], prior)
    assert all(math.isfinite(e.mean) and math.isfinite(e.sd) for e in found.own.values())
    if tau == 0:
        assert all(e.mean == 0 and e.sd == 0 for e in found.own.values())


def test_a_prior_below_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="sigma must be 0 or more, got -1"):
        Prior(tau_class=0, tau_own=0, sigma=-1)


# Days: bounds


def test_a_bound_that_was_to_be_expected_says_nothing() -> None:
    for bound, value in (("by", 2.0), ("after", -2.0)):
        found = fit([Sample(shared="c", key="a", value=value, bound=bound)], PRIOR).own["a"]  # type: ignore[arg-type]
        assert found.mean == pytest.approx(0, abs=1e-9)
        assert found.sd == pytest.approx(PRIOR.sd)


def test_a_bound_on_the_far_side_pulls() -> None:
    assert learned(days=(days_obs(32, "by"),)).days_of(LETTUCE, RAFT).factor < 0.97
    assert learned(days=(days_obs(50, "after"),)).days_of(LETTUCE, RAFT).factor > 1.03


def test_cutting_on_time_never_makes_a_crop_quicker_but_surer() -> None:
    in_time = days_obs(43, "by", on_time=True)
    factor = learned(days=(in_time,) * 50).days_of(LETTUCE, RAFT)
    assert factor.mean_log == 0
    assert factor.sd_log < PRIORS.days.sd
    seen = (days_obs(36),) * 5
    early = learned(days=seen).days_of(LETTUCE, RAFT)
    both = learned(days=(*seen, *(days_obs(38, "by", on_time=True),) * 200))
    assert both.days_of(LETTUCE, RAFT).mean_log == pytest.approx(early.mean_log)


@pytest.mark.parametrize("truth", [1.0, 1.05, 1.15, 1.3])
@pytest.mark.parametrize("slack_days", [0, 4])
def test_late_batches_and_those_in_time_together_find_the_truth(
    truth: float, slack_days: int
) -> None:
    """By the late ones alone every crop would be slow, by all as seen every crop on time."""
    wanted = 40 + slack_days
    factors, late_days = [], []
    for seed in range(8):
        random = np.random.default_rng(seed)
        found = []
        for _ in range(200):
            ripe = 40 * truth * math.exp(PRIORS.days.sigma * random.standard_normal())
            late = ripe > wanted + 3
            late_days += [ripe] if late else []
            found.append(days_obs(ripe) if late else days_obs(wanted + 3, "by", on_time=True))
        factors.append(learned(days=tuple(found)).days_of(LETTUCE, RAFT).factor)
    assert float(np.mean(factors)) == pytest.approx(truth, rel=0.025)
    if truth < 1.1 and late_days:  # what the late ones alone would say
        assert float(np.mean(late_days)) / 40 > truth * 1.06


# Days: between two bounds


def between(low: float, high: float, key: str = "a") -> Sample[str]:
    return Sample(shared="c", key=key, value=high, low=low, bound="between")


@given(
    st.lists(st.tuples(st.floats(-0.3, 0.3), st.floats(0.005, 0.3)), min_size=1, max_size=6),
    st.lists(st.floats(-0.3, 0.3), max_size=4),
)
@settings(deadline=None, max_examples=30)
def test_censored_records_count_by_the_chance_of_what_was_seen(
    spans: list[tuple[float, float]], highs: list[float]
) -> None:
    """Tobin's censored likelihood (Econometrica 26, 1958, from memory), by numbers on a grid."""
    given_ = [between(low, low + width) for low, width in spans]
    given_ += [Sample(shared="c", key="a", value=high, bound="by") for high in highs]
    found = fit(given_, PRIOR).own["a"]
    grid = np.linspace(-0.8, 0.8, 1601)

    def best(chance_below: Any) -> float:
        log_chance = -(grid**2) / (2 * PRIOR.sd**2)
        for low, width in spans:
            inside = chance_below((low + width - grid) / 0.1) - chance_below((low - grid) / 0.1)
            log_chance += np.log(np.maximum(inside, 1e-300))
        for high in highs:
            log_chance += np.log(np.maximum(chance_below((high - grid) / 0.1), 1e-300))
        return float(grid[np.argmax(log_chance)])

    assert found.mean == pytest.approx(best(lambda z: special.expit(LOGISTIC * z)), abs=0.01)
    if len(spans) == 1 and not highs:  # near to the normal distribution where nothing is far off
        assert found.mean == pytest.approx(best(special.ndtr), abs=0.02)


def test_the_nearer_two_bounds_are_the_more_they_tell() -> None:
    wide, narrow, exact = (
        fit(given_, PRIOR).own["a"]
        for given_ in ([between(-0.3, 0.5)], [between(0.09, 0.11)], samples([0.1]))
    )
    assert narrow.mean == pytest.approx(exact.mean, abs=0.01)
    assert exact.sd <= narrow.sd < wide.sd < PRIOR.sd
    assert 0 < wide.mean < narrow.mean


@given(st.integers(1, 20), st.floats(-0.3, 0.3), st.floats(0.01, 0.2))
@settings(deadline=None)
def test_one_more_record_between_the_same_bounds_is_surer_and_stays_nearer(
    n: int, low: float, width: float
) -> None:
    fewer = fit([between(low, low + width)] * n, PRIOR).own["a"]
    more = fit([between(low, low + width)] * (n + 1), PRIOR).own["a"]
    assert more.sd < fewer.sd < PRIOR.sd
    middle = low + width / 2
    assert abs(more.mean - middle) <= abs(fewer.mean - middle) + 1e-6
    assert (more.n, fewer.n) == (n + 1, n)


@pytest.mark.parametrize("off", [1.0, -1.0, 50.0])
def test_bounds_far_off_do_not_throw_it(off: float) -> None:
    good = [between(value - 0.05, value + 0.05) for value in (-0.1, 0.0, 0.1, 0.2, 0.3)] * 4
    without = fit(good, PRIOR).own["a"]
    with_it = fit([*good, between(off, off + 0.05)], PRIOR).own["a"]
    assert abs(with_it.mean - without.mean) <= 1.7 * CUT * PRIOR.sigma / len(good)
    assert with_it.sd == pytest.approx(without.sd, rel=0.05)


def test_cuts_in_time_tell_more_of_a_grower_who_waits_for_what_is_not_ripe() -> None:
    """Waited for: two batches, of whatever crop."""
    in_time = (days_obs(38, "by", on_time=True),) * 50
    late = days_obs(41, "between", from_days=37, crop=TOMATO)
    once, twice = (
        learned(days=(*in_time, *[late] * waits)).days_of(LETTUCE, RAFT) for waits in (1, 2)
    )
    assert once.factor == 1.0
    assert 0.88 < twice.factor < 0.95
    many = (days_obs(48, "between", from_days=44),) * 50
    assert learned(days=(*in_time, *many)).days_of(LETTUCE, RAFT).factor > 1.0


def test_a_grower_who_cuts_by_the_calendar_is_not_told_to_cut_sooner_and_sooner() -> None:
    """Cut on whatever day the plan says, over and over, but for two that were cut late."""
    found = [days_obs(41, "between", from_days=37, crop=TOMATO)] * 2
    factor = 1.0
    for _ in range(12):
        found += [days_obs(round(40 * factor), "by", on_time=True)] * 20
        factor = learned(days=tuple(found)).days_of(LETTUCE, RAFT).factor
    assert factor < 0.95
    assert factor >= math.exp(-PRIORS.days.sd) - 1e-9


@pytest.mark.parametrize("truth", [0.92, 1.0, 1.1, 1.2])
@pytest.mark.parametrize("looks_days", [1, 3])
def test_a_season_of_harvests_alone_finds_the_days(truth: float, looks_days: int) -> None:
    """Due up to a week after it should be ripe, and waited for while it is not, as others were."""
    factors = []
    for seed in range(8):
        random = np.random.default_rng(seed)
        found = [days_obs(41, "between", from_days=37, crop=TOMATO)] * 2
        for number in range(60):
            ripe = 40 * truth * math.exp(PRIORS.days.sigma * random.standard_normal())
            due = 40 + number % 7
            looks = max(0, math.ceil((ripe - due) / looks_days))
            cut = due + looks * looks_days
            told: dict[str, Any] = {"told": "by", "on_time": True}
            if looks:
                told = {"told": "between", "from_days": max(due, cut - 4)}
            found.append(days_obs(cut, **told))
        factors.append(learned(days=tuple(found)).days_of(LETTUCE, RAFT).factor)
    assert float(np.mean(factors)) == pytest.approx(truth, rel=0.035)


# Hidden truth


def test_hidden_factors_are_found_within_their_spread() -> None:
    """Of many invented houses, eight in ten truths lie within the middle eight tenths."""
    random = np.random.default_rng(11)
    prior = PRIORS.yields
    inside = total = 0
    error = {"table": 0.0, "learned": 0.0}
    for _ in range(80):
        shared = prior.tau_class * random.standard_normal()
        truth = {
            name: shared + prior.tau_own * random.standard_normal()
            for name, row in CROPS.items()
            if row.feed_rate_class == "leafy"
        }
        found = [
            yield_obs(math.exp(mean + prior.sigma * random.standard_normal()), name)
            for number, (name, mean) in enumerate(truth.items())
            for _ in range(number)  # of the first crop none
        ]
        factors = learned(yields=tuple(found))
        for name, mean in truth.items():
            known = factors.yield_of(name, RAFT)
            inside += abs(known.mean_log - mean) < 1.2816 * known.sd_log
            total += 1
            error["table"] += abs(mean)
            error["learned"] += abs(known.mean_log - mean)
    assert 0.75 < inside / total < 0.85
    assert error["learned"] < 0.6 * error["table"]


# Losses and deaths


def test_batches_without_loss_leave_the_table_s_and_dilute_the_others() -> None:
    assert learned(losses=(loss_obs(0),) * 20).loss_of(LETTUCE, RAFT).factor == 1.0
    one = learned(losses=(loss_obs(0.5),)).loss_of(LETTUCE, RAFT).factor
    among = learned(losses=(loss_obs(0.5), *(loss_obs(0),) * 20)).loss_of(LETTUCE, RAFT).factor
    assert 1 < among < one


def test_losing_a_tenth_of_every_batch_is_added_to_the_table_s_loss() -> None:
    factors = learned(losses=(loss_obs(0.1),) * 300)
    row = applied(CROPS, factors, RAFT)[LETTUCE]
    assert row.loss_pct == pytest.approx(8 + 0.92 * 10, rel=0.01)
    assert row.days_to_harvest == CROPS[LETTUCE].days_to_harvest
    assert row.yield_kg_per_plant == CROPS[LETTUCE].yield_kg_per_plant


def test_one_total_loss_counts_no_more_than_its_bound() -> None:
    some = learned(losses=(loss_obs(0.35),)).loss_of(LETTUCE, RAFT).factor
    everything = learned(losses=(loss_obs(1.0),)).loss_of(LETTUCE, RAFT).factor
    assert everything == pytest.approx(some, rel=0.02)
    assert everything < 1.95


# Put into the tables


def test_the_tables_carry_what_was_learned_and_the_plan_can_tell_it() -> None:
    factors = learned(
        yields=(yield_obs(1.2),) * 100,
        days=(days_obs(46),) * 100,
        growth=(
            GrowthObs(
                species="tilapia_nile",
                cohort="c",
                start_g=100,
                planned_gain_g=80,
                real_gain_g=60,
                noise_log=0.1,
            ),
        )
        * 20,
        survival=(
            SurvivalObs(
                species="tilapia_nile", cohort="c", count=200, dead=20, days=90, expected=10
            ),
        ),
    )
    lettuce, before = applied(CROPS, factors, RAFT)[LETTUCE], CROPS[LETTUCE]
    days, yields = factors.days_of(LETTUCE, RAFT), factors.yield_of(LETTUCE, RAFT)
    assert isinstance(lettuce.days_to_harvest, int)
    assert lettuce.days_to_harvest == round(30 * days.factor) == 34
    assert lettuce.yield_kg_per_plant == pytest.approx(0.25 * yields.factor, rel=1e-5)
    uptake = lettuce.n_uptake_g_per_plant / before.n_uptake_g_per_plant
    assert uptake == pytest.approx(yields.factor, rel=1e-5)
    fish = applied_fish(FISH, factors)["tilapia_nile"]
    assert fish.tgc_per_1000_degree_days is not None
    assert fish.tgc_per_1000_degree_days < 0.85
    deaths = factors.survival_of("tilapia_nile").factor
    assert 1.1 < deaths < 2
    assert fish.survival_growout_fraction == pytest.approx(0.95**deaths)
    told = used(CROPS, FISH, factors, [(LETTUCE, RAFT), (TOMATO, RAFT)], ["tilapia_nile"])
    assert set(told) == {f"{LETTUCE}/{RAFT}", "tilapia_nile"}
    assert told[f"{LETTUCE}/{RAFT}"]["days"] == 34 / 30
    assert told["tilapia_nile"]["survival"] == deaths


@given(st.floats(0.02, 50), st.floats(0.02, 50), st.floats(0, 1))
@settings(deadline=None, max_examples=30)
def test_the_tables_stay_within_their_ranges(days: float, kg: float, lost: float) -> None:
    factors = learned(
        days=(days_obs(40 * days),) * 40,
        yields=(yield_obs(kg),) * 40,
        losses=(loss_obs(lost),) * 40,
    )
    for row in applied(CROPS, factors, RAFT).values():
        assert 1 <= row.days_to_harvest <= 730
        assert 0 < row.yield_kg_per_plant <= 100
        assert 0 <= row.n_uptake_g_per_plant <= 500
        assert 0 <= row.loss_pct <= 95


# The review


def row_of(found: Sequence[LearnedRow], figure: str, crop: str) -> LearnedRow:
    return next(row for row in found if (row.figure, row.crop) == (figure, crop))


def test_the_review_tells_planned_and_real_and_what_learning_is_worth() -> None:
    told = Observations(
        yields=(yield_obs(0.75), yield_obs(0.8), yield_obs(0.85), yield_obs(0.8)),
        days=(days_obs(50), days_obs(43, "by", on_time=True)),
        losses=(loss_obs(0.25), loss_obs(0)),
        fcr=(FcrObs(species="perch_yellow", cohort="c", feed_kg=34, gain_kg=20),),
    )
    factors = learn(told, CROPS, FISH, PRIORS)
    found = rows(factors, told, CROPS, FISH)
    assert [(row.figure, row.crop) for row in found] == [
        ("days", LETTUCE),
        ("yield", LETTUCE),
        ("loss", LETTUCE),
        ("fcr", "perch_yellow"),
    ]
    kg = row_of(found, "yield", LETTUCE)
    assert (kg.method, kg.n, kg.seen) == (RAFT, 4, 4)
    assert kg.planned == 4.0
    assert kg.real == pytest.approx(3.2)
    assert kg.bias == pytest.approx(-0.2)
    assert kg.error_before == pytest.approx(0.2)
    assert kg.error_after is not None
    assert 0.03 < kg.error_after < 0.1
    assert kg.factor == factors.yield_of(LETTUCE, RAFT).factor
    assert kg.sd_log == factors.yield_of(LETTUCE, RAFT).sd_log
    days = row_of(found, "days", LETTUCE)
    assert (days.n, days.seen, days.planned, days.real) == (2, 1, 40, 50)
    loss = row_of(found, "loss", LETTUCE)
    assert loss.planned == pytest.approx(0.08)
    assert loss.real == pytest.approx(0.08 + 0.92 * 0.125)
    assert row_of(found, "fcr", "perch_yellow").real == pytest.approx(1.7)


def test_the_error_after_learning_is_by_the_other_records_alone() -> None:
    """One record cannot foretell itself."""
    for values in ([0.1], [0.1, -0.05, 0.05]):
        records = [*samples(values), *samples([0.3, 0.2], "b")]
        whole = fit(records, PRIOR)
        for number in range(len(values)):
            left = records[:number] + records[number + 1 :]
            again = fit(left, PRIOR)
            known = again.own.get("a", again.shared["c"])
            assert whole.without[number] == pytest.approx(known.mean, abs=0.01)
    alone = Observations(yields=(yield_obs(0.7),))
    (row,) = rows(learn(alone, CROPS, FISH, PRIORS), alone, CROPS, FISH)
    assert row.error_after == row.error_before == pytest.approx(0.3)


def test_priors_follow_the_shipped_sizes_of_spread() -> None:
    assert isinstance(PRIORS, Priors)
    assert PRIORS.yields.sigma > 0
    nothing = Prior(tau_class=0, tau_own=0, sigma=0.1)
    still = Priors(
        days=nothing, yields=nothing, losses=nothing, fish_growth=nothing, survival=nothing,
        fcr=nothing,
    )  # fmt: skip
    factors = learn(Observations(yields=(yield_obs(2.0),) * 9), CROPS, FISH, still)
    assert factors.yield_of(LETTUCE, RAFT) == Factor(mean_log=0.0, sd_log=0.0, n=9)


def test_batches_that_one_event_took_count_as_one() -> None:
    """A pump that failed is not twenty proofs that the crop rots."""
    whole = [
        LossObs(crop="lettuce_butterhead", method="raft", batch=f"B{n}", plants=28, lost=0)
        for n in range(10)
    ]
    lost = [
        replace(o, batch=f"L{n}", lost=28, event="2027-03-01 pump failed")
        for n, o in enumerate(whole)
    ]
    each = [replace(o, event=f"{o.batch} rot") for o in lost]
    one, together, apart = (
        learn(Observations(losses=tuple([*whole, *some])), CROPS, FISH, shipped_priors())
        .loss_of("lettuce_butterhead", "raft")
        .mean_log
        for some in (lost[:1], lost, each)
    )
    assert 0 < together < apart
    assert together == pytest.approx(one, abs=0.1 * apart)
