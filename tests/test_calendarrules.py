"""Days of the week on which jobs are done: by brute force over all weekdays."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.calendarrules import (
    FISH_WEEKDAY,
    LAST_WORKING_WEEKDAY,
    TANK_REST_DAYS,
    CutDays,
    cut_day,
    free_week,
    set_out_weekday,
    sowing_day,
)
from planner.horizon import Horizon

MONDAY = date(2027, 3, 1)
HORIZONS = [Horizon(plan_date=MONDAY + timedelta(days=n)) for n in range(7)]


def days_from(first, count):
    return [first + timedelta(days=n) for n in range(count)]


def test_places_are_set_out_from_monday_to_thursday():
    assert [set_out_weekday(days) for days in range(6)] == [0, 1, 2, 3, 3, 3]


@pytest.mark.parametrize("nursery_days", [0, 1, 2, 3, 12, 21, 24, 42, 63])
def test_sowing_is_on_a_working_day_and_early_by_two_days_at_most(nursery_days):
    for set_out in days_from(MONDAY, 28):
        sow = sowing_day(set_out, nursery_days)
        assert sow.weekday() <= LAST_WORKING_WEEKDAY
        assert nursery_days <= (set_out - sow).days <= nursery_days + 2
        if (set_out - timedelta(days=nursery_days)).weekday() <= LAST_WORKING_WEEKDAY:
            assert (set_out - sow).days == nursery_days


@pytest.mark.parametrize("sanitation_days", range(21))
def test_a_place_is_free_in_the_first_week_whose_set_out_day_it_is_clean_for(sanitation_days):
    """Cleared on any day, before the horizon too, and looked for week by week."""
    for horizon in HORIZONS:
        for clear in days_from(horizon.monday(-3), 63):
            ready = clear + timedelta(days=sanitation_days)
            week = -5
            while horizon.monday(week) + timedelta(days=set_out_weekday(sanitation_days)) < ready:
                week += 1
            assert free_week(horizon, clear, sanitation_days) == week


@pytest.mark.parametrize("sanitation_days", range(4))
def test_no_week_is_lost_to_a_clearing_on_monday(sanitation_days):
    horizon = HORIZONS[0]
    for week in range(8):
        assert free_week(horizon, horizon.monday(week), sanitation_days) == week


def test_longer_cleaning_is_never_free_sooner():
    horizon = HORIZONS[0]
    for clear in days_from(MONDAY, 14):
        weeks = [free_week(horizon, clear, days) for days in range(21)]
        assert weeks == sorted(weeks)


def test_a_tank_emptied_on_fish_day_rests_until_the_next():
    """Fish days of two weeks running lie the tank's rest apart."""
    horizon = HORIZONS[2]
    taken = horizon.monday(4) + timedelta(days=FISH_WEEKDAY)
    stocked = horizon.monday(5) + timedelta(days=FISH_WEEKDAY)
    assert (stocked - taken).days == TANK_REST_DAYS


def test_the_first_week_served_is_the_first_whose_delivery_day_is_not_before_ripeness():
    for weekday in range(7):
        rule = CutDays(first_weekday=weekday)
        for horizon in HORIZONS:
            for ripe in days_from(horizon.monday(-2), 42):
                week = rule.first_week(horizon, ripe)
                assert week >= 0
                assert rule.serves(horizon, week, ripe)
                assert week == 0 or not rule.serves(horizon, week - 1, ripe)
                day = horizon.monday(week) + timedelta(days=weekday)
                latest = max(day, horizon.plan_date) if week == 0 else day
                assert ripe <= latest


def test_what_is_ripe_on_the_plan_date_serves_its_week_after_the_usual_day():
    """Planned on a Friday for deliveries on Tuesdays: what is ripe now can go this week."""
    horizon = HORIZONS[4]
    rule = CutDays(first_weekday=1)
    assert rule.first_week(horizon, horizon.plan_date) == 0
    assert rule.first_week(horizon, horizon.plan_date + timedelta(days=1)) == 1


@settings(deadline=None, max_examples=400)
@given(
    horizon=st.sampled_from(HORIZONS),
    delivery=st.integers(0, 40),
    ripe=st.integers(-30, 60),
)
def test_cutting_is_neither_too_early_nor_needlessly_late(horizon, delivery, ripe):
    delivery, ripe = (horizon.plan_date + timedelta(days=n) for n in (delivery, ripe))
    cut = cut_day(horizon, delivery, ripe)
    assert cut >= ripe
    assert cut >= horizon.plan_date
    if ripe <= delivery:
        assert cut <= delivery
        assert horizon.week_of(cut) == horizon.week_of(delivery)
    else:
        assert cut == ripe
    if cut < delivery:
        assert cut.weekday() <= LAST_WORKING_WEEKDAY
        between = days_from(cut + timedelta(days=1), (delivery - cut).days - 1)
        assert all(day.weekday() > LAST_WORKING_WEEKDAY for day in between)


@pytest.mark.parametrize(
    ("delivery", "cut"),
    [(0, 0), (1, 0), (2, 1), (3, 2), (4, 3), (5, 4), (6, 4)],
    ids=["mon", "tue", "wed", "thu", "fri", "sat", "sun"],
)
def test_cutting_is_on_the_working_day_before_within_the_week(delivery, cut):
    horizon = HORIZONS[0]
    monday = horizon.monday(3)
    found = cut_day(horizon, monday + timedelta(days=delivery), MONDAY)
    assert found == monday + timedelta(days=cut)


def test_cutting_is_on_the_delivery_day_when_the_day_before_is_too_early():
    horizon = HORIZONS[3]
    assert cut_day(horizon, horizon.plan_date, MONDAY) == horizon.plan_date
    friday = horizon.monday(2) + timedelta(days=4)
    assert cut_day(horizon, friday, friday) == friday
