"""Rows of orders, outlets, batches and cohorts: what is read, what is refused."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from planner.errors import InputError
from planner.farm import Farm
from planner.farmfile import read_farm
from tests.farms import write_small_farm

# File, what is written instead of what in it, and the one fault that follows.
ROW_FAULTS = [
    (
        "orders_csv",
        "every_weeks",
        "every_week",
        'orders.csv line 1: column "every_week" is not known; did you mean "every_weeks"?',
    ),
    (
        "orders_csv",
        "A1,Corner bistro",
        "A1,",
        "orders.csv line 2: customer is missing; give a text of 1 to 200 characters",
    ),
    (
        "orders_csv",
        "A1,Corner bistro",
        "A1,Corner, bistro",
        "orders.csv line 2: has 14 cells where the header has 13",
    ),
    (
        "orders_csv",
        "basil_genovese",
        "basil_genovse",
        'orders.csv line 4: crop is "basil_genovse"; the tables have no such crop, group '
        'or fish; did you mean "basil_genovese"?',
    ),
    (
        "orders_csv",
        "basil_genovese",
        "basil_genovese or basil_thia",
        'orders.csv line 4: crop is "basil_thia"; the tables have no such crop, group or '
        'fish; did you mean "basil_thai"?',
    ),
    (
        "orders_csv",
        "basil_genovese,kg",
        "kale,bunch",
        'orders.csv line 4: crop is "kale"; it is not in crops of farm.toml, so it is not grown',
    ),
    (
        "orders_csv",
        "basil_genovese,kg",
        "any kale,kg",
        'orders.csv line 4: crop is "any kale"; no crop of that group is in use',
    ),
    (
        "orders_csv",
        "any lettuce,head",
        "any lettuce,bunch",
        'orders.csv line 3: crop is "any lettuce"; no crop of that group, sold by the '
        "bunch, is in use",
    ),
    (
        "orders_csv",
        "tilapia_nile,kg",
        "koi,kg",
        'orders.csv line 7: crop is "koi"; the farm neither has such fish nor buys '
        "fingerlings of them",
    ),
    (
        "orders_csv",
        "basil_genovese,kg",
        "basil_genovese;tilapia_nile,kg",
        'orders.csv line 4: crop is "basil_genovese;tilapia_nile"; give crops or fish, not both',
    ),
    (
        "orders_csv",
        "kg,0.5",
        "crate,0.5",
        'orders.csv line 4: unit is "crate"; give one of head, bunch, each, kg, lb',
    ),
    (
        "orders_csv",
        "kg,0.5",
        "bunch,0.5",
        'orders.csv line 4: unit is "bunch"; basil_genovese is sold in kg or lb',
    ),
    (
        "orders_csv",
        "tilapia_nile,kg",
        "tilapia_nile,each",
        'orders.csv line 7: unit is "each"; tilapia_nile is sold in kg or lb',
    ),
    (
        "orders_csv",
        "head,14",
        "head,0",
        'orders.csv line 2: quantity is "0"; give a number above 0, at most 1,000,000',
    ),
    (
        "orders_csv",
        "head,14",
        "head,14 heads",
        'orders.csv line 2: quantity is "14 heads"; give a number alone, without "heads"',
    ),
    (
        "orders_csv",
        "head,14",
        "head,nan",
        'orders.csv line 2: quantity is "nan"; give a number above 0, at most 1,000,000',
    ),
    (
        "orders_csv",
        "2027-03-15,2028-02-28",
        "2028-02-28,2027-03-15",
        'orders.csv line 4: last_week is "2027-03-15"; it is before first_week, '
        "2028-02-28; are they swapped?",
    ),
    (
        "orders_csv",
        "2027-03-15",
        "3/15/2027",
        'orders.csv line 4: first_week is "3/15/2027"; give a date such as 2027-03-01, '
        "year, month and day, from 2000 to 2200",
    ),
    (
        "orders_csv",
        "2027-03-15",
        "2027-02-30",
        'orders.csv line 4: first_week is "2027-02-30"; the calendar has no such day',
    ),
    (
        "orders_csv",
        "2027-12-13",
        "2999-12-13",
        'orders.csv line 5: last_week is "2999-12-13"; give a date such as 2027-03-01, '
        "year, month and day, from 2000 to 2200",
    ),
    (
        "orders_csv",
        "2028-02-28,4,fri",
        "2028-02-28,0,fri",
        'orders.csv line 7: every_weeks is "0"; give a whole number from 1 to 52',
    ),
    (
        "orders_csv",
        "tue;fri",
        "tue;fry",
        'orders.csv line 2: weekdays is "tue;fry"; give days such as tue;fri, from mon, '
        "tue, wed, thu, fri, sat, sun",
    ),
    (
        "orders_csv",
        "tue;fri,1",
        "tue;fri,4",
        'orders.csv line 2: priority is "4"; give one of 1, 2, 3',
    ),
    (
        "orders_csv",
        "8.00",
        "-8",
        'orders.csv line 6: price is "-8"; give a number from 0 to 1,000,000',
    ),
    (
        "orders_csv",
        "10%",
        "110%",
        'orders.csv line 3: tolerance is "110%"; give a number from 0 to 1',
    ),
    (
        "orders_csv",
        "0.2,no",
        "0.2,perhaps",
        'orders.csv line 7: may_be_cut is "perhaps"; give true or false (in a CSV file '
        "also yes or no)",
    ),
    (
        "orders_csv",
        "A2,",
        "a1,",
        'orders.csv line 3: line is "a1", as in orders.csv line 2; give each line its own',
    ),
    (
        "orders_csv",
        "Corner bistro,basil",
        '"Corner bistro,basil',
        "orders.csv line 4: is no CSV (unexpected end of data); mend its quotes",
    ),
    (
        "orders_csv",
        "Corner bistro,basil",
        "Corner\0bistro,basil",
        'orders.csv line 4: customer is "Corner\\u0000bistro"; give a text on one line, '
        "without control characters",
    ),
    (
        "outlets_csv",
        "swiss_chard",
        "swis chard",
        'outlets.csv line 4: crop is "swis chard"; the tables have no such crop, group or '
        'fish; did you mean "Swiss chard"?',
    ),
    (
        "outlets_csv",
        "4 lb",
        "4 gal",
        'outlets.csv line 5: most_per_week is "4 gal"; "gal" cannot be read as kg',
    ),
    (
        "outlets_csv",
        "Farm stand,basil_genovese",
        "farm stand,lettuce_romaine",
        'outlets.csv line 3: outlet "farm stand" takes lettuce_romaine already, in '
        "outlets.csv line 2; give each crop once",
    ),
    (
        "outlets_csv",
        "18.00",
        "",
        "outlets.csv line 3: price_kg is missing; give a number from 0 to 1,000,000",
    ),
    (
        "growing_csv",
        "G3,swiss_chard",
        "G3,chard",
        'growing.csv line 4: crop is "chard"; the tables have no such crop; did you mean '
        '"swiss_chard"?',
    ),
    (
        "growing_csv",
        "G3,swiss_chard,north gravel",
        "G3,swiss_chard,south gravel",
        'growing.csv line 4: zone is "south gravel"; farm.toml has no such zone; did you '
        'mean "north gravel"?',
    ),
    (
        "growing_csv",
        "G4,basil_genovese,towers",
        "G4,tomato_cherry_indet,towers",
        'growing.csv line 5: crop is "tomato_cherry_indet"; no plant of it fits a part of '
        'zone "towers" (tower); see the crop table for where it grows',
    ),
    (
        "growing_csv",
        "rafts,3,2-3",
        "rafts,13,",
        'growing.csv line 3: parts is 13; zone "rafts" has 12',
    ),
    (
        "growing_csv",
        "rafts,3,2-3",
        "rafts,11,",
        'growing.csv: zone "rafts": the batches set out in it hold 13 parts; it has 12',
    ),
    (
        "growing_csv",
        "rafts,3,2-3",
        "rafts,3,6-7",
        'growing.csv line 3: places names place 7; zone "rafts" has places 1 to 6',
    ),
    (
        "growing_csv",
        "rafts,3,2-3",
        "rafts,3,1-2",
        'growing.csv line 2 and 3: place "rafts 1" would hold 4 parts; it has 2 (the parts '
        "of a row are spread evenly over its places)",
    ),
    (
        "growing_csv",
        "rafts,3,2-3",
        "rafts,3,2-5",
        "growing.csv line 3: places names 4 places for 3 parts; a place named holds at least one",
    ),
    (
        "growing_csv",
        "rafts,3,2-3",
        "rafts,3,two",
        'growing.csv line 3: places is "two"; give place numbers such as 1-4 or 1 2 5',
    ),
    (
        "growing_csv",
        "rafts,3,2-3",
        "rafts,3,3-2",
        'growing.csv line 3: places is "3-2"; 3-2 runs backwards',
    ),
    (
        "growing_csv",
        "rafts,3,2-3",
        "rafts,3,0-2",
        'growing.csv line 3: places is "0-2"; give a whole number of at least 1',
    ),
    (
        "growing_csv",
        "2027-01-11,2027-02-01,,2027-02-26\nG3",
        "2027-02-01,2027-01-11,,2027-02-26\nG3",
        'growing.csv line 3: transplant is "2027-01-11"; it is before sow, 2027-02-01; are '
        "they swapped?",
    ),
    (
        "growing_csv",
        "2027-02-09",
        "2026-12-20",
        'growing.csv line 4: first_cut is "2026-12-20"; it is before the batch was set '
        "out, 2026-12-28",
    ),
    (
        "growing_csv",
        "2027-02-15,,,2027-02-26",
        "2027-02-15,,,2027-02-10",
        'growing.csv line 6: as_of is "2027-02-10"; it is before sow, 2027-02-15; list '
        "only what is sown",
    ),
    (
        "growing_csv",
        "2027-02-15,,,2027-02-26",
        "2027-02-15,,,2027-03-02",
        "growing.csv line 6: as_of is 2027-03-02, after the plan date in farm.toml, 2027-03-01",
    ),
    (
        "growing_csv",
        "G2,",
        "g1,",
        'growing.csv line 3: id is "g1", as in growing.csv line 2; give each batch its own',
    ),
    (
        "cohorts_csv",
        "fish tank 2",
        "fish tank 3",
        'cohorts.csv line 3: tank is "fish tank 3"; farm.toml has no such tank; did you '
        'mean "fish tank 2"?',
    ),
    (
        "cohorts_csv",
        "tilapia_nile,34,310",
        "tilapia,34,310",
        'cohorts.csv line 2: species is "tilapia"; the tables have no such species; did '
        'you mean "tilapia_red"?',
    ),
    (
        "cohorts_csv",
        "tilapia_nile,34,310",
        "crayfish_redclaw,34,310",
        'cohorts.csv line 2: species is "crayfish_redclaw"; its growth is not known (no '
        "tgc_per_1000_degree_days); take another species, or give the figure in your "
        "fish.csv",
    ),
    (
        "cohorts_csv",
        "fish tank 2",
        "Fish Tank 1",
        'cohorts.csv line 3: tank is "fish tank 1", as in cohorts.csv line 2; give one '
        "cohort to a tank",
    ),
    (
        "cohorts_csv",
        "34,310",
        "0,310",
        'cohorts.csv line 2: count is "0"; give a whole number from 1 to 1,000,000',
    ),
    (
        "cohorts_csv",
        "90 g",
        "90 ml",
        'cohorts.csv line 3: mean_weight is "90 ml"; "ml" cannot be read as g',
    ),
    (
        "cohorts_csv",
        "90 g,2027-02-26",
        "90 g,2027-03-05",
        "cohorts.csv line 3: as_of is 2027-03-05, after the plan date in farm.toml, 2027-03-01",
    ),
]


@pytest.mark.parametrize(("file", "old", "new", "fault"), ROW_FAULTS)
def test_fault_of_a_row_names_line_and_what_is_allowed(
    tmp_path: Path, file: str, old: str, new: str, fault: str
) -> None:
    folder = write_small_farm(tmp_path, **{file: {old: new}})
    with pytest.raises(InputError) as caught:
        read_farm(folder)
    assert caught.value.faults == (fault,)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "orders.csv is empty; its first line must name the columns"),
        (
            "line;customer;crop\nA1;Bistro;kale\n",
            "orders.csv line 1: found no commas between cells; save the table as CSV with commas",
        ),
        (
            "line,crop,unit,quantity,first_week,last_week,price\n",
            "orders.csv line 1: column customer is missing; it is needed",
        ),
    ],
)
def test_heading_at_fault(tmp_path: Path, text: str, fault: str) -> None:
    with pytest.raises(InputError) as caught:
        read_farm(write_small_farm(tmp_path, orders_csv=text))
    assert caught.value.faults == (fault,)


def farm_with(tmp_path: Path, **changes: Any) -> Farm:
    return read_farm(write_small_farm(tmp_path, **changes)).farm


def test_orders_as_read(tmp_path: Path) -> None:
    orders = farm_with(tmp_path).orders
    assert [order.line for order in orders] == ["A1", "A2", "A3", "A4", "A5", "A6"]
    first, group, _, chard, _, fish = orders
    assert first.weekdays == (1, 4)
    assert group.crops == ("lettuce_butterhead", "lettuce_romaine")
    assert group.crop_text == "any lettuce"
    assert group.tolerance == 0.1
    assert chard.crops == ("swiss_chard",)
    assert chard.weekdays == (3,)
    assert (fish.crops, fish.every_weeks, fish.may_be_cut) == (("tilapia_nile",), 4, False)


@pytest.mark.parametrize(
    ("text", "crops"),
    [
        ("basil_genovese", ("basil_genovese",)),
        ("BASIL_genovese", ("basil_genovese",)),
        ('"basil, Genovese"', ("basil_genovese",)),
        ("swiss_chard;basil_genovese", ("swiss_chard", "basil_genovese")),
        ("Swiss chard or basil_genovese", ("swiss_chard", "basil_genovese")),
        (
            "any lettuce or basil_genovese",
            ("lettuce_butterhead", "lettuce_romaine", "basil_genovese"),
        ),
        ("any Solanaceae", ("tomato_cherry_indet",)),
    ],
)
def test_an_order_takes_ids_names_lists_and_groups(
    tmp_path: Path, text: str, crops: tuple[str, ...]
) -> None:
    farm = farm_with(tmp_path, orders_csv={"basil_genovese,kg": f"{text},kg"})
    assert farm.orders[2].crops == crops


@pytest.mark.parametrize(
    ("text", "days"),
    [("mon", (0,)), ("Friday; Tuesday", (1, 4)), ("sat/sun", (5, 6)), ("tue tue", (1,))],
)
def test_weekdays_by_name(tmp_path: Path, text: str, days: tuple[int, ...]) -> None:
    farm = farm_with(tmp_path, orders_csv={"tue;fri": text})
    assert farm.orders[0].weekdays == days


@pytest.mark.parametrize(
    ("text", "places"),
    [("1-3", (1, 2, 3)), ("3 1", (1, 3)), ("1 - 2; 4", (1, 2, 4)), ("4", (4,))],
)
def test_place_numbers(tmp_path: Path, text: str, places: tuple[int, ...]) -> None:
    farm = farm_with(tmp_path, growing_csv={"towers,2,1 2": f"towers,{len(places)},{text}"})
    assert farm.standing[3].places == places


def test_pounds_become_kilograms_and_the_price_with_them(tmp_path: Path) -> None:
    """1 lb is 0.45359237 kg by definition (international pound of 1959, from memory)."""
    order = farm_with(tmp_path, orders_csv={"kg,0.5": "LB,10"}).orders[2]
    assert order.unit == "kg"
    assert order.quantity == pytest.approx(4.5359237)
    assert order.quantity * order.price == pytest.approx(10 * 30)


def test_a_group_takes_only_what_is_sold_in_the_unit(tmp_path: Path) -> None:
    farm = farm_with(
        tmp_path, farm_toml={'"lettuce_romaine",': '"lettuce_romaine",\n    "lettuce_babyleaf",'}
    )
    by_head, by_kg = farm.orders[1], farm.outlets[:3]
    assert by_head.crops == ("lettuce_butterhead", "lettuce_romaine")
    assert [outlet.crop for outlet in by_kg] == [
        "lettuce_butterhead",
        "lettuce_romaine",
        "lettuce_babyleaf",
    ]


def test_outlets_as_read(tmp_path: Path) -> None:
    outlets = farm_with(tmp_path).outlets
    assert [(outlet.crop, round(outlet.most_week_kg, 3)) for outlet in outlets] == [
        ("lettuce_butterhead", 3),
        ("lettuce_romaine", 3),
        ("basil_genovese", 1),
        ("swiss_chard", 2),
        ("tomato_cherry_indet", 1.814),
        ("tilapia_nile", 6),
    ]


def test_batches_as_read(tmp_path: Path) -> None:
    batches = farm_with(tmp_path).standing
    assert [batch.id for batch in batches] == [
        "G1",
        "G2",
        "G3",
        "G4",
        "lettuce_butterhead rafts 6",
    ]
    assert batches[1].places == (2, 3)
    assert batches[1].parts_by_place == {2: 2, 3: 1}
    assert batches[2].first_cut == date(2027, 2, 9)
    assert batches[4].transplant is None
    assert batches[4].parts_by_place == {}


def test_trays_in_the_nursery_do_not_fill_a_zone(tmp_path: Path) -> None:
    full = "\n".join(
        f",lettuce_butterhead,rafts,6,,2027-02-15,{set_out},,2027-02-26"
        for set_out in ("2027-02-20", "2027-02-20", "", "2027-03-20")
    )
    header = "id,crop,zone,parts,places,sow,transplant,first_cut,as_of\n"
    assert len(farm_with(tmp_path, growing_csv=header + full).standing) == 4
    with pytest.raises(InputError, match="hold 18 parts; it has 12"):
        farm_with(tmp_path, growing_csv=header + full.replace("2027-03-20", "2027-02-20"))


def test_cohorts_as_read(tmp_path: Path) -> None:
    cohorts = farm_with(tmp_path, cohorts_csv={"90 g": "3.2 oz"}).cohorts
    assert [cohort.tank for cohort in cohorts] == ["fish tank 1", "fish tank 2"]
    assert cohorts[1].mean_g == pytest.approx(3.2 * 28.349523, rel=1e-6)
    assert cohorts[0].count == 34


def test_zones_and_tanks_are_found_whatever_the_capitals(tmp_path: Path) -> None:
    farm = farm_with(
        tmp_path,
        growing_csv={"G1,lettuce_butterhead,rafts": "G1,lettuce_butterhead,Rafts"},
        cohorts_csv={"fish tank 2": "Fish Tank 2"},
    )
    assert farm.standing[0].zone == "rafts"
    assert farm.cohorts[1].tank == "fish tank 2"
