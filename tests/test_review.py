"""The review: planned against real, with every number of one case told by hand."""

from datetime import date, timedelta

import pytest
from hypothesis import given as property_given
from hypothesis import settings
from hypothesis import strategies as st

from planner.book import Deaths, Delivery, Done, Feed, Loss, Note, Skipped, Void, WaterTest, Weigh
from planner.errors import PlannerError
from planner.review import BatchRow, CropRow, Review
from tests.plandocs import CROPS
from tests.reviews import (
    BASIL,
    BOOK,
    FIRST,
    LAST,
    LETTUCE,
    TILAPIA,
    april,
    cut,
    farm,
    given,
    march,
    order,
    plan,
    reviewed,
)


@pytest.fixture(scope="module")
def found() -> Review:
    return reviewed()


def batch(found: Review, id: str) -> BatchRow:
    (row,) = (row for row in found.batches if row.batch == id)
    return row


def crop(found: Review, id: str, month: str) -> CropRow:
    (row,) = (row for row in found.crops if (row.crop, row.month) == (id, month))
    return row


# The case told by hand; its figures stand in tests/reviews.py and tests/plandocs.py


def test_a_batch_that_is_cut_once_by_hand(found: Review) -> None:
    """Four parts of 0.75 m², set out 8 February, due 11 March, cut 13 and 15 March and finished."""
    row = batch(found, "B0001")
    assert (row.area_m2, row.planned_days, row.real_days) == (3.0, 31, 33)
    assert (row.planned_kg, row.counted_kg, row.real_kg) == (14.0, 14.0, 12.0)
    assert (row.lost_plants, row.lost_kg) == (0.0, 0.0)
    assert row.price_kg == 2.0 / 0.25  # $2 a head of 250 g
    assert row.real_m2_weeks == 3.0 * 5  # 35 days
    lettuce = crop(found, LETTUCE, "2027-01")
    assert lettuce.planned_value == pytest.approx(14 * 8 / 15)
    assert lettuce.real_value == pytest.approx(12 * 8 / 15)
    # clearing 4 of 2 parts a place at 10 min a place, 14 kg at 4 min
    assert row.planned_hours == pytest.approx((4 * 10 / 2 + 14 * 4) / 60)


def test_a_lost_part_by_hand(found: Review) -> None:
    """One of three parts is lost before the cut of 10.5 kg, of which 5 kg come."""
    row = batch(found, "B0002")
    assert (row.lost_plants, row.lost_kg, row.lost_counted_kg) == (14.0, 3.5, 3.5)
    assert (row.counted_kg, row.real_kg) == (10.5, 5.0)
    assert (row.planned_days, row.real_days) == (30, 30)
    # 42 plants set out at 0.4 min, 10.5 kg at 4 min; cleared after the span, sown before it
    assert row.planned_hours == pytest.approx((42 * 0.4 + 10.5 * 4) / 60)


def test_a_crop_cut_again_and_again_by_hand(found: Review) -> None:
    """The cut of 1 April is not recorded: it counts neither as kilograms nor as weeks."""
    row = batch(found, "B0004")
    assert row.planned_kg == pytest.approx(1.2 + 1.2 + 0.9)
    assert (row.counted_kg, row.real_kg) == (2.4, 2.3)
    assert (row.planned_days, row.real_days) == (None, None)  # it was cut before the first plan
    basil = crop(found, BASIL, "2027-01")
    weeks = (april(5) - FIRST).days / 7 * 2.4 / 3.3  # up to clearing, by the share recorded
    assert basil.real_value == pytest.approx(2.3 * 30 / weeks)  # two parts of 0.5 m²
    assert basil.planned_value == pytest.approx(2.4 * 30 / weeks)


def test_orders_by_hand(found: Review) -> None:
    kitchen, cafe = found.customers
    assert (kitchen.customer, kitchen.order_weeks, kitchen.recorded) == ("Corner Kitchen", 3, 2)
    assert (kitchen.planned_rate, kitchen.counted_rate) == (1.0, 1.0)
    assert kitchen.real_rate == pytest.approx(44 / 60)
    assert (cafe.order_weeks, cafe.recorded) == (5, 2)
    assert cafe.real_rate == pytest.approx((1 + 2.2 * 0.45359237) / 2)
    fish_kg = 20 * 520.571428 / 1000 + 20 * 568.571428 / 1000
    assert cafe.planned_rate == pytest.approx((2.9 * 30 + fish_kg * 10) / (3 * 30 + 30 * 10))
    short = {(row.line, row.week): row for row in found.orders if row.short > 0}
    assert set(short) == {
        ("L1", march(8)),
        ("L1", april(12)),
        ("L4", march(15)),
        ("L4", march(29)),
    }
    assert short["L1", march(8)].cause == "B0001: 6 kg cut of 14 kg planned"
    assert short["L1", april(12)].cause == (
        "B0002: 33% lost (aphids); B0002: 5 kg cut of 7 kg planned"
    )
    assert short["L4", march(15)].cause == "planned short: no raft place is free"
    assert short["L4", march(15)].delivered is None


def test_water_feed_and_fish_by_hand(found: Review) -> None:
    assert [row.week for row in found.weeks] == [march(1) + timedelta(weeks=n) for n in range(7)]
    first, second, *rest = found.weeks
    assert (first.tested_high_mg_l, first.out_mg_l) == (62.0, 2.0)
    assert (second.tests, second.out_mg_l) == (1, 0.0)
    assert all(row.out_mg_l is None and row.real_feed_kg is None for row in rest)
    assert (first.planned_feed_kg, first.real_feed_kg) == (pytest.approx(40 * 0.024 * 1.7), 2.0)
    both_tanks = 40 * 0.024 * 1.7 + 60 * 0.006 * 5 / 7 * 1.7  # the second is stocked on Wednesday
    assert second.planned_feed_kg == pytest.approx(both_tanks)
    tilapia = next(row for row in found.fish if row.species == TILAPIA)
    start, end = (260 + 24 * days / 7 for days in (67, 74))  # the plan's Mondays around the 10th
    planned_g = (start ** (1 / 3) + 2 / 7 * (end ** (1 / 3) - start ** (1 / 3))) ** 3
    assert tilapia.planned_mean_g == pytest.approx(planned_g, abs=0.7)
    assert (tilapia.real_mean_g, tilapia.weighed_on) == (480.0, march(10))
    assert tilapia.real_taken_kg == 9.8
    assert tilapia.planned_taken_kg == pytest.approx(20 * 520.571428 / 1000)  # not the one after
    assert (tilapia.real_survival, tilapia.real_fcr) == (None, None)


def test_forecast_coverage_by_hand(found: Review) -> None:
    """Six recorded weeks of a crop have a range; what no draw had is a range of nothing."""
    inside = {(row.crop, row.week): row.inside for row in found.produce if row.inside is not None}
    assert inside == {
        (BASIL, march(1)): True,
        (BASIL, march(15)): False,
        (LETTUCE, march(8)): False,
        (LETTUCE, march(15)): False,
        (LETTUCE, april(12)): True,
        (TILAPIA, march(15)): True,
    }
    assert (found.inside, found.ranged) == (3, 6)


def test_five_things_to_change_by_hand(found: Review) -> None:
    assert [(change.kind, pytest.approx(change.money)) for change in found.changes] == [
        ("order", 16 * 2.0),  # heads short
        ("yield", (2 + (10.5 - 3.5 - 5)) * 8),
        ("loss", 3.5 * 8),
        ("nitrate", 2 * 5.0),
        ("late", 2 / 7 * 14 * 8 / (33 / 7)),  # 14 kg in 33 days, two of them late
    ]
    assert "16 heads short in 2 weeks, at $2.00 a head" in found.changes[0].reckoned
    assert "aphids" in found.changes[0].todo


def test_what_is_learned_is_what_the_next_plan_takes(found: Review) -> None:
    rows = {(row.figure, row.crop): row for row in found.learned}
    light = rows["yield", LETTUCE]
    assert (light.n, light.planned, light.real) == (1, 14.0, 12.0)
    assert 12 / 14 < light.factor < 1
    assert light.error_before == pytest.approx(1 - 12 / 14)


# Not recorded is not nought


def test_a_cut_between_two_weighed_ones_that_nobody_wrote_down_counts_nowhere() -> None:
    weighed = [cut(march(4), "B0004", 1.1), cut(april(1), "B0004", 0.8)]
    row = batch(reviewed(weighed), "B0004")
    assert (row.counted_kg, row.real_kg) == (pytest.approx(2.1), pytest.approx(1.9))
    put_off = Skipped(on=march(18), step="cut", batch="B0004", cause="no time")
    assert batch(reviewed([*weighed, put_off]), "B0004").counted_kg == pytest.approx(3.3)


def test_what_nobody_wrote_down_is_none_everywhere() -> None:
    found = reviewed([WaterTest(on=march(4), ph=7.0)])
    assert all(row.real_kg is None and row.real_days is None for row in found.batches)
    assert all(row.lost_plants is None and row.late_days is None for row in found.batches)
    assert all(row.real_kg is None and row.real_value is None for row in found.crops)
    assert all(row.delivered is None for row in found.orders)
    assert all(row.real_rate is None and row.counted_rate is None for row in found.customers)
    assert all(row.real_kg is None and row.inside is None for row in found.produce)
    assert all(row.tests == 0 and row.real_feed_kg is None for row in found.weeks)
    assert all(row.dead is None and row.real_taken_kg is None for row in found.fish)
    assert found.changes == ()
    assert found.learned == ()


def test_nothing_recorded_is_told_with_how_to_record() -> None:
    for entries in ([], [Note(on=march(4), text="cold")], [WaterTest(on=april(20), ph=7.0)]):
        with pytest.raises(PlannerError, match=r"nothing is recorded .* sowstock record"):
            reviewed(entries)
    with pytest.raises(PlannerError, match="no plan in the book"):
        reviewed(plans=[])
    with pytest.raises(PlannerError, match="give days in order"):
        reviewed(first=april(20))
    with pytest.raises(PlannerError, match="no plan was made by 2027-02-01"):
        reviewed(first=date(2027, 1, 1), last=date(2027, 2, 1))


def test_void_alone_is_nothing() -> None:
    with pytest.raises(PlannerError, match="nothing is recorded"):
        reviewed([Void(on=march(4), corrects=1)])


def test_an_order_week_without_a_delivery_counts_in_no_rate() -> None:
    one = reviewed([given(march(12), "L1", 30, "head")])
    kitchen = one.customers[0]
    assert (kitchen.recorded, kitchen.real_rate) == (1, 1.0)
    assert [row.cause for row in one.orders if row.short > 0] == [
        "planned short: no raft place is free"
    ] * 2


def test_a_short_delivery_without_a_word_has_no_recorded_cause() -> None:
    found = reviewed([given(march(12), "L1", 10, "head")])
    (row,) = (row for row in found.orders if row.line == "L1" and row.short > 0)
    assert (row.short, row.cause) == (20.0, "not recorded")


def test_a_batch_that_is_all_lost_gave_nothing_and_that_is_recorded() -> None:
    found = reviewed([Loss(on=march(9), batch="B0001", cause="frost")])
    row = batch(found, "B0001")
    assert (row.real_kg, row.counted_kg, row.lost_kg, row.lost_plants) == (0.0, 14.0, 14.0, 56.0)
    assert [(change.kind, change.money) for change in found.changes] == [("loss", 14 * 8.0)]


# The plan in force at the time


def test_a_batch_is_held_against_the_plan_in_force_when_it_was_set_out() -> None:
    first, second, third = (plan() for _ in range(3))
    second["made_on"], third["made_on"] = "2027-03-10", "2027-04-05"
    for document, kg in ((second, 12.0), (third, 1.0)):
        (lot,) = (lot for lot in document["batches"] if lot["id"] == "B0003")
        lot["cuts"][0]["kg"] = kg
    found = reviewed([cut(april(22), "B0003", 11.0)], plans=[first, second, third], last=april(25))
    assert batch(found, "B0003").counted_kg == 12.0  # set out on 24 March


def test_a_batch_that_a_later_plan_gave_up_before_it_began_is_not_asked_for() -> None:
    first, second = plan(), plan()
    second["made_on"] = "2027-03-10"
    second["batches"] = [lot for lot in second["batches"] if lot["id"] != "B0003"]
    found = reviewed([cut(march(13), "B0001", 12.0)], plans=[first, second])
    assert "B0003" not in {row.batch for row in found.batches}
    assert "B0003" in {row.batch for row in reviewed([cut(march(13), "B0001", 12.0)]).batches}


def test_a_week_is_held_against_the_plan_in_force_when_it_began() -> None:
    first, second = plan(), plan()
    second["made_on"] = "2027-03-10"
    for row in second["orders"]:
        row["planned"] = row["ordered"] = 99.0
    for week in second["weeks"]:
        week["nitrate_n_mg_l"] = 7.0
    found = reviewed(plans=[first, second])
    by_week = {row.week: row.planned_mg_l for row in found.weeks}
    assert (by_week[march(8)] > 30, by_week[march(15)]) == (True, 7.0)
    ordered = {(row.line, row.week): row.ordered for row in found.orders}
    assert (ordered["L1", march(8)], ordered["L1", april(12)]) == (30.0, 99.0)


def test_a_weighing_is_held_against_a_plan_that_did_not_know_it() -> None:
    first, second = plan(), plan()
    second["made_on"] = "2027-03-10"
    for row in second["cohorts"][0]["weeks"]:
        row["mean_g"] = 100.0
    weighed = [Weigh(on=march(10), tank="fish tank 1", mean_g=480.0)]
    found = reviewed(weighed, plans=[first, second])
    assert found.fish[0].planned_mean_g == pytest.approx(496.5, abs=0.1)


# Causes, units and what is left over


def test_a_late_batch_and_one_put_off_are_causes() -> None:
    late = [cut(march(17), "B0001", 14.0, last=True), given(march(12), "L1", 5, "head")]
    late.append(Skipped(on=march(11), step="cut", batch="B0001", until=march(17), cause="cold"))
    for entries, said in (
        (late, "B0001: first cut 6 days late"),
        (late[1:], "B0001: put off (cold)"),
    ):
        (row,) = (r for r in reviewed(entries).orders if r.line == "L1" and r.short > 0)
        assert row.cause == said


def test_deliveries_come_in_the_orders_unit_or_stand_beside() -> None:
    entries = [
        given(march(12), "L1", 5, "kg"),  # 20 heads
        given(march(13), "l1", 2.5, "Head"),
        given(march(14), "L1", 3, "crate"),
        given(march(14), None, 1, "kg", customer="passer-by"),
        Delivery(on=april(8), line="L3", customer="Corner Kitchen", crop="radish",
                 quantity=12, unit="bunch"),
    ]  # fmt: skip
    found = reviewed(entries)
    came = {(row.line, row.week): row.delivered for row in found.orders}
    assert came["L1", march(8)] == pytest.approx(22.5)
    assert came["L3", april(5)] == 12.0
    assert found.beside == 2


def test_a_fill_rate_goes_by_weight_where_nothing_has_a_price() -> None:
    free = farm(
        orders=(
            order("L1", "Corner Kitchen", LETTUCE, "head", 30, 0.0),
            order("L3", "Corner Kitchen", "radish", "bunch", 12, 0.0),
        )
    )
    entries = [given(march(12), "L1", 15, "head")]
    entries.append(
        Delivery(on=april(8), customer="Corner Kitchen", crop="radish", quantity=12, unit="bunch")
    )
    kitchen = reviewed(entries, house=free).customers[0]
    assert kitchen.real_rate == pytest.approx((15 * 0.25 + 12 * 0.2) / (30 * 0.25 + 12 * 0.2))


def test_a_cut_without_a_batch_counts_by_week_and_in_a_row_of_its_own() -> None:
    found = reviewed([cut(march(11), None, 3.0), cut(march(12), None, 2.0)])
    assert all(row.real_kg is None for row in found.batches)
    (row,) = (row for row in found.crops if row.batches == 0)
    assert (row.crop, row.method, row.real_kg) == (LETTUCE, "", 5.0)
    (week,) = (r for r in found.produce if r.crop == LETTUCE and r.real_kg is not None)
    assert (week.week, week.real_kg) == (march(8), 5.0)


def test_deaths_beyond_the_plan_cost_their_last_weight() -> None:
    deaths = Deaths(on=march(12), tank="fish tank 1", count=4)
    weigh = Weigh(on=march(20), tank="fish tank 1", mean_g=500.0)
    found = reviewed([deaths, weigh])
    tilapia, perch = found.fish
    assert tilapia.real_survival == pytest.approx(1 - 4 / 40)
    assert (perch.dead, perch.real_survival) == (0, 1.0)
    assert [(change.kind, pytest.approx(change.money)) for change in found.changes] == [
        ("deaths", 4 * 0.5 * 10.0)
    ]


def test_feed_conversion_is_told_between_weighings_with_feed_all_along() -> None:
    weighings = [
        Weigh(on=day, tank="fish tank 1", mean_g=g, sampled=40)
        for day, g in ((march(3), 470.0), (march(17), 520.0))
    ]
    feeds = [Feed(on=march(n), kg=0.5, tank="fish tank 1") for n in (6, 10, 14, 17)]
    row = reviewed([*weighings, *feeds]).fish[0]
    assert row.planned_fcr == 1.7
    assert row.real_fcr == pytest.approx(2.0 / ((40 + 34.3) / 2 * 0.050), rel=0.1)
    assert reviewed([*weighings, feeds[0]]).fish[0].real_fcr is None


def test_the_poorest_use_of_a_zone_is_told_against_its_best() -> None:
    """Radish brings 2.8 kg at $7.50 in 34 days, basil 3 kg at $1 in the recorded share of 33."""
    cheap = farm(
        orders=(
            order("L2", "Mill Street Café", BASIL, "kg", 1, 1.0),
            order("L3", "Corner Kitchen", "radish", "bunch", 12, 1.5),
        )
    )
    entries = [
        cut(march(4), "B0004", 1.5),
        cut(march(18), "B0004", 1.5),
        cut(april(6), "B0007", 2.8, crop="radish", last=True),
        Done(on=april(12), step="clear", batch="B0007"),
    ]
    found = reviewed(entries, house=cheap)
    (change,) = (change for change in found.changes if change.kind == "place")
    radish, basil = 2.8 * 7.5 / (34 / 7), 3.0 * 1.0 / (24 / 7)
    assert change.money == pytest.approx((radish - basil) * 24 / 7)
    assert change.title == "north gravel: Genovese basil brings less than salad radish"


# What holds of every review


def test_a_shorter_span_holds_only_its_own_days() -> None:
    found = reviewed(first=march(8), last=march(21))
    assert [row.week for row in found.weeks] == [march(8), march(15)]
    assert batch(found, "B0004").real_kg == 1.3
    assert batch(found, "B0004").planned_kg == 1.2
    assert found.entries == sum(march(8) <= entry.on <= march(21) for entry in BOOK)


def test_tower_slots_count_twenty_to_the_square_metre() -> None:
    found = reviewed(last=date(2027, 5, 30))
    assert batch(found, "B0012").area_m2 == 3 * 20 / 20


@settings(max_examples=20, deadline=None)
@property_given(st.permutations(list(enumerate(BOOK))))
def test_order_of_writing_does_not_matter(entries: list[tuple[int, object]]) -> None:
    known = reviewed()
    again = reviewed([entry for _, entry in entries])  # type: ignore[misc]
    assert again.crops == known.crops
    assert again.customers == known.customers
    assert again.weeks == known.weeks
    assert [change.money for change in again.changes] == pytest.approx(
        [change.money for change in known.changes]
    )


def test_a_cut_without_a_batch_may_be_of_those_that_gave_too_little() -> None:
    (light,) = (c for c in reviewed([*BOOK, cut(april(9), None, 1.5)]).changes if c.kind == "yield")
    assert light.money == pytest.approx((4 - 1.5) * 8)


@pytest.mark.parametrize("more_kg", [0.5, 3.0])
def test_more_cut_never_costs_more(more_kg: float) -> None:
    extra = cut(april(14), "B0002", more_kg)
    before = {c.title: c.money for c in reviewed().changes}
    after = {c.title: c.money for c in reviewed([*BOOK, extra]).changes}
    title = "butterhead lettuce: less cut than planned"
    assert after.get(title, 0.0) == pytest.approx(max(0.0, before[title] - 8 * more_kg))


def test_a_plan_without_crops_that_the_tables_know_is_reviewed_all_the_same() -> None:
    document = plan()
    document["batches"] = [lot for lot in document["batches"] if lot["crop"] in CROPS][:1]
    document["orders"], document["deliveries"], document["cohorts"] = [], [], []
    found = reviewed(plans=[document])
    assert found.customers == ()
    assert found.fish == ()
    assert len(found.batches) == 1
    assert found.last == LAST
