"""The house as it is: the plan carried out, corrected by the book and by new counts."""

from collections import Counter
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.book import (
    Deaths,
    Done,
    Entry,
    FishHarvest,
    Harvest,
    Loss,
    Note,
    Skipped,
    WaterTest,
    Weigh,
)
from planner.farm import CohortAtHand, Fingerlings, Standing
from planner.farmchecks import crowding
from planner.present import Present, present, row_of
from tests import plandocs
from tests.presents import (
    MADE_ON,
    by_lists,
    day,
    farm,
    now,
    plan,
    recorded,
    rows,
    tanks,
)

LETTUCE = "lettuce_butterhead"


def said(found: Present, *words: str) -> bool:
    """Whether one sentence of what happened holds all the words."""
    return any(all(word in sentence for word in words) for sentence in found.happened)


def doubted(found: Present, *words: str) -> bool:
    """Whether one doubt holds all the words."""
    return any(all(word in sentence for word in words) for sentence in found.doubts)


def lettuce_row(**changes: object) -> Standing:
    row: dict[str, object] = {
        "id": "A", "crop": LETTUCE, "zone": "raft", "parts": 4, "places": (1, 2),
        "sow": day(-42), "transplant": day(-21), "as_of": day(-2),
    }  # fmt: skip
    return Standing.model_validate(row | changes)


# Without a plan


def test_without_plan_and_book_the_lists_hold_as_they_are() -> None:
    house = farm(standing=[lettuce_row()], cohorts=[tilapia_row()], nitrate=30, tested=day(-2))
    found = by_lists(house, day(3))
    assert (found.farm, found.happened, found.doubts) == (house, (), ())


def test_entries_from_the_day_of_the_count_change_the_lists() -> None:
    house = farm(standing=[lettuce_row()])
    loss = Loss(on=day(-2), batch="A", parts=1, cause="slugs")
    assert rows(by_lists(house, day(3), loss))["A"].parts == 3
    earlier = Loss(on=day(-3), batch="A", parts=1)
    assert rows(by_lists(house, day(3), earlier))["A"].parts == 4


def test_a_tray_of_the_lists_is_set_out_by_a_record() -> None:
    tray = lettuce_row(transplant=None, places=(), sow=day(-20))
    done = Done(on=day(1), step="set out", batch="A")
    row = rows(by_lists(farm(standing=[tray]), day(3), done))["A"]
    assert (row.transplant, row.parts, row.as_of) == (day(1), 4, day(3))
    until = Skipped(on=day(1), step="set out", batch="A", until=day(9))
    assert rows(by_lists(farm(standing=[tray]), day(3), until))["A"].transplant == day(9)


def test_heads_cut_from_a_row_of_the_lists_leave_a_share() -> None:
    house = farm(standing=[lettuce_row()])
    whole_kg = 56 * 0.25 * 0.92  # plants on 4 parts, the table's head, its loss of 8 %
    cut = Harvest(on=day(1), crop=LETTUCE, batch="A", kg=whole_kg / 4)
    row = rows(by_lists(house, day(3), cut))["A"]
    assert (row.first_cut, row.left, row.finished) == (day(1), 0.75, False)


def test_a_cleared_row_of_the_lists_is_gone() -> None:
    house = farm(standing=[lettuce_row()])
    assert rows(by_lists(house, day(3), Done(on=day(1), step="clear", batch="A"))) == {}


def test_an_unready_row_of_the_lists_is_ripe_when_the_grower_says() -> None:
    house = farm(standing=[lettuce_row()])
    wait = Skipped(on=day(1), step="cut", batch="A", until=day(9))
    assert rows(by_lists(house, day(3), wait))["A"].ripe == day(9)
    cut = Harvest(on=day(2), crop=LETTUCE, batch="A", kg=1.0)
    assert rows(by_lists(house, day(3), wait, cut))["A"].ripe is None


def test_a_plan_made_later_is_left_aside() -> None:
    found = now(MADE_ON - timedelta(days=1))
    assert found.farm.standing == ()
    assert doubted(found, "left aside")


# With a plan: silence


def test_no_entries_on_the_plan_day_give_the_house_back() -> None:
    document = plan()
    found = now(MADE_ON, document=document)
    house = document["house"]
    assert list(found.farm.standing) == [Standing.model_validate(r) for r in house["standing"]]
    assert list(found.farm.cohorts) == [CohortAtHand.model_validate(r) for r in house["cohorts"]]
    assert found.farm.water.nitrate_n_mg_l == house["nitrate_n_mg_l"]
    assert (found.happened, found.doubts) == ((), ())


def test_a_house_counted_before_the_plan_day_comes_back_as_it_was() -> None:
    document = plan()
    document["house"]["standing"][0]["as_of"] = day(-3).isoformat()
    document["house"]["cohorts"][0]["as_of"] = day(-3).isoformat()
    found = now(MADE_ON, document=document)
    assert found.farm.standing[0].as_of == day(-3)
    assert found.farm.cohorts[0].as_of == day(-3)


def test_a_batch_that_is_cleared_in_shares_comes_back_whole_on_the_plan_day() -> None:
    document = split_plan()
    assert list(rows(now(MADE_ON, document=document))) == ["B0001", "B0002", "B0004", "B0009"]
    later = rows(now(MADE_ON + timedelta(days=1), document=document))
    assert (later["B0001-a"].parts, later["B0001-b"].parts) == (3, 1)
    assert later["B0001-a"].places == (1, 2)
    assert later["B0001-b"].parts_by_place == {2: 1}


def test_jobs_without_a_record_are_taken_as_done_and_counted() -> None:
    found = now(day(25))
    here = rows(found)
    assert "B0001" not in here  # cut on day 10, cleared on day 14
    assert (here["B0002"].transplant, here["B0002"].parts_by_place) == (day(15), {3: 2, 4: 1})
    assert here["B0003"].transplant == day(23)
    assert (here["B0005"].transplant, here["B0005"].places) == (None, ())
    assert "B0008" not in here  # to be sown on day 45
    assert found.doubts[0].startswith("14 jobs due before Fri 26 Mar have no record")
    assert "sow butterhead lettuce B0003 (Wed 3 Mar)" in found.doubts[0]
    assert found.doubts[0].endswith("and 11 more")
    assert all(row.as_of == day(25) for row in found.farm.standing)


def test_a_job_of_today_is_not_taken_as_done() -> None:
    assert "B0003" not in rows(now(day(2)))
    assert "B0003" in rows(now(day(3)))
    assert doubted(now(day(3)), "1 job due before Thu 4 Mar has no record; it is taken")


def test_heads_that_were_cut_wait_finished_for_the_clearing() -> None:
    row = rows(now(day(12)))["B0001"]
    assert (row.finished, row.first_cut, row.left) == (True, day(10), None)


def test_leaf_that_grows_again_keeps_the_first_cut_that_was_known() -> None:
    assert rows(now(day(12)))["B0004"].first_cut == day(-5)
    assert rows(now(day(40)))["B0009"].first_cut == day(31)


# With a plan: steps


def test_a_sowing_that_was_skipped_has_not_happened() -> None:
    skip = Skipped(on=day(2), step="sow", batch="B0003", planned_on=day(2), cause="no seed")
    found = now(day(5), skip)
    assert "B0003" not in rows(found)
    assert said(found, "B0003", "not sown on Wed 3 Mar (no seed); no new day is given")
    later = Skipped(on=day(2), step="sow", batch="B0003", until=day(8))
    assert "B0003" not in rows(now(day(8), later))
    assert rows(now(day(9), later))["B0003"].sow == day(8)


def test_the_last_word_on_a_step_holds() -> None:
    skip = Skipped(on=day(2), step="sow", batch="B0003", until=day(8))
    done = Done(on=day(4), step="sow", batch="B0003", planned_on=day(2))
    found = now(day(5), skip, done)
    assert rows(found)["B0003"].sow == day(4)
    assert said(found, "B0003: sown on Fri 5 Mar, 2 days late")


def test_a_step_done_early_counts() -> None:
    found = now(day(5), Done(on=day(4), step="set out", batch="B0002", planned_on=day(15)))
    row = rows(found)["B0002"]
    assert (row.transplant, row.parts_by_place) == (day(4), {3: 2, 4: 1})
    assert said(found, "B0002: set out on Fri 5 Mar, 11 days early")


def test_a_lot_that_was_set_out_late_is_cut_and_cleared_as_much_later() -> None:
    late = Done(on=day(20), step="set out", batch="B0002", planned_on=day(15))
    row = rows(now(day(50), late))["B0002"]
    assert (row.first_cut, row.finished) == (None, False)
    assert rows(now(day(52), late))["B0002"].finished
    assert "B0002" not in rows(now(day(55), late))


def test_a_setting_out_that_was_skipped_leaves_a_tray() -> None:
    skip = Skipped(on=day(15), step="set out", batch="B0002", planned_on=day(15), until=day(22))
    row = rows(now(day(17), skip))["B0002"]
    assert (row.transplant, row.places) == (day(22), ())
    unknown = Skipped(on=day(15), step="set out", batch="B0002", planned_on=day(15))
    assert rows(now(day(60), unknown))["B0002"].transplant is None


def test_fewer_parts_set_out_are_fewer_parts() -> None:
    found = now(day(17), Done(on=day(15), step="set out", batch="B0002", parts=2))
    assert rows(found)["B0002"].parts_by_place == {3: 2}
    assert said(found, "B0002: 2 of 3 parts set out")


def test_a_clearing_that_was_skipped_leaves_the_batch() -> None:
    skip = Skipped(on=day(14), step="clear", batch="B0001", planned_on=day(14), until=day(21))
    assert rows(now(day(20), skip))["B0001"].finished
    assert "B0001" not in rows(now(day(22), skip))


def test_a_clearing_of_some_parts_leaves_the_others() -> None:
    row = rows(now(day(12), Done(on=day(11), step="clear", batch="B0001", parts=3)))["B0001"]
    assert row.parts_by_place == {1: 1}


def test_a_clearing_without_a_record_waits_for_a_cut_put_off() -> None:
    skip = Skipped(on=day(10), step="cut", batch="B0001", planned_on=day(10), until=day(20))
    found = now(day(16), skip)
    row = rows(found)["B0001"]
    assert (row.ripe, row.first_cut, row.finished) == (day(20), None, False)
    assert said(found, "B0001: not cut on Thu 11 Mar; now Sun 21 Mar")
    unknown = Skipped(on=day(10), step="cut", batch="B0001", planned_on=day(10))
    assert not rows(now(day(16), unknown))["B0001"].finished


def test_a_record_after_a_clearing_without_one_keeps_the_batch() -> None:
    late = Harvest(on=day(18), crop=LETTUCE, batch="B0001", kg=2.0)
    found = now(day(20), late)
    assert "B0001" in rows(found)
    assert doubted(found, "B0001 was to be cleared on Mon 15 Mar", "Fri 19 Mar")


def test_what_is_planned_into_a_place_still_taken_stays_in_the_nursery() -> None:
    skip = Skipped(on=day(14), step="clear", batch="B0001", planned_on=day(14))
    found = now(day(25), skip)
    here = rows(found)
    assert here["B0001"].parts_by_place == {1: 2, 2: 2}
    assert (here["B0003"].transplant, here["B0003"].places) == (None, ())
    assert doubted(found, "B0003", "in the nursery still")
    assert not doubted(found, "set out butterhead lettuce B0003")


def test_what_was_recorded_into_a_place_still_taken_stands_somewhere() -> None:
    found = now(
        day(25),
        Skipped(on=day(14), step="clear", batch="B0001", planned_on=day(14)),
        Done(on=day(23), step="set out", batch="B0003"),
    )
    row = rows(found)["B0003"]
    assert (row.transplant, row.parts, row.places) == (day(23), 4, ())
    assert doubted(found, "B0003: its places are taken by others")


# Harvests and losses


def test_heads_partly_cut_leave_a_share_by_the_harvests() -> None:
    found = now(day(12), Harvest(on=day(10), crop=LETTUCE, batch="B0001", kg=7.0))
    row = rows(found)["B0001"]
    assert (row.first_cut, row.left, row.finished) == (day(10), 0.5, False)
    assert said(found, "B0001: 7 kg cut, planned 14 kg (-50 %)")
    assert doubted(found, "B0001: 50 % is taken to stand still")


def test_heads_cut_to_the_last_few_are_finished() -> None:
    row = rows(now(day(12), Harvest(on=day(10), crop=LETTUCE, batch="B0001", kg=13.9)))["B0001"]
    assert (row.left, row.finished) == (None, True)


def test_heads_partly_cut_by_plan_leave_a_share() -> None:
    row = rows(now(day(46)))["B0002"]  # 6 kg of 10.5 on day 45, the rest on day 46
    assert row.left == pytest.approx(1 - 6.0 / 10.5, abs=1e-4)


def test_the_last_harvest_finishes_a_batch_until_it_is_cleared() -> None:
    last = Harvest(on=day(4), crop=LETTUCE, batch="B0001", kg=11.0, last=True)
    assert rows(now(day(12), last))["B0001"].finished
    leaf = Harvest(on=day(4), crop="basil_genovese", batch="B0004", kg=1.0, last=True)
    assert rows(now(day(12), leaf))["B0004"].finished
    assert "B0001" not in rows(now(day(12), last, Done(on=day(11), step="clear", batch="B0001")))


def test_a_cut_that_was_done_is_the_planned_one() -> None:
    found = now(day(12), Done(on=day(9), step="cut", batch="B0001", planned_on=day(10)))
    row = rows(found)["B0001"]
    assert (row.first_cut, row.finished) == (day(9), True)
    assert not doubted(found, "cut butterhead lettuce B0001")


def test_leaf_harvests_say_what_is_left_of_the_cut_under_way() -> None:
    assert rows(now(day(12)))["B0004"].left is None
    cut = Harvest(on=day(3), crop="basil_genovese", batch="B0004", kg=1.2)
    here = rows(now(day(12), cut))["B0004"]
    plants = here.parts * 7  # 1.5 m² at 20 a square metre in 4 parts
    one_kg = plants * 0.25 * 0.92  # a window of 7 days holds one cut
    assert here.left == pytest.approx(1 - 1.2 / one_kg, abs=1e-4)
    picked = Harvest(on=day(31), crop="tomato_cherry", batch="B0009", kg=0.7)
    assert rows(now(day(33), picked))["B0009"].left is None


def test_a_harvest_beside_the_plan_is_told() -> None:
    early = Harvest(on=day(4), crop="tomato_cherry", batch="B0009", kg=0.5)
    found = now(day(5), early)
    assert rows(found)["B0009"].first_cut == day(4)
    assert said(found, "B0009: 0.5 kg cut beside the plan")


def test_weights_are_told_in_the_growers_units() -> None:
    cut = Harvest(on=day(10), crop=LETTUCE, batch="B0001", kg=7.0)
    assert said(now(day(12), cut, house=farm(units="us")), "15.4 lb cut, planned 31 lb")


def test_lost_parts_stand_apart_and_finished() -> None:
    found = now(day(6), Loss(on=day(5), batch="B0001", parts=1, cause="aphids"))
    here = rows(found)
    assert (here["B0001"].parts_by_place, here["B0001"].finished) == ({1: 2, 2: 1}, False)
    lost = here["B0001-lost"]
    assert (lost.parts_by_place, lost.finished) == ({2: 1}, True)
    assert said(found, "B0001: 1 of 4 parts lost on Sat 6 Mar (aphids)")


def test_a_batch_wholly_lost_waits_to_be_cleared() -> None:
    for loss in (Loss(on=day(5), batch="B0001"), Loss(on=day(5), batch="B0001", parts=9)):
        here = rows(now(day(6), loss))
        assert (here["B0001"].parts, here["B0001"].finished) == (4, True)
        assert "B0001-lost" not in here


def test_a_lost_tray_is_gone_and_a_share_of_it_is_fewer_parts() -> None:
    assert "B0002" not in rows(now(day(6), Loss(on=day(5), batch="B0002")))
    found = now(day(6), Loss(on=day(5), batch="B0002", parts=1))
    assert rows(found)["B0002"].parts == 2
    set_out = now(day(20), Loss(on=day(5), batch="B0002", parts=1))
    assert rows(set_out)["B0002"].parts_by_place == {3: 2}
    assert "B0002-lost" not in rows(set_out)


def test_an_entry_on_a_batch_that_is_cleared_in_shares_goes_to_its_lots() -> None:
    here = rows(now(day(6), Loss(on=day(5), batch="B0001", parts=3), document=split_plan()))
    assert here["B0001-a"].finished
    assert (here["B0001-b"].parts, here["B0001-b"].finished) == (1, False)


# The book's edges


def test_entries_that_the_plan_knew_change_nothing() -> None:
    known = recorded(
        Loss(on=day(1), batch="B0001", parts=2),
        Harvest(on=day(1), crop=LETTUCE, batch="B0001", kg=9.0, last=True),
        Deaths(on=day(1), tank="fish tank 1", count=9),
        Weigh(on=day(1), tank="fish tank 1", mean_g=10),
        WaterTest(on=day(1), nitrate_n_mg_l=90),
        Loss(on=day(1), batch="nowhere"),
        first=90,
    )
    with_them = present(farm(), plan(), known, day(12), crops=plandocs.CROPS, fish=plandocs.FISH)
    without = now(day(12))
    assert with_them.farm.standing == without.farm.standing
    assert with_them.farm.cohorts == without.farm.cohorts
    assert with_them.farm.water.nitrate_n_mg_l == without.farm.water.nitrate_n_mg_l
    assert (with_them.happened, with_them.doubts) == (without.happened, without.doubts)


def test_a_correction_of_an_amount_that_the_plan_knew_is_doubted_not_counted_twice() -> None:
    found = now(day(3), Loss(on=day(1), batch="B0001", parts=2, corrects=90))
    assert rows(found)["B0001"].parts == 4
    assert doubted(found, "record 101", "corrects record 90")


def test_entries_after_today_are_left_out() -> None:
    found = now(day(3), Loss(on=day(4), batch="B0001"))
    assert not rows(found)["B0001"].finished
    assert doubted(found, "1 record dated after Thu 4 Mar left out")


def test_unknown_names_are_doubted_with_the_nearest() -> None:
    found = now(
        day(3),
        Loss(on=day(3), batch="B001"),
        Done(on=day(3), step="sow", batch="B001"),
        Weigh(on=day(3), tank="fish tank 3", mean_g=100),
        Harvest(on=day(3), crop="mint", kg=1.0),
        Note(on=day(3), text="warm"),
    )
    assert doubted(found, '2 records on "B001" left out', 'did you mean "B0')
    assert doubted(found, '"fish tank 3"', "no such tank", 'did you mean "fish tank ')
    assert doubted(found, "1 harvest without a batch")


def test_a_zone_that_the_farm_gave_up_is_doubted() -> None:
    house = farm()
    house = house.model_copy(update={"zones": house.zones[:1]})
    found = now(day(3), house=house)
    assert set(rows(found)) == {"B0004", "B0009"}
    assert doubted(found, "B0001 is left out", 'no more zone "raft"')


# New counts


def test_a_row_counted_after_the_plan_wins() -> None:
    row = lettuce_row(id="B0001", parts=3, places=(1, 2), as_of=day(6))
    found = now(day(8), house=farm(standing=[row]))
    assert (rows(found)["B0001"].parts, rows(found)["B0001"].as_of) == (3, day(8))
    assert said(found, "B0001: counted on Sun 7 Mar")
    cut = now(day(12), house=farm(standing=[row]))
    assert rows(cut)["B0001"].finished  # the plan's steps after the count are carried out


def test_entries_since_a_new_count_apply_to_it() -> None:
    row = lettuce_row(id="B0001", as_of=day(6))
    before, after = (Loss(on=day(n), batch="B0001", parts=1) for n in (5, 7))
    assert rows(now(day(8), before, house=farm(standing=[row])))["B0001"].parts == 4
    assert rows(now(day(8), after, house=farm(standing=[row])))["B0001-lost"].parts == 1


def test_new_rows_are_added_and_rows_that_the_plan_knew_are_not() -> None:
    new = lettuce_row(id="N", places=(5,), parts=2, as_of=day(3))
    known = lettuce_row(id="K", places=(6,), parts=2, as_of=MADE_ON)
    before = plan(read=[row_of(known)])
    here = rows(now(day(4), document=before, house=farm(standing=[new, known])))
    assert "N" in here
    assert "K" not in here


def test_a_new_count_of_a_batch_cleared_in_shares_replaces_them() -> None:
    row = lettuce_row(id="B0001", as_of=day(6))
    here = rows(now(day(8), document=split_plan(), house=farm(standing=[row])))
    assert here["B0001"].parts == 4
    assert not {"B0001-a", "B0001-b"} & set(here)


# Fish


def tilapia_row(**changes: object) -> CohortAtHand:
    row: dict[str, object] = {
        "tank": "fish tank 1", "species": "tilapia_nile", "count": 40, "mean_g": 450.0,
        "as_of": day(-2),
    }  # fmt: skip
    return CohortAtHand.model_validate(row | changes)


def planned_g(offset: int) -> float:
    """Weight that the plan of `plandocs` has for the fish of tank 1. [g]"""
    return 260.0 + 24.0 * (offset + 60) / 7


def test_fish_grow_and_are_taken_as_planned() -> None:
    before, after = tanks(now(day(16))), tanks(now(day(17)))
    assert before["fish tank 1"].count == 40
    assert after["fish tank 1"].count == 20
    assert after["fish tank 1"].mean_g == pytest.approx(planned_g(17), abs=0.02)
    assert "fish tank 1" not in tanks(now(day(31)))
    assert tanks(now(day(39)))["fish tank 1"].count == 50


def test_deaths_recorded_stand_for_those_that_were_expected() -> None:
    document = plan()
    for n, week in enumerate(document["cohorts"][0]["weeks"]):
        week["count"] -= 0.7 * n  # a little mortality
    assert tanks(now(day(14), document=document))["fish tank 1"].count == 39
    dead = Deaths(on=day(6), tank="fish tank 1", count=5)
    found = now(day(14), dead, document=document)
    assert tanks(found)["fish tank 1"].count == 35
    assert said(found, "fish tank 1: 5 Nile tilapia died, 1 expected")


def test_a_fish_harvest_replaces_the_planned_taking_that_is_nearest() -> None:
    caught = FishHarvest(on=day(12), tank="fish tank 1", count=15, kg=7.4)
    assert tanks(now(day(13), caught))["fish tank 1"].count == 25
    found = now(day(20), caught)
    assert tanks(found)["fish tank 1"].count == 25
    assert said(found, "fish tank 1: 15 Nile tilapia, 7.4 kg, taken", "20 planned")
    far = FishHarvest(on=day(4), tank="fish tank 1", count=2, kg=1.0)
    assert tanks(now(day(20), far))["fish tank 1"].count == 18


def test_two_catches_of_one_taking_leave_the_next_one_planned() -> None:
    catches = [FishHarvest(on=day(n), tank="fish tank 1", count=10, kg=5) for n in (15, 17)]
    assert tanks(now(day(20), *catches))["fish tank 1"].count == 20
    assert "fish tank 1" not in tanks(now(day(32), *catches))


def test_a_taking_that_was_done_counts_its_fish() -> None:
    done = Done(on=day(16), step="take", batch="C01", planned_on=day(16), count=18)
    assert tanks(now(day(20), done))["fish tank 1"].count == 22
    both = FishHarvest(on=day(16), tank="fish tank 1", count=18, kg=9.0)
    assert tanks(now(day(20), done, both))["fish tank 1"].count == 22


def test_a_taking_that_was_skipped_leaves_the_fish() -> None:
    skip = Skipped(on=day(16), step="take", batch="C01", planned_on=day(16))
    found = now(day(20), skip)
    assert tanks(found)["fish tank 1"].count == 40
    assert said(found, "20 Nile tilapia not taken on Wed 17 Mar")


def test_an_emptied_tank_has_no_fish() -> None:
    caught = FishHarvest(on=day(4), tank="fish tank 1", count=30, kg=14, emptied=True)
    assert tanks(now(day(5), caught)) == {}
    assert tanks(now(day(5), Deaths(on=day(4), tank="fish tank 1", count=40))) == {}


def test_a_record_after_the_day_a_tank_was_to_be_empty_keeps_its_fish() -> None:
    weighed = Weigh(on=day(33), tank="fish tank 1", mean_g=600)
    found = now(day(34), weighed)
    assert tanks(found)["fish tank 1"].count == 20
    assert doubted(found, "fish tank 1 was to be empty")


def test_a_record_of_a_tank_without_fish_is_doubted() -> None:
    found = now(day(5), Deaths(on=day(4), tank="fish tank 2", count=3))
    assert doubted(found, "fish tank 2: there is a record of Fri 5 Mar, but no fish are known")


def test_a_batch_is_named_once() -> None:
    document = plan()
    document["batches"][2]["id"] = f"{LETTUCE}-27w12-2a"
    found = now(day(3), document=document)
    assert doubted(found, "sow butterhead lettuce 27w12-2a (Wed 3 Mar)")


def test_a_stocking_follows_the_record() -> None:
    done = Done(on=day(11), step="stock", batch="C02", planned_on=day(9), count=55)
    found = now(day(18), done)
    fish = tanks(found)["fish tank 2"]
    assert (fish.count, fish.mean_g) == (55, pytest.approx(46.0, abs=0.02))
    assert said(found, "stocked on Fri 12 Mar, 2 days late")
    assert said(found, "55 stocked, 60 planned")
    skip = Skipped(on=day(9), step="stock", batch="C02", planned_on=day(9))
    assert "fish tank 2" not in tanks(now(day(18), skip))
    elsewhere = done.model_copy(update={"tank": "fish tank 1"})
    caught = FishHarvest(on=day(8), tank="fish tank 1", count=40, kg=20, emptied=True)
    assert set(tanks(now(day(18), caught, elsewhere))) == {"fish tank 1"}


def test_fish_planned_into_a_tank_that_is_not_empty_are_not_stocked() -> None:
    skips = [Skipped(on=day(n), step="take", batch="C01", planned_on=day(n)) for n in (16, 30)]
    found = now(day(40), *skips)
    assert tanks(found)["fish tank 1"].count == 40
    assert doubted(found, "fish tank 1 still holds fish")
    stocked = Done(on=day(38), step="stock", batch="C03", planned_on=day(38))
    assert tanks(now(day(40), *skips, stocked))["fish tank 1"].count == 50


def test_a_weighing_moves_the_weight_in_proportion() -> None:
    weighed = Weigh(on=day(9), tank="fish tank 1", mean_g=0.9 * planned_g(9))
    found = now(day(14), weighed)
    assert tanks(found)["fish tank 1"].mean_g == pytest.approx(0.9 * planned_g(14), abs=0.02)
    assert said(found, "fish tank 1: weighed 447 g on Wed 10 Mar, planned 497 g (-10 %)")
    newer = Weigh(on=day(12), tank="fish tank 1", mean_g=planned_g(12))
    assert tanks(now(day(14), newer, weighed))["fish tank 1"].mean_g == pytest.approx(
        planned_g(14), abs=0.02
    )


def test_fish_counted_after_the_plan_win_for_their_tank() -> None:
    row = tilapia_row(count=31, mean_g=400.0, as_of=day(7))
    house = farm(cohorts=[row])
    same_day = Deaths(on=day(7), tank="fish tank 1", count=3)
    fish = tanks(now(day(14), same_day, house=house))["fish tank 1"]
    assert fish.count == 31
    assert fish.mean_g == pytest.approx(400.0 * planned_g(14) / planned_g(7), abs=0.05)
    after = Deaths(on=day(8), tank="fish tank 1", count=3)
    assert tanks(now(day(14), after, house=house))["fish tank 1"].count == 28
    assert tanks(now(day(17), house=house))["fish tank 1"].count == 11
    known = tilapia_row(count=5, as_of=MADE_ON)
    before = plan(read=[row_of(known)])
    here = tanks(now(day(14), document=before, house=farm(cohorts=[known])))
    assert here["fish tank 1"].count == 40


def test_fish_of_another_kind_counted_in_a_tank_replace_the_plans() -> None:
    row = tilapia_row(species="perch_yellow", count=12, mean_g=90.0, as_of=day(7))
    fish = tanks(now(day(17), house=farm(cohorts=[row])))["fish tank 1"]
    assert (fish.species, fish.count, fish.mean_g) == ("perch_yellow", 12, 90.0)


def test_fish_of_the_lists_follow_the_book() -> None:
    house = farm(cohorts=[tilapia_row()])
    found = by_lists(
        house,
        day(9),
        Deaths(on=day(0), tank="fish tank 1", count=2),
        FishHarvest(on=day(2), tank="fish tank 1", count=8, kg=4.0),
        Weigh(on=day(5), tank="fish tank 1", mean_g=480),
    )
    assert tanks(found)["fish tank 1"] == tilapia_row(count=30, mean_g=480.0, as_of=day(5))
    empty = FishHarvest(on=day(2), tank="fish tank 1", count=8, kg=4.0, emptied=True)
    assert tanks(by_lists(house, day(9), empty)) == {}
    stock = Done(on=day(2), step="stock", batch="new perch", tank="fish tank 2", count=40)
    assert doubted(by_lists(house, day(9), stock), "fish tank 2", "enter them in cohorts.csv")


# Water


def test_nitrate_drifts_with_the_plan() -> None:
    document = plan()
    first_end = document["weeks"][0]["nitrate_n_mg_l"]
    found = now(day(7), document=document)
    assert found.farm.water.nitrate_n_mg_l == pytest.approx(first_end)
    half = now(day(4), document=document).farm.water.nitrate_n_mg_l
    assert half == pytest.approx(30 + (first_end - 30) * 2 / 5)


def test_the_newest_test_moves_the_nitrate() -> None:
    document = plan()
    at_week_end = [week["nitrate_n_mg_l"] for week in document["weeks"]]
    test = WaterTest(on=day(7), nitrate_n_mg_l=20)
    found = now(day(14), test, WaterTest(on=day(8), ph=7), document=document)
    drift = at_week_end[1] - at_week_end[0]
    assert found.farm.water.nitrate_n_mg_l == pytest.approx(20 + drift)
    assert found.farm.water.nitrate_tested == day(7)
    assert said(found, "water: nitrate-N 20 mg/L on Mon 8 Mar, planned 31 mg/L (-3")
    own = farm(nitrate=44, tested=day(14))
    assert now(day(14), test, house=own).farm.water.nitrate_n_mg_l == pytest.approx(44)


def test_nitrate_is_never_below_nothing() -> None:
    document = plan()
    for week in document["weeks"]:
        week["nitrate_n_mg_l"] = 30.0
    document["weeks"][1]["nitrate_n_mg_l"] = 1.0
    found = now(day(14), WaterTest(on=day(7), nitrate_n_mg_l=5), document=document)
    assert found.farm.water.nitrate_n_mg_l == 0.0


def test_a_test_older_than_one_that_the_plan_knew_is_no_news() -> None:
    house = farm(nitrate=30, tested=day(1))
    old = now(day(7), WaterTest(on=day(0), nitrate_n_mg_l=80), house=house)
    assert old.farm.water == now(day(7), house=house).farm.water
    assert old.farm.water.nitrate_tested == day(1)


def test_without_a_plan_the_newest_test_holds() -> None:
    house = farm(nitrate=30, tested=day(-5))
    newer = by_lists(house, day(3), WaterTest(on=day(1), nitrate_n_mg_l=50)).farm.water
    assert (newer.nitrate_n_mg_l, newer.nitrate_tested) == (50, day(1))
    older = by_lists(house, day(3), WaterTest(on=day(-9), nitrate_n_mg_l=50)).farm.water
    assert (older.nitrate_n_mg_l, older.nitrate_tested) == (30, day(-5))
    untested = by_lists(farm(), day(3), WaterTest(on=day(1), nitrate_n_mg_l=50)).farm.water
    assert untested.nitrate_n_mg_l == 50


def test_the_biggest_differences_are_told_first_and_not_too_many() -> None:
    small = [Done(on=day(12), step="sow", batch="B0007", planned_on=day(8))]
    big = [Loss(on=day(12), batch="B0001", cause="frost")]
    found = now(day(13), *small, *big)
    assert found.happened[0].startswith("butterhead lettuce B0001: lost")
    many = [Loss(on=day(5), batch="B0001", parts=1) for _ in range(50)]
    assert len(now(day(13), *many).happened) == 30


# All together


def split_plan() -> "plandocs.PlanDoc":
    """The plan with its first batch cleared in two goes: three parts, then one."""
    document = plan()
    first = document["batches"][0]
    shares = {"a": [("raft 1", 2), ("raft 2", 1)], "b": [("raft 2", 1)]}
    lots = []
    for letter, places in shares.items():
        lot = dict(first)
        lot["id"] = f"B0001-{letter}"
        lot["places"] = [{"name": name, "parts": parts} for name, parts in places]
        lot["parts"] = sum(parts for _, parts in places)
        lot["cuts"] = [{"date": c["date"], "kg": c["kg"] / 2} for c in first["cuts"]]
        lots.append(lot)
    document["batches"] = [*lots, *document["batches"][1:]]  # type: ignore[list-item]
    return document


DOCUMENT = plan()
BATCHES = st.sampled_from([*(b["id"] for b in DOCUMENT["batches"]), "B0001-lost", "nowhere"])
COHORTS = st.sampled_from(["C01", "C02", "C03"])
TANKS = st.sampled_from(["fish tank 1", "fish tank 2", "pond"])
DAYS = st.integers(-4, 70).map(day)
SOME_DAY = st.none() | DAYS
PARTS = st.none() | st.integers(1, 9)


def _skipped(on: date, step: str, batch: str, planned: date | None, wait: int | None) -> Skipped:
    until = None if wait is None else on + timedelta(days=wait)
    return Skipped(on=on, step=step, batch=batch, planned_on=planned, until=until)  # type: ignore[arg-type]


STEPS = st.sampled_from(["sow", "set out", "cut", "clear"])
ENTRIES: st.SearchStrategy[Entry] = st.one_of(
    st.builds(Done, on=DAYS, step=STEPS, batch=BATCHES, planned_on=SOME_DAY, parts=PARTS),
    st.builds(_skipped, DAYS, STEPS, BATCHES, SOME_DAY, st.none() | st.integers(0, 30)),
    st.builds(_skipped, DAYS, st.just("take"), COHORTS, SOME_DAY, st.none() | st.integers(0, 30)),
    st.builds(
        Harvest,
        on=DAYS,
        crop=st.just(LETTUCE),
        batch=BATCHES,
        kg=st.floats(0.01, 30),
        last=st.booleans(),
    ),
    st.builds(Loss, on=DAYS, batch=BATCHES, parts=PARTS),
    st.builds(
        Done,
        on=DAYS,
        step=st.sampled_from(["order", "stock", "take", "empty"]),
        batch=COHORTS,
        planned_on=SOME_DAY,
        count=st.none() | st.integers(1, 90),
        tank=st.none() | TANKS,
    ),
    st.builds(FishHarvest, on=DAYS, tank=TANKS, count=st.integers(1, 50), kg=st.just(5.0),
              emptied=st.booleans()),
    st.builds(Deaths, on=DAYS, tank=TANKS, count=st.integers(1, 50)),
    st.builds(Weigh, on=DAYS, tank=TANKS, mean_g=st.floats(1, 900)),
    st.builds(WaterTest, on=DAYS, nitrate_n_mg_l=st.floats(0, 300)),
)  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(
    entries=st.lists(ENTRIES, max_size=12),
    today=st.integers(2, 70).map(day),
    lists=st.booleans(),
    counted=st.none() | st.integers(-2, 60),
)
def test_whatever_is_recorded_the_house_is_one_that_can_be_planned(
    entries: list[Entry], today: date, lists: bool, counted: int | None
) -> None:
    own = farm()
    if counted is not None:
        row = lettuce_row(id="B0001", as_of=day(counted))
        fish = tilapia_row(as_of=day(counted))
        own = farm(standing=[row], cohorts=[fish], nitrate=30, tested=day(counted))
    documents = (None,) if lists else (plan(), split_plan())
    for document in documents:
        found = present(
            own, document, recorded(*entries), today, crops=plandocs.CROPS, fish=plandocs.FISH
        )
        here = rows(found)
        assert list(crowding(found.farm, plandocs.CROPS, today)) == []
        held: Counter[tuple[str, int]] = Counter()
        zones = {zone.name: zone for zone in own.zones}
        for row in here.values():
            assert Standing.model_validate(row.model_dump()) == row
            zone = zones[row.zone]
            assert 1 <= row.parts <= zone.all_parts
            if row.places:
                assert sum(row.parts_by_place.values()) == row.parts
            assert all(1 <= place <= zone.places for place in row.places)
            if row.transplant is None or row.transplant <= today:
                held.update({(row.zone, p): n for p, n in row.parts_by_place.items()})
            if document is not None or row.id not in {r.id for r in own.standing}:
                assert row.as_of <= today
                assert row.sow <= today
                assert row.first_cut is None or row.first_cut <= today
        assert all(parts <= zones[zone].parts for (zone, _), parts in held.items())
        ids = [order.cohort for order in found.farm.ordered]
        assert len(set(ids)) == len(ids)
        assert all(order.day >= today for order in found.farm.ordered)
        for tank in tanks(found).values():
            assert tank.count >= 1
            assert tank.mean_g > 0
            assert document is None or tank.as_of <= today
        nitrate = found.farm.water.nitrate_n_mg_l
        assert nitrate is None or nitrate >= 0
        assert len(found.happened) <= 30
        assert found == present(
            own, document, recorded(*entries), today, crops=plandocs.CROPS, fish=plandocs.FISH
        )


@settings(max_examples=100, deadline=None)
@given(entries=st.lists(ENTRIES, max_size=12), today=st.integers(2, 70).map(day))
def test_entries_known_to_the_plan_never_change_the_house(
    entries: list[Entry], today: date
) -> None:
    known = recorded(*entries, first=1)
    found = present(farm(), plan(), known, today, crops=plandocs.CROPS, fish=plandocs.FISH)
    without = now(today)
    assert found.farm.standing == without.farm.standing
    assert found.farm.cohorts == without.farm.cohorts
    assert found.farm.water.nitrate_n_mg_l == without.farm.water.nitrate_n_mg_l
    assert found.doubts == without.doubts


def test_a_stocking_put_off_leaves_the_offers_as_they_are() -> None:
    bought = {"species": "tilapia_nile", "weight_g": 50, "price": 1, "lead_weeks": 2}
    house = farm().model_copy(update={"fingerlings": (Fingerlings.model_validate(bought),)})
    late = Skipped(on=day(3), step="stock", batch="tilapia_nile-27w14", until=day(3 + 35))
    found = now(day(3), late, house=house).farm
    assert found.fingerlings == house.fingerlings


def test_a_batch_seen_ripe_is_ripe_from_that_day() -> None:
    seen = Done(on=day(1), step="ripe", batch="B0001")
    before = rows(now(day(2)))["B0001"]
    assert before.ripe is None
    assert rows(now(day(2), seen))["B0001"].ripe == day(1)


def test_a_batch_that_is_back_in_its_tray_holds_no_places() -> None:
    entries = (
        Done(on=day(0), step="sow", batch="B0001"),
        Skipped(on=day(0), step="set out", batch="B0001"),
    )
    row = rows(now(day(24), *entries))["B0001"]
    assert (row.transplant, row.places, row.parts_in) == (None, (), ())
