"""The review's page in a browser: on a phone, by a filter, on paper."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, sync_playwright

from planner.review import page as review_page
from tests.reviews import reviewed
from tests.test_page_browser import ARGUMENTS, PHONE, Visit, chromium, open_folds
from tests.test_review_page import odd_page

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = chromium()
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["small", "odd"])
def test_the_review_on_a_phone_and_on_paper(
    browser: Browser, tmp_path: Path, name: str, scheme: str
) -> None:
    file = tmp_path / "review.html"
    file.write_text(review_page(reviewed()) if name == "small" else odd_page(), encoding="utf-8")
    with browser.new_context(**PHONE, color_scheme=scheme) as context:
        seen = Visit(context, file.as_uri())
        for _ in range(2):  # as opened, then with every fold open
            wide, room = seen.page.evaluate(
                "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
            )
            assert wide == room
            open_folds(seen.page)
        assert seen.said == []
        assert {url for url in seen.asked if not url.startswith("data:")} == {file.as_uri()}
        result = Axe().run(seen.page)
        assert result.violations_count == 0, result.generate_report()
        seen.page.reload()
        seen.page.emulate_media(media="print")
        assert seen.page.locator("#water table").is_visible()  # folds are open on paper
        assert seen.page.locator("nav").is_hidden()
        assert seen.page.pdf(prefer_css_page_size=True).startswith(b"%PDF")
