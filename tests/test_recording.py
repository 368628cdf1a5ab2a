"""Records: what a grower says becomes an entry, names are forgiving, faults come all at once."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner import bookwords
from planner.amounts import amount_of, weight_in
from planner.book import (
    KINDS,
    Deaths,
    Delivery,
    Done,
    Entry,
    Feed,
    FishHarvest,
    Harvest,
    Loss,
    Note,
    Recorded,
    Skipped,
    Void,
    WaterTest,
    Weigh,
)
from planner.errors import InputError
from planner.farmfile import Inputs, read_farm
from planner.farmnames import Names, names
from planner.finding import UnclearError, found
from planner.recording import FIELDS, STEP_WORDS, entry_from_form, step_and_batch
from tests import plandocs
from tests.farms import write_small_farm

TODAY = date(2027, 3, 10)  # a Wednesday, a week after the plan of `plandocs`


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Inputs:
    """The small farm, with the crops of the small plan; of its batches only the chard."""
    read = read_farm(write_small_farm(tmp_path_factory.mktemp("farm") / "small"))
    standing = tuple(row for row in read.farm.standing if row.crop == "swiss_chard")
    return replace(
        read,
        farm=read.farm.model_copy(update={"standing": standing}),
        crops={**read.crops, **plandocs.CROPS},
        fish={**read.fish, **plandocs.FISH},
    )


@pytest.fixture(scope="module")
def known(inputs: Inputs) -> Names:
    """Names of the small farm with the small plan in force."""
    return names(inputs, plandocs.small_plan())


def entered(kind: str, known: Names, **form: str) -> Entry:
    return entry_from_form(kind, form, known, TODAY)[0]


def doubts(kind: str, known: Names, **form: str) -> str:
    return "\n".join(entry_from_form(kind, form, known, TODAY)[1])


def faults(kind: str, known: Names, **form: str) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        entry_from_form(kind, form, known, TODAY)
    return caught.value.faults


# Amounts


@pytest.mark.parametrize(
    ("text", "number", "unit"),
    [
        ("24 heads", 24, "head"),
        ("1 head", 1, "head"),
        ("10 bunches", 10, "bunch"),
        ("5 pieces", 5, "each"),
        ("2.4 kg", 2.4, "kg"),
        ("2.4kg", 2.4, "kg"),
        ("350 g", 0.35, "kg"),
        ("1,200 g", 1.2, "kg"),
        ("5 lb", 2.267962, "kg"),
        ("5 lbs.", 2.267962, "kg"),
        ("12 oz", 0.340194, "kg"),
        ("1 lb 4 oz", 0.56699, "kg"),
        ("1lb4oz", 0.56699, "kg"),
    ],
)
def test_amounts_are_read_as_growers_say_them(text: str, number: float, unit: str) -> None:
    amount = amount_of(text)
    assert amount.unit == unit
    assert amount.number == pytest.approx(number, abs=1e-6)


def test_the_unit_of_a_number_alone_may_stand_beside_it() -> None:
    assert amount_of("24", "head") == amount_of("24 heads")
    assert amount_of("24 heads", "kg") == amount_of("24 heads")  # its own unit comes first
    assert weight_in("210", "g", "g") == 210
    assert weight_in("0.5 lb", "g") == pytest.approx(226.796, abs=1e-3)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("24", "its unit is missing"),
        ("0 kg", "above 0"),
        ("-3 kg", "above 0"),
        ("1 lb -4 oz", "above 0"),
        ("2,4 kg", "decimal point"),
        ("2.4.5 kg", "is no number"),
        ("5 gallons", '"gallons" is no unit of produce'),
        ("24 heads 3 kg", "apart"),
        ("some kg", "with its unit"),
        ("", "with its unit"),
        ("9" * 80, "with its unit"),
    ],
)
def test_what_is_no_amount_is_refused_with_what_is_allowed(text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        amount_of(text)


# Names


def test_a_name_is_found_in_any_case_with_spaces_or_underscores_or_in_part() -> None:
    labels = {"a": ("fish_tank 1",), "b": ("Fish tank 12",), "c": ("raft",)}
    assert found("FISH TANK 1", "thing", labels) == "a"
    assert found("fish-tank_12", "thing", labels) == "b"
    assert found("ra", "thing", labels) == "c"
    assert found("12", "thing", labels) == "b"
    with pytest.raises(UnclearError, match='"a" or "b"'):
        found("fish", "thing", labels)
    with pytest.raises(ValueError, match=r'there is no such thing; did you mean "raft"\?'):
        found("raftt", "thing", labels)
    with pytest.raises(ValueError, match="there are"):
        found(" ", "thing", labels)


@pytest.mark.parametrize(
    ("text", "crop"),
    [
        ("basil_genovese", "basil_genovese"),
        ("Basil", "basil_genovese"),  # the only basil that this farm grows
        ("genovese basil", "basil_genovese"),
        ("lettuce, butterhead", "lettuce_butterhead"),
        ("butterhead", "lettuce_butterhead"),
        ("thai basil", "basil_thai"),  # not grown, but in the table
        ("Swiss chard", "swiss_chard"),
    ],
)
def test_crops_have_many_names(known: Names, text: str, crop: str) -> None:
    assert known.crop(text) == crop


def test_a_crop_that_is_grown_is_the_nearest(known: Names) -> None:
    assert 'did you mean "basil"' in faults("harvest", known, crop="bassil", amount="1 kg")[0]


def test_a_harvest_may_name_a_batch_or_a_crop(known: Names) -> None:
    assert known.batch_or_crop("b0004") == ("B0004", "basil_genovese")
    assert known.batch_or_crop("basil") == (None, "basil_genovese")
    batch = replace(known.batches["B0004"], id="basil_genovese-27w12-1")
    planned = replace(known, batches={batch.id: batch, "B0001": known.batches["B0001"]})
    assert planned.batch_or_crop("basil 27w12") == (batch.id, "basil_genovese")
    with pytest.raises(UnclearError, match="it may be"):
        known.batch_or_crop("B000")
    with pytest.raises(ValueError, match="there is no such crop or batch; did you mean"):
        known.batch_or_crop("B000l")


def test_the_names_are_those_of_the_lists_and_of_the_plan_in_force(
    inputs: Inputs, known: Names
) -> None:
    assert {"G3", "B0001", "B0012"} <= known.batches.keys()
    assert list(known.cohorts) == ["C01", "C02", "C03"]
    assert known.tanks == ("fish tank 1", "fish tank 2")
    before = names(inputs, None)
    assert list(before.batches) == ["G3"]
    assert list(before.cohorts) == ["fish tank 1", "fish tank 2"]
    assert known.has_plan
    assert not before.has_plan


def test_what_the_plan_found_in_the_house_has_names_too(inputs: Inputs) -> None:
    document = plandocs.small_plan()
    row = inputs.farm.standing[0].model_copy(update={"id": "G9-lost", "finished": True})
    document["house"]["standing"] = [row.model_dump(mode="json")]
    assert names(inputs, document).batches["G9-lost"].crop == "swiss_chard"


# Each kind


def test_steps_are_dated_by_the_plan(known: Names) -> None:
    assert entered("done", known, step="set out", batch="b0003") == Done(
        on=TODAY, step="set out", batch="B0003", planned_on=date(2027, 3, 24)
    )
    form = {"step": "cut", "batch": "B0004"}
    cut, _ = entry_from_form("done", form, known, date(2027, 3, 17))
    assert isinstance(cut, Done)
    assert cut.planned_on == date(2027, 3, 18)  # the nearest of three cuts
    given_day = entered("done", known, step="cut", batch="B0004", planned_on="2027-03-04")
    assert isinstance(given_day, Done)
    assert given_day.planned_on == date(2027, 3, 4)


def test_a_step_of_fish_may_name_the_tank(known: Names) -> None:
    stocked = entered("done", known, step="stock", batch="fish tank 2", count="58")
    assert stocked == Done(
        on=TODAY, step="stock", batch="C02", planned_on=date(2027, 3, 10), count=58,
        tank="fish tank 2",
    )  # fmt: skip
    later = entered("done", known, step="stock", tank="1")
    assert isinstance(later, Done)
    assert later.batch == "C03"  # the cohort that is stocked there, not the one in it
    took = entered("done", known, step="take", batch="C01")
    assert isinstance(took, Done)
    assert (took.planned_on, took.tank) == (date(2027, 3, 17), "fish tank 1")


def test_an_order_of_fish_names_the_fish_to_come_or_their_tank(known: Names) -> None:
    ordered = Done(
        on=TODAY, step="order", batch="C03", planned_on=date(2027, 3, 18), count=45,
        tank="fish tank 1",
    )  # fmt: skip
    assert entered("done", known, step="order", batch="c03", count="45") == ordered
    assert entered("done", known, step="ordered", batch="1", count="45") == ordered
    skipped = entered("skipped", known, step="order", batch="C03", until="2027-03-22")
    assert skipped == Skipped(
        on=TODAY, step="order", batch="C03", planned_on=date(2027, 3, 18),
        until=date(2027, 3, 22),
    )  # fmt: skip
    assert "150 fish; 50 are expected" not in doubts(
        "done", known, step="order", batch="C03", count="150"
    )
    assert "151 fish; 50 are expected" in doubts(
        "done", known, step="order", batch="C03", count="151"
    )


def test_fish_on_order_may_be_recorded_as_ordered_without_a_doubt(known: Names) -> None:
    """The plan has no more job for it: they were ordered before it was made."""
    form = {"step": "order", "batch": "fish tank 2", "count": "55", "on": "2027-03-09"}
    entry = entered("done", known, **form)
    assert entry == Done(
        on=date(2027, 3, 9), step="order", batch="C02", count=55, tank="fish tank 2"
    )
    assert doubts("done", known, **form) == ""
    assert doubts("skipped", known, step="order", batch="C02", on="2027-03-09") == ""
    assert 'has no "order" of C01' in doubts("done", known, step="order", batch="C01")
    assert faults("done", known, step="order", batch="fish tank 2", on="2027-03-10") == (
        'batch is "fish tank 2"; no fish are to come to fish tank 2 after 2027-03-10',
    )


def test_water_jobs_are_of_no_batch(known: Names) -> None:
    water = entered("done", known, step="water")
    assert water == Done(on=TODAY, step="water", batch="", planned_on=date(2027, 3, 8))
    assert faults("done", known, step="water", batch="B0001") == (
        "batch is given; the water's jobs are of no batch",
    )


def test_a_step_that_the_plan_does_not_have_is_doubted_not_refused(
    inputs: Inputs, known: Names
) -> None:
    assert 'has no "sow" of B0001' in doubts("done", known, step="sow", batch="B0001")
    assert doubts("done", known, step="ripe", batch="B0001") == ""  # no plan has it
    assert doubts("done", names(inputs, None), step="cut", batch="G3") == ""
    far = doubts("done", known, step="clear", batch="B0003", on="2027-03-09")
    assert "it was planned for 2027-04-26, 48 days from 2027-03-09" in far


def test_a_job_not_done_has_its_new_day(known: Names) -> None:
    skipped = entered(
        "skipped", known, step="cut", batch="B0001", until="2027-03-15", cause="too small"
    )
    assert skipped == Skipped(
        on=TODAY, step="cut", batch="B0001", planned_on=date(2027, 3, 11),
        until=date(2027, 3, 15), cause="too small",
    )  # fmt: skip
    late = faults("skipped", known, step="cut", batch="B0001", until="2027-03-01")
    assert "give a day not before" in late[0]


@pytest.mark.parametrize("step", STEP_WORDS)
def test_every_step_of_the_book_has_words(step: str) -> None:
    assert step_and_batch([*step.split(), "raft", "a"]) == (step, "raft a")


def test_counted_heads_are_weighed_by_the_crop_table_and_kept(known: Names) -> None:
    cut = entered("harvest", known, what="B0001", amount="24 heads", lot_code="L-7", last="yes")
    assert cut == Harvest(
        on=TODAY, crop="lettuce_butterhead", kg=6.0, batch="B0001", units=24, unit="head",
        lot_code="L-7", last=True,
    )  # fmt: skip
    weighed = entered("harvest", known, what="B0001", amount="24", unit="head", kg="11 lb")
    assert isinstance(weighed, Harvest)
    assert (weighed.units, weighed.kg) == (24, pytest.approx(4.989517))


def test_units_that_the_crop_is_not_counted_by_need_a_weight(known: Names) -> None:
    assert faults("harvest", known, crop="basil", amount="3 bunches") == (
        "amount is 3 bunches; the crop table has basil_genovese by the kg, so give the weight too"
        " (kg)",
    )
    cut = entered("harvest", known, crop="basil", amount="3 bunches", kg="0.2 kg")
    assert isinstance(cut, Harvest)
    assert (cut.kg, cut.units, cut.unit) == (0.2, 3, "bunch")
    assert "give the weight once" in faults("harvest", known, crop="mint", amount="1 kg", kg="1")[0]


def test_a_harvest_without_batch_takes_the_only_one_that_may_be_cut_and_says_so(
    known: Names,
) -> None:
    entry, said = entry_from_form("harvest", {"crop": "basil", "amount": "1 kg"}, known, TODAY)
    assert isinstance(entry, Harvest)
    assert entry.batch == "B0004"
    assert said == ("taken as batch B0004, the only Genovese basil that may be cut",)
    entry, said = entry_from_form("harvest", {"crop": "rosemary", "amount": "1 kg"}, known, TODAY)
    assert isinstance(entry, Harvest)
    assert entry.batch is None
    assert said[0].startswith("entered without a batch; no rosemary")


def test_a_harvest_of_which_batch_is_not_clear_is_entered_without(inputs: Inputs) -> None:
    row = inputs.farm.standing[0]
    both = (row, row.model_copy(update={"id": "G8"}))
    twice = replace(inputs, farm=inputs.farm.model_copy(update={"standing": both}))
    entry, said = entry_from_form(
        "harvest", {"crop": "chard", "amount": "1 kg"}, names(twice, None), TODAY
    )
    assert isinstance(entry, Harvest)
    assert entry.batch is None
    assert "2 of" in said[0]
    assert "(G3, G8)" in said[0]


def test_a_batch_must_be_of_the_crop(known: Names) -> None:
    assert faults("harvest", known, crop="mint", batch="B0001", amount="1 kg") == (
        'crop is "mint"; batch "B0001" is "lettuce_butterhead"',
    )


def test_losses_weighings_deaths_catches_and_feed(known: Names) -> None:
    assert entered("loss", known, batch="B0001", parts="all", cause="rot") == Loss(
        on=TODAY, batch="B0001", parts=None, cause="rot"
    )
    assert entered("weigh", known, tank="1", mean="0.3 kg", sampled="10") == Weigh(
        on=TODAY, tank="fish tank 1", mean_g=300.0, sampled=10
    )
    assert entered("weigh", known, tank="1", total="3", unit="kg", sampled="10") == Weigh(
        on=TODAY, tank="fish tank 1", mean_g=300.0, sampled=10
    )
    assert entered("weigh", known, tank="1", mean_g="300") == Weigh(
        on=TODAY, tank="fish tank 1", mean_g=300.0
    )
    assert entered("deaths", known, tank="Fish_Tank_1", count="2") == Deaths(
        on=TODAY, tank="fish tank 1", count=2
    )
    catch = entered("fish_harvest", known, tank="1", count="20", amount="7 kg", emptied="on")
    assert catch == FishHarvest(on=TODAY, tank="fish tank 1", count=20, kg=7.0, emptied=True)
    assert entered("feed", known, kg="1.5") == Feed(on=TODAY, kg=1.5)
    assert entered("feed", known, amount="300 g", tank="1") == Feed(
        on=TODAY, kg=0.3, tank="fish tank 1"
    )


def test_nitrate_as_nitrate_becomes_nitrogen(known: Names) -> None:
    test = entered("water_test", known, ph="6.8", nitrate_as_no3="177", temperature_c="72 degF")
    assert isinstance(test, WaterTest)
    assert test.nitrate_n_mg_l == pytest.approx(177 * 14.007 / 62.005, abs=5e-4)
    assert test.temperature_c == pytest.approx(22.222, abs=1e-3)
    twice = faults("water_test", known, nitrate_as_no3="177", nitrate_n_mg_l="40")
    assert twice == ("nitrate is given twice, as N and as NO3; give it once",)


def test_degrees_alone_are_those_that_the_grower_reads(known: Names) -> None:
    metric = entered("water_test", known, temperature_c="22")
    american = entered("water_test", replace(known, units="us"), temperature_c="71.6")
    assert isinstance(metric, WaterTest)
    assert isinstance(american, WaterTest)
    assert metric.temperature_c == pytest.approx(american.temperature_c)


def test_a_delivery_takes_customer_crop_and_unit_from_its_line(known: Names) -> None:
    assert entered("delivery", known, line="a1", amount="14", batch="B0001") == Delivery(
        on=TODAY, line="A1", customer="Corner bistro", crop="lettuce_butterhead", quantity=14,
        unit="head", batch="B0001",
    )  # fmt: skip
    fish = entered("delivery", known, to="A6", amount="4 kg")
    assert isinstance(fish, Delivery)
    assert fish.crop == "tilapia_nile"
    aside = entered("delivery", known, to="a neighbour", crop="kale", amount="2 lb")
    assert isinstance(aside, Delivery)
    assert (aside.line, aside.customer, aside.unit) == (None, "a neighbour", "kg")
    assert "line A2 may be" in faults("delivery", known, line="A2", amount="3")[0]
    strange = faults("delivery", known, to="A9", amount="3 heads")
    assert len(strange) == 1
    assert strange[0].startswith('to is "A9"; there is no such line of orders.csv')
    assert "its unit is missing" in faults("delivery", known, line="A3", amount="1")[0]


def test_notes_and_taking_back(known: Names) -> None:
    assert entered("note", known, text="aphids on the kale", who="packer") == Note(
        on=TODAY, text="aphids on the kale", who="packer"
    )
    assert entered("void", known, corrects="7") == Void(on=TODAY, corrects=7)
    assert faults("void", known)[0].startswith("corrects is missing")


def test_the_day_may_be_a_word(known: Names) -> None:
    assert entered("note", known, text="x", on="yesterday").on == date(2027, 3, 9)
    assert entered("note", known, text="x", on="2027-03-01").on == date(2027, 3, 1)
    assert "not after today" in faults("note", known, text="x", on="2027-03-11")[0]
    assert faults("note", known, text="x", on="monday")[0].startswith('on is "monday"; give a date')


# Faults


def test_all_faults_come_at_once_and_each_once(known: Names) -> None:
    found = faults(
        "fish_harvest", known, tank="9", count="none", amount="12", on="then", colour="red"
    )
    assert [fault.split()[0] for fault in found] == ["unknown", "on", "tank", "amount", "count"]
    assert faults("harvest", known) == (
        "crop is missing; give a crop or a batch",
        'amount is missing; give it such as "2.4 kg" or "24 heads"',
    )
    assert len(faults("water_test", known, ph="99", iron_mg_l="x")) == 2
    assert faults("water_test", known, nitrate_as_no3="much") == (
        'nitrate_as_no3 is "much"; give a number',
    )


def test_an_unknown_kind_names_the_nearest(known: Names) -> None:
    assert faults("harvests", known) == (
        'there is no kind of record "harvests"; did you mean "harvest"?',
    )


def test_every_kind_of_the_book_can_be_recorded() -> None:
    assert FIELDS.keys() == KINDS.keys()


# Doubts


@pytest.mark.parametrize(
    ("kind", "form", "words"),
    [
        ("note", {"text": "x", "on": "2026-12-31"}, "69 days ago"),
        ("water_test", {"ph": "4.6"}, "pH 4.6 is under 5"),
        ("water_test", {"ph": "9.4"}, "pH 9.4 is over 9"),
        ("water_test", {"nitrate_n_mg_l": "201"}, "nitrate-N of 201 mg/L is over 200"),
        ("weigh", {"tank": "1", "mean": "1.6 kg"}, "1.6 kg each; the fish of fish tank 1"),
        ("weigh", {"tank": "1", "mean": "100 g"}, "are expected to weigh 0.49 kg"),
        ("deaths", {"tank": "1", "count": "25"}, "more than half of the 40 fish"),
        ("deaths", {"tank": "2", "count": "1", "on": "2027-03-05"}, "no fish are known"),
        ("fish_harvest", {"tank": "1", "count": "60", "kg": "29"}, "40 fish are expected"),
        ("harvest", {"batch": "B0001", "amount": "50 kg"}, "over 3 times what B0001 would give"),
        ("harvest", {"batch": "B0003", "amount": "1 kg"}, "set out on 2027-03-24, after this"),
        ("harvest", {"batch": "B0001", "amount": "9 heads", "kg": "9"}, "each head would weigh"),
        ("feed", {"amount": "60 kg"}, "over 3 times the plan's for that week"),
        ("delivery", {"line": "A1", "amount": "140"}, "over 3 times the order of line A1"),
        ("delivery", {"line": "A1", "crop": "mint", "amount": "1 kg"}, "is not what line A1"),
        ("loss", {"batch": "B0001", "parts": "9"}, "B0001 has 4 parts, not 9"),
        ("done", {"step": "take", "batch": "C01", "count": "41"}, "40 are expected"),
    ],
)
def test_what_is_unlikely_is_doubted_not_refused(
    known: Names, kind: str, form: Mapping[str, str], words: str
) -> None:
    assert words in doubts(kind, known, **form)


@pytest.mark.parametrize(
    ("kind", "form"),
    [
        ("water_test", {"ph": "6.8", "nitrate_n_mg_l": "40", "do_mg_l": "6"}),
        ("weigh", {"tank": "1", "mean": "300 g", "sampled": "10"}),
        ("harvest", {"batch": "B0001", "amount": "56 heads"}),
        ("fish_harvest", {"tank": "1", "count": "20", "kg": "7"}),
        ("feed", {"amount": "1 kg"}),
        ("delivery", {"line": "A1", "amount": "14"}),
        ("done", {"step": "cut", "batch": "B0001"}),
    ],
)
def test_what_is_likely_is_not_doubted(known: Names, kind: str, form: Mapping[str, str]) -> None:
    assert doubts(kind, known, **form) == ""


# Any words

SAID = st.sampled_from(
    ["1", "2 kg", "24 heads", "basil", "lettuce", "B0001", "C01", "fish tank 1", "cut", "stock",
     "water", "A1", "2027-03-01", "yesterday", "all", "yes", "", " ", "-", "a", "\x00", "1e999 kg",
     "Ω", "72 degF", "6.8"]
) | st.text(max_size=12)  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(kind=st.sampled_from(sorted(KINDS)), data=st.data())
def test_any_words_give_an_entry_in_one_line_of_words_or_faults(
    known: Names, kind: str, data: st.DataObject
) -> None:
    form = data.draw(st.dictionaries(st.sampled_from(FIELDS[kind]), SAID))
    try:
        entry, said = entry_from_form(kind, form, known, TODAY)
    except InputError:
        found = faults(kind, known, **form)
        assert found
        assert all(found)
        return
    assert entry.kind == kind
    assert all(said)
    recorded = Recorded(number=3, written_at=datetime(2027, 3, 10, tzinfo=UTC), entry=entry)
    for units in ("us", "metric"):
        words = bookwords.words(recorded, units, known.spoken)  # type: ignore[arg-type]
        assert words.startswith("3. ")
        assert len(words.splitlines()) == 1


# Words


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (
            Harvest(on=TODAY, crop="basil_genovese", kg=2.467, batch="B0004", last=True),
            "cut 2.467 kg of Genovese basil from B0004, the last of it",
        ),
        (
            Done(on=TODAY, step="set out", batch="B0003", planned_on=date(2027, 3, 8), parts=3),
            "B0003 set out, 3 parts (planned for Mon 8 Mar)",
        ),
        (Done(on=TODAY, step="water", batch=""), "water jobs done"),
        (
            Done(on=TODAY, step="order", batch="C03", count=45, tank="fish tank 1"),
            "C03 ordered, 45 fish",
        ),
        (
            Skipped(on=TODAY, step="order", batch="C03", planned_on=date(2027, 3, 18)),
            "C03 not ordered (planned for Thu 18 Mar)",
        ),
        (
            Skipped(on=TODAY, step="cut", batch="B1", until=date(2027, 3, 15), cause="small"),
            "B1 not cut yet, now for Mon 15 Mar, small",
        ),
        (Skipped(on=TODAY, step="water", batch=""), "not done yet: water jobs"),
        (WaterTest(on=TODAY, ph=6.85, temperature_c=22.2), "water tested: pH 6.85, 22.2 °C"),
        (Weigh(on=TODAY, tank="t 1", mean_g=214, sampled=9), "t 1 weighed 214 g each (9 weighed)"),
        (Loss(on=TODAY, batch="B1"), "lost all of B1"),
        (Void(on=TODAY, corrects=4), "took entry 4 back"),
        (Note(on=TODAY, text="x", who="packer", corrects=2), "note: x; replaces 2; by packer"),
        (
            Delivery(on=TODAY, line="A1", customer="bistro", crop="mint", quantity=4, unit="bunch"),
            "delivered 4 bunches of mint (spearmint, peppermint) to bistro (line A1)",
        ),
    ],
)  # fmt: skip
def test_an_entry_is_one_sentence(known: Names, entry: Entry, words: str) -> None:
    recorded = Recorded(number=12, written_at=datetime(2027, 3, 10, tzinfo=UTC), entry=entry)
    said = bookwords.words(recorded, "metric", known.spoken)
    assert said == f"12. Wed 10 Mar 2027: {words}"


def test_weights_are_told_as_they_were_read_off_the_scale() -> None:
    assert bookwords.exact_weight(0.56699, "us") == "1.25 lb"
    assert bookwords.exact_weight(0.35, "metric") == "350 g"
    assert bookwords.exact_weight(0.340194, "us") == "12 oz"
