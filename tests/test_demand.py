"""What was promised, week by week."""

from datetime import date, timedelta

import pytest

from planner.calendarrules import DEFAULT_DELIVERY_WEEKDAY
from planner.demand import (
    cut_days,
    in_week,
    mean_price_kg,
    order_weeks,
    sold,
    unit_weight_kg,
)
from planner.farmfile import read_farm
from planner.horizon import Horizon
from planner.tables import load_crops
from tests.farms import write_small_farm

CROPS = load_crops()
MONDAY = date(2027, 3, 1)
HEAD = (
    "line,customer,crop,unit,quantity,first_week,last_week,every_weeks,weekdays,priority,price,"
    "tolerance,may_be_cut\n"
)


@pytest.fixture(scope="module")
def farm_with(tmp_path_factory):
    """Return a farm whose `orders.csv` holds the rows given; the small farm's own without any."""

    def made(*rows, **changes):
        if rows:
            changes["orders_csv"] = HEAD + "\n".join(rows) + "\n"
        return read_farm(write_small_farm(tmp_path_factory.mktemp("farm"), **changes)).farm

    return made


def lines(farm, horizon):
    """Weeks of each line, by line number."""
    found = {number: [] for number in range(len(farm.orders))}
    for order in order_weeks(farm, horizon, CROPS):
        found[order.line].append(order.week)
    return found


def lettuce(first="2027-03-01", last="2028-02-28", every=1, days="thu", end="1,2.5,0,yes"):
    return f"L,Shop,lettuce_butterhead,head,10,{first},{last},{every},{days},{end}"


def test_an_order_stands_from_its_first_week_to_its_last(farm_with):
    farm = farm_with(lettuce("2027-03-10", "2027-04-05"))  # a Wednesday and a Monday
    assert lines(farm, Horizon(plan_date=MONDAY, weeks=20, tail_weeks=0)) == {0: [1, 2, 3, 4, 5]}


@pytest.mark.parametrize(("every", "weeks"), [(1, 12), (2, 6), (3, 4), (5, 3)])
def test_every_so_many_weeks_counts_from_the_first_week(farm_with, every, weeks):
    """Also where the first week lies before the plan."""
    farm = farm_with(lettuce("2027-02-17", "2027-05-23", every=every))
    horizon = Horizon(plan_date=MONDAY, weeks=12, tail_weeks=0)
    found = lines(farm, horizon)[0]
    first = date(2027, 2, 15)
    expected = [w for w in range(12) if (horizon.monday(w) - first).days % (7 * every) == 0]
    assert found == expected
    assert len(found) == pytest.approx(weeks, abs=1)
    assert all(in_week(farm.orders[0], horizon.monday(week)) for week in found)


def test_days_before_the_plan_date_are_past_and_their_share_with_them(farm_with):
    farm = farm_with(lettuce(days="mon;wed;fri", end="1,2.5,0.2,yes"))
    for days_in, left in enumerate([(0, 2, 4), (2, 4), (2, 4), (4,), (4,)]):
        horizon = Horizon(plan_date=MONDAY + timedelta(days=days_in), weeks=4, tail_weeks=0)
        found = order_weeks(farm, horizon, CROPS)
        assert found[0].week == 0
        assert found[0].weekdays == left
        assert found[0].ordered == pytest.approx(10 * len(left) / 3)
        assert found[0].least == pytest.approx(0.8 * found[0].ordered)
        assert [order.ordered for order in found[1:]] == [10, 10, 10]
        assert {order.weekdays for order in found[1:]} == {(0, 2, 4)}
    late = order_weeks(farm, Horizon(plan_date=MONDAY + timedelta(days=5), weeks=4), CROPS)
    assert late[0].week == 1


def test_the_tail_repeats_the_weeks_of_a_year_before(farm_with):
    """Spring's orders return in the tail, one of every other week in its own weeks."""
    farm = farm_with(
        lettuce("2027-03-01", "2027-04-11"),
        lettuce("2027-03-08", "2027-05-30", every=2).replace("L,", "M,"),
        lettuce("2027-06-07", "2027-09-05").replace("L,", "N,"),
    )
    horizon = Horizon(plan_date=MONDAY, weeks=52, tail_weeks=12)
    found = lines(farm, horizon)
    assert found[0] == [0, 1, 2, 3, 4, 5, 52, 53, 54, 55, 56, 57]
    assert found[1] == [1, 3, 5, 7, 9, 11, 53, 55, 57, 59, 61, 63]
    assert found[2] == list(range(14, 27))


def test_a_year_before_counts_once_and_only_in_the_tail(farm_with):
    """An order of years gone by is not promised anew within the horizon."""
    farm = farm_with(
        lettuce("2026-03-02", "2028-12-31"),
        lettuce("2026-03-02", "2026-09-06").replace("L,", "M,"),
    )
    horizon = Horizon(plan_date=MONDAY, weeks=20, tail_weeks=10)
    found = lines(farm, horizon)
    assert found[0] == list(range(30))
    assert found[1] == list(range(20, 27))


def test_no_tail_no_repeats(farm_with):
    farm = farm_with(lettuce("2027-03-01", "2027-04-11"))
    assert lines(farm, Horizon(plan_date=MONDAY, weeks=60, tail_weeks=0)) == {0: list(range(6))}


@pytest.mark.parametrize(
    ("priority", "tolerance", "cut", "least", "price"),
    [
        (1, "0.1", "yes", 9.0, 75.0),
        (2, "0.25", "yes", 7.5, 50.0),
        (3, "", "yes", 10.0, 25.0),
        (1, "0.25", "no", 10.0, 75.0),
    ],
)
def test_tolerance_only_where_a_line_may_be_cut(farm_with, priority, tolerance, cut, least, price):
    """Shortage is priced at ten times the price times (4 less the priority)."""
    farm = farm_with(lettuce(end=f"{priority},2.5,{tolerance},{cut}"))
    first = order_weeks(farm, Horizon(plan_date=MONDAY), CROPS)[0]
    assert first.least == pytest.approx(least)
    assert first.shortage_price == pytest.approx(price)
    assert first.price == 2.5


def test_shortage_follows_the_farms_weight(farm_with):
    farm = farm_with(lettuce(), farm_toml={"[nursery]": "[weights]\nshortage = 3\n\n[nursery]"})
    assert order_weeks(farm, Horizon(plan_date=MONDAY), CROPS)[0].shortage_price == 22.5


def test_a_group_is_served_by_each_of_its_crops_at_its_own_weight(farm_with):
    farm = farm_with("G,Shop,any lettuce,head,12,2027-03-01,2027-12-31,1,thu,2,2.2,0,yes")
    first = order_weeks(farm, Horizon(plan_date=MONDAY), CROPS)[0]
    assert first.crops == ("lettuce_butterhead", "lettuce_romaine")
    assert first.kg_per_unit == tuple(CROPS[crop].kg_per_unit for crop in first.crops)
    assert first.ordered == 12


def test_fish_and_kilograms_weigh_what_they_say(farm_with):
    farm = farm_with()
    fish = next(order for order in farm.orders if "tilapia_nile" in order.crops)
    basil = next(order for order in farm.orders if "basil_genovese" in order.crops)
    assert unit_weight_kg(fish, "tilapia_nile", CROPS) == 1.0
    assert basil.unit == "kg"
    assert unit_weight_kg(basil, "basil_genovese", CROPS) == 1.0
    heads = farm.orders[0]
    assert unit_weight_kg(heads, "lettuce_butterhead", CROPS) == 0.25


def test_lines_come_in_the_order_of_the_file_and_weeks_in_theirs(farm_with):
    farm = farm_with()
    keys = [(o.line, o.week) for o in order_weeks(farm, Horizon(plan_date=MONDAY), CROPS)]
    assert keys == sorted(set(keys))
    assert {line for line, _ in keys} == set(range(6))


def test_every_week_of_the_small_farm_by_hand(farm_with):
    """Line A6: 4 kg of fish every four weeks on Fridays from the fourth week on."""
    farm = farm_with()
    horizon = Horizon(plan_date=MONDAY, weeks=52, tail_weeks=12)
    fish = [o for o in order_weeks(farm, horizon, CROPS) if o.crops == ("tilapia_nile",)]
    assert [order.week for order in fish] == [*range(3, 52, 4), *range(55, 64, 4)]
    assert all(order.weekdays == (4,) for order in fish)
    assert all(order.least == order.ordered == 4 for order in fish)


def test_a_crop_is_cut_for_its_earliest_delivery_of_the_week(farm_with):
    farm = farm_with()
    assert cut_days(farm, "lettuce_butterhead").first_weekday == 1  # Tuesdays, of A1
    assert cut_days(farm, "lettuce_romaine").first_weekday == 3  # Thursdays, of the group
    assert cut_days(farm, "basil_genovese").first_weekday == 4
    assert cut_days(farm, "swiss_chard").first_weekday == DEFAULT_DELIVERY_WEEKDAY
    assert cut_days(farm, "kale").first_weekday == DEFAULT_DELIVERY_WEEKDAY


def test_sold_is_what_orders_or_outlets_take(farm_with):
    assert sold(farm_with()) == {
        "lettuce_butterhead",
        "lettuce_romaine",
        "basil_genovese",
        "swiss_chard",
        "tomato_cherry_indet",
        "tilapia_nile",
    }
    farm = farm_with(lettuce(), outlets_csv=None)
    assert sold(farm) == {"lettuce_butterhead"}


def test_mean_price_weighs_lines_by_kilograms(farm_with):
    """10 heads of 0.25 kg at 2.50 and, every other week, 5 kg at 6.00: 40 for 5 kg a week."""
    other = "K,Shop,lettuce_butterhead,kg,5,2027-03-01,2028-02-28,2,thu,1,6,0,yes"
    farm = farm_with(lettuce(), other)
    assert mean_price_kg(farm, "lettuce_butterhead", CROPS) == pytest.approx(40 / 5)


def test_without_orders_the_best_outlet_sets_the_price(farm_with):
    farm = farm_with(
        lettuce(),
        outlets_csv=(
            "outlet,crop,most_per_week,price_kg\nStand,swiss_chard,2,6\nMarket,swiss_chard,1,7.5\n"
        ),
    )
    assert mean_price_kg(farm, "swiss_chard", CROPS) == 7.5
    assert mean_price_kg(farm, "basil_genovese", CROPS) == 0.0
