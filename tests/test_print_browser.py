"""The plan page on paper of two sizes, on a phone's first screen, at twice the size, by keyboard.

The text of a PDF and where it stands are read by pdftotext (poppler), which has to be installed
beside the browser.
"""

import os
import re
import shutil
import subprocess
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from planner.report import page as plan_page
from planner.tasks import dated
from tests.fullseason import FULL_CROPS, full_season
from tests.plandocs import CROPS, FISH, MADE_ON, small_plan
from tests.test_page_browser import ARGUMENTS, DESK, PHONE, chromium, open_folds
from tests.test_report import odd_plan

pytestmark = pytest.mark.browser

TODAY = date(2027, 4, 7)
WARNINGS = (
    "No nitrate test is given: the plan starts from 30 mg/L nitrate-N. Test the water and enter "
    "it under [water] nitrate_n.",
    "fish tank 1, fish tank 2: more than four weeks are too cold to feed; expect no growth then.",
    "A fourth one.",
)
POINTS = {"A4": (842, 595), "Letter": (792, 612)}  # landscape; ISO 216 and ANSI/ASME Y14.1
ZOOMED: dict[str, Any] = {  # 200 % on a phone of 390 px
    "viewport": {"width": 195, "height": 422},
    "device_scale_factor": 4,
    "is_mobile": True,
    "has_touch": True,
}
LYING: dict[str, Any] = PHONE | {"viewport": {"width": 844, "height": 390}}
CELL_HEIGHT = 8.2  # of a line of the lists, in points; headings are higher
JOB_HEIGHT = 9.0  # of a place in a job; the headings of tanks are higher
TOUCH_PX = 44  # WCAG 2.2, success criterion 2.5.5


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = chromium()
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Write the small, the full and the odd page; return their addresses."""
    folder = tmp_path_factory.mktemp("pages")
    odd, odd_crops = odd_plan()
    full = full_season()
    full["warnings"] = list(WARNINGS)
    full["orders"] = [order for order in full["orders"] if order["crop"] in list(FULL_CROPS)[:9]]
    addresses = {}
    for name, document, crops, today in (
        ("small", small_plan(warnings=WARNINGS, forecast=True), CROPS, MADE_ON),
        ("full", full, FULL_CROPS, TODAY),
        ("odd", odd, odd_crops, MADE_ON),
    ):
        text = plan_page(
            document,
            dated(document, crops=crops, fish=FISH, units="metric"),
            today=today,
            crops=crops,
            fish=FISH,
            cautions=[("Fish", "Mind the spines."), ("Nitrate", "Test the water.")],
            assumptions=["Light is as the climate says."],
        )
        file = folder / f"{name}.html"
        file.write_text(text, encoding="utf-8")
        addresses[name] = file.as_uri()
    return addresses


@pytest.fixture
def opened(browser: Browser, pages: dict[str, str]) -> Iterator[Any]:
    """Return a function that opens a page by name on a device: `opened("small", PHONE)`."""
    contexts = []

    def visit(name: str, device: dict[str, Any], **more: Any) -> Page:
        context = browser.new_context(**device, **more)
        contexts.append(context)
        page = context.new_page()
        page.goto(pages[name])
        return page

    yield visit
    for context in contexts:
        context.close()


# Paper


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line of print and where it stands on its page. [pt]"""

    text: str
    left: float
    top: float
    right: float
    foot: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A printed page; `margin` is the text of its foot."""

    size: tuple[float, float]
    lines: tuple[Line, ...]
    margin: str

    @property
    def text(self) -> str:
        return "\n".join(line.text for line in self.lines)


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A printed plan; the headings that its page shows in print, and the words of its jobs."""

    sheets: tuple[Sheet, ...]
    headings: frozenset[str]
    jobs: Counter[str]  # without those that a line may end in

    def holds(self, line: str, sheet: int) -> bool:
        """Whether a line of just these words is on a sheet, counted from 0."""
        return any(found.text == line for found in self.sheets[sheet].lines)

    def where(self, text: str) -> list[int]:
        """Return the numbers of the sheets that hold a text, from 1 on."""
        return [n for n, sheet in enumerate(self.sheets, start=1) if text in sheet.text]


def read_pdf(pdf: bytes, folder: Path) -> tuple[Sheet, ...]:
    """Return the text of a PDF, line by line, by pdftotext."""
    if shutil.which("pdftotext") is None:
        reason = "no pdftotext on the path; install the system's poppler-utils package"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    file = folder / "plan.pdf"
    file.write_bytes(pdf)
    layout = subprocess.run(
        ["pdftotext", "-bbox-layout", str(file), "-"], check=True, capture_output=True, text=True
    ).stdout
    tree = ElementTree.fromstring(layout)
    name = "{http://www.w3.org/1999/xhtml}"
    return tuple(_sheet(page, name) for page in tree.iter(f"{name}page"))


def _sheet(page: ElementTree.Element, name: str) -> Sheet:
    width, height = float(page.get("width", "0")), float(page.get("height", "0"))
    lines = [
        Line(
            text=" ".join(word.text or "" for word in line.iter(f"{name}word")),
            left=float(line.get("xMin", "0")),
            top=float(line.get("yMin", "0")),
            right=float(line.get("xMax", "0")),
            foot=float(line.get("yMax", "0")),
        )
        for line in page.iter(f"{name}line")
    ]
    foot = height - 14 / 25.4 * 72  # the margin below holds the date and the number
    return Sheet(
        size=(width, height),
        lines=tuple(line for line in lines if line.top < foot),
        margin=" ".join(line.text for line in lines if line.top >= foot),
    )


HEADINGS = """
[...document.querySelectorAll('h2, h3, h4, figcaption, .wk > summary')]
    .filter(head => head.checkVisibility())
    .map(head => head.innerText.replace(/\\s+/g, ' ').trim())
"""


@pytest.fixture(scope="module", params=list(POINTS))
def paper(
    request: pytest.FixtureRequest,
    browser: Browser,
    pages: dict[str, str],
    tmp_path_factory: pytest.TempPathFactory,
) -> Paper:
    """Print the full plan without its script, which must not be needed."""
    context = browser.new_context(**DESK, java_script_enabled=False)
    page = context.new_page()
    page.goto(pages["full"])
    pdf = page.pdf(format=request.param, landscape=True)
    sheets = read_pdf(pdf, tmp_path_factory.mktemp("paper"))
    page.emulate_media(media="print")
    headings = frozenset(page.evaluate(HEADINGS))
    jobs = page.evaluate("[...document.querySelectorAll('#jobs li')].map(li => li.textContent)")
    words = Counter(word for job in jobs for word in job.split() if re.fullmatch(r"[^-–/]+", word))
    context.close()
    width, height = POINTS[request.param]
    assert all(sheet.size == pytest.approx((width, height), abs=1) for sheet in sheets)
    return Paper(sheets=sheets, headings=headings, jobs=words)


def test_a_year_fills_a_few_dozen_sheets_at_full_size(paper):
    assert 15 <= len(paper.sheets) <= 40
    # a page that is too wide would be printed smaller: 15 pt letters are about 17 pt tall
    (title,) = (line for line in paper.sheets[0].lines if line.text == "Season plan: Full House")
    assert 15 < title.foot - title.top < 18


def test_every_sheet_has_its_number_and_the_plans_day(paper):
    for number, sheet in enumerate(paper.sheets, start=1):
        assert f"Page {number} of {len(paper.sheets)}" in sheet.margin
        assert "Season plan made on Tue 5 Jan 2027" in sheet.margin


def test_the_summary_is_the_first_sheet_and_no_other(paper):
    first = paper.sheets[0].text
    for said in (
        "Season plan: Full House",
        "52 weeks, Mon 4 Jan 2027 to Sun 2 Jan 2028",
        "order lines are short. Soonest: ",
        *WARNINGS[1:],
        "Supply (dashed) and uptake (solid), g nitrogen a week",
        "Nitrate. Test the water.",
    ):
        assert said in first
    for said in (
        "The season in figures",
        "Fish taken",
        "Orders met, by weight",
        "All customers",
        "Cut in the season",
        "All crops",
        "Order lines that are short",
        "Nitrate-N in its band, mg/L",
    ):
        assert paper.where(said) == [1], said


def test_order_lines_are_named_once(paper):
    named = [line.text for line in paper.sheets[0].lines if re.match(r".*, line L\d+: ", line.text)]
    assert len([text for text in named if "Soonest" not in text]) == 8
    assert paper.where("line L1: ") == [1]


def test_parts_begin_on_sheets_of_their_own(paper):
    tops = [min(sheet.lines, key=lambda line: line.top).text for sheet in paper.sheets]
    assert tops[1] == "Places by week"
    for heading in ("Fish", "This week's jobs"):
        number = next(n for n in range(2, len(tops)) if paper.holds(heading, n))
        assert tops[number] == heading


def test_parts_come_in_the_papers_order(paper):
    order = [
        paper.where(said)[0]
        for said in (
            "The season in figures",
            "Places by week",
            "Biomass (solid) and density limit (dotted), kg",
            "Harvest against orders",
            "Light and warmth",
            "Work and nursery",
            "What the plan rests on",
            "This week's jobs",
        )
    ]
    assert order == sorted(order)


def test_all_weeks_are_printed_last_with_their_jobs(paper):
    start = paper.where("This week's jobs")[0]
    last = {week: paper.where(f"Week {week}: ")[-1] for week in range(1, 53)}
    assert last.pop(14) == start
    assert start <= last.pop(15) <= min(last.values())
    assert list(last.values()) == sorted(last.values())
    printed = Counter(word for sheet in paper.sheets[start - 1 :] for word in sheet.text.split())
    assert paper.jobs.total() > 5000
    assert paper.jobs - printed == Counter()


def test_a_block_of_places_is_on_one_sheet_with_its_name_and_finding(paper):
    blocks = [head for head in paper.headings if re.fullmatch(r".* \d+ to \d+", head)]
    assert len(blocks) > 5
    for block in blocks:
        (number,) = paper.where(f"{block}\n")
        assert f"{block}: " in paper.sheets[number - 1].text


def test_no_heading_is_parted_from_what_it_heads(paper):
    """Below every heading something stands on its sheet, in its column.

    Crops and zones are named in the cells of the lists too, tanks in jobs; those are set smaller.
    """
    seen = 0
    for sheet in paper.sheets:
        for head in sheet.lines:
            least = JOB_HEIGHT if head.text.startswith("fish tank") else CELL_HEIGHT
            if head.text in paper.headings and head.foot - head.top > least:
                below = [
                    line
                    for line in sheet.lines
                    if line.top > head.top + 1
                    and line.left < head.left + 60
                    and line.right > head.left
                ]
                assert below, head
                nearest = min(below, key=lambda line: line.top)
                assert nearest.top - head.foot < 130, (head, nearest)
                seen += 1
    assert seen > 150


def test_script_or_not_the_paper_is_the_same(opened):
    texts = []
    for script in (True, False):
        page = opened("small", DESK, java_script_enabled=script)
        page.emulate_media(media="print")
        texts.append(page.evaluate("document.body.innerText"))
        assert page.locator("#w2027-20 li").first.is_visible()
        assert page.locator("details.twin").first.is_hidden()
    assert texts[0] == texts[1]


def test_kinds_of_line_differ_without_colour(opened):
    page = opened("small", DESK)
    page.emulate_media(media="print")
    dashes = page.evaluate(
        "['supply', 'uptake', 'limit'].map(kind => "
        "getComputedStyle(document.querySelector(`#nitrogen path.${kind}`)).strokeDasharray)"
    )
    assert len(set(dashes)) == 3


# The phone's first screen


@pytest.mark.parametrize("name", ["small", "full"])
def test_the_first_job_is_on_a_phones_first_screen(opened, name):
    page = opened(name, PHONE)
    assert page.locator(".warn > ul > li").count() == 3
    boxes = page.evaluate(
        "['.when', '.warn', '#jobs h2', '.week label', '#feed h2', '#places h2']"
        ".map(what => document.querySelector(what).getBoundingClientRect())"
        ".map(box => [box.top, box.bottom])"
    )
    assert all(upper[0] < lower[0] for upper, lower in pairwise(boxes))
    assert boxes[3][1] <= PHONE["viewport"]["height"]
    assert page.locator("#jobs .week").nth(1).is_hidden()  # next week and all others are folded


@pytest.mark.parametrize("device", [PHONE, LYING, ZOOMED], ids=["phone", "lying", "zoomed"])
def test_boxes_folds_and_links_are_wide_enough_for_a_finger(opened, device):
    page = opened("small", device)
    sizes = page.evaluate(
        "[...document.querySelectorAll('label:has(input[type=checkbox]), summary, nav a')]"
        ".map(target => target.getBoundingClientRect()).filter(box => box.width)"
        ".map(box => [box.width, box.height])"
    )
    assert len(sizes) > 20
    assert min(min(size) for size in sizes) >= TOUCH_PX


def test_a_box_is_ticked_by_its_whole_line(opened):
    page = opened("small", PHONE)
    line = page.locator("#jobs label").first
    line.locator("span").tap()
    assert line.locator("input").is_checked()


# Twice the size, and by keyboard


@pytest.mark.parametrize("name", ["small", "full", "odd"])
def test_no_sideways_scroll_at_twice_the_size(opened, name):
    page = opened(name, ZOOMED)
    for _ in range(2):  # as opened, then with every fold open
        wide, room = page.evaluate(
            "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
        assert wide == room == 195
        open_folds(page)


def test_the_first_key_leads_to_the_jobs(opened):
    page = opened("small", DESK)
    skip = page.locator("a.skip")
    assert skip.bounding_box()["y"] < 0
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    assert skip.bounding_box()["y"] >= 0
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('section').id") == "jobs"


def test_focus_is_seen(opened):
    page = opened("small", DESK)
    for _ in range(30):
        page.keyboard.press("Tab")
        width, style = page.evaluate(
            "(look => [look.outlineWidth, look.outlineStyle])"
            "(getComputedStyle(document.activeElement))"
        )
        assert (width, style) == ("3px", "solid")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_a_desk_with_folds_open(opened, scheme):
    page = opened("small", DESK, color_scheme=scheme)
    open_folds(page)
    result = Axe().run(page)
    assert result.violations_count == 0, result.generate_report()
