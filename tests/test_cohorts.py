"""Cohort options: every one of them followed day by day and recounted by hand."""

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pytest

from planner.calendarrules import FISH_WEEKDAY, TANK_REST_DAYS
from planner.cohorts import WAITS, cohort_options
from planner.environment import Environment, daily
from planner.farm import CohortAtHand, Farm
from planner.farmfile import read_farm
from planner.farmlists import FishOrdered
from planner.fish import course
from planner.horizon import Horizon
from planner.stays import HEAVIEST, LEAST_SALEABLE, LONGEST_WEEKS, SPREADS, CohortOption
from planner.tables import Fish, load_fish
from tests.farms import write_small_farm

FISH = load_fish()
NILE = FISH["tilapia_nile"]
MONDAY = date(2027, 3, 1)
BOUGHT = """\
[[fingerlings]]
species = "tilapia_nile"
weight = 50
price = 1.2
lead_weeks = 3
least_count = 30
"""


@dataclass(frozen=True, kw_only=True)
class Case:
    """A farm, its water, and all options of a plan made on a day."""

    farm: Farm
    fish: dict[str, Fish]
    horizon: Horizon
    environment: Environment
    options: tuple[CohortOption, ...]

    def new(self):
        return [option for option in self.options if option.at_hand is None]

    def at_hand(self, number):
        return [option for option in self.options if option.at_hand == number]

    def course(self, option):
        """Growth and survival of an option's fish from its first day on."""
        at = self.environment.index(option.stock)
        water_c = self.environment.water_c[at : at + LONGEST_WEEKS * 7]
        if option.at_hand is None:
            start_g = self.farm.fingerlings[option.offer].weight_g
        else:
            start_g = self.farm.cohorts[option.at_hand].mean_g
        return course(self.fish[option.species], start_g, water_c)

    def most_kg(self, option):
        tank = self.farm.tanks[option.tank]
        density = tank.max_density_kg_m3 or self.fish[option.species].density_max_kg_m3
        return density * tank.volume_m3


@dataclass(frozen=True, kw_only=True)
class Day:
    """One day of one stocked fish: share in the tank before and after any are taken."""

    date: date
    before: float
    taken: float
    after: float
    weight_g: float
    feed_g: float


FOLLOWED: dict[CohortOption, list[Day]] = {}  # options are told apart as objects


def followed(case, option):
    """Follow an option day by day to its last take or the end of the tail."""
    if option in FOLLOWED:
        return FOLLOWED[option]
    grown = case.course(option)
    takes = {take.day: take.share for take in option.takes}
    end = case.horizon.monday(case.horizon.all_weeks)
    last = max(takes, default=end - timedelta(days=1))
    here, days = 1.0, []
    for n in range((last - option.stock).days + 1):
        day = option.stock + timedelta(days=n)
        if n:
            here *= grown.alive[n] / grown.alive[n - 1]
        taken = takes.get(day, 0.0)
        feed_g = grown.feed_g[n] / grown.alive[n] * (here - taken)
        days.append(
            Day(
                date=day,
                before=here,
                taken=taken,
                after=here - taken,
                weight_g=float(grown.weight_g[n]),
                feed_g=feed_g,
            )
        )
        here -= taken
    FOLLOWED[option] = days
    return days


def case(inputs, plan_date=MONDAY, *, weeks=52, tail_weeks=12, fish=None, **changes):
    farm = inputs.farm.model_copy(update=changes)
    horizon = Horizon(plan_date=plan_date, weeks=weeks, tail_weeks=tail_weeks)
    first = min([horizon.start, *(cohort.as_of for cohort in farm.cohorts)]) - timedelta(days=7)
    days = (horizon.monday(horizon.all_weeks) - first).days + LONGEST_WEEKS * 7 + 14
    environment = daily(farm, inputs.station, first, days)
    table = dict(inputs.fish) | (fish or {})
    return Case(
        farm=farm,
        fish=table,
        horizon=horizon,
        environment=environment,
        options=cohort_options(farm, horizon, table, environment),
    )


def water_at(inputs, temperatures_c):
    values = tuple(float(t) for t in np.broadcast_to(temperatures_c, 12))
    return inputs.farm.water.model_copy(update={"temperatures_c": values})


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return read_farm(write_small_farm(tmp_path_factory.mktemp("small")))


@pytest.fixture(scope="module")
def mixed(tmp_path_factory):
    """Two kinds of tank, one with its own density, two species, gravel that keeps the solids."""
    changes = {
        "biofilter_area = 400": "biofilter_area = 400\nsolids_kept = true",
        '[[zone]]\nname = "north gravel"': (
            '[[tank]]\nname = "round tank"\nvolume = 2.5\nmax_density = 12\n\n'
            '[[zone]]\nname = "north gravel"'
        ),
        BOUGHT: BOUGHT
        + '\n[[fingerlings]]\nspecies = "bluegill"\nweight = 40\nprice = 0.9\n'
        + "lead_weeks = 6\nmonths = [4, 5, 9]\nleast_count = 25\n",
        "[fish_prices]": "[fish_prices]\nbluegill = 11",
    }
    return read_farm(write_small_farm(tmp_path_factory.mktemp("mixed"), farm_toml=changes))


@pytest.fixture(scope="module", params=["small", "mixed", "mixed_saturday"])
def any_case(request, small, mixed):
    if request.param == "small":
        return case(small)
    if request.param == "mixed":
        return case(mixed, weeks=60, tail_weeks=0)
    return case(mixed, MONDAY + timedelta(days=5), weeks=40, tail_weeks=8)


# --- every option -----------------------------------------------------------------------------


def test_new_fish_come_on_fish_day_when_they_can_be_had(any_case):
    horizon = any_case.horizon
    assert {option.offer for option in any_case.new()} == set(range(len(any_case.farm.fingerlings)))
    for option in any_case.new():
        offer = any_case.farm.fingerlings[option.offer]
        assert option.stock.weekday() == FISH_WEEKDAY
        assert option.stock >= horizon.plan_date + timedelta(weeks=offer.lead_weeks)
        assert option.stock.month in offer.months
        assert horizon.monday(option.start) <= option.stock < horizon.monday(option.start + 1)
        assert option.species == offer.species
        assert option.fingerling_price == offer.price
        assert option.most_fish >= offer.least_count
        assert option.count == 0


def test_every_week_in_which_fish_can_be_had_is_offered(any_case):
    """In every kind of tank: the small farm's water suits its fish all year."""
    horizon = any_case.horizon
    found = defaultdict(set)
    for option in any_case.new():
        found[option.offer, option.tank].add(option.stock)
    for number, offer in enumerate(any_case.farm.fingerlings):
        days = [horizon.monday(week) + timedelta(days=3) for week in range(horizon.all_weeks)]
        first = horizon.plan_date + timedelta(weeks=offer.lead_weeks)
        expected = {day for day in days if day >= first and day.month in offer.months}
        assert expected
        for tank in range(len(any_case.farm.tanks)):
            assert found[number, tank] == expected


def test_the_fish_in_the_tank_are_those_stocked_less_dead_and_taken(any_case):
    """Counted on every Monday; they never become more, and grow while they stand."""
    horizon = any_case.horizon
    for option in any_case.options:
        days = {day.date: day for day in followed(any_case, option)}
        for week in range(horizon.all_weeks):
            day = days.get(horizon.monday(week))
            here = 0.0 if day is None else day.after
            assert option.alive[week] == pytest.approx(here, abs=2e-6)
            grams = day.weight_g if day and here > 1e-9 else 0.0
            assert option.mean_g[week] == pytest.approx(grams, abs=1e-3)
        inside = option.alive[max(0, option.start + 1) :]
        assert (np.diff(inside) <= 1e-9).all()
        assert (np.diff(option.mean_g[option.mean_g > 0]) >= 0).all()
        assert (option.alive <= 1).all()


def test_takes_are_equal_numbers_and_empty_the_tank(any_case):
    """What is taken is who survived: the last take leaves nobody."""
    for option in any_case.options:
        if not option.takes:
            continue
        days = [day for day in followed(any_case, option) if day.taken]
        assert len(days) == len(option.takes)
        assert days[-1].after == pytest.approx(0, abs=1e-9)
        spread = len(days)
        left = [day.taken / day.before for day in days]
        assert left == pytest.approx([1 / (spread - n) for n in range(spread)])
        alive = any_case.course(option).alive
        survivors = [alive[(take.day - option.stock).days] for take in option.takes]
        assert sum(take.share for take in option.takes) == pytest.approx(np.mean(survivors))
        shares = [take.share for take in option.takes]
        assert max(shares) - min(shares) <= (survivors[0] - survivors[-1]) / spread + 1e-9


def test_takes_are_on_fish_day_week_after_week(any_case):
    horizon = any_case.horizon
    for option in any_case.options:
        weeks = [take.week for take in option.takes]
        assert weeks == list(range(weeks[0], weeks[0] + len(weeks))) if weeks else True
        assert len(weeks) in (0, *SPREADS)
        for take in option.takes:
            usual = horizon.monday(take.week) + timedelta(days=FISH_WEEKDAY)
            assert take.day == (max(usual, horizon.plan_date) if take.week == 0 else usual)
            assert horizon.plan_date <= take.day < horizon.monday(horizon.all_weeks)


def test_fish_are_taken_from_market_weight_on(any_case):
    """New ones on the first fish day at weight or a few weeks on, never far too heavy."""
    for option in any_case.new():
        fish = any_case.fish[option.species]
        grown = any_case.course(option)
        if not option.takes:
            continue
        first, last = option.takes[0], option.takes[-1]
        assert first.mean_g >= fish.market_g
        day = int(np.argmax(grown.weight_g >= fish.market_g))
        reached = option.stock + timedelta(days=day)
        assert reached <= first.day < reached + timedelta(weeks=max(WAITS) + 1)
        whole_at_once = len(option.takes) == 1
        assert last.mean_g <= HEAVIEST * fish.market_g or whole_at_once


def test_only_fish_of_four_fifths_of_market_weight_are_sold(any_case):
    horizon = any_case.horizon
    for option in any_case.options:
        fish = any_case.fish[option.species]
        kilograms = np.zeros(horizon.all_weeks)
        for take in option.takes:
            assert take.saleable == (take.mean_g >= LEAST_SALEABLE * fish.market_g)
            if take.saleable:
                kilograms[take.week] += take.share * take.mean_g / 1000
        assert option.kg == pytest.approx(kilograms, abs=2e-6)


def test_a_tank_rests_seven_days_and_no_week_more(any_case):
    """From the last take to the first fish day on which the next may come."""
    horizon = any_case.horizon
    for option in any_case.options:
        assert option.stop <= horizon.all_weeks
        if not option.takes:
            assert option.stop == horizon.all_weeks
            continue
        empty = option.takes[-1].day
        days = [
            horizon.monday(week) + timedelta(days=FISH_WEEKDAY)
            for week in range(option.takes[-1].week, horizon.all_weeks + 3)
        ]
        rested = next(day for day in days if (day - empty).days >= TANK_REST_DAYS)
        assert option.stop == min(horizon.week_of(rested), horizon.all_weeks)


def test_density_is_never_over_the_limit_on_any_day(any_case):
    """With `most_fish` stocked, before the fish of a day are taken; one fish more is too many.

    Those that stay on past the tail must still fit when they reach market weight.
    """
    for option in any_case.options:
        most_kg = any_case.most_kg(option)
        days = followed(any_case, option)
        now = any_case.horizon.plan_date
        peak_kg = max(day.before * day.weight_g / 1000 for day in days if day.date >= now)
        if option.at_hand is None and not option.takes:
            fish = any_case.fish[option.species]
            peak_kg = max(peak_kg, fish.market_g / 1000 * fish.survival_growout_fraction)
        assert option.most_fish * peak_kg <= most_kg * (1 + 1e-9)
        assert (option.most_fish + 1) * peak_kg > most_kg


def test_weeks_over_density_are_those_with_a_day_over(any_case):
    horizon = any_case.horizon
    for option in any_case.options:
        most_kg = any_case.most_kg(option)
        over = {
            horizon.week_of(day.date)
            for day in followed(any_case, option)
            if day.date >= horizon.plan_date
            and day.before * day.weight_g / 1000 * option.count > most_kg + 1e-6
        }
        assert option.over_density_weeks == len(over)


def test_feed_is_given_to_those_in_the_tank(any_case):
    horizon = any_case.horizon
    for option in any_case.options:
        feed_g = np.zeros(horizon.all_weeks)
        for day in followed(any_case, option):
            if day.date >= horizon.start:
                feed_g[horizon.week_of(day.date)] += day.feed_g
        assert option.feed_g == pytest.approx(feed_g, abs=1e-3)


def test_feed_nitrogen_is_kept_dissolved_or_solid(any_case):
    """No nitrogen is made or lost: what the gain does not hold is in the water."""
    water = any_case.farm.water
    for option in any_case.options:
        fish = any_case.fish[option.species]
        feed_n_g = option.feed_g * fish.feed_protein_growout_pct / 100 / 6.25
        retained_g = option.feed_g / fish.fcr * fish.body_n_fraction
        assert option.feed_n_g == pytest.approx(feed_n_g, abs=1e-9)
        assert option.solids_n_g == pytest.approx(0.12 * feed_n_g, abs=1e-9)
        together = retained_g + option.solids_n_g + option.dissolved_n_g
        assert together == pytest.approx(option.feed_n_g, abs=2e-5)
        assert option.tan_g == pytest.approx(0.9 * option.dissolved_n_g)
        supply_g = 0.7 * option.dissolved_n_g
        if water.solids_kept:
            supply_g = supply_g + 0.5 * option.solids_n_g
        assert option.supply_n_g == pytest.approx(supply_g)
        assert (option.dissolved_n_g >= 0).all()


def test_fish_on_past_the_tail_count_at_their_weight_then(any_case):
    staying = [option for option in any_case.options if not option.takes]
    for option in any_case.options:
        if option.takes:
            assert option.tail_kg == 0
    for option in staying:
        grown = any_case.course(option)
        last = (any_case.horizon.monday(any_case.horizon.all_weeks) - option.stock).days
        here = followed(any_case, option)[-1].after
        assert option.tail_kg == pytest.approx(here * grown.weight_g[last] / 1000, abs=1e-6)
        assert option.tail_kg > 0
    assert any(option.at_hand is None for option in staying)


def test_the_same_farm_gives_the_same_options_in_the_same_order(small):
    keys = [
        [(o.species, o.tank, o.at_hand, o.stock, o.takes, o.most_fish) for o in case(small).options]
        for _ in range(2)
    ]
    assert keys[0] == keys[1]
    assert len(set(keys[0])) == len(keys[0])


# --- what is not offered ----------------------------------------------------------------------


def test_no_fish_where_the_water_kills_them(small):
    """Nile tilapia die below 12 °C: no stay reaches into such a winter, or out of it."""
    cold = water_at(small, [11, 11, 14, 18, 22, 26, 28, 28, 26, 22, 16, 12])
    found = case(small, water=cold, cohorts=())
    for option in found.new():
        last = option.takes[-1].day if option.takes else found.horizon.monday(64)
        at = found.environment.index(option.stock)
        water_c = found.environment.water_c[at : found.environment.index(last)]
        assert water_c.min() >= NILE.temp_lethal_low_c
    assert not case(small, water=water_at(small, 36.5), cohorts=()).options


def test_more_than_four_weeks_too_cold_to_feed_is_marked(small):
    mild = case(small, water=water_at(small, [14, 14, 20, *[27] * 7, 20, 14]), cohorts=())
    flags = set()
    for option in mild.new():
        last = option.takes[-1].day if option.takes else mild.horizon.monday(64)
        at = mild.environment.index(option.stock)
        water_c = mild.environment.water_c[at : mild.environment.index(last)]
        weeks = [water_c[n : n + 7].mean() for n in range(0, len(water_c), 7)]
        assert option.cold == (sum(week <= NILE.temp_min_feed_c for week in weeks) > 4)
        flags.add(option.cold)
    assert flags == {True, False}
    assert not any(option.cold for option in case(small).options)


def test_a_tank_too_small_for_the_least_order_is_not_offered(small):
    (offer,) = small.farm.fingerlings
    most = max(option.most_fish for option in case(small).new())
    for least, any_left in ((most, True), (most + 1, False)):
        offers = (offer.model_copy(update={"least_count": least}),)
        assert bool(case(small, fingerlings=offers).new()) == any_left


def test_no_offers_no_new_fish_and_no_cohorts_none_at_hand(small):
    assert not case(small, fingerlings=()).new()
    found = case(small, cohorts=())
    assert found.new() == list(found.options)
    assert not case(small, cohorts=(), fingerlings=()).options


def test_slow_fish_over_the_longest_horizon(small):
    """Market weight is reached just before the two years that fish are followed end."""
    grown = course(NILE, 50.0, np.full(728, 22.0))
    for day in (640, 690, 715, 727):
        slow = replace(NILE, market_g=float(grown.weight_g[day]) - 1e-6)
        found = case(
            small,
            weeks=104,
            tail_weeks=26,
            fish={"tilapia_nile": slow},
            water=water_at(small, 22.0),
            cohorts=(),
            tanks=(small.farm.tanks[0].model_copy(update={"volume_m3": 9.0}),),
        )
        for option in found.options:
            end = option.takes[-1].day if option.takes else found.horizon.monday(130)
            assert (end - option.stock).days <= LONGEST_WEEKS * 7
        assert any(not option.takes for option in found.options)
        assert any(option.takes for option in found.options) == (day < 720)


# --- fish at hand -----------------------------------------------------------------------------


def hand(count, mean_g, as_of=date(2027, 2, 26), tank="fish tank 1"):
    return CohortAtHand(tank=tank, species="tilapia_nile", count=count, mean_g=mean_g, as_of=as_of)


def test_fish_at_hand_go_on_from_their_count_and_weight(any_case):
    for number, cohort in enumerate(any_case.farm.cohorts):
        options = any_case.at_hand(number)
        assert options
        for option in options:
            assert option.stock == cohort.as_of
            assert option.count == cohort.count
            assert option.offer is None
            assert option.fingerling_price == 0
            assert option.start == any_case.horizon.week_of(cohort.as_of) < 0
            assert cohort.tank in any_case.farm.tanks[option.tank].tank_names
        assert len({option.takes for option in options}) == len(options)


@pytest.mark.parametrize("plan_day", [0, 3, 4, 6])
@pytest.mark.parametrize(("count", "mean_g"), [(34, 310), (34, 90), (30, 640), (400, 500), (5, 60)])
def test_fish_at_hand_can_always_be_taken_on_the_first_fish_day(small, plan_day, count, mean_g):
    """The earliest remedy, whatever the weight and the crowding, with lethal water to come too."""
    plan_date = MONDAY + timedelta(days=plan_day)
    cold = water_at(small, [11, 11, 11, *[20] * 7, 11, 11])
    for water in (small.farm.water, cold):
        found = case(small, plan_date, water=water, cohorts=(hand(count, mean_g),), fingerlings=())
        thursday = MONDAY + timedelta(days=FISH_WEEKDAY)
        first = [
            option
            for option in found.at_hand(0)
            if [take.day for take in option.takes] == [max(thursday, plan_date)]
        ]
        assert len(first) == 1
        assert first[0].stop == (1 if plan_day <= FISH_WEEKDAY else 2)


def test_heavy_fish_at_hand_may_wait_or_be_taken_over_weeks(small):
    """At market weight already and far from crowded: all waits up to half as heavy again."""
    found = case(small, cohorts=(hand(10, 640),), fingerlings=())
    firsts = {option.takes[0].week for option in found.at_hand(0)}
    assert {0, 1, 2, 3, 4, 6, 8} <= firsts
    assert {len(option.takes) for option in found.at_hand(0)} == set(SPREADS)
    late = [option.takes[-1] for option in found.at_hand(0) if len(option.takes) > 1]
    assert max(take.mean_g for take in late) <= HEAVIEST * NILE.market_g


def test_fish_that_outgrow_their_tank_may_be_taken_just_in_time(small):
    """34 fish fill 1 m³ to 20 kg a week before market weight; they are not sold as fingerlings.

    The first cohort of the small farm: from the last fish day before the limit on, whole or over
    weeks, every day within the limit and every fish fit to sell.
    """
    found = case(small, fingerlings=())
    remedy, ways = [], []
    for option in found.at_hand(0):
        (remedy if option.takes[0].week == 0 else ways).append(option)
    assert len(remedy) == 1
    assert not remedy[0].kg.any()
    assert {len(option.takes) for option in ways} == set(SPREADS)
    for option in ways:
        assert option.over_density_weeks == 0
        assert all(take.saleable for take in option.takes)
        assert option.most_fish >= option.count
    stays = followed(found, replace(ways[0], takes=()))
    too_late = next(day.date for day in stays if day.before * day.weight_g * 34 / 1000 > 20)
    assert too_late - timedelta(days=7) <= ways[0].takes[0].day < too_late


def test_an_overfull_tank_is_given_its_remedy_and_no_more(small):
    """200 fish of 500 g are 100 kg in a tank for 20: every way but the first is worse."""
    (only,) = case(small, cohorts=(hand(200, 500),), fingerlings=()).at_hand(0)
    assert only.takes[0].week == 0
    assert only.over_density_weeks == 1
    assert only.takes[0].saleable


def test_fish_far_from_market_stay_on_past_a_short_horizon(small):
    found = case(small, weeks=8, tail_weeks=4, cohorts=(hand(20, 90),), fingerlings=())
    stays = [option for option in found.at_hand(0) if not option.takes]
    assert len(stays) == 1
    assert stays[0].stop == 12
    assert stays[0].tail_kg > 0


def test_an_older_count_is_grown_up_to_the_plan_date(small):
    """Counted two weeks before: by the plan date heavier and fewer."""
    early = case(small, cohorts=(hand(20, 200, as_of=MONDAY - timedelta(days=14)),))
    late = case(small, cohorts=(hand(20, 200, as_of=MONDAY),))
    for option, fresh in zip(early.at_hand(0), late.at_hand(0), strict=False):
        assert option.alive[0] < fresh.alive[0] == 1
        assert option.mean_g[0] > fresh.mean_g[0] == 200
        assert option.start == -2


# --- fish on order ----------------------------------------------------------------------------


def on_order(day, count=40, **changes):
    values = {
        "cohort": "tilapia_nile-27w12", "species": "tilapia_nile", "tank": "fish tank 2",
        "count": count, "mean_g": 50, "day": day,
    }  # fmt: skip
    return FishOrdered(**(values | changes))


def of_order(found, number=0):
    return [option for option in found.options if option.ordered == number]


@pytest.mark.parametrize("days", [3, 10, 17])
def test_fish_on_order_come_on_their_day_inside_the_lead_time(small, days):
    """Three weeks of lead time: none of these days could be had anew, but for the order."""
    day = MONDAY + timedelta(days=days)
    found = case(small, ordered=(on_order(day),))
    options = of_order(found)
    assert options
    assert {option.stock for option in options} == {day}
    assert {option.start for option in options} == {days // 7}
    assert not any(option.stock == day for option in found.new() if option.ordered is None)
    (offer,) = small.farm.fingerlings
    for option in options:
        assert (option.at_hand, option.offer, option.count) == (None, 0, 0)
        assert option.fingerling_price == offer.price
        assert option.mean_g[option.start + 1] > offer.weight_g


def test_no_more_fish_come_than_are_ordered(small):
    day = MONDAY + timedelta(days=10)
    roomy = of_order(case(small, ordered=(on_order(day, count=5000),)))
    assert {option.most_fish for option in roomy} != {5000}  # a tank holds no more than it holds
    for count in (1, 7):  # and fewer than can be bought anew, if fewer are ordered
        options = of_order(case(small, ordered=(on_order(day, count=count),)))
        assert {option.most_fish for option in options} == {count}


def test_fish_on_order_may_go_into_every_kind_of_tank(mixed):
    day = MONDAY + timedelta(days=10)
    orders = (on_order(day), on_order(day, species="bluegill", mean_g=40))
    found = case(mixed, weeks=60, tail_weeks=0, ordered=orders)
    for number, order in enumerate(orders):
        options = of_order(found, number)
        assert {option.species for option in options} == {order.species}
        assert {option.tank for option in options} == set(range(len(mixed.farm.tanks)))
        assert {found.farm.fingerlings[o.offer].species for o in options} == {order.species}


def test_fish_that_come_before_fish_day_hold_their_tank_from_the_week_before(small):
    """A tank that was emptied last Thursday has not rested for a week by then."""
    for days, start in ((9, 0), (10, 1), (11, 1)):  # Wednesday, Thursday, Friday
        day = MONDAY + timedelta(days=days)
        options = of_order(case(small, ordered=(on_order(day),)))
        assert {option.start for option in options} == {start}


# --- staggered tanks --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def uvi(small):
    """Nile tilapia as at the University of the Virgin Islands, four tanks of 7.8 m³ at 28 °C.

    Rakocy, Bailey, Shultz, Thoman 2004: 77 fish/m³, 813.8 g after 24 weeks, 61.5 kg/m³, survival
    98.3 %, feed conversion 1.7, one tank harvested every six weeks. The start weight of 79.2 g and
    the temperature are from memory; the growth coefficient of 1.072 follows from them.
    """
    nile = replace(
        NILE,
        fingerling_g=79.2,
        market_g=813.8,
        tgc_per_1000_degree_days=1.072,
        fcr=1.7,
        survival_growout_fraction=0.983,
        density_max_kg_m3=61.7,
    )
    (tank,) = small.farm.tanks
    (offer,) = small.farm.fingerlings
    return case(
        small,
        fish={"tilapia_nile": nile},
        tanks=(tank.model_copy(update={"places": 4, "volume_m3": 7.8}),),
        fingerlings=(offer.model_copy(update={"weight_g": 79.2, "lead_weeks": 0}),),
        water=water_at(small, 28.0),
        cohorts=(),
    )


def whole(uvi, start):
    """The option taken whole at market weight."""
    return next(o for o in uvi.new() if o.start == start and len(o.takes) == 1)


def test_a_staggered_tank_is_stocked_and_taken_as_published(uvi):
    option = whole(uvi, 0)
    (take,) = option.takes
    assert take.week == 24
    assert take.mean_g == pytest.approx(813.8, rel=0.005)
    assert take.share == pytest.approx(0.983, abs=0.001)
    assert option.most_fish == pytest.approx(77 * 7.8, rel=0.005)
    taken_kg = option.most_fish * option.kg.sum()
    assert taken_kg / 7.8 == pytest.approx(61.5, rel=0.005)
    assert taken_kg * 52 / 6 / 1000 == pytest.approx(4.16, abs=0.03)
    # Thursdays, between the Mondays three days before and four after
    root = np.cbrt(option.mean_g)
    weights = [float(root[week] * 4 / 7 + root[week + 1] * 3 / 7) ** 3 for week in (6, 12, 18)]
    assert weights == pytest.approx([171.4, 316.6, 526.7], rel=0.005)


def test_four_staggered_tanks_even_out_the_feed(uvi):
    """Six weeks apart, at 600.6 fish a tank: 14.8 to 21.1 kg a day, one batch 6.8 to 32.1.

    Those figures are days of the published run, worked out; weekly means lie between.
    """
    starts = (0, 6, 12, 18)
    options = [whole(uvi, start) for start in starts]
    assert {option.takes[0].week - option.start for option in options} == {24}
    four = sum(option.feed_g for option in options) * 600.6 / 1000 / 7
    steady = four[19:24]  # all four stand, whole weeks
    assert 14.8 < steady.min() < steady.max() < 21.1
    assert steady.mean() == pytest.approx(17.9, rel=0.03)
    one_batch = 4 * options[0].feed_g[1:24] * 600.6 / 1000 / 7
    assert one_batch.min() == pytest.approx(6.8, rel=0.15)
    assert one_batch.max() == pytest.approx(32.1, rel=0.07)
    assert steady.max() / steady.min() < 1.43
    assert one_batch.max() / one_batch.min() > 4


def test_staggered_tanks_are_restocked_after_their_rest(uvi):
    """Each tank is free a week after it was emptied; the four never stand empty together."""
    held = np.zeros(uvi.horizon.all_weeks)
    for start in (0, 6, 12, 18):
        week = start
        while week < 40:
            option = whole(uvi, week)
            assert option.stop == option.start + 25
            held[option.start : option.stop] += 1
            week = option.stop
    assert (held[18:40] == 4).all()
