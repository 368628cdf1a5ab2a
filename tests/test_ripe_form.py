"""The list 'Ripe yet?' of the record page: whom it asks about, and one tap that says so."""

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest

from planner.book import Done, open_book
from planner.history import BOOK
from planner.server.ripening import NEAR, ripening
from tests.servedfarm import Served, document_of, entries_of, forms_of, planned_farm, served

OF_PLAN = "G1"  # on its raft when the plan was made, and still to be cut
SHARED = ("G2", "G2-b")  # one batch that the plan clears in two weeks


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[Served]:
    opened = served(planned_farm(tmp_path / "farm"))
    day = date.fromisoformat(row(opened, OF_PLAN)["ripe"]) - timedelta(days=5)
    set_day(opened, day)
    yield opened
    opened.replan.stop()


def set_day(farm: Served, day: date) -> None:
    farm.clock.now = datetime(day.year, day.month, day.day, 18, tzinfo=UTC)


def today(farm: Served) -> date:
    return farm.clock.now.date()


def row(farm: Served, batch: str):
    return next(b for b in document_of(farm.folder)["batches"] if b["id"] == batch)


def asked(page: str) -> list[str]:
    """Return the batches that the page asks about, in its order."""
    return [unescape(id) for id in re.findall(r'<li data-ripe="([^"]+)"', page)]


def taps(page: str, batch: str) -> list[dict[str, str]]:
    """Return the forms that say of a batch that it is ripe: today's, and another day's."""
    return [f for f in forms_of(page) if (f.get("step"), f.get("batch")) == ("ripe", batch)]


def test_one_tap_enters_that_a_batch_is_ripe_and_it_is_asked_about_no_more(farm):
    page = farm.record_page()
    assert OF_PLAN in asked(page)
    tap = taps(page, OF_PLAN)[0]
    assert farm.post(tap).status == 303
    (entry,) = entries_of(farm.folder)
    assert isinstance(entry, Done)
    assert (entry.step, entry.batch, entry.on) == ("ripe", OF_PLAN, today(farm))
    assert OF_PLAN not in asked(farm.record_page())


def test_ripe_on_another_day_is_of_that_day(farm):
    other = taps(farm.record_page(), OF_PLAN)[1]
    assert other["on"] == today(farm).isoformat()
    day = today(farm) - timedelta(days=2)
    farm.post({**other, "on": day.isoformat(), "note": "firm heads"})
    (entry,) = entries_of(farm.folder)
    assert (entry.step, entry.on, entry.note) == ("ripe", day, "firm heads")


def test_a_day_to_come_is_refused_and_the_batch_is_still_asked_about(farm):
    other = taps(farm.record_page(), OF_PLAN)[1]
    answer = farm.post({**other, "on": (today(farm) + timedelta(days=1)).isoformat()})
    assert answer.status == 422
    again = forms_of(answer.text)[0]
    assert (again["step"], again["batch"]) == ("ripe", OF_PLAN)
    assert OF_PLAN in asked(farm.record_page())
    assert entries_of(farm.folder) == []


def test_a_tap_sent_twice_is_entered_once(farm):
    tap = taps(farm.record_page(), OF_PLAN)[0]
    first, second = farm.post(tap), farm.post(tap)
    assert first.headers["location"] == second.headers["location"]
    assert len(entries_of(farm.folder)) == 1


def test_a_tap_kept_on_the_phone_is_of_the_day_it_was_tapped_on(farm):
    tap, tapped = taps(farm.record_page(), OF_PLAN)[0], today(farm)
    set_day(farm, tapped + timedelta(days=3))
    farm.post({**tap, "tapped_on": tapped.isoformat()})
    assert [entry.on for entry in entries_of(farm.folder)] == [tapped]


def test_the_list_is_folded_and_stays_open_while_one_is_tapped_after_the_other(farm):
    page = farm.record_page()
    assert '<details id="ripe"><summary>' in page
    where = farm.post(taps(page, OF_PLAN)[0]).headers["location"][2:].partition("#")[0]
    assert '<details id="ripe" open><summary>' in farm.ask("/record/{record}/" + where).text
    farm.enter("note", text="the pump hums")
    assert '<details id="ripe"><summary>' in farm.ask("/record/{record}/?entered=2").text


def test_a_batch_taken_back_is_asked_about_again(farm):
    farm.post(taps(farm.record_page(), OF_PLAN)[0])
    farm.enter("void", corrects="1")
    assert OF_PLAN in asked(farm.record_page())


def test_the_line_says_crop_place_and_the_likely_days_of_the_first_cut(farm):
    item = farm.record_page().split(f'data-ripe="{OF_PLAN}"')[1].split("</p>")[0]
    assert "butterhead lettuce, rafts 1: " in item
    assert "first cut likely 22 to 30 Mar" in item


def test_without_a_forecast_the_line_says_the_planned_day(farm):
    document = document_of(farm.folder)
    for batch in document["batches"]:
        batch["first_harvest_p10"] = batch["first_harvest_p90"] = None
    found = {one.batch: one for one in ripening(document, (), (), today(farm))}
    assert found[OF_PLAN].when == "first cut planned Mon 22 Mar"


def test_a_batch_is_asked_about_from_two_weeks_before_to_two_weeks_after(farm):
    batch = row(farm, OF_PLAN)
    ripe, cut = (date.fromisoformat(batch[key]) for key in ("ripe", "first_harvest"))
    for day, is_asked in (
        (ripe - NEAR - timedelta(days=1), False),
        (ripe - NEAR, True),
        (cut + NEAR, True),
        (cut + NEAR + timedelta(days=1), False),
    ):
        set_day(farm, day)
        assert (OF_PLAN in asked(farm.record_page())) is is_asked, day


def test_a_batch_whose_cut_was_put_off_is_asked_about_until_it_is_ripe(farm):
    cut = date.fromisoformat(row(farm, OF_PLAN)["first_harvest"])
    until = cut + 2 * NEAR
    set_day(farm, cut)
    farm.enter(
        "skipped", step="cut", batch=OF_PLAN, planned_on=cut.isoformat(), until=until.isoformat()
    )
    set_day(farm, cut + NEAR + timedelta(days=1))
    page = farm.record_page()
    assert asked(page)[0] == OF_PLAN
    assert "; put off to Mon 19 Apr" in page.split(f'data-ripe="{OF_PLAN}"')[1].split("</p>")[0]
    farm.post(taps(page, OF_PLAN)[0])
    assert OF_PLAN not in asked(farm.record_page())


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        ("harvest", {"amount": "2", "unit": "head"}),
        ("done", {"step": "cut"}),
        ("done", {"step": "clear"}),
        ("loss", {}),
        ("loss", {"parts": "2"}),
    ],
    ids=["harvest", "cut", "cleared", "lost", "all parts lost"],
)
def test_what_was_cut_cleared_or_lost_is_not_asked_about(farm, kind, fields):
    assert farm.enter(kind, batch=OF_PLAN, **fields).status == 303
    assert OF_PLAN not in asked(farm.record_page())


def test_what_lost_a_part_only_is_asked_about(farm):
    farm.enter("loss", batch=OF_PLAN, parts="1")
    assert OF_PLAN in asked(farm.record_page())


def test_no_batch_is_asked_about_that_is_cut_already_or_not_set_out(farm):
    rows = {batch["id"]: batch for batch in document_of(farm.folder)["batches"]}
    for days in range(0, 330, 6):
        set_day(farm, date(2027, 3, 1) + timedelta(days=days))
        for id in asked(farm.record_page()):
            assert rows[id]["state"] != "cutting"
            assert (rows[id]["transplant"] or rows[id]["sow"]) <= today(farm).isoformat()


def test_a_batch_that_was_set_out_later_is_not_asked_about_before(farm):
    planned = next(b for b in document_of(farm.folder)["batches"] if b["state"] == "planned")
    ripe, out = (date.fromisoformat(planned[key]) for key in ("ripe", "transplant"))
    set_day(farm, ripe - timedelta(days=3))
    assert planned["id"] in asked(farm.record_page())
    step = {"step": "set out", "batch": planned["id"], "planned_on": out.isoformat()}
    farm.enter("skipped", **step, on=out.isoformat(), until=(ripe + timedelta(days=2)).isoformat())
    assert planned["id"] not in asked(farm.record_page())
    farm.enter("done", **step)
    assert planned["id"] in asked(farm.record_page())


def test_shares_of_a_batch_are_asked_about_each_but_for_what_the_plan_knew_of_all(farm):
    set_day(farm, date.fromisoformat(row(farm, SHARED[0])["ripe"]))
    page = farm.record_page()
    assert set(SHARED) <= set(asked(page))
    farm.post(taps(page, SHARED[0])[0])
    left = asked(farm.record_page())
    assert SHARED[0] not in left
    assert SHARED[1] in left
    with open_book(farm.folder / BOOK) as book:
        entries = book.entries()
    document = {**document_of(farm.folder), "book_entries": 1}  # the tap came before the split
    found = {one.batch for one in ripening(document, (), entries, today(farm))}
    assert OF_PLAN in found
    assert not found & set(SHARED)


def test_an_old_batch_of_the_same_name_says_nothing_of_this_one(farm):
    before = date.fromisoformat(row(farm, OF_PLAN)["sow"]) - timedelta(days=1)
    farm.enter("done", step="ripe", batch=OF_PLAN, on=before.isoformat())
    assert len(entries_of(farm.folder)) == 1
    assert OF_PLAN in asked(farm.record_page())


def test_what_the_growers_list_calls_ripe_or_cut_is_not_asked_about(farm):
    document = document_of(farm.folder)
    standing = next(r for r in farm.keeper.view().inputs.farm.standing if r.id == OF_PLAN)
    day = today(farm)
    for news, is_asked in (
        ({"ripe": day}, False),
        ({"ripe": day + timedelta(days=4)}, True),  # what the grower expects
        ({"first_cut": day}, False),
        ({"finished": True}, False),
        ({}, True),
    ):
        listed = standing.model_copy(update={"as_of": day, **news})
        found = {one.batch for one in ripening(document, [listed], (), day)}
        assert (OF_PLAN in found) is is_asked, news


def test_without_a_plan_nothing_is_asked(tmp_path):
    folder = planned_farm(tmp_path / "farm")
    (folder / BOOK).unlink()
    page = served(folder).record_page()
    assert "There is no plan yet" in page
    assert "Ripe yet?" not in page
