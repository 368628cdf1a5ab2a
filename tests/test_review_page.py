"""The review's page and tables, read as text: sound, safe, and true to what was found."""

import csv
import io
import json
import re
from functools import lru_cache

import pytest

from planner.book import Delivery, Harvest, Loss, Skipped
from planner.review import page, tables, told
from tests.plandocs import CROPS, FISH
from tests.reviews import BOOK, LETTUCE, farm, given, march, plan, reviewed
from tests.test_report import ODD, all_of, by_id, parsed, words


@lru_cache(maxsize=1)
def small_page() -> str:
    return page(reviewed())


def text_of(id: str) -> str:
    return words(by_id(parsed(small_page()), id))


def test_the_page_is_sound_html_and_asks_for_nothing() -> None:
    tree = parsed(small_page())
    assert not all_of(tree, "script")
    assert not re.search(r"(src|href)=(?![\"']?(#|data:,))", small_page())
    ids = [element.get("id") for element in tree.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    targets = {link.get("href", "") for link in all_of(tree, "a")}
    assert {target[1:] for target in targets} <= set(ids)


def test_five_things_come_first_with_their_sums() -> None:
    said = text_of("to-change")
    assert said.startswith("Five things to change")
    for words_said in ("Corner Kitchen, line L1: short: $32.00", "$28.00", "$10.00", "$6.79"):
        assert words_said in said
    main = all_of(parsed(small_page()), "main")[0]
    assert main[0].get("id") == "to-change"


def rows_in(id: str) -> list[tuple[str, ...]]:
    """Return the cells of each row of the tables in a section."""
    rows = all_of(by_id(parsed(small_page()), id), "tr")
    return [tuple(words(cell) for cell in row) for row in rows]


def test_planned_and_real_stand_side_by_side() -> None:
    crops = rows_in("grown")
    assert ("raft, Jan 2027", "1 of 1", "31 / 33", "14 kg / 12 kg", "4.5 / 0", "1.27",
            "$7.47 / $6.40") in crops  # fmt: skip
    assert ("B0003", "raft", "3 m²", "– / not recorded", "– / not recorded", "2 days",
            "not recorded") in crops  # fmt: skip
    assert "2.8 kg / not recorded" in {row[3] for row in crops if len(row) == 7}
    assert "no price" in {row[-1] for row in crops}  # nobody orders mint
    customers = rows_in("customers")
    assert ("Corner Kitchen", "2 of 3", "100%", "100%", "73%") in customers
    assert ("15 Mar 2027", "Mill Street Café, L4", "Nile tilapia", "15 kg", "10.4 kg",
            "planned only", "planned short: no raft place is free") in customers  # fmt: skip
    assert ("Nile tilapia", "fish tank 1", "0.5 kg / 0.48 kg", "10 Mar 2027",
            "100.0% / not recorded", "1.7 / not recorded", "10.4 kg / 9.8 kg") in rows_in(
        "tanks"
    )  # fmt: skip
    water = rows_in("water")
    assert ("1 Mar 2027", "31", "62", "by 2", "1.63 kg", "2 kg") in water
    assert ("15 Mar 2027", "33", "not tested", "", "2.2 kg", "not recorded") in water
    assert ("Genovese basil", "2", "2.4 kg", "2.3 kg", "0.15 kg", "1 of 2") in rows_in("ranges")
    assert "weight cut, raft: the next plan takes 9% less (1 record, 14% under" in text_of(
        "learned"
    )


def test_what_nobody_wrote_down_is_said_in_words() -> None:
    found = reviewed([given(march(5), "L2", 1, "kg")])
    tree = parsed(page(found))
    assert "The records give no ground to change anything." in words(by_id(tree, "to-change"))
    assert "planned only" in words(by_id(tree, "customers"))
    assert "not recorded" in words(by_id(tree, "grown"))
    assert "No harvest is recorded in a whole week." in words(by_id(tree, "ranges"))
    assert "No record tells" in words(by_id(tree, "learned"))


def test_the_same_review_gives_the_same_bytes() -> None:
    assert page(reviewed()) == small_page()
    assert tables(reviewed()) == tables(reviewed())
    assert told(reviewed()) == told(reviewed())


def test_a_span_without_a_whole_week_gives_a_sound_page() -> None:
    text = words(parsed(page(reviewed(first=march(4), last=march(5)))))
    assert "No whole week in these days." in text
    assert "No orders in whole weeks of these days." in text


def test_pounds_and_square_feet_for_who_reads_those() -> None:
    text = words(parsed(page(reviewed(house=farm(units="us")))))
    assert "31 lb / 26 lb" in text
    assert "$ a ft² and week" in text
    assert "$0.69 / $0.59" in text  # of a square foot
    assert "8.8 lb at $3.63 a lb" in text


def odd_page() -> str:
    """Return a page in which every name and cause is hard to show."""
    text = json.dumps(plan())
    for known, odd in (
        ("north gravel", ODD[0]),
        ("raft", ODD[1]),
        ("fish tank 1", ODD[2]),
        ("Corner Kitchen", ODD[0]),
        ("L1", ODD[1]),
        ("B0001", ODD[0]),
        ("no raft place is free", ODD[2]),
    ):
        text = text.replace(f'"{known}"', json.dumps(odd))
    entries = [
        Harvest(on=march(13), crop=LETTUCE, batch=ODD[0], kg=2.0),
        Loss(on=march(9), batch=ODD[0], parts=1, cause=ODD[0]),
        Skipped(on=march(10), step="cut", batch=ODD[0], cause=ODD[1]),
        Delivery(on=march(12), line=ODD[1], customer=ODD[0], crop=LETTUCE, quantity=3, unit="head"),
    ]
    return page(reviewed([*BOOK, *entries], plans=[json.loads(text)], house=farm(name=ODD[0])))


def test_odd_names_are_shown_and_never_run() -> None:
    text = odd_page()
    tree = parsed(text)
    assert not all_of(tree, "script")
    said = words(tree)
    assert "<script>alert(1)</script>" in said
    assert ODD[1] in said
    assert ODD[2] in said


def rows_of(name: str) -> list[dict[str, str]]:
    content = tables(reviewed())[name].decode()
    return list(csv.DictReader(io.StringIO(content, newline="")))


def test_there_is_a_table_for_each_finding() -> None:
    assert set(tables(reviewed())) == {
        "batches.csv", "changes.csv", "crops.csv", "customers.csv", "fish.csv", "learned.csv",
        "orders.csv", "produce.csv", "weeks.csv",
    }  # fmt: skip


def test_a_table_leaves_empty_what_is_not_recorded() -> None:
    batches = {row["batch"]: row for row in rows_of("batches.csv")}
    assert (batches["B0001"]["real_kg"], batches["B0001"]["real_days"]) == ("12.0", "33")
    assert (batches["B0003"]["real_kg"], batches["B0003"]["real_days"]) == ("", "")
    weeks = rows_of("weeks.csv")
    assert (weeks[0]["out_mg_l"], weeks[2]["out_mg_l"]) == ("2.0", "")
    assert [row["inside"] for row in rows_of("produce.csv")].count("") == 6
    assert rows_of("changes.csv")[0]["money"] == "32.0"
    learned = next(row for row in rows_of("learned.csv") if row["figure"] == "yield")
    assert float(learned["factor_p10"]) < float(learned["factor"]) < float(learned["factor_p90"])


def test_a_text_that_a_spreadsheet_would_run_is_guarded() -> None:
    entries = [Harvest(on=march(11), crop=LETTUCE, kg=1.0)]
    text = json.dumps(plan()).replace('"L4"', '"=1+1"')
    content = tables(reviewed(entries, plans=[json.loads(text)]))["orders.csv"].decode()
    assert "'=1+1" in content
    assert ",=1+1" not in content


def test_the_terminal_is_told_the_findings_and_what_to_change() -> None:
    lines = told(reviewed()).splitlines()
    assert lines[0] == (
        "Small House: 17 entries from Wed 3 Mar 2027 to Sun 18 Apr 2027, held against 1 plan"
    )
    assert "Cut: 19.3 kg of 27 kg planned, in 3 of 9 batches with records." in lines
    assert "Nitrate: out of its band in 1 of 2 tested weeks; 5 not tested." in lines
    assert "1. Corner Kitchen, line L1: short: $32.00" in lines
    assert sum(line[:2] in {f"{n}." for n in range(1, 6)} for line in lines) == 5


def test_the_tables_of_these_tests_are_those_of_the_plan() -> None:
    assert {row.species for row in reviewed().fish} <= set(FISH)
    assert {row.crop for row in reviewed().batches} <= set(CROPS)


@pytest.mark.parametrize("currency", ["$", "EUR"])
def test_money_is_the_farms(currency: str) -> None:
    text = words(parsed(page(reviewed(house=farm(currency=currency)))))
    assert ("$32.00" if currency == "$" else "32.00 EUR") in text
