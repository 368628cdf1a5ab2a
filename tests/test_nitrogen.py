"""The nitrogen balance: nothing is made and nothing is lost."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.nitrogen import balance, feed_nitrogen, lost_g, supply_g

shares = st.floats(0, 1)
grams = st.lists(st.floats(0, 5000), min_size=1, max_size=30)


def test_no_feed_no_nitrogen():
    split = feed_nitrogen(0.0, 0.0, 0.32, 0.024, 0.12)
    assert split.feed == split.retained == split.solids == split.dissolved == split.tan == 0


def test_twice_the_feed_twice_the_nitrogen():
    once = feed_nitrogen([100.0, 40.0], [60.0, 20.0], 0.32, 0.024, 0.12)
    twice = feed_nitrogen([200.0, 80.0], [120.0, 40.0], 0.32, 0.024, 0.12)
    for name in ("feed", "retained", "solids", "dissolved", "tan"):
        assert getattr(twice, name) == pytest.approx(2 * getattr(once, name))


def test_a_kilogram_of_feed_worked_by_hand():
    # Own arithmetic: 51.2 g N; 0.12 of it solids; 500 g of fish at 24 g/kg; the rest dissolves.
    split = feed_nitrogen(1000.0, 500.0, 0.32, 0.024, 0.12)
    assert split.feed == pytest.approx(51.2)
    assert split.solids == pytest.approx(6.144)
    assert split.retained == pytest.approx(12.0)
    assert split.dissolved == pytest.approx(33.056)
    assert split.tan == pytest.approx(29.7504)


def test_series_is_its_single_values_in_any_shape():
    feed, gain = np.array([[100.0, 50.0], [0.0, 7.0]]), np.array([[60.0, 20.0], [0.0, 9.0]])
    split = feed_nitrogen(feed, gain, 0.4, 0.026, 0.12)
    assert split.tan.shape == (2, 2)
    for at in np.ndindex(2, 2):
        single = feed_nitrogen(feed[at], gain[at], 0.4, 0.026, 0.12).tan
        assert split.tan[at] == pytest.approx(float(single), rel=1e-12)


def test_fish_keep_no_more_than_the_feed_leaves_them():
    split = feed_nitrogen(10.0, 500.0, 0.3, 0.025, 0.12)
    assert split.dissolved == pytest.approx(0.0, abs=1e-12)
    assert split.retained + split.solids == pytest.approx(split.feed)


def test_shares_outside_0_to_1_are_refused():
    with pytest.raises(ValueError, match="protein_fraction must be 0 to 1, got 32"):
        feed_nitrogen(10.0, 5.0, 32, 0.025, 0.12)
    with pytest.raises(ValueError, match="solid_share"):
        feed_nitrogen(10.0, 5.0, 0.32, 0.025, -0.1)


def test_solids_feed_plants_only_where_they_are_kept():
    assert supply_g(100.0, 20.0, 0.3, True, 0.5) == pytest.approx(80.0)
    assert supply_g(100.0, 20.0, 0.3, False, 0.5) == pytest.approx(70.0)


def test_lost_is_gas_and_solids_taken_out_and_pool_loss():
    assert lost_g(100.0, 20.0, 3.0, 0.3, solids_kept=False) == pytest.approx(53.0)
    assert lost_g(100.0, 20.0, 3.0, 0.3, solids_kept=True) == pytest.approx(33.0)


def test_pool_worked_by_hand():
    # Own arithmetic: 100 g loses 2, gains 30, gives 78: 50; loses 1, gains 10, lacks 41 of 100.
    run = balance(100.0, [30.0, 10.0, 5.0], [78.0, 100.0, 0.0], 0.02, 2.0)
    assert run.pool_loss_g == pytest.approx([2.0, 1.0, 0.0])
    assert run.pool_g == pytest.approx([50.0, 0.0, 5.0])
    assert run.deficit_g == pytest.approx([0.0, 41.0, 0.0])
    assert run.nitrate_mg_l == pytest.approx([25.0, 0.0, 2.5])


def test_pool_without_plants_settles_where_loss_is_supply():
    run = balance(0.0, [10.0] * 1000, [0.0] * 1000, 0.02, 1.0)
    assert run.pool_g[-1] == pytest.approx(500.0, rel=1e-6)


def test_no_weeks_no_balance():
    assert balance(10.0, [], [], 0.02, 1.0).pool_g.size == 0


@pytest.mark.parametrize(
    ("pool", "loss", "volume"), [(-1.0, 0.02, 1.0), (1.0, 1.2, 1.0), (1.0, 0.02, 0.0)]
)
def test_impossible_pools_are_refused(pool, loss, volume):
    with pytest.raises(ValueError, match="start_pool_g must be 0 or more"):
        balance(pool, [1.0], [1.0], loss, volume)


def test_series_of_unlike_length_are_refused():
    with pytest.raises(ValueError, match="by week"):
        balance(1.0, [1.0, 2.0], [1.0], 0.02, 1.0)


@settings(deadline=None, max_examples=80)
@given(
    feed_g=grams,
    gain_share=st.floats(0, 1.5),
    protein=st.floats(0.1, 0.6),
    body=st.floats(0.02, 0.03),
    solid=st.floats(0, 0.5),
    gas=shares,
    kept=st.booleans(),
    mineralised=shares,
)
def test_feed_nitrogen_is_all_accounted_for(
    feed_g, gain_share, protein, body, solid, gas, kept, mineralised
):
    feed = np.array(feed_g)
    split = feed_nitrogen(feed, feed * gain_share, protein, body, solid)
    assert split.retained + split.solids + split.dissolved == pytest.approx(split.feed, abs=1e-9)
    assert (split.dissolved >= -1e-9).all()
    supply = supply_g(split.dissolved, split.solids, gas, kept, mineralised)
    lost = lost_g(split.dissolved, split.solids, np.zeros(feed.size), gas, kept)
    in_gravel = split.solids * (1 - mineralised) if kept else 0.0
    assert split.retained + supply + lost + in_gravel == pytest.approx(split.feed, abs=1e-9)


@settings(deadline=None, max_examples=80)
@given(
    start_g=st.floats(0, 1e5),
    weeks=st.lists(st.tuples(st.floats(0, 1e4), st.floats(0, 1e4)), min_size=1, max_size=40),
    loss=shares,
    volume_m3=st.floats(0.01, 1000),
)
def test_pool_conserves_nitrogen_every_week(start_g, weeks, loss, volume_m3):
    supply, uptake = np.array(weeks).T
    run = balance(start_g, supply, uptake, loss, volume_m3)
    before = np.concatenate(([start_g], run.pool_g[:-1]))
    after = before + supply - uptake + run.deficit_g - run.pool_loss_g
    assert run.pool_g == pytest.approx(after, abs=1e-8)
    assert run.pool_loss_g == pytest.approx(before * loss)
    assert run.nitrate_mg_l * volume_m3 == pytest.approx(run.pool_g)
    assert (run.pool_g >= 0).all()
    assert (run.deficit_g >= 0).all()
    assert not (run.pool_g * run.deficit_g).any()
