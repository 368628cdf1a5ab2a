"""The record page in a phone's browser: with scripts, without, and without a connection."""

import re
import socket
import threading
import time
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from planner.book import Done
from tests.servedfarm import NOW, Served, document_of, entries_of, planned_farm, served
from tests.test_page_browser import ARGUMENTS, PHONE, chromium

pytestmark = pytest.mark.browser

PLAIN = {"java_script_enabled": False}
BOTH = pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = chromium()
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield opened
        opened.close()


class House:
    """A farm and its server on a port of this machine, with the test's clock."""

    def __init__(self, folder: Path) -> None:
        self.farm: Served = served(planned_farm(folder))
        listener = socket.socket()
        listener.bind(("127.0.0.1", 0))
        self.where = f"http://127.0.0.1:{listener.getsockname()[1]}"
        self._listener = listener
        config = uvicorn.Config(
            self.farm.app, http="h11", ws="none", lifespan="off", log_level="error"
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [listener]}, daemon=True
        )
        self._thread.start()
        while not self._server.started:
            time.sleep(0.01)

    @property
    def record(self) -> str:
        return f"{self.where}/record/{self.farm.tokens.record}/"

    @property
    def plan(self) -> str:
        return f"{self.where}/plan/{self.farm.tokens.page}/"

    def entries(self) -> list[Any]:
        return entries_of(self.farm.folder)

    def close(self) -> None:
        self._server.should_exit = True
        self._thread.join(10)
        self._listener.close()
        self.farm.replan.stop()


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    opened = House(tmp_path / "farm")
    yield opened
    opened.close()


@pytest.fixture
def phone(browser: Browser, house: House) -> Iterator[Any]:
    contexts: list[BrowserContext] = []

    def opened(address: str, days_ahead: int = 0, **more: Any) -> tuple[Page, list[str]]:
        context = browser.new_context(**PHONE, **more)
        context.clock.set_fixed_time(NOW + timedelta(days=days_ahead))
        contexts.append(context)
        page, said = context.new_page(), []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(address)
        return page, said

    yield opened
    for context in contexts:
        context.close()


@BOTH
def test_a_job_is_done_in_one_tap(house, phone, script):
    page, said = phone(house.record, java_script_enabled=script)
    line = page.locator("#jobs li[data-job^='sow/']").first
    key = line.get_attribute("data-job")
    line.get_by_role("button", name="Done").first.tap()
    expect(page.locator("#said")).to_contain_text("Entered: 1.")
    expect(page.locator(f"#jobs li[data-job='{key}']")).to_have_count(0)
    (entry,) = house.entries()
    assert isinstance(entry, Done)
    assert key == f"sow/{entry.batch}/{entry.planned_on.isoformat()}"
    assert said == []


def nearly_ripe(house: House) -> None:
    """Set the clock to a week before the plan cuts its first batch."""
    days = [b["ripe"] for b in document_of(house.farm.folder)["batches"] if b["id"] == "G1"]
    ripe = date.fromisoformat(days[0])
    house.farm.clock.now = NOW + (ripe - timedelta(days=7) - NOW.date())


@BOTH
def test_a_batch_is_ripe_in_one_tap(house, phone, script):
    nearly_ripe(house)
    days_ahead = (house.farm.clock.now - NOW).days
    page, said = phone(house.record, days_ahead, java_script_enabled=script)
    line = page.locator("#ripe li[data-ripe='G1']")
    expect(line).to_be_hidden()
    page.locator("#ripe > summary").tap()
    line.get_by_role("button", name="Ripe today").tap()
    expect(page.locator("#said")).to_contain_text("G1 seen ripe")
    expect(line).to_have_count(0)
    (entry,) = house.entries()
    assert (entry.step, entry.batch, entry.on) == ("ripe", "G1", house.farm.clock.now.date())
    assert said == []


def test_without_a_connection_ripe_today_is_kept_and_of_that_day(house, phone):
    nearly_ripe(house)
    tapped = house.farm.clock.now
    page, _ = phone(house.record, (tapped - NOW).days)
    page.context.set_offline(True)
    page.locator("#ripe > summary").tap()
    page.locator("#ripe li[data-ripe='G1']").get_by_role("button", name="Ripe today").tap()
    expect(page.locator("#kept")).to_contain_text("1 kept")
    house.farm.clock.now = tapped + timedelta(days=2)
    page.context.set_offline(False)
    expect(page.locator("#kept")).to_be_empty()
    assert [(e.step, e.on) for e in house.entries()] == [("ripe", tapped.date())]


@BOTH
def test_what_is_wrong_is_said_beside_what_was_typed(house, phone, script):
    page, said = phone(house.record, java_script_enabled=script)
    page.locator("#forms summary", has_text="Water test").tap()
    form = page.locator("#forms form.water_test")
    form.get_by_label("pH").fill("68")
    form.get_by_label("Nitrate-N, mg/L", exact=True).fill("41")
    form.get_by_role("button", name="Enter").tap()
    expect(page.locator("#said")).to_contain_text("Not entered")
    again = page.locator("#said form")
    expect(again.get_by_label("Nitrate-N, mg/L", exact=True)).to_have_value("41")
    again.get_by_label("pH").fill("6.8")
    again.get_by_role("button", name="Enter").tap()
    expect(page.locator("#said")).to_contain_text("Entered: 1.")
    (entry,) = house.entries()
    assert (entry.ph, entry.nitrate_n_mg_l) == (6.8, 41)
    assert [text for text in said if "422" not in text] == []


@BOTH
def test_an_entry_is_taken_back(house, phone, script):
    house.farm.enter("note", text="wrong")
    page, _ = phone(house.record, java_script_enabled=script)
    page.locator("#latest").get_by_role("button", name="Take back").tap()
    expect(page.locator("#said")).to_contain_text("entry 1 is taken back")
    expect(page.locator("#latest")).to_contain_text("Nothing is recorded yet")
    assert house.entries() == []


def test_without_a_connection_a_form_is_kept_and_sent_once(house, phone):
    page, _ = phone(house.record)
    page.context.set_offline(True)
    lines = page.locator("#jobs li[data-job^='sow/']")
    lines.first.get_by_role("button", name="Done").first.tap()
    kept = page.locator("#kept")
    expect(kept).to_contain_text("1 kept on this phone, will be sent")
    page.locator("#forms summary", has_text="Note").last.tap()
    page.locator("#forms form.note textarea").fill("the pump hums")
    page.locator("#forms form.note button").tap()
    expect(kept).to_contain_text("2 kept on this phone")
    assert house.entries() == []
    page.context.set_offline(False)
    expect(kept).to_be_empty()
    expect(page.locator("#said")).to_contain_text("Entered: 2.")
    assert [entry.kind for entry in house.entries()] == ["done", "note"]
    page.reload()
    page.wait_for_load_state("networkidle")
    assert len(house.entries()) == 2


def test_what_is_kept_outlives_the_page_and_is_sent_at_its_next_opening(house, phone):
    page, _ = phone(house.record)
    page.context.set_offline(True)
    page.locator("#forms summary", has_text="Note").last.tap()
    page.locator("#forms form.note textarea").fill("kept overnight")
    page.locator("#forms form.note button").tap()
    expect(page.locator("#kept")).to_contain_text("1 kept")
    context = page.context
    page.close()
    context.set_offline(False)
    page = context.new_page()
    page.goto(house.record)
    expect(page.locator("#said")).to_contain_text("kept overnight")
    expect(page.locator("#kept")).to_be_empty()
    assert [entry.text for entry in house.entries()] == ["kept overnight"]


def test_what_is_kept_is_of_the_day_on_which_it_was_tapped(house, phone):
    page, _ = phone(house.record)
    page.context.set_offline(True)
    page.locator("#jobs li[data-job^='sow/']").first.get_by_role("button", name="Done").first.tap()
    expect(page.locator("#kept")).to_contain_text("1 kept")
    house.farm.clock.now = NOW + timedelta(days=2)
    page.context.set_offline(False)
    expect(page.locator("#kept")).to_be_empty()
    assert [entry.on for entry in house.entries()] == [date(2027, 3, 3)]


def test_a_phone_whose_clock_is_ahead_can_record_all_the_same(house, phone):
    page, _ = phone(house.record, days_ahead=1)
    page.locator("#jobs li[data-job^='sow/']").first.get_by_role("button", name="Done").first.tap()
    expect(page.locator("#said")).to_contain_text("Entered: 1.")
    assert [entry.on for entry in house.entries()] == [date(2027, 3, 3)]


def test_an_answer_that_was_lost_is_no_second_entry(house, phone):
    page, _ = phone(house.record)
    lost = []

    def lose(route: Any) -> None:
        if route.request.method == "POST" and not lost:
            lost.append(route.fetch(max_redirects=0).status)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/record/**", lose)
    page.locator("#jobs li[data-job^='sow/']").first.get_by_role("button", name="Done").first.tap()
    expect(page.locator("#kept")).to_contain_text("1 kept")
    assert lost == [303]
    assert len(house.entries()) == 1
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(page.locator("#kept")).to_be_empty()
    assert len(house.entries()) == 1


def test_what_is_refused_when_sent_later_is_not_lost(house, phone):
    page, _ = phone(house.record)
    page.context.set_offline(True)
    page.locator("#forms summary", has_text="Plants lost").tap()
    form = page.locator("#forms form.loss")
    form.get_by_label("Batch").fill("nothing of that name")
    form.get_by_role("button").tap()
    expect(page.locator("#kept")).to_contain_text("1 kept")
    page.context.set_offline(False)
    expect(page.locator("#said")).to_contain_text("Not entered")
    expect(page.locator("#kept")).to_contain_text("1 form was not entered")
    page.reload()
    page.get_by_role("button", name="Show").tap()
    again = page.locator("#said form")
    expect(again.get_by_label("Batch")).to_have_value("nothing of that name")
    again.get_by_label("Batch").fill("G1")
    again.get_by_role("button", name="Enter").tap()
    expect(page.locator("#said")).to_contain_text("Entered: 1.")
    expect(page.locator("#kept")).to_be_empty()
    assert [entry.batch for entry in house.entries()] == ["G1"]


def test_a_new_link_is_asked_for_and_the_form_is_kept(house, phone):
    page, _ = phone(house.record)
    page.evaluate("history.replaceState(null, '', location.pathname.replace(/.{5}\\/$/, 'AAAAA/'))")
    page.locator("#jobs li[data-job^='sow/']").first.get_by_role("button", name="Done").first.tap()
    expect(page.locator("#kept")).to_contain_text("open the newest link")
    assert house.entries() == []
    page.goto(house.record)
    page.get_by_role("button", name="Show").tap()
    expect(page.locator("#said")).to_contain_text("Entered: 1.")
    expect(page.locator("#kept")).to_be_empty()


@BOTH
def test_planning_again_from_the_phone(house, phone, script):
    page, _ = phone(house.record, java_script_enabled=script)
    page.get_by_role("button", name="Plan again").tap()
    expect(page).to_have_url(re.compile("/replan$"))
    expect(page.locator("main")).to_contain_text("The new plan is in force", timeout=15_000)
    page.get_by_role("link", name="Back to the record page").tap()
    expect(page).to_have_url(house.record)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_and_nothing_runs_off_sideways(house, phone, scheme):
    nearly_ripe(house)
    house.farm.enter("weigh", tank="fish tank 2", mean="4000", unit="g")
    faulty = "?entered=1"
    page, said = phone(house.record + faulty, color_scheme=scheme)
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
    result = Axe().run(page)
    assert result.violations_count == 0, result.generate_report()
    wide, room = page.evaluate(
        "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    )
    assert wide == room == 390
    assert said == []


def test_everything_to_tap_is_large_enough(house, phone):
    nearly_ripe(house)
    page, _ = phone(house.record)
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
    small = page.evaluate(
        """[...document.querySelectorAll('button, summary, input, select, textarea, nav a, .box')]
            .filter(one => !['hidden', 'checkbox'].includes(one.type))
            .filter(one => one.checkVisibility())
            .map(one => [one.tagName, one.getBoundingClientRect().height])
            .filter(([, height]) => height < 44)"""
    )
    assert small == []
    tiny = page.evaluate(
        """[...document.querySelectorAll('body *')]
            .filter(one => one.checkVisibility() && one.type !== 'checkbox')
            .map(one => [one.tagName, parseFloat(getComputedStyle(one).fontSize)])
            .filter(([, size]) => size < 14)"""
    )
    assert tiny == []


def test_the_plans_page_works_under_its_policy(house, phone):
    done = next(
        (job.day, line)
        for job in house.farm.keeper.view().jobs
        for line in job.lines
        if line.step == "sow"
    )
    house.farm.enter("done", step="sow", batch=done[1].batch, planned_on=done[0].isoformat())
    page, said = phone(house.plan)
    assert said == []
    key = f"sow/{done[1].batch}/{done[0].isoformat()}"
    expect(page.locator(f"#jobs li[data-job='{key}']")).to_contain_text("✓ done")
    page.get_by_label("Find a place, crop or batch").fill("rafts 1")
    expect(page.locator("#found")).to_contain_text("place")
    page.locator("#recorded summary").tap()
    expect(page.locator("#recorded li")).to_have_count(1)
    assert said == []
    result = Axe().run(page, context="#recorded")
    assert result.violations_count == 0, result.generate_report()
