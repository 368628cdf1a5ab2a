"""What the book tells: planned against real, batch by batch and weighing by weighing."""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from math import log
from typing import Any, cast

import pytest

from planner.book import (
    Deaths,
    Done,
    Entry,
    Feed,
    FishHarvest,
    Harvest,
    Loss,
    Recorded,
    Skipped,
    Weigh,
)
from planner.document import PlanDoc
from planner.learning import learn, shipped_priors
from planner.observed import DaysObs, LossObs, Observations, observations
from tests.plandocs import CROPS, FISH

LETTUCE, BASIL = "lettuce_butterhead", "basil_genovese"
START = date(2027, 3, 1)  # a Monday
NOW = datetime(2027, 12, 1, 9, tzinfo=UTC)


def day(offset: int) -> date:
    return START + timedelta(days=offset)


def iso(offset: int | None) -> str | None:
    return None if offset is None else day(offset).isoformat()


def batch(id: str = "lettuce 1", **changes: Any) -> dict[str, Any]:
    """A batch; days are offsets from the first Monday: set out 21, ripe 51, cut 52, cleared 56."""
    values: dict[str, Any] = {
        "origin": None, "crop": LETTUCE, "method": "raft", "parts": 4, "plants": 80,
        "state": "planned", "sow": 0, "transplant": 21, "ripe": 51, "cuts": {52: 18.4},
        "clear": 56,
    }  # fmt: skip
    values |= changes
    cuts = values["cuts"]
    for name in ("sow", "transplant", "ripe", "clear"):
        values[name] = iso(values[name])
    values["cuts"] = [{"date": iso(offset), "kg": kg} for offset, kg in cuts.items()]
    values["first_harvest"] = iso(min(cuts, default=None))
    return {"id": id, **values}


def basil(**changes: Any) -> dict[str, Any]:
    """Basil on a raft, cut every fortnight from day 50 for ten weeks, 2 kg each."""
    cuts = {50 + 14 * n: 2.0 for n in range(6)}
    same = {"crop": BASIL, "ripe": 49, "cuts": cuts, "clear": 126}
    return batch("basil 1", **(same | changes))


def cohort(id: str = "tilapia 1", **changes: Any) -> dict[str, Any]:
    """Fish of 125 g at hand, whose weight's cube root rises by 0.1 a week; 1 in 100 dies a week."""
    values: dict[str, Any] = {
        "at_hand": True, "species": "tilapia_nile", "tank": "tank 1", "stock": -1,
        "harvest": None, "taken": [], "root_g": 5.0, "count": 200.0, "weeks": 30,
    }  # fmt: skip
    values |= changes
    root_g, count, start = values.pop("root_g"), values.pop("count"), values["stock"]
    first = max(0, start - start % 7) if not values["at_hand"] else 0
    values["weeks"] = [
        {
            "week": iso(first + 7 * n),
            "mean_g": (root_g + 0.1 * n) ** 3,
            "count": count * 0.99**n,
            "biomass_kg": 0.0,
            "feed_kg": 0.0,
        }
        for n in range(values["weeks"])
    ]
    return {"id": id, **values, "stock": iso(start), "harvest": iso(values["harvest"])}


def plan(
    *batches: dict[str, Any],
    made_on: int = 0,
    cohorts: Sequence[dict[str, Any]] = (),
    standing: Sequence[dict[str, Any]] = (),
    **more: Any,
) -> tuple[date, PlanDoc]:
    counted = [{"tank": fish["tank"], "as_of": iso(made_on)} for fish in cohorts if fish["at_hand"]]
    document = {
        "made_on": iso(made_on),
        "horizon": {"start": iso(made_on - made_on % 7), "weeks": 52},
        "batches": list(batches),
        "cohorts": list(cohorts),
        "house": {"standing": list(standing), "cohorts": counted, "nitrate_n_mg_l": 30.0},
        **more,
    }
    return day(made_on), cast(PlanDoc, document)


def told(plans: Sequence[tuple[date, PlanDoc]], *entries: Entry) -> Observations:
    recorded = [
        Recorded(number=number, written_at=NOW, entry=entry)
        for number, entry in enumerate(entries, start=1)
    ]
    return observations(plans, recorded, CROPS, FISH)


def cut(offset: int, kg: float = 18.4, **changes: Any) -> Harvest:
    values: dict[str, Any] = {"crop": LETTUCE, "batch": "lettuce 1"}
    return Harvest(**(values | {"on": day(offset), "kg": kg} | changes))


def done(step: Any, offset: int, batch: str = "lettuce 1", **changes: Any) -> Done:
    if step == "ripe":
        entry = Done(on=day(offset), step="cut", batch=batch, **changes)
        return entry.model_copy(update={"step": "ripe"})
    return Done(on=day(offset), step=step, batch=batch, **changes)


def only_days(*entries: Entry, plans: Sequence[tuple[date, PlanDoc]] = ()) -> DaysObs:
    (found,) = told(plans or [plan(batch())], *entries).days
    return found


# Days to harvest


def test_nothing_recorded_tells_nothing() -> None:
    assert told([plan(batch(), basil(), cohorts=[cohort()])]) == Observations()
    assert told([], cut(52), Weigh(on=day(30), tank="tank 1", mean_g=200)) == Observations()


def test_a_late_first_cut_was_waited_for_and_looked_at() -> None:
    """After the planned day, and after the look of four days before."""
    for offset, from_days in ((60, 35), (57, 32), (56, 31)):
        found = only_days(cut(offset))
        assert (found.planned_days, found.from_days, found.real_days) == (
            30,
            from_days,
            offset - 21,
        )
        assert (found.told, found.on_time, found.censored) == ("between", False, False)
        assert found.middle_days == (from_days + offset - 21) / 2


def test_a_cut_when_it_was_due_tells_only_that_it_was_ripe_by_then() -> None:
    for offset in (52, 54, 55):
        found = only_days(cut(offset))
        assert (found.real_days, found.told, found.on_time) == (34, "by", True)
        assert found.censored


def test_of_a_grower_who_puts_off_what_is_not_ripe_a_cut_in_time_tells_its_day() -> None:
    plans = [plan(*(batch(f"lettuce {n}") for n in range(1, 5)))]
    waiting = [Skipped(on=day(52), step="cut", batch=f"lettuce {n}", until=day(58)) for n in (2, 3)]
    for offset in (52, 54):
        first = told(plans, cut(offset), *waiting[:1])
        both = told(plans, cut(offset), *waiting)
        assert [o.real_days for o in first.days] == [34, 31]
        assert [o.real_days for o in both.days] == [offset - 21, 31, 31]
        assert (both.days[0].told, both.days[0].on_time) == ("by", True)


def test_a_cut_put_off_after_the_first_one_says_nothing_of_ripeness() -> None:
    later = [Skipped(on=day(60), step="cut", batch=f"lettuce {n}", until=day(66)) for n in (1, 2)]
    cuts = [cut(52, 4.0, batch=f"lettuce {n}") for n in (1, 2)]
    found = told([plan(batch(), batch("lettuce 2"))], *cuts, *later)
    assert [(o.told, o.real_days) for o in found.days] == [("by", 34), ("by", 34)]


def test_a_cut_before_it_was_due_tells_the_day_by_which_it_was_ripe() -> None:
    found = only_days(cut(45))
    assert (found.real_days, found.told, found.on_time) == (24, "by", False)


def test_a_word_that_it_is_ripe_tells_the_day_exactly() -> None:
    for entries in ((done("ripe", 48),), (done("ripe", 48), cut(62))):
        found = only_days(*entries)
        assert (found.real_days, found.told) == (27, "ripe")


def test_a_cut_that_was_done_but_not_weighed_tells_the_day() -> None:
    assert only_days(done("cut", 60), cut(67)).real_days == 39


def test_a_cut_put_off_was_not_ripe_then_and_was_when_it_was_cut() -> None:
    put_off = Skipped(on=day(52), step="cut", batch="lettuce 1", until=day(58))
    waiting = only_days(put_off)
    assert (waiting.real_days, waiting.told) == (31, "after")
    cut_then = only_days(put_off, cut(66))
    assert (cut_then.from_days, cut_then.real_days, cut_then.told) == (41, 45, "between")
    sooner = only_days(put_off, cut(54))
    assert (sooner.from_days, sooner.real_days, sooner.told) == (31, 33, "between")
    again = Skipped(on=day(58), step="cut", batch="lettuce 1", until=day(61))
    looked = only_days(put_off, again, cut(61))
    assert (looked.from_days, looked.real_days) == (37, 40)
    only_said = Skipped(on=day(52), step="cut", batch="lettuce 1")
    assert told([plan(batch())], only_said).days == ()


def test_days_count_from_the_day_it_was_really_set_out() -> None:
    found = only_days(done("set out", 26), cut(66))
    assert (found.planned_days, found.real_days, found.told) == (30, 40, "between")
    due = only_days(done("set out", 26), cut(60))
    assert due.told == "by"


def test_a_crop_sown_in_place_counts_from_sowing() -> None:
    radish = batch(
        crop="radish", method="media_bed", transplant=None, sow=10, ripe=40, cuts={41: 2.0}
    )
    found = only_days(done("sow", 12), cut(55, crop="radish"), plans=[plan(radish)])
    assert (found.planned_days, found.real_days) == (30, 43)


def test_the_plan_in_force_at_setting_out_is_what_it_is_held_against() -> None:
    plans = [
        plan(batch(ripe=51)),
        plan(batch(ripe=56, cuts={57: 18.4}, clear=63, state="sown"), made_on=14),
        plan(batch(ripe=60, cuts={61: 18.4}, clear=70, state="growing"), made_on=42),
    ]
    assert only_days(cut(66), plans=plans[::-1]).planned_days == 35


def test_a_cut_that_the_next_plan_moved_is_not_late() -> None:
    moved = plan(batch(cuts={65: 18.4}, clear=70, state="growing"), made_on=42)
    assert only_days(cut(65), plans=[plan(batch()), moved]).told == "by"


def test_shares_of_a_batch_cleared_apart_are_one_batch() -> None:
    shares = [
        batch("lettuce 1", origin="lettuce 1", parts=2, plants=40, state="growing"),
        batch("lettuce 1-b", origin="lettuce 1", parts=2, plants=40, state="growing"),
        batch("lettuce 1-lost", origin="lettuce 1-lost", parts=1, state="growing", cuts={}),
    ]
    found = told([plan(batch()), plan(*shares, made_on=40)], cut(60, 9.2, batch="lettuce 1-b"))
    (days,) = found.days
    assert (days.batch, days.real_days) == ("lettuce 1", 39)


def test_a_batch_older_than_the_plans_counts_when_the_model_had_it_whole() -> None:
    old = batch(
        origin="lettuce 1", state="growing", sow=-30, transplant=-10, ripe=20, cuts={21: 18.4}
    )
    assert only_days(cut(40), plans=[plan(old)]).planned_days == 30
    ripe_already = old | {"ripe": iso(0)}
    by_hand = {"id": "lettuce 1", "ripe": iso(20)}
    cutting = old | {"state": "cutting"}
    for plans in ([plan(ripe_already)], [plan(old, standing=[by_hand])], [plan(cutting)]):
        found = told(plans, cut(40), done("clear", 41))
        assert (found.days, found.yields) == ((), ())
        assert len(found.losses) == 1


def test_what_a_plan_had_learned_is_taken_out_again() -> None:
    learned = {f"{LETTUCE}/raft": {"days": 1.2, "yield": 0.8, "loss": 2.0}}
    found = told([plan(batch(), learned=learned)], cut(60, 20.0), done("clear", 61))
    assert found.days[0].planned_days == pytest.approx(25)
    assert found.yields[0].planned_kg == pytest.approx(18.4 / 0.8 * 0.92 / 0.84)


def test_on_time_is_by_the_plan_that_was_kept_to() -> None:
    """A plan that learned quick days and is kept to does not prove them once more."""
    learned = {f"{LETTUCE}/raft": {"days": 0.8}}
    assert only_days(cut(52), plans=[plan(batch(), learned=learned)]).on_time


# Kilograms and losses


def test_a_finished_batch_tells_its_yield() -> None:
    for end in ((cut(52, 8.0), cut(55, 8.0), done("clear", 56)), (cut(52, 16.0, last=True),)):
        (found,) = told([plan(batch())], *end).yields
        assert (found.crop, found.method, found.batch) == (LETTUCE, "raft", "lettuce 1")
        assert found.planned_kg == pytest.approx(18.4)
        assert found.real_kg == pytest.approx(16.0)


def test_a_batch_tells_no_yield_before_it_is_finished_or_when_not_all_was_weighed() -> None:
    unnamed = cut(53, 2.0, batch=None)
    other_time = cut(90, 2.0, batch=None)
    for entries, tells in (
        ((cut(52),), False),
        ((done("clear", 56),), False),
        ((cut(52), done("cut", 56), done("clear", 56)), False),
        ((cut(52), done("cut", 53), done("clear", 56)), True),
        ((cut(52), unnamed, done("clear", 56)), False),
        ((cut(52), other_time, done("clear", 56)), True),
    ):
        assert len(told([plan(batch())], *entries).yields) == tells


def test_lost_parts_count_with_neither_side_of_the_yield() -> None:
    loss = Loss(on=day(40), batch="lettuce 1", parts=1)
    found = told([plan(batch())], loss, cut(52, 13.8), done("clear", 56))
    assert found.yields[0].planned_kg == pytest.approx(18.4 * 3 / 4)
    assert found.yields[0].plants == pytest.approx(60)
    assert found.losses == (
        LossObs(
            crop=LETTUCE, method="raft", batch="lettuce 1", plants=80, lost=20, event="2027-04-10 "
        ),
    )


def test_losses_add_up_to_no_more_than_all_and_cleared_batches_lost_nothing() -> None:
    some = Loss(on=day(30), batch="lettuce 1", parts=3)
    everything = Loss(on=day(40), batch="lettuce 1")
    for entries, lost in (
        ((some,), 60),
        ((some, everything), 80),
        ((done("clear", 56),), 0),
        ((cut(52),), 0),
    ):
        assert [o.lost for o in told([plan(batch())], *entries).losses] == [lost]
    assert told([plan(batch())], done("set out", 21)).losses == ()


def test_cuts_after_an_early_clearing_are_not_counted() -> None:
    def picked(*offsets: int) -> list[Entry]:
        return [cut(n, 1.5, crop=BASIL, batch="basil 1") for n in offsets]

    plans = [plan(basil())]
    cleared = told(plans, *picked(50, 64, 78), done("clear", 80, "basil 1"))
    assert (cleared.yields[0].planned_kg, cleared.yields[0].real_kg) == (6.0, 4.5)
    late = told(plans, *picked(60, 74), done("clear", 80, "basil 1"))
    assert (late.yields[0].planned_kg, late.yields[0].real_kg) == (4.0, 3.0)


def test_a_crop_cut_many_times_tells_before_its_end() -> None:
    cuts = [cut(n, 1.5, crop=BASIL, batch="basil 1") for n in (50, 64, 78)]
    assert told([plan(basil())], *cuts[:2]).yields == ()
    (found,) = told([plan(basil())], *cuts).yields
    assert (found.planned_kg, found.real_kg) == (6.0, 4.5)


def test_cuts_that_the_plan_did_not_have_any_more_are_left_out() -> None:
    cuts = [cut(50 + 14 * n, 2.0, crop=BASIL, batch="basil 1") for n in range(10)]
    (found,) = told([plan(basil())], *cuts).yields
    assert (found.planned_kg, found.real_kg) == (12.0, 12.0)


# Fish


def weigh(offset: int, mean_g: float, **changes: Any) -> Weigh:
    return Weigh(on=day(offset), tank="tank 1", mean_g=mean_g, **changes)


def test_growth_between_weighings_is_held_against_the_plan_from_the_weight_weighed() -> None:
    plans = [plan(cohorts=[cohort()])]
    found = told(plans, weigh(28, 5.2**3), weigh(70, 5.8**3)).growth
    assert [o.start_g for o in found] == pytest.approx([125.0, 5.2**3])
    first, second = found
    assert first.planned_gain_g == pytest.approx(5.4**3 - 125)
    assert first.real_gain_g == pytest.approx(5.2**3 - 125)
    assert second.planned_gain_g == pytest.approx(second.real_gain_g)
    assert (first.species, first.cohort) == ("tilapia_nile", "tilapia 1")


def test_the_more_fish_are_weighed_the_less_the_weighing_is_unsure() -> None:
    plans = [plan(cohorts=[cohort()])]
    few, many = (told(plans, weigh(28, 160.0, sampled=n)).growth[0].noise_log for n in (5, 500))
    assert many < few
    half = told(plans, weigh(14, 140.0, sampled=500)).growth[0].noise_log
    assert half > many  # the shorter, the less sure


def test_weighings_too_near_or_of_other_fish_tell_nothing() -> None:
    plans = [plan(cohorts=[cohort()])]
    emptied = FishHarvest(on=day(20), tank="tank 1", count=200, kg=30, emptied=True)
    for entries in (
        (weigh(7, 130.0),),
        (emptied, weigh(28, 160.0)),
        (done("empty", 20, "tilapia 1"), weigh(28, 160.0)),
        (Weigh(on=day(28), tank="tank 9", mean_g=160.0),),
        (weigh(400, 900.0),),
    ):
        assert told(plans, *entries).growth == ()


def test_fish_bought_count_from_the_weight_they_were_bought_at() -> None:
    new = cohort("tilapia 2", at_hand=False, stock=10, root_g=4.0)
    plans = [plan(cohorts=[new])]
    stocked = done("stock", 10, "tilapia 2")
    (found,) = told(plans, stocked, weigh(35, 4.4**3)).growth
    assert found.start_g == pytest.approx(64.0)
    assert told(plans, weigh(35, 4.4**3)).growth == ()


def test_a_growth_factor_in_the_plan_is_taken_out_again() -> None:
    learned = {"tilapia_nile": {"growth": 0.5, "survival": 1.0, "fcr": 1.0}}
    (found,) = told([plan(cohorts=[cohort()], learned=learned)], weigh(28, 160.0)).growth
    assert found.planned_gain_g == pytest.approx(5.8**3 - 125)


def test_a_later_plan_from_the_weighed_weight_tells_the_same_growth() -> None:
    first = plan(cohorts=[cohort()])
    again = cohort("tilapia 1 again", root_g=6.0) | {"weeks": cohort(weeks=40)["weeks"][4:]}
    (one,) = told([first], weigh(28, 160.0), weigh(56, 190.0)).growth[1:]
    (other,) = told(
        [first, plan(cohorts=[again], made_on=28)], weigh(28, 160.0), weigh(56, 190.0)
    ).growth[1:]
    assert other.planned_gain_g == pytest.approx(one.planned_gain_g)
    assert other.cohort == "tilapia 1 again"


def test_deaths_are_held_against_the_plan_s_once_any_are_told() -> None:
    plans = [plan(cohorts=[cohort()])]
    assert told(plans, weigh(70, 190.0)).survival == ()
    dead = Deaths(on=day(20), tank="tank 1", count=7)
    (found,) = told(plans, dead, weigh(70, 190.0)).survival
    assert (found.count, found.dead, found.days) == (200, 7, 70)
    assert found.expected == pytest.approx(200 * (1 - 0.99**10), rel=0.01)
    again = plan(cohorts=[cohort("other name")], made_on=28)
    assert len(told([*plans, again], dead, weigh(70, 190.0)).survival) == 1
    assert told(plans, dead).survival == ()  # not watched for long enough


def test_feed_counts_where_it_is_written_down_all_the_time() -> None:
    plans = [plan(cohorts=[cohort()])]
    weekly = [Feed(on=day(7 * n), tank="tank 1", kg=2.0) for n in range(1, 5)]
    (found,) = told(plans, weigh(28, 165.0), *weekly).fcr
    assert found.feed_kg == 8.0
    before = Feed(on=day(0), tank="tank 1", kg=9.0)  # went into the weight of that day
    assert told(plans, before, weigh(28, 165.0), *weekly).fcr[0].feed_kg == 8.0
    assert found.gain_kg == pytest.approx((200 + 200 * 0.99**4) / 2 * 0.04)
    assert told(plans, weigh(28, 165.0), *weekly[1:]).fcr == ()
    assert told(plans, weigh(28, 120.0), *weekly).fcr == ()
    unnamed = [Feed(on=e.on, kg=2.0) for e in weekly]
    assert len(told(plans, weigh(28, 165.0), *unnamed).fcr) == 1
    two = [plan(cohorts=[cohort(), cohort("tilapia 9", tank="tank 2")])]
    assert told(two, weigh(28, 165.0), *unnamed).fcr == ()


# From the book to the next plan


def test_a_season_of_slow_lettuce_is_learned_from_its_records() -> None:
    """Twelve batches, each a fifth slower and a tenth lighter than planned."""

    def moved(number: int) -> Mapping[str, Any]:
        at = 7 * number
        return batch(f"lettuce {number}", sow=at, transplant=at + 21, ripe=at + 51,
                     cuts={at + 52: 18.4}, clear=at + 63)  # fmt: skip

    entries: list[Entry] = []
    for number in range(12):
        late, name = 7 * number + 21 + 36, f"lettuce {number}"
        looked = Skipped(on=day(late - 1), step="cut", batch=name, until=day(late))
        entries += [looked, cut(late, 18.4 * 0.9, batch=name), done("clear", late + 1, name)]
    found = told([plan(*(dict(moved(n)) for n in range(12)))], *entries)
    factors = learn(found, CROPS, FISH, shipped_priors())
    days, kg = factors.days_of(LETTUCE, "raft"), factors.yield_of(LETTUCE, "raft")
    assert days.n == kg.n == 12
    assert log(35 / 30) * 0.9 < days.mean_log < log(36 / 30)
    assert kg.mean_log == pytest.approx(log(0.9), rel=0.1)
    assert 1 < factors.days_of(BASIL, "raft").factor < days.factor
