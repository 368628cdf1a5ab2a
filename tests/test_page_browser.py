"""The plan page in a browser: on a phone, with its script off, by a filter, on paper."""

import os
import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from planner.report import page as plan_page
from planner.tasks import dated
from planner.words import spoken
from tests.fullseason import FULL_CROPS, full_season
from tests.plandocs import CROPS, FISH, MADE_ON, small_plan
from tests.test_report import odd_plan

pytestmark = pytest.mark.browser

ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "is_mobile": True,
    "has_touch": True,
}
DESK: dict[str, Any] = {"viewport": {"width": 1366, "height": 900}}


def chromium() -> str:
    """Return the browser's path; without one fail where it is promised, else skip."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        found = shutil.which(name)
        if found:
            return found
    if Path("/usr/bin/chromium").exists():
        return "/usr/bin/chromium"
    reason = "no Chromium on the path; install the system's chromium package"
    if os.environ.get("CI") == "true":
        pytest.fail(reason)
    pytest.skip(reason)


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
    addresses = {}
    for name, document, crops, today in (
        (
            "small",
            small_plan(warnings=("One.", "Two.", "Three.", "Four."), forecast=True),
            CROPS,
            MADE_ON,
        ),
        ("full", full_season(), FULL_CROPS, date(2027, 4, 7)),
        ("odd", odd, odd_crops, MADE_ON),
    ):
        text = plan_page(
            document,
            dated(document, crops=crops, fish=FISH, units="metric"),
            today=today,
            crops=crops,
            fish=FISH,
            cautions=[("Fish", "Mind the spines.")],
            assumptions=["Light is as the climate says."],
        )
        file = folder / f"{name}.html"
        file.write_text(text, encoding="utf-8")
        addresses[name] = file.as_uri()
    return addresses


class Visit:
    """An opened page, what its console said and what it asked for."""

    def __init__(self, context: BrowserContext, address: str) -> None:
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page: Page = context.new_page()
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(address)


@pytest.fixture
def visit(browser: Browser, pages: dict[str, str]) -> Iterator[Any]:
    """Return a function that opens a page by name: `visit("small", PHONE, anchor="#w2027-10")`."""
    contexts = []

    def opened(name: str, device: dict[str, Any], *, anchor: str = "", **more: Any) -> Visit:
        context = browser.new_context(**device, **more)
        contexts.append(context)
        return Visit(context, pages[name] + anchor)

    yield opened
    for context in contexts:
        context.close()


def open_folds(page: Page) -> None:
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")


@pytest.mark.parametrize("name", ["small", "full", "odd"])
@pytest.mark.parametrize("device", [PHONE, DESK], ids=["phone", "desk"])
def test_no_sideways_scroll_no_message_no_request(visit, pages, name, device):
    seen = visit(name, device)
    for _ in range(2):  # as opened, then with every fold open
        wide, room = seen.page.evaluate(
            "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
        assert wide == room
        open_folds(seen.page)
    assert seen.said == []
    assert {url for url in seen.asked if not url.startswith("data:")} == {pages[name]}


@pytest.mark.parametrize(
    ("name", "scheme"), [("small", "light"), ("small", "dark"), ("odd", "light")]
)
def test_axe_finds_nothing_on_a_phone_with_folds_open(visit, name, scheme):
    seen = visit(name, PHONE, color_scheme=scheme)
    open_folds(seen.page)
    result = Axe().run(seen.page)
    assert result.violations_count == 0, result.generate_report()


def test_find_shows_the_place_and_its_neighbours_fade(visit):
    page = visit("full", PHONE).page
    page.get_by_label("Find a place, crop or batch").fill("tower row 7")
    assert page.locator("#found").text_content() == "1 place"
    blocks = page.locator("figure.block:visible")
    assert blocks.count() == 1
    assert blocks.locator("figcaption").text_content().startswith("tower row 1 to ")
    clear = blocks.locator("svg[data-p]").filter(has=page.locator("> text:not(.pale)"))
    assert clear.count() == 1
    zone, _, first = (clear.get_attribute("data-p") or "").rpartition(" ")
    assert zone == "tower row"
    assert int(first) <= 7 <= int(clear.get_attribute("data-to") or first)
    titles = page.locator("figure.block:visible svg.b:not(.pale) title").all_text_contents()
    batches = [b for b in full_season()["batches"] if "tower row 7" in _names(b)]
    end = "2028-01-03"
    assert len(titles) == len([b for b in batches if (b["transplant"] or "") < end]) > 3
    page.get_by_label("Find a place, crop or batch").fill("")
    assert page.locator(".pale").count() == 0
    assert page.locator("details.zone").count() == page.locator("details.zone:visible").count()


def _names(batch: Any) -> list[str]:
    return [place["name"] for place in batch["places"]]


def test_find_takes_a_crop_and_says_when_there_is_none(visit):
    page = visit("small", DESK).page
    box = page.get_by_label("Find a place, crop or batch")
    box.fill("Radish")
    assert page.locator("#found").text_content() == "1 place"
    assert page.locator("svg[data-p]:visible > text:not(.pale)").all_text_contents() == ["3"]
    box.fill("(no such thing")
    assert page.locator("#found").text_content() == "0 places"
    assert page.locator("figure.block:visible").count() == 0


def test_every_bar_has_the_words_of_its_row_as_title(visit):
    page = visit("full", DESK).page
    titles = page.locator("svg.b > title").all_text_contents()
    assert len(titles) == page.locator("svg.b").count() > 700
    batches = {batch["id"]: batch for batch in full_season()["batches"]}
    for title in titles:
        crop, dates, *_, id = title.split(", ")
        assert crop == spoken(FULL_CROPS[batches[id]["crop"]].name)
        clear = date.fromisoformat(batches[id]["clear"])
        assert f" to {clear.day} " in f"{dates} "


def test_places_that_share_a_row_are_found_one_by_one_and_by_what_they_hold(visit):
    page = visit("small", DESK).page
    box = page.get_by_label("Find a place, crop or batch")
    row = page.locator("svg[data-p='tower row 1'][data-to='3']")
    found = page.locator("#found")
    for words, said in (("tower row 2", "1 place"), ("chives", "3 places"), ("B0010", "3 places")):
        box.fill(words)
        assert found.text_content() == said
        assert row.is_visible()
        assert row.locator("> text:not(.pale)").count() == 1
    box.fill("tower row 4")
    assert row.locator("> text:not(.pale)").count() == 0


def test_a_tapped_bar_tells_its_dates(visit):
    page = visit("small", PHONE).page
    tip = page.locator("#tip")
    assert tip.text_content() == ""
    page.locator("svg.b").filter(has_text="B0003").first.tap()
    assert tip.text_content() == "butterhead lettuce, 24 Mar to 26 Apr, cut 22 Apr, B0003"
    page.locator("h1").tap()
    assert tip.text_content() == ""


def test_a_link_to_a_week_opens_its_fold(visit):
    page = visit("small", PHONE, anchor="#w2027-14").page
    assert page.locator("#w2027-14").is_visible()
    assert page.locator("#w2027-15").is_hidden()


@pytest.mark.parametrize("name", ["small", "full"])
def test_with_scripts_off_jobs_and_pictures_are_there(visit, name):
    page = visit(name, PHONE, java_script_enabled=False).page
    week = "#w2027-09" if name == "small" else "#w2027-14"
    assert page.locator(f"{week} li").first.is_visible()
    assert page.locator(f"{week} input[type=checkbox]").count() >= 5
    assert page.locator("svg.b").first.is_visible()
    assert page.locator("#finder").is_hidden()


def test_letters_in_pictures_keep_their_size(visit):
    for device in (PHONE, DESK):
        page = visit("full", device).page
        sizes = page.evaluate(
            "[...new Set([...document.querySelectorAll('svg text')]"
            ".map(text => parseFloat(getComputedStyle(text).fontSize)))]"
        )
        assert min(sizes) >= 9
        heights = page.evaluate(
            "[...document.querySelectorAll('.plot .m')].map(names => names.getBoundingClientRect())"
            ".filter(box => box.width).map(box => box.height)"
        )
        assert len(heights) > 20
        assert min(heights) >= 9


def test_month_names_do_not_overlap_on_a_phone(visit):
    page = visit("full", PHONE).page
    open_folds(page)
    clashes = page.evaluate(
        """(() => {
            const names = [...document.querySelectorAll('#months tspan')];
            const starts = names.map(name => parseFloat(name.getAttribute('x')) / 100);
            const lengths = names.map(name => name.getComputedTextLength());
            return [...document.querySelectorAll('.plot > svg')].flatMap(chart => {
                const width = chart.getBoundingClientRect().width;
                return names.slice(1).filter((name, i) =>
                    starts[i] * width + lengths[i] > starts[i + 1] * width + 0.5);
            }).length + 1000 * lengths.filter(length => length < 10).length;
        })()"""
    )
    assert clashes == 0


def test_each_chart_has_the_months_at_its_own_width(visit):
    for device in (PHONE, DESK):
        page = visit("full", device).page
        open_folds(page)
        shares = page.evaluate(
            """[...document.querySelectorAll('.plot > svg')].map(chart =>
                chart.querySelector('.m').getBoundingClientRect().width
                / chart.getBoundingClientRect().width)"""
        )
        assert len(shares) > 20
        assert all(0.85 < share <= 1.01 for share in shares), shares


def test_reduced_motion_is_kept(visit):
    for motion, behaviour in (("reduce", "auto"), ("no-preference", "smooth")):
        page = visit("small", DESK, reduced_motion=motion).page
        found = page.evaluate("getComputedStyle(document.documentElement).scrollBehavior")
        assert found == behaviour


@pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
def test_paper_has_all_weeks_and_places(visit, script):
    page = visit("full", DESK, java_script_enabled=script).page
    pdf = page.pdf(prefer_css_page_size=True)
    assert pdf.startswith(b"%PDF")
    assert len(pdf) > 200_000
    pages = pdf.count(b"/Type /Page\n") or pdf.count(b"/Type /Page ") or pdf.count(b"/Type /Page/")
    assert pages > 20
    page.emulate_media(media="print")
    assert page.locator("#w2027-50 li").first.is_visible()
    rows = page.locator("svg[data-p^='tower row ']")
    assert rows.count() > 10
    assert rows.last.is_visible()
    assert page.locator("nav").is_hidden()
