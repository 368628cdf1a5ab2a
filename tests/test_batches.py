"""Batch options: every one of them against the rules, recounted here by hand."""

import math
from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pytest

from planner.batches import (
    HEAD_KG_MIN,
    SEEDLING_DELAY_WEEKS,
    BatchOption,
    batch_options,
    fits,
    harvest_hours_kg,
)
from planner.calendarrules import LATEST_SET_OUT_WEEKDAY
from planner.crops import GrowthModel, progress_per_day
from planner.demand import cut_days
from planner.environment import Environment, daily, zone_air_c, zone_dli_mol
from planner.farm import Farm, Method, Standing
from planner.farmfile import read_farm
from planner.horizon import Horizon
from planner.tables import load_crops
from tests.farms import write_small_farm

CROPS = load_crops()
MONDAY = date(2027, 3, 1)
SMALL_CROPS = """\
    "lettuce_butterhead",
    "lettuce_romaine",
    "basil_genovese",
    "swiss_chard",
    "tomato_cherry_indet",
]"""
WIDE_CROPS = SMALL_CROPS.replace(
    "]",
    '    "mint",\n    "kale",\n    "bean_bush",\n    "cabbage",\n    "strawberry_day_neutral",\n]',
)
WIDE_OUTLETS = "outlet,crop,most_per_week,price_kg\n" + "".join(
    f"Stand,{crop},5,6\n" for crop in ("mint", "kale", "bean_bush", "strawberry_day_neutral")
)


@dataclass(frozen=True, kw_only=True)
class Case:
    """A farm, its climate, and all options of a plan made on a day."""

    farm: Farm
    horizon: Horizon
    environment: Environment
    options: tuple[BatchOption, ...]

    def standing(self, number):
        return [option for option in self.options if option.standing == number]

    def new(self):
        return [option for option in self.options if option.standing is None]

    def progress(self, crop, zone):
        air_c, light = zone_air_c(self.environment, zone), zone_dli_mol(self.environment, zone)
        return progress_per_day(crop, air_c, light), light

    def growth(self, option_or_crop, zone, first):
        crop = CROPS[option_or_crop]
        progress, light = self.progress(crop, zone)
        model = GrowthModel(crop=crop, progress=progress, dli_mol=light)
        return model.growth(self.environment.index(first))

    def delivery(self, option, week):
        """Day by which a cut must be ripe to serve a week."""
        weekday = cut_days(self.farm, option.crop).first_weekday
        day = self.horizon.monday(week) + timedelta(days=weekday)
        return max(day, self.horizon.plan_date) if week == 0 else day


def case(inputs, plan_date=MONDAY, *, standing=None, weeks=52, tail_weeks=12):
    farm = inputs.farm
    if standing is not None:
        farm = farm.model_copy(update={"standing": tuple(standing)})
    horizon = Horizon(plan_date=plan_date, weeks=weeks, tail_weeks=tail_weeks)
    first = date(2026, 9, 1)
    days = (horizon.monday(horizon.all_weeks) - first).days + 420
    environment = daily(farm, inputs.station, first, days)
    return Case(
        farm=farm,
        horizon=horizon,
        environment=environment,
        options=batch_options(
            farm, horizon, dict.fromkeys(("media_bed", "raft", "tower"), CROPS), environment
        ),
    )


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return read_farm(write_small_farm(tmp_path_factory.mktemp("small")))


@pytest.fixture(scope="module")
def wide(tmp_path_factory):
    """More kinds of crop, long cleaning, a nursery that is slow in winter, dearer cells, warmth."""
    changes = {
        SMALL_CROPS: WIDE_CROPS,
        "[nursery]\ncells = 600": (
            "[nursery]\ncells = 600\n"
            "month_factor = [1.5, 1.5, 1, 1, 1, 1, 1, 1, 1, 1.2, 1.4, 1.5]\n"
            "[prices]\nseed_cell = 0.07\nnursery_cell_week = 0.02"
        ),
        "sites = 28\nparts = 2": "sites = 28\nparts = 4\nsanitation_days = 9",
        "[15, 15, 16, 17, 18, 19, 20, 20, 18, 17, 15, 15]": "20",
    }
    folder = write_small_farm(
        tmp_path_factory.mktemp("wide"), farm_toml=changes, outlets_csv=WIDE_OUTLETS
    )
    return read_farm(folder)


@pytest.fixture(scope="module")
def small_case(small):
    return case(small)


@pytest.fixture(scope="module", params=["small", "wide", "wide_thursday"])
def any_case(request, small, wide):
    if request.param == "small":
        return case(small)
    if request.param == "wide":
        return case(wide, weeks=40, tail_weeks=0)
    return case(wide, MONDAY + timedelta(days=3), weeks=26, tail_weeks=6)


def planted(**changes):
    """A standing batch of the small farm."""
    values = {
        "id": "S",
        "crop": "lettuce_butterhead",
        "zone": "rafts",
        "parts": 2,
        "sow": date(2027, 1, 4),
        "transplant": date(2027, 1, 25),
        "as_of": MONDAY,
    }
    return Standing(**(values | changes))


# --- every option -----------------------------------------------------------------------------


def test_plants_are_what_a_part_carries(small_case):
    """By hand: 16 ft² in two parts, 28 holes on 1.44 m² in two parts, 20 slots."""
    plants = {(o.crop, o.zone): o.plants for o in small_case.options}
    assert plants == {
        ("lettuce_butterhead", 1): 14,  # holes
        ("lettuce_romaine", 1): 14,  # as many as its 20 a m² allow
        ("swiss_chard", 0): 11,  # 15 a m²
        ("swiss_chard", 1): 14,
        ("tomato_cherry_indet", 0): 1,  # 2.5 a m²
        ("basil_genovese", 0): 14,
        ("basil_genovese", 2): 20,
        ("lettuce_butterhead", 2): 20,
    }


def test_new_batches_are_sown_and_set_out_on_their_days(any_case):
    farm, horizon = any_case.farm, any_case.horizon
    assert any_case.new()
    for option in any_case.new():
        crop, zone = CROPS[option.crop], farm.zones[option.zone]
        weekday = min(zone.sanitation_days, LATEST_SET_OUT_WEEKDAY)
        assert option.set_out == horizon.monday(option.start) + timedelta(days=weekday)
        assert horizon.plan_date <= option.sow <= option.set_out
        assert 0 <= option.start < horizon.all_weeks
        assert option.sown_in_place == crop.direct_sow
        if crop.direct_sow:
            assert option.sow == option.set_out
            assert option.nursery is None
            assert option.cells == 0
        else:
            factor = farm.nursery.month_factor[option.set_out.month - 1]
            asked = round(crop.nursery_days * factor)
            assert option.sow.weekday() < 5
            assert asked <= (option.set_out - option.sow).days <= asked + 2
            assert option.nursery == (horizon.week_of(option.sow), option.start)
        assert option.state == "planned"


def test_batches_are_ripe_when_their_progress_is_full(any_case):
    for option in any_case.new():
        crop, zone = CROPS[option.crop], any_case.farm.zones[option.zone]
        progress, _ = any_case.progress(crop, zone)
        first, ripe = (any_case.environment.index(day) for day in (option.set_out, option.ripe))
        assert option.set_out < option.ripe
        assert progress[first:ripe].sum() >= crop.days_to_harvest - 1e-6
        assert progress[first : ripe - 1].sum() < crop.days_to_harvest
        assert option.first_day == first


def test_every_week_that_can_be_set_out_is_offered(any_case):
    """Each crop in each zone that it fits, unless it would be sown before the plan date."""
    horizon, farm = any_case.horizon, any_case.farm
    offered = defaultdict(set)
    for option in any_case.new():
        offered[option.crop, option.zone].add(option.start)
    assert offered
    for (name, number), starts in offered.items():
        crop, zone = CROPS[name], farm.zones[number]
        for week in range(horizon.all_weeks):
            weekday = min(zone.sanitation_days, LATEST_SET_OUT_WEEKDAY)
            set_out = horizon.monday(week) + timedelta(days=weekday)
            factor = farm.nursery.month_factor[set_out.month - 1]
            nursery_days = 0 if crop.direct_sow else round(crop.nursery_days * factor)
            begin = set_out - timedelta(days=nursery_days)
            growth = any_case.growth(name, zone, set_out)
            bears = growth is not None and sum(growth.cut_kg) > 0
            if week in starts:
                assert bears
                assert begin >= horizon.plan_date
            else:  # a sowing on a weekend begins up to two days before
                early = begin - timedelta(days=max(0, begin.weekday() - 4))
                assert not bears or early < horizon.plan_date


def test_cuts_are_within_the_stay_and_serve_what_they_can(any_case):
    horizon = any_case.horizon
    for option in any_case.options:
        before = -1
        for cut in option.cuts:
            assert cut.kg > 0
            assert max(0, option.start) <= cut.first <= cut.last
            assert cut.last < horizon.all_weeks
            assert horizon.monday(cut.last + 1) <= option.clear
            assert cut.ripe <= any_case.delivery(option, cut.first)
            assert cut.ripe >= option.set_out
            if cut.first > 0:
                assert cut.ripe > any_case.delivery(option, cut.first - 1)
            assert cut.first >= before
            before = cut.first
            if CROPS[option.crop].harvest_kind == "picking" and cut is not option.cuts[-1]:
                assert cut.first == cut.last


def test_new_batches_first_cut_is_ripe_on_their_ripe_day(any_case):
    for option in any_case.new():
        if option.cuts and CROPS[option.crop].harvest_kind != "picking":
            assert option.cuts[0].ripe == option.ripe


def test_what_is_cut_in_cuts_lasts_until_the_next(any_case):
    """Leaf is taken plant by plant: each cut serves the weeks up to the next one."""
    for option in any_case.new():
        if CROPS[option.crop].harvest_kind in {"cut-and-come", "perennial"}:
            for cut, later in zip(option.cuts, option.cuts[1:], strict=False):
                assert cut.last == max(cut.first, later.first - 1)


def test_cleared_on_monday_and_free_when_clean(any_case):
    farm, horizon = any_case.farm, any_case.horizon
    for option in any_case.options:
        zone = farm.zones[option.zone]
        offset = timedelta(days=min(zone.sanitation_days, LATEST_SET_OUT_WEEKDAY))
        clean = option.clear + timedelta(days=zone.sanitation_days)
        assert horizon.monday(option.stop) + offset >= clean
        assert horizon.monday(option.stop - 1) + offset < clean
        assert option.stop >= max(0, option.start)
        if option.standing is None or option.cuts or option.tail_kg:
            assert option.clear.weekday() == 0
            assert option.stop > max(0, option.start)
        else:
            assert option.clear == horizon.plan_date
        if option.standing is None and option.clear <= horizon.monday(horizon.all_weeks):
            assert option.clear == horizon.monday(option.cuts[-1].last + 1)
        assert option.last_day == any_case.environment.index(MONDAY) + (option.clear - MONDAY).days


def test_nothing_gives_more_than_the_table(any_case):
    """Plants on a part, less those that never make it; each way ends after one of its cuts."""
    for option in any_case.options:
        crop = CROPS[option.crop]
        most_kg = option.plants * (1 - crop.loss_pct / 100) * crop.yield_kg_per_plant
        if crop.harvest_kind == "perennial":
            most_kg *= crop.renew_after_days / 240
        kilograms = sum(cut.kg for cut in option.cuts)
        assert kilograms <= most_kg + 0.01
        if crop.harvest_kind == "once" and option.cuts:
            (cut,) = option.cuts
            assert cut.kg == pytest.approx(most_kg, abs=1e-4)
            assert cut.last == min(
                any_case.horizon.week_of(option.clear) - 1, any_case.horizon.all_weeks - 1
            )


def test_a_crop_cut_once_may_stand_its_window(small_case):
    """Butterhead holds a week: it may be cleared in each week that its window reaches."""
    horizon, window = small_case.horizon, CROPS["lettuce_butterhead"].harvest_window_days
    ways = defaultdict(list)
    for option in small_case.new():
        if option.crop == "lettuce_butterhead" and option.zone == 1:
            ways[option.start].append(option)
    assert ways
    for options in ways.values():
        (cut, *_) = {option.cuts[0].first for option in options if option.cuts} or {None}
        if cut is None:
            continue
        reach = max(cut, horizon.week_of(options[0].ripe + timedelta(days=window)))
        lasts = [horizon.week_of(option.clear) - 1 for option in options]
        assert lasts == list(range(cut, min(reach, horizon.all_weeks) + 1))


def test_uptake_is_the_nitrogen_of_the_cuts_taken(any_case):
    """All plants take up nitrogen, those that are lost too; none before or after the stay."""
    horizon = any_case.horizon
    for option in any_case.options:
        crop = CROPS[option.crop]
        uptake = option.uptake_g_n
        assert uptake.shape == (horizon.all_weeks,)
        assert (uptake >= 0).all()
        assert not uptake[: max(0, option.start)].any()
        assert not uptake[max(0, -(-(option.clear - horizon.start).days // 7)) :].any()
        most_g = option.plants * crop.n_uptake_g_per_plant
        if crop.harvest_kind == "perennial":
            most_g *= 1 + crop.renew_after_days / 240
        assert uptake.sum() <= most_g + 0.01 * horizon.all_weeks
        inside = option.clear <= horizon.monday(horizon.all_weeks)
        if option.standing is None and inside and crop.harvest_kind != "picking":
            keep = option.plants * (1 - crop.loss_pct / 100)
            share = sum(cut.kg for cut in option.cuts) / keep / crop.yield_kg_per_plant
            expected = option.plants * crop.n_uptake_g_per_plant * share
            assert uptake.sum() == pytest.approx(expected, abs=0.001 * horizon.all_weeks, rel=1e-3)


def test_picked_fruit_takes_its_whole_nitrogen_over_a_whole_course(wide):
    """A bush bean's window ends inside the horizon; its picks are full in summer's light."""
    found = case(wide, date(2027, 5, 3), weeks=40, standing=())
    crop = CROPS["bean_bush"]
    beans = [o for o in found.new() if o.crop == "bean_bush" and o.start == 1]
    full = max(beans, key=lambda option: option.clear)
    assert sum(cut.kg for cut in full.cuts) == pytest.approx(
        full.plants * (1 - crop.loss_pct / 100) * crop.yield_kg_per_plant, abs=0.01
    )
    assert full.uptake_g_n.sum() == pytest.approx(
        full.plants * crop.n_uptake_g_per_plant, abs=0.001 * found.horizon.all_weeks
    )


def test_cells_are_enough_for_what_germinates_and_what_thrives(any_case):
    for option in any_case.new():
        crop = CROPS[option.crop]
        if not crop.direct_sow:
            good = crop.germination_rate_pct / 100 * 0.95
            assert option.cells == math.ceil(option.plants / good)
            assert option.cells * good >= option.plants > (option.cells - 1) * good


def test_seed_and_nursery_are_paid_for_new_batches(any_case):
    prices = any_case.farm.prices
    for option in any_case.new():
        weeks = 0 if option.nursery is None else option.nursery[1] - option.nursery[0] + 1
        sown = option.cells or option.plants
        cost = sown * prices.seed_cell + option.cells * weeks * prices.nursery_cell_week
        assert option.seed_cost == pytest.approx(cost, abs=1e-4)


def test_labour_is_booked_in_the_week_of_its_job(any_case):
    """Cells when sown, plants when set out, the place when cleared; cutting is reckoned apart."""
    farm, horizon = any_case.farm, any_case.horizon
    labour = farm.labour
    for option in any_case.new():
        hours = np.zeros(horizon.all_weeks)
        if option.nursery is not None:
            hours[option.nursery[0]] += option.cells * labour.cell_min / 60
        hours[option.start] += option.plants * labour.plant_min / 60
        cleared = horizon.week_of(option.clear)
        if cleared < horizon.all_weeks:
            hours[cleared] += labour.place_min / farm.zones[option.zone].parts / 60
        assert option.labour_h == pytest.approx(hours, abs=1e-4)


def test_what_stands_after_the_tail_counts_by_the_share_grown(small_case):
    """A lettuce not yet ripe: its weight times the progress made by the tail's end."""
    horizon, end = small_case.horizon, small_case.horizon.monday(64)
    young = [
        option
        for option in small_case.new()
        if option.crop == "lettuce_butterhead" and option.zone == 1 and not option.cuts
    ]
    assert young
    crop, zone = CROPS["lettuce_butterhead"], small_case.farm.zones[1]
    progress, _ = small_case.progress(crop, zone)
    for option in young:
        first, last, ripe = (
            small_case.environment.index(day) for day in (option.set_out, end, option.ripe)
        )
        share = min(1, progress[first:last].sum() / progress[first:ripe].sum())
        whole_kg = option.plants * (1 - crop.loss_pct / 100) * crop.yield_kg_per_plant
        assert option.tail_kg == pytest.approx(share * whole_kg, abs=1e-3)
        assert 0 < option.tail_kg <= whole_kg
        # ripe too late for the last delivery of the tail
        assert option.ripe > small_case.delivery(option, 63)
        assert option.clear > end
    done = [o for o in small_case.options if o.clear <= end - timedelta(days=7)]
    assert done
    assert not any(option.tail_kg for option in done)
    assert horizon.all_weeks == 64


# --- which zones a crop is offered ------------------------------------------------------------


def test_crops_go_where_they_fit_best(small_case):
    """Lettuce not on gravel where rafts are better, basil not on rafts, vines where they climb."""
    zones = defaultdict(set)
    for option in small_case.new():
        zones[option.crop].add(small_case.farm.zones[option.zone].name)
    assert zones == {
        "lettuce_butterhead": {"rafts", "towers"},
        "lettuce_romaine": {"rafts"},  # its tower fit is only possible
        "basil_genovese": {"north gravel", "towers"},
        "swiss_chard": {"north gravel", "rafts"},
        "tomato_cherry_indet": {"north gravel"},
    }


def test_a_possible_zone_is_offered_where_there_is_no_good_one(small):
    gravel, rafts, _ = small.farm.zones
    lettuce, tomato = CROPS["lettuce_butterhead"], CROPS["tomato_cherry_indet"]
    assert lettuce.media_bed_fit == "possible"
    assert not fits(small.farm, lettuce, gravel)
    only_gravel = small.farm.model_copy(update={"zones": (gravel,)})
    assert fits(only_gravel, lettuce, gravel)
    assert not fits(small.farm, tomato, rafts)
    bare = gravel.model_copy(update={"trellis": False})
    assert not fits(small.farm, tomato, bare)
    never = replace(lettuce, raft_fit="no")
    assert not fits(small.farm, never, rafts)


def test_nothing_is_grown_that_nobody_takes_or_the_farm_does_not_grow(small, wide):
    sold = {o.crop for o in case(wide, weeks=30).new()}
    assert "cabbage" in wide.farm.crops_in_use
    assert sold == set(wide.farm.crops_in_use) - {"cabbage"}
    fewer = replace_farm(small, crops_in_use=("swiss_chard",))
    assert {o.crop for o in case(fewer).new()} == {"swiss_chard"}


def replace_farm(inputs, **changes):
    return replace(inputs, farm=inputs.farm.model_copy(update=changes))


def test_a_crop_that_has_no_room_on_a_part_is_not_offered(small):
    """A vine needs 0.4 m²; on a tenth of 16 ft² there is none."""
    gravel = small.farm.zones[0].model_copy(update={"parts": 10})
    found = case(replace_farm(small, zones=(gravel, *small.farm.zones[1:]), standing=()))
    assert "tomato_cherry_indet" not in {option.crop for option in found.options}


def test_the_same_farm_gives_the_same_options_in_the_same_order(small, small_case):
    again = case(small)
    keys = [
        [(o.crop, o.zone, o.standing, o.sow, o.set_out, o.clear, o.cuts, o.seed_cost) for o in c]
        for c in (small_case.options, again.options)
    ]
    assert keys[0] == keys[1]
    assert len(set(keys[0])) == len(keys[0])


# --- batches in the house ---------------------------------------------------------------------


def test_every_batch_in_the_house_has_its_options(small_case):
    for number, batch in enumerate(small_case.farm.standing):
        options = small_case.standing(number)
        assert options
        assert {(o.crop, small_case.farm.zones[o.zone].name) for o in options} == {
            (batch.crop, batch.zone)
        }
        assert {option.sow for option in options} == {batch.sow}
        assert {option.state for option in options} == {"growing"}


def test_what_stands_may_be_cleared_at_once(small_case):
    """Cleared on the plan date: it brings nothing and takes nothing more."""
    for number, batch in enumerate(small_case.farm.standing):
        if batch.transplant is None:
            continue
        (now,) = [option for option in small_case.standing(number) if not option.cuts]
        assert now.clear == small_case.horizon.plan_date
        assert now.stop == 0
        assert now.start < 0
        assert not now.uptake_g_n.any()
        assert now.seed_cost == 0
        assert now.nursery is None
        hours = small_case.farm.labour.place_min / 60
        assert now.labour_h.sum() == pytest.approx(
            hours / small_case.farm.zones[now.zone].parts, abs=1e-4
        )


def test_a_lettuce_in_the_house_goes_on_as_it_was_set_out(small_case):
    growth = small_case.growth("lettuce_butterhead", small_case.farm.zones[1], date(2027, 1, 25))
    ripe = small_case.environment.start + timedelta(days=growth.ripe_day)
    _, *later = small_case.standing(0)
    assert later
    assert {option.ripe for option in later} == {ripe}
    assert all(option.set_out == date(2027, 1, 25) for option in later)
    assert all(len(option.cuts) == 1 for option in later)
    crop = CROPS["lettuce_butterhead"]
    gone = (MONDAY - date(2027, 1, 25)).days
    still = growth.uptake_g_n[gone:].sum() * 14
    assert later[0].uptake_g_n.sum() == pytest.approx(still, abs=0.05)
    assert still < crop.n_uptake_g_per_plant * 14


@pytest.mark.parametrize("zone", ["north gravel", "rafts"])
def test_a_cut_under_way_leaves_the_share_of_its_days_to_come(small, zone):
    """Chard cut since 9 February: what is left now, by the days to the cut after."""
    batch = planted(
        crop="swiss_chard",
        zone=zone,
        sow=date(2026, 12, 7),
        transplant=date(2026, 12, 28),
        first_cut=date(2027, 2, 9),
    )
    for plan_date in (MONDAY, MONDAY + timedelta(days=9), MONDAY + timedelta(days=15)):
        found = case(small, plan_date, standing=[batch])
        crop = CROPS["swiss_chard"]
        house = next(z for z in found.farm.zones if z.name == zone)
        progress, light = found.progress(crop, house)
        growth = GrowthModel(crop=crop, progress=progress, dli_mol=light).growth(
            found.environment.index(batch.transplant), found.environment.index(batch.first_cut)
        )
        dates = [found.environment.start + timedelta(days=day) for day in growth.cut_days]
        gone = [day for day in dates if day < plan_date]
        left = [day for day in dates if day >= plan_date]
        share = (left[0] - plan_date) / (left[0] - gone[-1])
        assert 0 <= share < 1
        longest = max(found.standing(0), key=lambda option: len(option.cuts))
        whole_kg = longest.plants * (1 - crop.loss_pct / 100) * growth.cut_kg[0]
        cuts = list(longest.cuts)
        if share > 0:
            first = cuts.pop(0)
            assert first.ripe == plan_date
            assert first.first == 0
            assert first.kg == pytest.approx(share * whole_kg, abs=1e-4)
        assert [cut.ripe for cut in cuts] == left[: len(cuts)]
        assert [cut.kg for cut in cuts] == pytest.approx([whole_kg] * len(cuts), abs=1e-4)
        assert found.horizon.plan_date == plan_date


def test_fruit_under_way_has_no_cut_between_picks(wide):
    """Tomatoes picked since May: from the plan date on only whole picks count."""
    batch = planted(
        crop="tomato_cherry_indet",
        zone="north gravel",
        sow=date(2027, 2, 1),
        transplant=date(2027, 3, 15),
        first_cut=date(2027, 5, 20),
        as_of=date(2027, 7, 5),
    )
    plan_date = date(2027, 7, 5)
    found = case(wide, plan_date, standing=[batch])
    longest = max(found.standing(0), key=lambda option: len(option.cuts))
    ripe = [cut.ripe for cut in longest.cuts]
    assert ripe[0] >= plan_date
    assert all((day - batch.first_cut).days % 7 == 0 for day in ripe)


def test_heads_whose_cutting_has_begun_may_be_cut_now(small):
    """Lettuce cut since last week: the parts that still stand are worth what they weigh."""
    batch = planted(first_cut=MONDAY - timedelta(days=4), sow=date(2026, 12, 7))
    found = case(small, standing=[batch])
    _, now, *_ = found.standing(0)
    (cut,) = now.cuts
    crop = CROPS["lettuce_butterhead"]
    assert cut.ripe == MONDAY
    assert cut.first == 0
    assert cut.kg == pytest.approx(14 * (1 - crop.loss_pct / 100) * 0.25, abs=1e-4)


@pytest.mark.parametrize("crop", ["lettuce_butterhead", "swiss_chard"])
def test_a_batch_past_its_time_may_be_cut_now(small, crop):
    """By the model it was ripe before the plan date; the grower has not cut it and knows better."""
    batch = planted(crop=crop, sow=date(2026, 11, 2), transplant=date(2026, 11, 30))
    found = case(small, standing=[batch])
    growth = found.growth(crop, found.farm.zones[1], batch.transplant)
    assert found.environment.start + timedelta(days=growth.ripe_day) < MONDAY
    cuts = [option.cuts[0] for option in found.standing(0) if option.cuts]
    assert cuts
    assert all(cut.ripe == MONDAY and cut.first == 0 for cut in cuts)


def test_a_batch_that_never_ripens_may_only_be_cleared(small):
    """Basil set out into a house too cold for it all winter, and one far past its stand."""
    cold = planted(
        crop="basil_genovese", sow=date(2026, 9, 1), transplant=date(2026, 9, 20), zone="towers"
    )
    found = case(small, standing=[cold])
    old = planted(sow=date(2026, 9, 1), transplant=date(2026, 9, 22))
    for options in (found.standing(0), case(small, standing=[old]).standing(0)):
        (only,) = options
        assert only.cuts == ()
        assert only.clear == MONDAY
        assert not only.uptake_g_n.any()


def test_a_standing_crop_has_options_where_it_would_not_be_set_out(small):
    """Lettuce stands on gravel, which new lettuce is not offered; nobody takes kale any more."""
    lettuce = planted(zone="north gravel")
    kale = planted(id="K", crop="kale", zone="north gravel")
    found = case(small, standing=[lettuce, kale])
    assert any(option.cuts for option in found.standing(0))
    assert any(option.cuts for option in found.standing(1))
    assert not [o for o in found.new() if (o.crop, o.zone) == ("lettuce_butterhead", 0)]
    assert not [o for o in found.new() if o.crop == "kale"]


def test_seedlings_wait_for_their_place_a_few_weeks_at_most(small_case):
    """Sown on 15 February, three weeks in the nursery: from Tuesday, 9 March on."""
    options = small_case.standing(4)
    days = sorted({option.set_out for option in options})
    assert days == [date(2027, 3, 9) + timedelta(weeks=n) for n in range(SEEDLING_DELAY_WEEKS + 1)]
    for option in options:
        assert option.nursery == (0, option.start)
        assert option.start == small_case.horizon.week_of(option.set_out)
        hours = 14 * small_case.farm.labour.plant_min / 60
        assert option.labour_h[option.start] == pytest.approx(hours, abs=1e-4)
        assert not option.labour_h[: option.start].any()  # its cells were filled long ago
        weeks = option.start + 1
        price = small_case.farm.prices.nursery_cell_week
        assert option.seed_cost == pytest.approx(option.cells * weeks * price, abs=1e-4)
        assert option.cuts


def test_a_transplant_day_to_come_is_kept_or_late(small):
    tray = planted(sow=date(2027, 2, 1), transplant=date(2027, 3, 24))
    days = {option.set_out for option in case(small, standing=[tray]).standing(0)}
    assert min(days) == date(2027, 3, 30)
    overdue = planted(sow=date(2027, 1, 4), transplant=None)
    days = {option.set_out for option in case(small, standing=[overdue]).standing(0)}
    assert min(days) == date(2027, 3, 2)


def test_a_tray_sown_to_plan_is_set_out_to_plan(wide):
    """The nursery is slow in February and quick in March: the month of set-out decides both."""
    planned = case(wide, date(2027, 2, 1), weeks=12, tail_weeks=4, standing=())
    due = {}
    for option in planned.new():
        if option.nursery is not None and option.sow < date(2027, 3, 1):
            due.setdefault((option.sow, option.crop, option.zone), option.set_out)
    days = {sow for sow, _, _ in due}
    assert len(days) >= 4
    assert any(set_out.month != sow.month for (sow, _, _), set_out in due.items())
    for day in days:
        rows = [(crop, zone) for sow, crop, zone in due if sow == day]
        trays = [
            planted(id=crop, crop=crop, zone=wide.farm.zones[zone].name, sow=day, transplant=None)
            for crop, zone in rows
        ]
        replanned = case(wide, day, weeks=8, tail_weeks=8, standing=trays)
        for number, (crop, zone) in enumerate(rows):
            first = min(option.set_out for option in replanned.standing(number))
            assert first == due[day, crop, zone]


def test_what_is_sown_in_place_stands_from_its_sowing(wide):
    bean = planted(crop="bean_bush", zone="north gravel", sow=date(2027, 2, 1), transplant=None)
    options = case(wide, standing=[bean], weeks=30).standing(0)
    assert all(option.sown_in_place and option.nursery is None for option in options)
    assert {option.set_out for option in options} == {bean.sow}
    assert any(option.cuts for option in options)


# --- work -------------------------------------------------------------------------------------


def test_hours_to_harvest_a_kilogram(small):
    """Fruit 6 minutes, leaf 15, heads about one a head, as the farm says."""
    farm = small.farm
    assert harvest_hours_kg(farm, CROPS["tomato_cherry_indet"]) == pytest.approx(6 / 60)
    assert harvest_hours_kg(farm, CROPS["swiss_chard"]) == pytest.approx(15 / 60)
    assert harvest_hours_kg(farm, CROPS["lettuce_butterhead"]) == pytest.approx(HEAD_KG_MIN / 60)
    quick = farm.model_copy(update={"labour": farm.labour.model_copy(update={"leaf_kg_min": 2.0})})
    assert harvest_hours_kg(quick, CROPS["lettuce_butterhead"]) == pytest.approx(2 / 60)


def test_methods_of_the_small_farm(small):
    """The three zones that the tests above count on."""
    assert [zone.method for zone in small.farm.zones] == [
        Method.MEDIA_BED,
        Method.RAFT,
        Method.TOWER,
    ]
    assert [zone.sanitation_days for zone in small.farm.zones] == [3, 1, 1]
