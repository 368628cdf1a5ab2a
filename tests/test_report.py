"""The plan page, read as text: what stands on it, where, and that it is safe to open."""

import base64
import copy
import hashlib
import itertools
import json
import re
from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from functools import lru_cache
from xml.etree import ElementTree

import html5lib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.document import PlanDoc
from planner.fishcharts import rations, tank_figures
from planner.horizon import week_anchor
from planner.joblists import together
from planner.ordercharts import order_figures
from planner.pagefacts import band_finding, brief_names, brief_shares, isolated
from planner.placecharts import looks, places_view, two_letter_codes
from planner.report import CAUTION_SECTIONS, page
from planner.resources import shipped
from planner.tables import Crop
from planner.tasks import dated
from planner.watercharts import nitrogen_figure
from tests.fullseason import FULL_CROPS, full_season
from tests.plandocs import CROPS, FISH, MADE_ON, small_plan

ODD = ("<script>alert(1)</script>\"'&{{ 7 }}", "🐟 سلطة خضراء", "W" * 200)
CAUTIONS = (
    ("Fish", "Mind the spines."),
    ("Nitrate", "Test the water."),
    ("Food safety", "Wash your hands."),
    ("Electricity and water", "Unplug before you reach in."),
    ("Anything else", "Ask someone who knows."),
)
ASSUMPTIONS = ("Light is as the climate says.", "Feed has 32 % protein.")


def made(document: PlanDoc, *, today: date = MADE_ON, crops: dict[str, Crop] | None = None) -> str:
    """Return the page of a document with its own jobs."""
    rows = CROPS if crops is None else crops
    units = "us" if document["units"] == "us" else "metric"
    return page(
        document,
        dated(document, crops=rows, fish=FISH, units=units),
        today=today,
        crops=rows,
        fish=FISH,
        cautions=CAUTIONS,
        assumptions=ASSUMPTIONS,
    )


def parsed(text: str) -> ElementTree.Element:
    """Return the page as a tree; a fault in its HTML raises."""
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    tree = parser.parse(text)
    assert isinstance(tree, ElementTree.Element)
    return tree


def words(element: ElementTree.Element) -> str:
    return " ".join("".join(element.itertext()).split())


def all_of(tree: ElementTree.Element, tag: str) -> list[ElementTree.Element]:
    """Return elements by tag; those of a picture by their SVG name too."""
    svg = f"{{http://www.w3.org/2000/svg}}{tag}"
    return [element for element in tree.iter() if element.tag in (tag, svg)]


def by_class(tree: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [element for element in tree.iter() if name in element.get("class", "").split()]


def by_id(tree: ElementTree.Element, name: str) -> ElementTree.Element:
    (found,) = (element for element in tree.iter() if element.get("id") == name)
    return found


@lru_cache(maxsize=1)
def full_page() -> str:
    return made(full_season(), today=date(2027, 4, 7), crops=FULL_CROPS)


@lru_cache(maxsize=1)
def small_page() -> str:
    return made(small_plan())


def odd_plan() -> tuple[PlanDoc, dict[str, Crop]]:
    """Return a plan in which every name is hard to show."""
    text = json.dumps(small_plan(farm=ODD[0], warnings=ODD))
    for known, odd in (
        ("north gravel", ODD[0]),
        ("raft", ODD[1]),
        ("tower row", ODD[2]),
        ("fish tank 1", ODD[2]),
        ("Corner Kitchen", ODD[0]),
        ("L1", ODD[1]),
        ("B0001", ODD[0]),
    ):
        text = text.replace(f'"{known}', f'"{json.dumps(odd)[1:-1]}')
    crops = {
        id: replace(row, name=ODD[number % 3], family=ODD[(number + 1) % 3], sources=ODD[2])
        for number, (id, row) in enumerate(CROPS.items())
    }
    document: PlanDoc = json.loads(text)
    document["crops"] |= {id: row.name for id, row in crops.items()}
    return document, crops


@lru_cache(maxsize=1)
def full_tree() -> ElementTree.Element:
    return parsed(full_page())


@lru_cache(maxsize=1)
def small_tree() -> ElementTree.Element:
    return parsed(small_page())


@pytest.fixture(scope="module", params=["small", "full", "odd"])
def tree(request: pytest.FixtureRequest) -> ElementTree.Element:
    if request.param == "odd":
        document, crops = odd_plan()
        return parsed(made(document, crops=crops))
    return small_tree() if request.param == "small" else full_tree()


# The page as a file


def test_ids_are_unique_and_links_lead_somewhere(tree):
    ids = [element.get("id") for element in tree.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    links = {element.get("href", "") for element in all_of(tree, "a")}
    assert {link.removeprefix("#") for link in links} <= set(ids)


def test_nothing_is_fetched(tree):
    carriers = (
        "src",
        "href",
        "srcset",
        "poster",
        "data",
        "action",
        "{http://www.w3.org/1999/xlink}href",
    )
    for element in tree.iter():
        for name in carriers:
            value = element.get(name, "")
            assert value.startswith("#") or value in ("", "data:,"), (element.tag, name, value)
        assert "url(" not in element.get("style", "")
    style = "".join(all_of(tree, "style")[0].itertext())
    assert "url(" not in style
    assert "@import" not in style


def test_language_and_one_first_heading(tree):
    assert tree.get("lang") == "en"
    assert len(all_of(tree, "h1")) == 1
    levels = [int(e.tag[1]) for e in tree.iter() if re.fullmatch(r"h[1-6]", str(e.tag))]
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))


def test_every_picture_says_what_it_shows(tree):
    drawn = [
        element
        for element in all_of(tree, "svg")
        if element.get("role") == "img" and element.get("aria-label", "").endswith(".")
    ]
    plots = by_class(tree, "plot")
    assert len(drawn) == len(plots) > 8


def test_every_figure_has_its_facts_as_a_table(tree):
    for figure in all_of(tree, "figure"):
        if "block" not in figure.get("class", ""):
            assert all_of(figure, "details")
            assert all_of(figure, "table")
    for zone in by_class(tree, "zone"):
        assert all_of(zone, "table")


def test_only_the_pages_own_script_may_run(tree):
    (script,) = all_of(tree, "script")
    text = "".join(script.itertext())
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    (policy,) = (
        element.get("content", "")
        for element in all_of(tree, "meta")
        if element.get("http-equiv") == "Content-Security-Policy"
    )
    assert f"script-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    handlers = {name for element in tree.iter() for name in element.attrib if name[:2] == "on"}
    assert handlers == set()


def test_same_input_same_bytes():
    assert made(small_plan()) == small_page()
    assert (
        made(copy.deepcopy(full_season()), today=date(2027, 4, 7), crops=FULL_CROPS) == full_page()
    )


def test_making_the_page_leaves_the_document_alone():
    document = small_plan()
    before = copy.deepcopy(document)
    made(document)
    assert document == before


def test_elapsed_seconds_are_not_on_the_page():
    document = small_plan()
    document["solver"]["seconds"] = 987.654
    assert made(document) == small_page()


def test_a_full_house_stays_under_620_kb():
    document = full_season()
    assert len(document["batches"]) >= 700
    assert sum(zone["places"] for zone in document["zones"]) == 130
    assert len(full_page().encode()) < 620_000
    octets = {
        name: len(section.encode())
        for name, section in re.findall(
            r"""<section id="?(\w+)(.*?)</section>""", full_page(), flags=re.S
        )
    }
    jobs = dated(document, crops=FULL_CROPS, fish=FISH, units="metric")
    assert octets["jobs"] < 75 * sum(len(job.lines) for job in jobs)
    assert octets["places"] < 300 * len(document["batches"])
    assert octets["orders"] < 100 * len(document["orders"])
    assert octets["fish"] < 9_500 * len(document["tanks"])


def test_odd_names_are_text():
    document, crops = odd_plan()
    text = made(document, crops=crops)
    tree = parsed(text)
    assert "<script>alert" not in text
    assert len(all_of(tree, "script")) == 1
    assert words(all_of(tree, "h1")[0]) == f"Season plan: {ODD[0]}"
    assert words(all_of(tree, "title")[0]) == f"Season plan: {ODD[0]}"
    body = words(all_of(tree, "body")[0])
    for odd in ODD:
        assert odd in body


def test_templates_do_no_sums():
    for template in sorted(shipped("templates").glob("*.html.j2")):
        for inside in re.findall(r"\{[{%].*?[%}]\}", template.read_text("utf-8"), re.S):
            plain = re.sub(r'"[^"]*"', "", inside.strip("{}%+-"))
            assert not re.search(r"[\w\])]\s*(\*|/|\+)\s*[\w(]", plain), (template.name, inside)


# Jobs


@pytest.mark.parametrize("weeks", [4, 20, 52])
def test_every_week_has_its_anchor(weeks):
    document = small_plan(weeks=weeks)
    tree = parsed(made(document))
    start = date.fromisoformat(document["horizon"]["start"])
    for week in range(weeks):
        by_id(tree, week_anchor(start + timedelta(weeks=week)))


def test_a_week_in_another_year_has_its_own_anchor():
    tree = full_tree()
    assert week_anchor(date(2027, 12, 27)) == "w2027-52"
    assert "27 Dec" in words(all_of(tree, "body")[0])
    by_id(tree, "w2027-52")


def test_this_weeks_jobs_are_open_and_whole():
    document = small_plan()
    jobs = dated(document, crops=CROPS, fish=FISH, units="metric")
    tree = small_tree()
    this = by_id(tree, week_anchor(MADE_ON))
    folds = {id(e) for fold in all_of(tree, "details") for e in fold.iter()}
    assert id(this) not in folds
    lines = [line for job in jobs if job.day < date(2027, 3, 8) for line in job.lines]
    assert len(lines) == 5
    shown = [words(label) for label in all_of(this, "label")]
    assert len(shown) == len(lines)
    for line in lines:
        assert any(text.endswith(line.text) for text in shown)
    assert len([e for e in all_of(this, "input") if e.get("type") == "checkbox"]) == len(lines)


def test_no_line_of_any_week_is_lost():
    document = full_season()
    jobs = dated(document, crops=FULL_CROPS, fish=FISH, units="metric")
    tree = full_tree()
    expected = Counter(week_anchor(job.day) for job in jobs for _ in job.lines)
    weeks = [e for e in tree.iter() if re.fullmatch(r"w\d{4}-\d\d", e.get("id", ""))]
    # a day's lines of one crop may share an item, in which each has its place
    shown = {
        week.get("id", ""): sum(max(1, len(all_of(item, "b"))) for item in all_of(week, "li"))
        for week in weeks
    }
    assert shown == {id: expected.get(id, 0) for id in shown}
    assert sum(expected.values()) == sum(shown.values()) > 2000


def test_a_later_week_says_what_how_many_and_where():
    tree = small_tree()
    later = by_id(tree, week_anchor(date(2027, 4, 5)))
    assert "Tue 6 salad radish, 8 bunches in north gravel 3 (½)" in words(later)


def test_a_crops_lines_of_a_later_day_are_one_with_every_place():
    document = small_plan()
    first = next(b for b in document["batches"] if b["id"] == "B0008")
    second = copy.deepcopy(first) | {"id": "B0099", "cuts": [{"date": "2027-05-13", "kg": 0.7}]}
    second["places"] = [{"name": "north gravel 4", "parts": 4}]
    document["batches"].append(second)
    later = by_id(parsed(made(document)), week_anchor(date(2027, 5, 10)))
    said = "salad radish, 14 bunches in north gravel 3 (½); 3 bunches in north gravel 4"
    assert said in words(later)


def test_places_stand_out_in_the_jobs():
    this = by_id(small_tree(), week_anchor(MADE_ON))
    assert "raft 1-2" in [words(b) for b in all_of(this, "b")]


def test_a_caution_is_said_once_a_kind():
    care = together(
        ["Care: wash. Keep basil at 10 °C. Follow local rules.", "Care: wash. Keep cress cold."]
    )
    assert care == "Care: wash. Keep basil at 10 °C. Follow local rules. Keep cress cold."


def test_a_day_outside_the_plan_still_gives_a_page():
    for today in (date(2026, 1, 1), date(2029, 6, 1)):
        tree = parsed(made(small_plan(), today=today))
        assert "No jobs." in words(by_id(tree, week_anchor(today)))
        by_id(tree, week_anchor(MADE_ON))


# Warnings


def test_three_warnings_are_open_and_the_rest_folded():
    document = small_plan(warnings=tuple(f"Doubt number {n}." for n in range(1, 6)))
    (box,) = by_class(parsed(made(document)), "warn")
    fold = all_of(box, "details")[0]
    shown = [words(item) for item in all_of(box, "li")]
    folded = [words(item) for item in all_of(fold, "li")]
    assert shown[0].startswith("1 order line is short. Mill Street Café, line L4: 8.2 kg of 30 kg")
    assert shown[1:3] == ["Doubt number 1.", "Doubt number 2."]
    assert folded == ["Doubt number 3.", "Doubt number 4.", "Doubt number 5."]


def test_a_plan_without_faults_says_so():
    document = small_plan()
    document["orders"] = []
    tree = parsed(made(document))
    assert by_class(tree, "warn") == []
    assert "Nothing to warn of." in words(all_of(tree, "header")[0])


def test_a_place_booked_twice_is_a_warning():
    document = small_plan()
    document["batches"][0]["places"] = [{"name": "raft 3", "parts": 2}]
    document["batches"][0]["clear"] = "2027-04-01"
    assert "raft 3 holds more than its 2 parts from 16 Mar" in made(document)


def test_broken_rules_come_first():
    document = small_plan()
    document["violations"] = ["Tank 1 is over its density."]
    (box,) = by_class(parsed(made(document)), "warn")
    assert words(all_of(box, "li")[0]) == "A rule is broken: Tank 1 is over its density."


# Places


def told(tree: ElementTree.Element) -> list[list[str]]:
    """Return for each bar the cells of the row that it refers to, in its zone's table."""
    found = []
    for zone in by_class(tree, "zone"):
        rows = [[words(td) for td in all_of(tr, "td")] for tr in all_of(zone, "tr")]
        rows = [row for row in rows if row]
        found += [rows[int(bar.get("data-t", ""))] for bar in by_class(zone, "b")]
    return found


def named(tree: ElementTree.Element) -> list[str]:
    """Return the places of all rows in the picture, those that share a row one by one."""
    names = []
    for row in (e for e in tree.iter() if e.get("data-p")):
        zone, _, first = row.get("data-p", "").rpartition(" ")
        last = int(row.get("data-to", first))
        names += [f"{zone} {number}" for number in range(int(first), last + 1)]
    return names


@pytest.mark.parametrize("full", [False, True])
def test_every_batch_is_in_the_picture_and_in_the_table(full):
    document = full_season() if full else small_plan()
    tree = full_tree() if full else small_tree()
    drawn_ids = {row[-1] for row in told(tree)}
    cells = [words(td) for zone in by_class(tree, "zone") for td in all_of(zone, "td")]
    start = date.fromisoformat(document["horizon"]["start"])
    end = start + timedelta(weeks=document["horizon"]["weeks"])
    for batch in document["batches"]:
        assert cells.count(batch["id"]) == 1
        stands = date.fromisoformat(batch["transplant"] or batch["sow"]) < end
        drawn = batch["id"] in drawn_ids
        assert drawn == (stands and date.fromisoformat(batch["clear"]) > start), batch["id"]


def test_every_place_has_its_row():
    assert named(full_tree()) == [
        f"{zone['name']} {number}"
        for zone in full_season()["zones"]
        for number in range(1, zone["places"] + 1)
    ]


def test_a_bar_leads_to_its_dates():
    (row,) = (row for row in told(small_tree()) if row[-1] == "B0001")
    assert row[3:6] == ["8 Feb", "11 Mar", "15 Mar"]


def test_a_table_names_each_crop_once_over_its_successions():
    table = all_of(by_class(small_tree(), "zone")[1], "table")[0]
    groups = {
        words(body[0]): [words(tr)[-5:] for tr in body[1:]] for body in all_of(table, "tbody")
    }
    assert groups == {"butterhead lettuce": ["B0001", "B0002", "B0003"]}


def scaled(document: PlanDoc, times: int) -> PlanDoc:
    """Return the plan of a house in which every place and tank is there `times` times."""
    for zone in document["zones"]:
        zone["places"] *= times
    for batch in document["batches"]:
        batch["places"] = [
            {"name": f"{zone} {times * (int(number) - 1) + copy}", "parts": place["parts"]}
            for place in batch["places"]
            for zone, _, number in [place["name"].rpartition(" ")]
            for copy in range(1, times + 1)
        ]
    names = {
        tank["name"]: [f"{kind} {times * (int(number) - 1) + copy}" for copy in range(1, times + 1)]
        for tank in document["tanks"]
        for kind, _, number in [tank["name"].rpartition(" ")]
    }
    document["tanks"] = [
        tank | {"name": name} for tank in document["tanks"] for name in names[tank["name"]]
    ]
    document["cohorts"] = [
        cohort | {"id": f"{cohort['id']} {name}", "tank": name}
        for cohort in document["cohorts"]
        for name in names[cohort["tank"]]
    ]
    return document


def test_the_picture_grows_with_batches_not_with_places():
    times = 200
    document = scaled(small_plan(), times)
    large, small = places_view(document, CROPS, MADE_ON), places_view(small_plan(), CROPS, MADE_ON)
    for one, other in zip(large.zones, small.zones, strict=True):
        bars, others = (
            [bar.bar.batch for block in zone.blocks for row in block.rows for bar in row.bars]
            for zone in (one, other)
        )
        assert bars == others
        # what is empty at the zone's end, or alike in two neighbours, is one row in both
        assert sum(len(b.rows) for b in one.blocks) == sum(len(b.rows) for b in other.blocks)
        assert [b.block.used for b in one.blocks] == pytest.approx(
            [b.block.used for b in other.blocks]
        )


def test_all_places_and_tanks_of_a_vast_house_are_named_on_a_small_page():
    times = 200
    document = scaled(small_plan(), times)
    text = made(document)
    tree = parsed(text)
    assert named(tree) == [
        f"{zone['name']} {number}"
        for zone in document["zones"]
        for number in range(1, zone["places"] + 1)
    ]
    assert len(named(tree)) > 3_000
    heads = [words(h) for h in all_of(by_id(tree, "fish"), "h3")]
    assert heads == ["fish tank 1-200", "fish tank 201-400"]
    taken = by_id(tree, week_anchor(date(2027, 3, 17)))
    (line,) = (words(item) for item in all_of(taken, "li") if "Take 20 Nile tilapia" in words(item))
    assert line.endswith("from each of fish tank 1-200")
    assert len(text.encode()) < 1.5 * len(small_page().encode())


def test_a_batch_after_the_weeks_shown_is_said_to_be():
    tree = parsed(made(small_plan(weeks=4)))
    rows = [words(tr) for zone in by_class(tree, "zone") for tr in all_of(zone, "tr")]
    (row,) = (row for row in rows if "B0011" in row)
    assert "after the weeks shown" in row


def test_families_have_their_own_colours_and_crops_their_codes():
    look = looks(small_plan(), CROPS)
    assert look["basil_genovese"].hue == look["mint"].hue == look["rosemary"].hue
    assert len({look[id].hue for id in ("basil_genovese", "radish", "tomato_cherry")}) == 3
    assert len({one.code for one in look.values()}) == len(look)
    assert look["lettuce_butterhead"].code == "BL"


def test_a_crop_without_a_row_is_drawn_among_the_others():
    look = looks(small_plan(), {})
    assert {one.hue for one in look.values()} == {5}
    assert look["lettuce_butterhead"].name == "butterhead lettuce"


@given(st.lists(st.text(max_size=12), max_size=80))
def test_codes_are_two_signs_and_all_different(names):
    codes = two_letter_codes({f"c{number}": name for number, name in enumerate(names)})
    assert all(len(code) == 2 for code in codes.values())
    assert len(set(codes.values())) == len(names)


def test_share_of_room_in_use():
    # raft: 6 boards of 2 parts, 140 days. B0001 stands 14 days on 4 parts, B0002 34 days (15 to 49)
    # on 3, B0003 33 days (23 to 56) on 4: 290 of 1,680 part-days
    view = places_view(small_plan(), CROPS, MADE_ON)
    assert view.zones[1].blocks[0].block.used == pytest.approx(290 / 1680)


# Water, fish, orders


def test_weeks_outside_the_band_are_marked_and_said():
    document = small_plan()
    for week in (2, 3, 9):
        document["weeks"][week]["nitrate_n_mg_l"] = 4.0
    document["weeks"][12]["nitrate_n_mg_l"] = 61.0
    said = band_finding(document)
    assert said == (
        "Nitrate is outside 5 to 60 mg/L nitrate-N in 4 weeks: under it in weeks 11-12 (15 Mar to"
        " 28 Mar), week 18 (3 May); over it in week 21 (24 May)."
    )
    tree = parsed(made(document))
    figure = by_id(tree, "nitrogen-chart")
    marks = Counter(words(mark) for mark in by_class(figure, "mark"))
    assert marks == {"▼": 3, "▲": 1}
    assert words(figure).count("▼ under the band") == 3
    (picture,) = (e for e in all_of(figure, "svg") if e.get("aria-label") == said)
    assert picture.get("role") == "img"


def test_supply_and_nitrate_have_their_own_frames():
    figure = by_id(small_tree(), "nitrogen-chart")
    plots = by_class(figure, "plot")
    kinds = [
        {
            name
            for kind in ("supply", "uptake", "nitrate")
            for name in [kind]
            if by_class(plot, kind)
        }
        for plot in plots
    ]
    assert kinds == [{"supply", "uptake"}, {"nitrate"}, {"nitrate"}]


def test_feed_today_is_the_weeks_feed_by_the_day():
    document = small_plan()
    first, second = rations(document, MADE_ON)
    week_kg = document["cohorts"][0]["weeks"][0]["feed_kg"]
    assert week_kg == pytest.approx(40 * 24 / 1000 * 1.7)
    assert first.feed == f"{week_kg / 7:.2f} kg a day"
    assert (second.tank, second.feed, second.note) == ("fish tank 2", "none", "empty")
    assert first.feed in words(by_id(small_tree(), "feed"))


def test_feed_follows_stocking_and_stops_before_fish_are_taken():
    document = small_plan()
    before = rations(document, date(2027, 3, 9))[1]  # stocked on Wednesday 10 March
    assert (before.feed, before.note.endswith("from Wed 10 Mar")) == ("none", True)
    after = rations(document, date(2027, 3, 10))[1]
    # five days of gain from 10 to 15 March: 60 fish, 6 g a week, fcr 1.7
    assert after.feed == f"{60 * 6 / 7 * 1.7 / 1000 * 1000:.0f} g a day"
    eve = rations(document, date(2027, 3, 16))[0]  # 20 fish are taken on the 17th
    assert eve.feed == "none"
    assert "taken tomorrow" in eve.note


def test_a_tank_shows_its_limit_and_moves():
    tree = small_tree()
    fish = by_id(tree, "fish")
    assert "At most 21 kg of fish, 51% of the 40 kg at 20 kg/m³." in words(fish)
    labels = [words(label) for label in by_class(fish, "word")]
    assert "in 10 Mar: 60 Yellow perch" in labels
    assert "out 17 Mar to 31 Mar: 40" in labels


def test_the_shortest_crop_comes_first():
    tree = small_tree()
    heads = [words(h) for h in all_of(by_id(tree, "orders"), "h3")]
    assert heads[:2] == ["Order lines that are short", "Nile tilapia"]
    text = words(by_id(tree, "orders"))
    assert "Short in 2 weeks: week 11 (15 Mar), week 13 (29 Mar)" in text
    assert "within tolerance" in text


def test_a_group_of_crops_is_drawn_against_what_serves_it():
    document = small_plan()
    for row in document["orders"]:
        if row["crop"] == "lettuce_butterhead":
            row["crop"] = "any lettuce"
    tree = parsed(made(document))
    orders = by_id(tree, "orders")
    (figure,) = (f for f in all_of(orders, "figure") if words(all_of(f, "h3")[0]) == "any lettuce")
    columns = [e.get("d", "") for e in by_class(figure, "column")]
    assert any(columns)


def test_us_units_are_shown_throughout():
    text = words(parsed(made(small_plan(units="us"))))
    assert "lb/gal" in text
    assert "°F" in text
    assert re.findall(r"\d k?g\b(?! N)", text) == []


def test_names_are_short_where_there_is_little_room_and_never_two_alike():
    names = {
        "a": "cilantro / coriander leaf",
        "b": "lettuce, summer crisp (Batavian)",
        "c": "basil, Thai / lemon",
        "d": "mint (spearmint, peppermint)",
        "e": "cucumber (vining)",
        "f": "cucumber (bush)",
        "g": "(unnamed)",
    }
    assert brief_names(names) == {
        "a": "cilantro",
        "b": "summer crisp lettuce",
        "c": "Thai basil",
        "d": "mint",
        "e": "cucumber (vining)",
        "f": "cucumber (bush)",
        "g": "(unnamed)",
    }


def test_shares_are_fractions_where_there_is_little_room():
    long = "raft 3 (half), 5-7 (a quarter each), 9; bed 2 (5 of 8 parts), 4 (two thirds)"
    assert brief_shares(long) == "raft 3 (½), 5-7 (¼ each), 9; bed 2 (5 of 8 parts), 4 (⅔)"


def test_weeks_on_end_that_are_alike_share_a_row_of_an_orders_table():
    document = small_plan()
    row = next(row for row in document["orders"] if row["short"] == 0)
    full = row | {"ordered": 8.0, "planned": 8.0, "kg_per_unit": 0.5, "chance": None}
    mondays = [(MADE_ON + timedelta(weeks=week)).isoformat() for week in (0, 1, 2, 4, 5)]
    document["orders"] = [full | {"week": monday} for monday in mondays]
    document["orders"][-1] |= {"planned": 6.0, "short": 2.0, "within_tolerance": False}
    document["produce"] = []
    (figure,) = order_figures(document, MADE_ON)
    assert figure.table.caption.endswith(" by week, kg, 4 ordered in each")
    assert figure.table.head == ("Week (Monday)", "Cut", "Note")
    assert figure.table.rows == (
        ("9-11 (1 Mar to 15 Mar)", "0", ""),
        ("13 (29 Mar)", "0", ""),
        ("14 (5 Apr)", "0", "▼ short, 3 planned"),
    )
    document["orders"][0] |= {"ordered": 6.0, "planned": 6.0, "chance": 0.64}
    (figure,) = order_figures(document, MADE_ON)
    assert figure.table.head == ("Week (Monday)", "Cut", "Ordered", "Chance and note")
    assert figure.table.rows[0] == ("9 (1 Mar)", "0", "3", "64%")


def test_names_from_right_to_left_keep_the_sentence_in_order():
    assert isolated("basil") == "basil"
    assert isolated("سلطة") == "\u2068سلطة\u2069"


# Forecast


@lru_cache(maxsize=1)
def foretold_tree() -> ElementTree.Element:
    return parsed(made(small_plan(forecast=True)))


def test_a_plan_without_a_forecast_says_so_and_draws_no_ranges():
    tree = small_tree()
    assert "There is no forecast in this plan" in words(by_id(tree, "basis"))
    assert by_class(tree, "range") + by_class(tree, "whisker") == []
    text = words(all_of(tree, "main")[0]).casefold()
    assert "likely" not in text.replace("yield (likely range)", "")  # a head of the places' tables


def test_each_crop_has_a_whisker_a_week_and_its_numbers_in_the_table():
    tree = foretold_tree()
    document = small_plan(forecast=True)
    figure = next(
        f
        for f in all_of(by_id(tree, "orders"), "figure")
        if words(all_of(f, "h3")[0]) == "butterhead lettuce"
    )
    (path,) = (e.get("d", "") for e in by_class(figure, "whisker"))
    forecast = document["forecast"]
    assert forecast is not None
    weeks = [row for row in forecast["produce"] if row["crop"] == "lettuce_butterhead"]
    assert path.count("v") == len(weeks) == 4
    cells = [[words(td) for td in all_of(tr, "td")] for tr in all_of(figure, "tr")]
    (row,) = (row for row in cells if row and row[0] == "10 (8 Mar)")
    assert row[1:] == ["14", "11.2 to 16.8", "90%"]


def test_ranges_of_several_crops_are_added_up():
    document = small_plan(forecast=True)
    for order in document["orders"]:
        if order["crop"] == "lettuce_butterhead":
            order["crop"] = "any leaf"
    document["deliveries"].append(
        {"line": "L1", "week": "2027-03-08", "batch": "B0004", "quantity": 1.0}
    )
    forecast = document["forecast"]
    assert forecast is not None
    forecast["produce"] = [
        {"week": "2027-03-08", "crop": crop, "kg_p10": 1.0, "kg_p50": 2.0, "kg_p90": 3.0}
        for crop in ("lettuce_butterhead", "basil_genovese", "radish")
    ]
    (figure,) = (f for f in order_figures(document, MADE_ON) if f.heading == "any leaf")
    assert next(row for row in figure.table.rows if row[0] == "10 (8 Mar)")[2] == "2 to 6"


def test_nitrate_and_fish_have_a_field_from_p10_to_p90():
    tree = foretold_tree()
    nitrogen = by_id(tree, "nitrogen-chart")
    assert [len(by_class(plot, "range")) for plot in by_class(nitrogen, "plot")] == [0, 1, 0]
    text = words(nitrogen)
    assert "where eight of ten drawn seasons lie" in text
    fish = by_id(tree, "fish")
    drawn = [path for path in by_class(fish, "range") if path.get("d", "").endswith("z")]
    assert len(drawn) == len(small_plan()["cohorts"])
    assert "Likely no more than 23 kg." in words(fish)  # 20.8 kg, 12 % more


def test_a_season_in_which_nitrate_leaves_its_band_is_named_beside_the_plan():
    document = small_plan(forecast=True)
    forecast = document["forecast"]
    assert forecast is not None
    for row in forecast["weeks"]:
        row |= {"nitrate_n_mg_l_p10": 20.0, "nitrate_n_mg_l_p90": 50.0}
    plain = nitrogen_figure(document, MADE_ON).finding
    assert plain == band_finding(document)
    forecast["weeks"][2]["nitrate_n_mg_l_p10"] = 4.0
    forecast["weeks"][3]["nitrate_n_mg_l_p90"] = 61.0
    said = nitrogen_figure(document, MADE_ON).finding
    assert said == (
        f"{plain} In a tenth or more of the drawn seasons it is under it in week 11 (15 Mar) and "
        "over it in week 12 (22 Mar)."
    )


def test_tanks_that_are_alike_share_a_picture_whatever_their_own_ranges():
    document = scaled(small_plan(forecast=True), 3)
    forecast = document["forecast"]
    assert forecast is not None
    forecast["cohorts"] = [
        row | {"id": cohort["id"], "kg_p90": row["kg_p90"] * (1 + number / 100)}
        for number, cohort in enumerate(document["cohorts"])
        for row in forecast["cohorts"]
        if row["id"] == cohort["id"].partition(" ")[0]
    ]
    figures = tank_figures(document, MADE_ON)
    assert [figure.heading for figure in figures] == ["fish tank 1-3", "fish tank 4-6"]
    most = max(row["kg_p90"] for row in forecast["cohorts"] if row["id"].startswith(("C01", "C03")))
    assert f"Likely no more than {most:.0f} kg." in figures[0].finding


def test_doubtful_lines_stand_with_the_orders():
    document = small_plan(forecast=True)
    for order in document["orders"]:
        if order["line"] == "L1":
            order["chance"] = 0.4
    tree = parsed(made(document))
    orders = by_id(tree, "orders")
    assert "Order lines that are less than 80% likely" in [words(h) for h in all_of(orders, "h3")]
    assert "Corner Kitchen, line L1, butterhead lettuce: 40% likely in week" in words(orders)
    (box,) = by_class(tree, "warn")
    assert "more likely missed than met in some week" in words(box)


def test_the_basis_tells_what_ranges_are_and_where_their_sizes_are_from():
    basis = words(by_id(foretold_tree(), "basis"))
    for said in ("eight of ten of 2,000 drawn seasons", "Not in the ranges", "judgement", "± 10%"):
        assert said in basis


# Care and basis


def test_every_caution_stands_once_in_its_section():
    tree = small_tree()
    for (heading, text), section in zip(
        CAUTIONS, ("fish", "nitrogen", "orders", "nitrogen", "care"), strict=True
    ):
        assert words(tree).count(text) == 1
        assert f"{heading}. {text}" in words(by_id(tree, section))
    for section in CAUTION_SECTIONS:
        by_id(tree, section)


def test_basis_tells_value_bound_and_gap():
    basis = words(by_id(small_tree(), "basis"))
    for said in ("1,234.50", "1,260.00", "2.1%", "limit of work", *ASSUMPTIONS, "Pests"):
        assert said in basis
    assert "invented for tests" in basis


@pytest.mark.parametrize("weeks", [4, 17, 61, 104])
def test_any_horizon_gives_a_sound_page(weeks):
    parsed(made(small_plan(weeks=weeks)))


def test_a_farm_without_fish_orders_or_batches_gives_a_sound_page():
    document = small_plan()
    for key in ("tanks", "cohorts", "orders", "deliveries", "produce", "batches"):
        document[key] = []  # type: ignore[literal-required]
    text = words(parsed(made(document)))
    assert "No fish in the plan." in text
    assert "There are no orders." in text


# Colours


def _luminance(colour: str) -> float:
    """Relative luminance of a colour `#rrggbb` (WCAG 2.2, definition of relative luminance)."""
    shares = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_formula_gives_the_standards_extremes():
    """WCAG 2.2, definition of contrast ratio: from 1 to 21."""
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert _contrast("#777777", "#777777") == 1


def _mixed(over: str, under: str) -> str:
    """Return a colour laid over another as thin as a range is drawn."""
    style = (shipped("templates") / "style.css.j2").read_text("utf-8")
    (found,) = re.findall(r"\.range\{fill:var\(--water\);fill-opacity:(\.\d+)", style)
    share = float(found)
    mixed = (
        round(share * int(over[i : i + 2], 16) + (1 - share) * int(under[i : i + 2], 16))
        for i in (1, 3, 5)
    )
    return "#" + "".join(f"{part:02x}" for part in mixed)


def test_contrast_is_enough_in_light_dark_and_print():
    """WCAG 2.2, success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (graphics, 3:1)."""
    style = (shipped("templates") / "style.css.j2").read_text("utf-8")
    sets = re.findall(r":root\{(--[^}]*)\}", style)
    assert len(sets) == 3
    for text in sets:
        colour = dict(re.findall(r"--(\w+):(#\w+)", sets[0] + ";" + text))
        colour = {
            name: value if len(value) == 7 else "#" + "".join(2 * sign for sign in value[1:])
            for name, value in colour.items()
        }
        for name in ("ink", "soft", "link", "warn", "care", "plant", "water"):
            assert _contrast(colour[name], colour["paper"]) >= 4.5, name
        for name in ("soft", "ink"):
            assert _contrast(colour[name], colour["band"]) >= 4.5, name
        assert _contrast(colour["warn"], colour["warnpaper"]) >= 4.5
        for hue in range(1, 6):
            assert _contrast(colour["bartext"], colour[f"h{hue}"]) >= 7, hue
            assert _contrast(colour["foot"], colour[f"h{hue}"]) >= 3, hue
        for name in ("water", "plant", "warn"):
            assert _contrast(colour[name], colour["band"]) >= 3, name
        for ground in ("paper", "band", "field"):  # under a range's own colour
            assert _contrast(colour["water"], _mixed(colour["water"], colour[ground])) >= 3, ground
            assert _contrast(colour["warn"], _mixed(colour["water"], colour[ground])) >= 3, ground
