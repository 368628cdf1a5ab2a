"""The record page: a job in one tap, every form, once and for all, and the plan anew."""

import json
import re
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest

from planner.book import Done, FishHarvest, Harvest, Note, Skipped, WaterTest, open_book
from planner.history import BOOK
from tests.servedfarm import (
    NOW,
    PLAN_DAY,
    Served,
    document_of,
    entries_of,
    forms_of,
    planned_farm,
    served,
)


@pytest.fixture
def farm(tmp_path: Path) -> Served:
    return served(planned_farm(tmp_path / "farm"))


def form(farm: Served, **wanted: str) -> dict[str, str]:
    """Return the first form of the page that has these values."""
    return next(f for f in forms_of(farm.record_page()) if wanted.items() <= f.items())


def said(farm: Served, answer) -> str:
    """Follow the answer to a form and return what the page says of it."""
    assert answer.status == 303
    where = answer.headers["location"]
    assert where.startswith("./?")
    page = farm.ask("/record/{record}/" + where[2:].partition("#")[0]).text
    return unescape(re.sub(r"<[^>]+>", "", page.split('id="said"')[1].split("</section>")[0]))


def test_the_page_is_never_stored_and_lets_nothing_in(farm):
    answer = farm.ask("/record/{record}/")
    assert answer.status == 200
    assert answer.headers["cache-control"] == "no-store"
    assert "etag" not in answer.headers
    assert answer.headers["referrer-policy"] == "same-origin"
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "style=" not in answer.text
    assert not re.search(r"<script(?! src)", answer.text)


def test_page_holds_this_weeks_jobs_and_no_others(farm):
    page = farm.record_page()
    keys = re.findall(r'<li data-job="([^"]+)"', page)
    days = [date.fromisoformat(key.rsplit("/", 1)[1]) for key in keys]
    assert len(keys) > 5
    assert min(days) >= PLAN_DAY
    assert max(days) <= PLAN_DAY + timedelta(days=6)
    wanted = {
        f"{line.step}/{line.batch}/{job.day.isoformat()}"
        for job in farm.keeper.view().jobs
        for line in job.lines
        if job.day <= PLAN_DAY + timedelta(days=6)
    }
    assert set(map(unescape, keys)) == wanted


def test_one_tap_enters_a_job_as_planned(farm):
    tap = form(farm, kind="done", step="sow")
    told = said(farm, farm.post(tap))
    assert "Entered: 1." in told
    (entry,) = entries_of(farm.folder)
    assert isinstance(entry, Done)
    assert (entry.step, entry.batch) == ("sow", tap["batch"])
    assert entry.planned_on.isoformat() == tap["planned_on"]
    assert entry.on == date(2027, 3, 3)
    page = farm.record_page()
    assert "Done this week: 1" in page
    assert f'data-job="sow/{tap["batch"]}/' not in page


def test_the_day_is_the_farms_and_not_greenwichs(farm):
    farm.clock.now = datetime(2027, 3, 4, 3, 0, tzinfo=UTC)  # still Wednesday in Chicago
    farm.post(form(farm, kind="done", step="sow"))
    assert entries_of(farm.folder)[0].on == date(2027, 3, 3)


def test_a_cut_comes_with_what_was_planned(farm):
    jobs = [(job.day, line) for job in farm.keeper.view().jobs for line in job.lines]
    day, line = next((day, line) for day, line in jobs if line.unit == "head")
    farm.clock.now = datetime(day.year, day.month, day.day, 18, tzinfo=UTC)
    tap = form(farm, kind="harvest", unit="head", batch=line.batch)
    assert float(tap["amount"]) == round(line.number)
    assert "Entered: 1." in said(farm, farm.post({**tap, "amount": "3"}))
    (entry,) = entries_of(farm.folder)
    assert isinstance(entry, Harvest)
    assert entry.kg > 0
    assert (entry.crop, entry.batch, entry.units, entry.unit) == (
        tap["crop"], tap["batch"], 3, "head",
    )  # fmt: skip


def test_a_job_that_was_not_done_stays_open_with_its_new_day(farm):
    skip = form(farm, kind="skipped", step="sow")
    farm.post({**skip, "until": "2027-03-05", "cause": "no trays"})
    (entry,) = entries_of(farm.folder)
    assert isinstance(entry, Skipped)
    assert entry.until == date(2027, 3, 5)
    page = farm.record_page()
    assert f'data-job="sow/{skip["batch"]}/' in page
    assert "not done, now planned Fri 5 Mar" in page


def test_last_weeks_jobs_that_nobody_recorded_are_offered(farm):
    done = form(farm, kind="done", step="sow")
    farm.post(done)
    farm.clock.now += timedelta(days=7)
    page = farm.record_page()
    late = page.split("Last week, not recorded")[1].split('id="forms"')[0]
    assert f"sow/{done['batch']}/" not in late
    cut = next(f for f in forms_of(late) if f.get("kind") == "harvest")
    key = re.findall(r'data-job="(cut/[^"]+)"', late)[0]
    assert cut["on"] == key.rsplit("/", 1)[1]  # so late, the cut is of the planned day
    farm.post(cut)
    assert f'data-job="{key}"' not in farm.record_page()


def test_fish_taken_come_with_what_was_planned(farm):
    document = document_of(farm.folder)
    cohort, taken = next((c, t) for c in document["cohorts"] for t in c["taken"])
    day = date.fromisoformat(taken["date"])
    farm.clock.now = datetime(day.year, day.month, day.day, 18, tzinfo=UTC)
    tap = form(farm, kind="fish_harvest", count=str(taken["count"]))
    assert tap["tank"] == cohort["tank"]
    assert float(tap["amount"]) == pytest.approx(taken["kg"], rel=0.02)
    farm.post(tap)
    (entry,) = entries_of(farm.folder)
    assert isinstance(entry, FishHarvest)
    assert (entry.tank, entry.count) == (cohort["tank"], taken["count"])


def test_weights_come_in_the_growers_units(tmp_path):
    farm = served(planned_farm(tmp_path / "farm"))
    toml = farm.folder / "farm.toml"
    toml.write_text(toml.read_text("utf-8").replace('"metric"', '"us"'), "utf-8")
    farm.enter("water_test", temperature_c="72")
    farm.enter("feed", amount="2", unit="lb")
    water, feed = entries_of(farm.folder)
    assert water.temperature_c == pytest.approx((72 - 32) / 1.8)
    assert feed.kg == pytest.approx(2 * 0.45359237)
    assert form(farm, kind="feed")["unit"] == "lb"
    assert "Temperature, °F" in farm.record_page()


EVERY_FORM = {
    "harvest": {"crop": "basil_genovese", "amount": "0.4", "unit": "kg"},
    "water_test": {"ph": "6.8", "nitrate_as_no3": "177"},
    "weigh": {"tank": "fish tank 2", "mean": "95", "unit": "g", "sampled": "10"},
    "fish_harvest": {"tank": "fish tank 1", "count": "4", "amount": "1.4", "unit": "kg"},
    "deaths": {"tank": "fish tank 2", "count": "1", "cause": "unknown"},
    "feed": {"amount": "300", "unit": "g", "tank": ""},
    "loss": {"batch": "G1", "parts": "1", "cause": "aphids"},
    "delivery": {"line": "A1", "amount": "12", "unit": "head"},
    "note": {"text": "the pump hums"},
}


@pytest.mark.parametrize("kind", EVERY_FORM)
def test_every_form_of_the_page_can_be_sent(farm, kind):
    blank = [f for f in forms_of(farm.record_page()) if f.get("kind") == kind][-1]
    assert EVERY_FORM[kind].keys() <= blank.keys()
    told = said(farm, farm.post({**blank, **EVERY_FORM[kind], "who": "packer"}))
    assert "Entered: 1." in told
    (entry,) = entries_of(farm.folder)
    assert (entry.kind, entry.who, entry.on) == (kind, "packer", date(2027, 3, 3))
    if isinstance(entry, WaterTest):
        assert entry.nitrate_n_mg_l == pytest.approx(40, abs=0.1)


def test_there_is_a_form_for_every_kind_a_grower_begins_with(farm):
    kinds = [f.get("kind") for f in forms_of(farm.record_page().split('id="forms"')[1])]
    assert set(EVERY_FORM) <= set(kinds)


def test_faults_are_all_told_and_what_was_typed_stays(farm):
    sent = {
        "kind": "deaths", "key": "k" * 22, "tank": "fish tank 2", "count": "none", "on": "soon",
        "cause": '"cold" <water>', "who": "packer",
    }  # fmt: skip
    answer = farm.post(sent)
    assert answer.status == 422
    assert (
        answer.text.count("<li", answer.text.index("Not entered"), answer.text.index("<h2>")) >= 2
    )
    again = forms_of(answer.text)[0]
    assert {k: v for k, v in again.items() if k != "key"} == {
        k: v for k, v in {**sent, "note": ""}.items() if k != "key"
    }
    assert again["key"] != sent["key"]
    assert farm.post({**again, "count": "2", "on": ""}).status == 303
    assert entries_of(farm.folder)[0].cause == '"cold" <water>'


def test_a_doubt_is_shown_and_does_not_refuse(farm):
    told = said(farm, farm.enter("weigh", tank="fish tank 2", mean="4000", unit="g"))
    assert "Look at this twice" in told
    assert len(entries_of(farm.folder)) == 1


def test_a_form_sent_twice_is_entered_once(farm):
    tap = form(farm, kind="done", step="sow")
    first, second = farm.post(tap), farm.post(tap)
    assert first.headers["location"] == second.headers["location"]
    assert len(entries_of(farm.folder)) == 1


def test_a_form_sent_many_times_at_once_is_entered_once(farm):
    tap = form(farm, kind="note")
    together = threading.Barrier(6)

    def send(_: int) -> int:
        together.wait(10)
        return farm.post({**tap, "text": "once"}).status

    with ThreadPoolExecutor(6) as pool:
        assert set(pool.map(send, range(6))) == {303}
    assert [entry.text for entry in entries_of(farm.folder)] == ["once"]


def test_a_form_gone_back_to_and_changed_is_a_new_entry(farm):
    tap = form(farm, kind="note")
    farm.post({**tap, "text": "first"})
    farm.post({**tap, "text": "second"})
    assert [entry.text for entry in entries_of(farm.folder)] == ["first", "second"]


def test_an_entry_can_be_taken_back_once(farm):
    farm.enter("note", text="wrong")
    back = form(farm, kind="void", corrects="1")
    assert "entry 1 is taken back" in said(farm, farm.post(back))
    assert entries_of(farm.folder) == []
    assert "Nothing is recorded yet" in farm.record_page()
    again = farm.post({**back, "key": "z" * 22})
    assert again.status == 422
    assert "taken away" in again.text


def test_the_latest_entries_come_first(farm):
    for number in range(20):
        farm.enter("note", text=f"note {number}")
    latest = farm.record_page().split('id="latest"')[1]
    found = [int(text) for text in re.findall(r"note (\d+)</p>", latest)]
    assert found == list(range(19, 4, -1))


def test_a_full_book_is_told_and_nothing_is_lost(farm, monkeypatch):
    farm.enter("note", text="before")
    (farm.folder / BOOK).rename(farm.folder / "elsewhere")
    answer = farm.enter("note", text="during")
    assert answer.status == 503
    assert answer.headers["retry-after"]
    (farm.folder / "elsewhere").rename(farm.folder / BOOK)
    farm.enter("note", text="after")
    assert [entry.text for entry in entries_of(farm.folder)] == ["before", "after"]


def test_marks_are_of_the_plan_in_force(farm):
    farm.post(form(farm, kind="done", step="sow"))
    assert "Recorded since this plan" in farm.ask("/plan/{page}/").text
    document = {**document_of(farm.folder), "book_entries": 1}
    with open_book(farm.folder / BOOK) as book:
        book.keep_plan(json.dumps(document), made_on=PLAN_DAY, now=NOW, ledger=book.ledger())
    assert "Recorded since this plan" not in farm.ask("/plan/{page}/").text
    assert [entry.kind for entry in entries_of(farm.folder)] == ["done"]


# Planning again

SLOWLY = "import time, sys; print('round 1', flush=True); time.sleep(60)"


def until(check, seconds: float = 15.0) -> None:
    ends = time.monotonic() + seconds
    while not check():
        assert time.monotonic() < ends, "it did not come to that"
        time.sleep(0.02)


def test_planning_again_shows_how_it_goes_and_ends(tmp_path):
    say = "import sys; print('value 12'); print('<done>', file=sys.stderr)"
    farm = served(planned_farm(tmp_path / "farm"), command=(sys.executable, "-c", say))
    assert "No planning was begun" in farm.ask("/record/{record}/replan").text
    answer = farm.post({}, "/record/{record}/replan")
    assert (answer.status, answer.headers["location"]) == (303, "replan")
    until(lambda: not farm.replan.progress().running)
    page = farm.ask("/record/{record}/replan")
    assert page.status == 200
    assert page.headers["cache-control"] == "no-store"
    assert "The new plan is in force" in page.text
    assert "value 12" in page.text
    assert "&lt;done&gt;" in page.text
    assert "refresh" not in page.text


def test_a_planning_that_fails_says_why_and_the_plan_stays(tmp_path):
    say = "import sys; print('orders.csv row 2: ...', file=sys.stderr); sys.exit(1)"
    farm = served(planned_farm(tmp_path / "farm"), command=(sys.executable, "-c", say))
    before = farm.ask("/plan/{page}/").body
    farm.post({}, "/record/{record}/replan")
    until(lambda: not farm.replan.progress().running)
    page = farm.ask("/record/{record}/replan").text
    assert "No new plan was made" in page
    assert "orders.csv row 2" in page
    assert farm.ask("/plan/{page}/").body == before


def test_one_planning_at_a_time_and_none_left_behind(tmp_path):
    farm = served(planned_farm(tmp_path / "farm"), command=(sys.executable, "-c", SLOWLY))
    for _ in range(3):
        assert farm.post({}, "/record/{record}/replan").status == 303
    until(lambda: farm.replan.progress().lines == ("round 1",))
    page = farm.ask("/record/{record}/replan").text
    assert '<meta http-equiv="refresh" content="3">' in page
    assert page.count("round 1") == 1
    assert farm.ask("/plan/{page}/").status == 200
    farm.replan.stop()
    assert not farm.replan.progress().running
    assert not farm.replan.start()


def test_a_command_that_cannot_be_started_is_told(tmp_path):
    farm = served(planned_farm(tmp_path / "farm"), command=(str(tmp_path / "nothing"),))
    assert farm.post({}, "/record/{record}/replan").status == 303
    assert "cannot be started" in farm.ask("/record/{record}/replan").text


def test_other_programs_entries_are_seen(farm):
    with open_book(farm.folder / BOOK) as book:
        book.record([Note(on=NOW.date(), text="from the terminal")], now=NOW)
    assert "from the terminal" in farm.record_page()
