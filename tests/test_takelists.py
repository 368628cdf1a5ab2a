"""The page's lists to take along: their words, and their tables as HTML."""

import json
from datetime import date, timedelta
from functools import lru_cache
from xml.etree import ElementTree

import html5lib
import pytest
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from planner.document import PlanDoc
from planner.horizon import monday_of
from planner.resources import shipped
from planner.takelists import WEEKS_SHOWN, TakeList, TakeTable, take_lists
from planner.takerows import harvests, settings_out, sowings
from tests.fullseason import FULL_CROPS, full_season
from tests.plandocs import CROPS, MADE_ON, small_plan

NAMES = ("sowing-list", "set-out-list", "harvest-list", "fish-list", "shopping-list")
ODD = "<script>alert(1)</script>\"'&{{ 7 }}"


def lists_of(document: PlanDoc, *, today: date = MADE_ON, **options: int) -> dict[str, TakeList]:
    found = take_lists(document, crops=CROPS, today=today, **options)
    assert tuple(one.name for one in found) == NAMES
    return {one.name: one for one in found}


def table_of(name: str, document: PlanDoc, at: int = 0, **options: int) -> TakeTable:
    return lists_of(document, **options)[name].tables[at]


def rows_of(table: TakeTable) -> list[tuple[str, ...]]:
    return [row for group in table.groups for row in group.rows]


@lru_cache(maxsize=1)
def _templates() -> Environment:
    return Environment(
        loader=FileSystemLoader(shipped("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def html_of(found: tuple[TakeList, ...]) -> str:
    module = _templates().get_template("lists.html.j2").make_module()
    return str(module.lists(found))  # type: ignore[attr-defined]


def tree_of(text: str) -> ElementTree.Element:
    """Return the section within a page; a fault in its HTML raises."""
    page = f"<!DOCTYPE html><html lang=en><title>t</title><body>{text}</body></html>"
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    assert isinstance(tree, ElementTree.Element)
    return tree


def words(element: ElementTree.Element) -> str:
    return " ".join("".join(element.itertext()).split())


# Words


def test_the_sowing_list_says_what_to_start_from():
    table = table_of("sowing-list", small_plan())
    assert [group.heading for group in table.groups][:2] == ["Week 9 (1 Mar)", "Week 10 (8 Mar)"]
    rows = {row[-1]: row[:-1] for row in rows_of(table)}
    assert rows["B0003"] == (
        "Wed 3 Mar", "butterhead lettuce", "74 seeds", "74", "2", "raft", "12",
    )  # fmt: skip
    assert rows["B0005"][2:5] == ("120 seeds", "40", "1")
    assert rows["B0006"][2] == "24 divisions, not seed"
    assert rows["B0010"][2] == "64 plugs, not seed"
    assert rows["B0011"][2] == "22 cuttings, not seed"
    assert rows["B0007"][1:] == (
        "salad radish", "150 seeds", "", "", "north gravel", "sown in place",
    )  # fmt: skip


def test_the_set_out_list_has_the_places_of_the_jobs():
    table = table_of("set-out-list", small_plan())
    rows = {row[-1]: row[:-1] for row in rows_of(table)}
    assert rows["B0002"] == ("Tue 16 Mar", "butterhead lettuce", "42 plants", "raft 3, 4 (½)")
    assert rows["B0005"][3] == "north gravel 1 (½), 2 (¼)"


def test_the_harvest_list_has_a_line_a_customer_and_week():
    table = table_of("harvest-list", small_plan())
    weeks = {group.heading: group.rows for group in table.groups}
    assert weeks["Week 13 (29 Mar)"] == (
        (
            "Mill Street Café",
            "L2 0.9 kg Genovese basil: north gravel 1 (B0004) (short 0.1 kg);\n"
            "L4 11.4 kg Nile tilapia: fish tank 1 (C01) (short 3.6 kg)",
        ),
    )
    assert weeks["Week 16 (19 Apr)"] == (
        (
            "Corner Kitchen",
            "L1 30 heads butterhead lettuce: 12 cooler (B0002), 18 raft 1-2 (B0003)",
        ),
    )


def test_a_short_count_is_a_number_alone():
    document = small_plan()
    (order,) = (row for row in document["orders"] if row["week"] == "2027-04-05")
    (given,) = (row for row in document["deliveries"] if row["week"] == "2027-04-05")
    order["planned"], order["short"], given["quantity"] = 8.0, 4.0, 8.0
    text = str(rows_of(table_of("harvest-list", document)))
    assert "L3 8 bunches salad radish: north gravel 3 (B0007) (short 4)" in text
    document["deliveries"].remove(given)
    order["planned"], order["short"], order["crop"] = 0.0, 12.0, "radish; mint"
    text = str(rows_of(table_of("harvest-list", document)))
    assert "L3 no salad radish or mint (short 12)" in text


def test_a_line_of_two_crops_has_an_item_for_each_and_is_short_once():
    document = small_plan()
    (order,) = (row for row in document["orders"] if row["week"] == "2027-04-05")
    order |= {"crop": "any of them", "short": 3.0}
    document["deliveries"].append(
        {"line": "L3", "week": "2027-04-05", "batch": "B0009", "quantity": 2.0}
    )
    (row,) = (row for row in rows_of(table_of("harvest-list", document)) if "L3" in row[1])
    assert row[1] == (
        "L3 12 bunches salad radish: north gravel 3 (B0007);\n"
        "L3 2 bunches cherry tomato: north gravel 2 (B0009) (short 3)"
    )


def test_a_batch_that_gives_next_to_nothing_is_not_named():
    document = small_plan()
    (given,) = (row for row in document["deliveries"] if row["week"] == "2027-04-05")
    document["deliveries"].append({**given, "batch": "B0008", "quantity": 0.04 * 12})
    given["quantity"] = 0.96 * 12
    (row,) = (row for row in rows_of(table_of("harvest-list", document)) if "L3" in row[1])
    assert row[1] == "L3 12 bunches salad radish: north gravel 3 (B0007)"


def test_a_batch_is_named_without_its_crop():
    document = json.loads(json.dumps(small_plan()).replace("B0007", "radish-27w10-1a"))
    assert rows_of(table_of("sowing-list", document))[3][-1] == "27w10-1a"
    assert "(27w10-1a)" in str(rows_of(table_of("harvest-list", document)))


def test_the_fish_list_warns_of_the_permit_with_each_stocking():
    rows = rows_of(table_of("fish-list", small_plan()))
    assert rows[0] == (
        "Wed 10 Mar", "stock", "Yellow perch", "fish tank 2", "60", "40 g", "2.4 kg",
        "on order, check permit before they come",
    )  # fmt: skip
    assert rows[1] == (
        "Wed 17 Mar", "take", "Nile tilapia", "fish tank 1", "20", "0.52 kg", "10.4 kg",
        "Mill Street Café L4 10.4 kg",
    )  # fmt: skip
    assert [row[1] for row in rows if "permit" in row[-1]] == ["stock", "stock"]


def test_fish_that_are_too_light_are_not_for_sale():
    document = small_plan()
    document["cohorts"][1]["taken"][0]["saleable"] = False
    rows = rows_of(table_of("fish-list", document))
    assert [row[0] for row in rows if row[-1] == "not for sale"] == ["Wed 9 Jun"]


def test_the_shopping_list_is_seeds_fingerlings_and_feed():
    seeds, fingerlings, feed = lists_of(small_plan())["shopping-list"].tables
    assert seeds.head == ("Crop", "In all", "First on", "Jan-Mar 2027", "Apr-Jun 2027")
    assert rows_of(seeds) == [
        ("butterhead lettuce", "138 seeds", "3 Mar", "138", ""),
        ("chives", "64 plugs", "15 Mar", "64", ""),
        ("Genovese basil", "120 seeds", "21 Mar", "120", ""),
        ("mint", "24 divisions", "8 Mar", "24", ""),
        ("rosemary", "22 cuttings", "8 Mar", "22", ""),
        ("salad radish", "300 seeds", "9 Mar", "150", "150"),
    ]
    assert "order ahead, check permit before ordering" in fingerlings.caption
    assert fingerlings.head[:2] == ("Stocked on", "Order by")
    assert rows_of(fingerlings) == [
        ("Wed 10 Mar 2027", "on order", "Yellow perch", "60", "40 g", "fish tank 2"),
        ("Thu 8 Apr 2027", "Thu 18 Mar 2027", "Nile tilapia", "50", "50 g", "fish tank 1"),
    ]
    assert ("Mar 2027", "Nile tilapia", "5.9 kg", "1", "1.63 kg from 3 Mar") in rows_of(feed)


def test_plans_of_before_orders_were_told_leave_the_day_blank():
    document = small_plan()
    for cohort in document["cohorts"]:
        del cohort["order_by"]  # type: ignore[misc]
    fingerlings = table_of("shopping-list", document, 1)
    assert [row[1] for row in rows_of(fingerlings)] == ["", ""]


def test_the_lists_are_in_the_units_that_the_farm_asks_for():
    """1 lb is 0.45359237 kg (international yard and pound agreement of 1959)."""
    document = small_plan(units="us")
    (line,) = (r[1] for r in rows_of(table_of("harvest-list", document)) if "short 8 lb" in r[1])
    assert "L4 25 lb Nile tilapia" in line  # 11.37 kg of 15 kg
    assert rows_of(table_of("fish-list", document))[0][5:7] == ("1.41 oz", "5.3 lb")
    feed = table_of("shopping-list", document, 2)
    assert "Bags of 44 lb" in feed.head
    assert not any("kg" in cell for row in rows_of(feed) for cell in row)


# Ranges


def test_the_lists_say_what_the_forecast_says():
    document = small_plan(forecast=True)
    feed = table_of("shopping-list", document, 2)
    assert feed.head[2:5] == ("Feed", "Likely", "Bags of 20 kg")
    row = next(row for row in rows_of(feed) if row[:2] == ("Mar 2027", "Nile tilapia"))
    assert row[2:5] == ("5.9 kg", "5.1 to 6.8 kg", "1")
    take = rows_of(table_of("fish-list", document))[1]
    assert take[6] == "10.4 kg, likely 9.4 to 11.5 kg"
    assert "Likely" not in table_of("shopping-list", small_plan(), 2).head


def test_a_doubtful_line_has_its_chance_and_a_short_one_has_not():
    document = small_plan(forecast=True)
    for order in document["orders"]:
        if order["line"] == "L1":
            order["chance"] = 0.64
    text = str(rows_of(table_of("harvest-list", document)))
    assert "18 raft 1-2 (B0003) (64% likely)" in text
    assert "(short 3.6 kg)" in text
    assert text.count("% likely)") == sum(
        order["line"] == "L1" and order["short"] <= 0 and order["week"] < "2027-04-26"
        for order in document["orders"]
    )


# Which weeks


@pytest.mark.parametrize(("today", "weeks"), [(MADE_ON, 8), (date(2027, 4, 14), 3), (MADE_ON, 20)])
def test_weeks_from_today_on_are_whole(today, weeks):
    document = small_plan()
    found = lists_of(document, today=today, weeks=weeks)
    first = monday_of(today)
    end = first + timedelta(weeks=weeks)
    counts = {
        "sowing-list": sum(first <= row.day < end for row in sowings(document, CROPS)),
        "set-out-list": sum(first <= row.day < end for row in settings_out(document)),
        "harvest-list": len(
            {(row.week, row.customer) for row in harvests(document) if first <= row.week < end}
        ),
    }
    for name, count in counts.items():
        assert sum(len(rows_of(table)) for table in found[name].tables) == count, name
        assert found[name].note.startswith("All weeks are in tables/")
    assert min(counts.values()) > 0


def test_a_plan_read_before_it_starts_shows_its_first_weeks():
    early = lists_of(small_plan(), today=date(2026, 6, 1))
    assert early == lists_of(small_plan())
    assert f"{WEEKS_SHOWN} weeks from 1 Mar" in early["sowing-list"].count


def test_a_plan_read_after_its_end_has_nothing_to_list_but_what_was_bought():
    late = lists_of(small_plan(), today=date(2029, 1, 1))
    assert [name for name, one in late.items() if one.tables] == ["shopping-list"]
    assert html_of(tuple(late.values())).count("Nothing to list.") == 4


# HTML


@pytest.fixture(scope="module", params=["small", "full", "odd", "empty"])
def tree(request: pytest.FixtureRequest) -> ElementTree.Element:
    document, crops = small_plan(), CROPS
    if request.param == "full":
        document, crops = full_season(), FULL_CROPS
    elif request.param == "odd":
        document = odd_plan()
    elif request.param == "empty":
        for key in ("batches", "cohorts", "orders", "deliveries"):
            document[key] = []  # type: ignore[literal-required]
    return tree_of(html_of(take_lists(document, crops=crops, today=MADE_ON)))


def odd_plan() -> PlanDoc:
    text = json.dumps(small_plan())
    odd = json.dumps(ODD)[1:-1]
    for known in ("north gravel", "fish tank 1", "Corner Kitchen", "L1", "B0007", "radish, salad"):
        text = text.replace(f'"{known}', f'"{odd}')
    document: PlanDoc = json.loads(text)
    return document


def test_every_list_is_there_once(tree):
    assert [fold.get("id") for fold in tree.iter("details")] == list(NAMES)
    (section,) = tree.iter("section")
    assert section.get("id") == "lists"


def test_tables_have_captions_and_heads(tree):
    for table in tree.iter("table"):
        assert table.get("class") == "take"
        (caption,) = table.iter("caption")
        assert words(caption)
        columns = len([th for th in table.iter("th") if th.get("scope") == "col"])
        for row in table.findall("tbody/tr"):
            head = row.find("th")
            assert head is not None
            if head.get("scope") == "rowgroup":
                assert head.get("colspan") == str(columns)
            else:
                assert (head.get("scope"), len(row)) == ("row", columns)


def test_odd_names_stay_text():
    text = html_of(take_lists(odd_plan(), crops=CROPS, today=MADE_ON))
    tree = tree_of(text)
    assert "<script" not in text
    assert words(tree).count(ODD) > 5


def test_same_plan_same_lists():
    turned = small_plan()
    turned["batches"].reverse()
    turned["deliveries"].reverse()
    one, other = (take_lists(d, crops=CROPS, today=MADE_ON) for d in (small_plan(), turned))
    assert html_of(one) == html_of(other)


def test_the_lists_stay_small():
    """A full house of 700 batches, whose deliveries are as many as orders of one batch each."""
    document = full_season()
    by_crop: dict[str, list[str]] = {}
    for batch in document["batches"]:
        by_crop.setdefault(batch["crop"], []).append(batch["id"])
    document["deliveries"] = [
        {
            "line": order["line"],
            "week": order["week"],
            "batch": by_crop[order["crop"]][number % len(by_crop[order["crop"]])],
            "quantity": order["planned"],
        }
        for number, order in enumerate(document["orders"])
        if order["crop"] in by_crop
    ]
    assert len(document["deliveries"]) > 500
    for today in (MADE_ON, date(2027, 7, 5)):
        found = take_lists(document, crops=FULL_CROPS, today=today)
        assert all(one.tables for one in found)
        assert len(html_of(found).encode()) < 60_000
