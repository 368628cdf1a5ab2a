"""How page and calendars are served: what a client may rely on."""

import os
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime, parsedate_to_datetime
from html import unescape
from pathlib import Path

import pytest
from icalendar import Calendar
from starlette.datastructures import Headers

from planner.book import Note, open_book
from planner.history import BOOK
from planner.server.conditional import Shelf, etag_of
from planner.server.doors import doors, same_origin
from planner.server.planpage import with_records
from planner.server.policy import policy_of
from tests.servedfarm import HOST, NOW, Clock, Served, planned_farm, served

ALWAYS = {
    "referrer-policy": "no-referrer",
    "x-robots-tag": "noindex",
    "x-content-type-options": "nosniff",
}


@pytest.fixture
def farm(tmp_path: Path) -> Served:
    return served(planned_farm(tmp_path / "farm"))


def settle(folder: Path) -> None:
    """Let the files be old enough that a change could not go unseen."""
    before = (datetime.now(UTC) - timedelta(minutes=5)).timestamp()
    for path in folder.rglob("*"):
        os.utime(path, (before, before))


def titles(octets: bytes) -> list[str]:
    return [str(event["SUMMARY"]) for event in Calendar.from_ical(octets).walk("VEVENT")]


@pytest.mark.parametrize("accept", [None, "text/calendar, */*;q=0.9", "text/html", "image/png"])
@pytest.mark.parametrize("agent", [None, "Google-Calendar-Importer", "iOS/19 dataaccessd/1.0"])
def test_a_feed_is_a_calendar_for_any_client(farm, accept, agent):
    asked = {"accept": accept, "user-agent": agent, "accept-encoding": "gzip, br"}
    given = {name: value for name, value in asked.items() if value is not None}
    answer = farm.ask("/feed/{page}/all.ics", headers=given)
    assert answer.status == 200
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    assert answer.headers["cache-control"] == "private, no-cache"
    assert ALWAYS.items() <= answer.headers.items()
    assert not {"set-cookie", "content-encoding", "location", "vary"} & answer.headers.keys()
    assert answer.headers["content-length"] == str(len(answer.body))
    assert len(titles(answer.body)) > 50


def test_head_says_what_get_says_without_the_body(farm):
    for path in ("/feed/{page}/all.ics", "/plan/{page}/", "/feed/wrong/all.ics", "/"):
        get, head = farm.ask(path), farm.ask(path, "HEAD")
        assert (head.status, head.pairs) == (get.status, get.pairs)
        assert head.body == b""
        assert get.body != b""


def test_there_is_a_feed_for_all_each_kind_and_each_person(farm):
    everything = titles(farm.feed().body)
    for name in ("sow", "set-out", "cut", "clear", "fish", "water", "packer"):
        answer = farm.feed(f"{name}.ics")
        assert answer.status == 200
        assert 0 < len(titles(answer.body)) < len(everything)
    packed = titles(farm.feed("packer.ics").body)
    assert sorted(packed) == sorted(
        titles(farm.feed("cut.ics").body) + titles(farm.feed("clear.ics").body)
    )


@pytest.mark.parametrize(
    ("tags", "status"),
    [
        ("{tag}", 304),
        ("W/{tag}", 304),
        ('"other", {tag}', 304),
        ('W/"a,b" ,, W/{tag},', 304),
        ("*", 304),
        ('"other"', 200),
        ("{bare}", 200),
        ("w/{tag}", 200),
        ("{tag} junk", 200),
        ("", 200),
        ('"' + " ," * 4000, 200),
    ],
)
def test_if_none_match_is_compared_weakly(farm, tags, status):
    tag = farm.feed().headers["etag"]
    assert tag.startswith('"')
    given = tags.format(tag=tag, bare=tag.strip('"'))
    answer = farm.ask("/feed/{page}/all.ics", headers={"if-none-match": given})
    assert answer.status == status


def test_tags_on_several_lines_are_one_list(farm):
    tag = farm.feed().headers["etag"]
    lines = [("if-none-match", '"other"'), ("if-none-match", tag)]
    assert farm.ask("/feed/{page}/all.ics", headers=lines).status == 304


def test_304_has_the_headers_of_200_and_no_body(farm):
    whole = farm.feed()
    for method in ("GET", "HEAD"):
        answer = farm.ask("/feed/{page}/all.ics", method, {"if-none-match": whole.headers["etag"]})
        assert answer.status == 304
        assert answer.body == b""
        same = ("etag", "last-modified", "cache-control", *ALWAYS)
        assert {name: answer.headers[name] for name in same} == {
            name: whole.headers[name] for name in same
        }
        assert not {"content-length", "content-type"} & answer.headers.keys()


def test_if_modified_since_in_every_form_of_a_date(farm):
    told = farm.feed().headers["last-modified"]
    when = parsedate_to_datetime(told)
    rfc850 = when.strftime("%A, %d-%b-%y %H:%M:%S GMT")
    asctime = when.strftime("%a %b %e %H:%M:%S %Y")
    earlier = format_datetime(when - timedelta(seconds=1), usegmt=True)
    later = format_datetime(when + timedelta(days=1), usegmt=True)
    for since, status in (
        (told, 304), (rfc850, 304), (asctime, 304), (later, 304), (earlier, 200),
        ("yesterday", 200), (when.isoformat(), 200), ("", 200),
    ):  # fmt: skip
        answer = farm.ask("/feed/{page}/all.ics", headers={"if-modified-since": since})
        assert answer.status == status, since


def test_if_none_match_outranks_if_modified_since(farm):
    whole = farm.feed()
    for tag, status in (('"other"', 200), ("not a tag", 200), (whole.headers["etag"], 304)):
        long_ago = "Mon, 01 Jan 2001 00:00:00 GMT"
        since = whole.headers["last-modified"] if status == 200 else long_ago
        given = {"if-none-match": tag, "if-modified-since": since}
        assert farm.ask("/feed/{page}/all.ics", headers=given).status == status


def test_the_tag_follows_the_octets_and_the_time_goes_on(farm):
    before = farm.feed()
    assert farm.feed().pairs == before.pairs
    line = open_line(farm, "sow")
    farm.enter("done", step="sow", batch=line["batch"], planned_on=line["planned_on"])
    after = farm.feed()
    assert after.body != before.body
    assert after.headers["etag"] != before.headers["etag"]
    assert parsedate_to_datetime(after.headers["last-modified"]) > parsedate_to_datetime(
        before.headers["last-modified"]
    )
    stale = {"if-modified-since": before.headers["last-modified"]}
    assert farm.ask("/feed/{page}/all.ics", headers=stale).status == 200


def open_line(farm: Served, step: str) -> dict[str, str]:
    """Return the first planned job of a step, this week or later."""
    keys = ((job.day, line) for job in farm.keeper.view().jobs for line in job.lines)
    day, line = next((day, line) for day, line in keys if line.step == step)
    return {"batch": line.batch, "planned_on": day.isoformat()}


def test_two_changes_within_a_second_have_two_times():
    shelf = Shelf()
    first, again, second = (shelf.put("a", octets, NOW) for octets in (b"1", b"1", b"2"))
    assert first is again
    assert second.modified > first.modified
    assert second.etag == etag_of(b"2") != first.etag


def test_a_restart_changes_neither_octets_nor_tag_nor_time(farm):
    line = open_line(farm, "sow")
    farm.enter("done", step="sow", batch=line["batch"], planned_on=line["planned_on"])
    before = farm.feed()
    other = served(farm.folder, clock=Clock(NOW + timedelta(hours=5)))
    after = other.feed()
    assert after.body == before.body
    assert after.pairs == before.pairs
    assert farm.feed().status == 404  # the secret is new


@pytest.mark.parametrize(
    "method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "PROPFIND"]
)
@pytest.mark.parametrize(
    "path", ["/feed/{page}/all.ics", "/plan/{page}/", "/record/{record}/page.js"]
)
def test_other_methods_are_told_which_there_are(farm, path, method):
    answer = farm.ask(path, method)
    assert answer.status == 405
    assert answer.headers["allow"] == "GET, HEAD"


def test_the_last_good_is_served_while_the_folder_is_away(farm):
    before = [farm.feed(), farm.ask("/plan/{page}/")]
    away = farm.folder.with_name("away")
    farm.folder.rename(away)
    during = [farm.feed(), farm.ask("/plan/{page}/")]
    assert [a.body for a in during] == [a.body for a in before]
    assert [a.status for a in during] == [200, 200]
    assert farm.ask("/feed/{record}/all.ics").status == 404
    assert farm.enter("note", text="while away").status == 503
    away.rename(farm.folder)
    assert [farm.feed().body, farm.ask("/plan/{page}/").body] == [a.body for a in before]
    assert farm.enter("note", text="back").status == 303


def test_the_last_good_is_served_while_another_program_holds_the_book(farm):
    before = farm.feed()
    with closing(sqlite3.connect(farm.folder / BOOK, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        os.utime(farm.folder / BOOK)
        assert farm.feed().body == before.body
        assert farm.ask("/plan/{page}/").status == 200
        other.execute("ROLLBACK")
    assert farm.enter("note", text="after").status == 303
    assert "after" in farm.record_page()


def test_an_entry_that_changes_no_job_makes_no_calendar_anew(farm, monkeypatch):
    before = farm.feed()
    monkeypatch.setattr("planner.server.keeper.feeds", None)
    farm.enter("note", text="the pump hums")
    assert farm.feed().pairs == before.pairs


def test_half_a_page_is_never_served(farm):
    before = farm.ask("/plan/{page}/")
    page = farm.folder / "plan" / "plan.html"
    page.write_text(page.read_text("utf-8")[:5000], "utf-8")
    assert farm.ask("/plan/{page}/").body == before.body
    shutil.rmtree(farm.folder / "plan")
    assert farm.ask("/plan/{page}/").body == before.body


def test_a_fault_in_the_farms_files_leaves_what_was_and_is_reported_once(farm):
    before = farm.feed()
    toml = farm.folder / "farm.toml"
    good = toml.read_text("utf-8")
    toml.write_text("name = ", "utf-8")
    for _ in range(3):
        assert farm.feed().body == before.body
    settle(farm.folder)
    assert farm.feed().body == before.body
    assert any("farm.toml" in report for report in farm.reports)
    toml.write_text(good.replace("Small farm", "Other farm"), "utf-8")
    assert b"X-WR-CALNAME:Other farm" in farm.feed().body


def test_without_a_plan_nothing_empty_is_served(tmp_path):
    folder = planned_farm(tmp_path / "farm")
    shutil.rmtree(folder / "plan")
    (folder / BOOK).unlink()
    farm = served(folder)
    for path in ("/feed/{page}/all.ics", "/plan/{page}/"):
        answer = farm.ask(path)
        assert answer.status == 503
        assert "etag" not in answer.headers
    assert "There is no plan yet" in farm.record_page()
    assert farm.enter("note", text="before the first plan").status == 303


def test_nothing_is_read_anew_while_nothing_changed(farm, monkeypatch):
    settle(farm.folder)
    first = farm.feed()
    opened = []
    book = farm.keeper.book
    monkeypatch.setattr(farm.keeper, "book", lambda *wait: opened.append(1) or book(*wait))
    for _ in range(5):
        assert farm.feed().body == first.body
        assert farm.ask("/plan/{page}/").status == 200
    assert len(opened) <= 2
    with open_book(farm.folder / BOOK) as other:
        other.record([Note(on=NOW.date(), text="by another program")], now=NOW)
    assert "by another program" in farm.ask("/plan/{page}/").text


# The page


def test_the_page_has_a_policy_of_its_own_hashes_only(farm):
    answer = farm.ask("/plan/{page}/")
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    policy = dict(
        part.split(" ", 1) for part in answer.headers["content-security-policy"].split("; ")
    )
    assert policy["default-src"] == "'none'"
    assert policy["script-src"].startswith("'sha256-")
    assert "unsafe-inline" not in answer.headers["content-security-policy"]
    assert answer.body == (farm.folder / "plan" / "plan.html").read_bytes()


def test_a_policy_changes_with_each_inline_text():
    page = "<style>a{}</style><p style='color:red'>x</p><script>1</script>"
    policies = {
        policy_of(page),
        policy_of(page.replace("a{}", "b{}")),
        policy_of(page.replace("red", "blue")),
        policy_of(page.replace(">1<", ">2<")),
    }
    assert len(policies) == 4
    assert "script-src 'none'" in policy_of("<p>x</p>")
    assert "style-src 'none'" in policy_of("<p>x</p>")


def test_the_page_shows_what_was_recorded_since(farm):
    before = farm.ask("/plan/{page}/")
    assert "Recorded since this plan" not in before.text
    line = open_line(farm, "sow")
    farm.enter("done", step="sow", batch=line["batch"], planned_on=line["planned_on"])
    farm.enter("note", text="<b>&quot; pumps & hums")
    after = farm.ask("/plan/{page}/")
    assert "Recorded since this plan <small>2</small>" in after.text
    assert "&lt;b&gt;&amp;quot; pumps &amp; hums" in after.text
    assert after.headers["etag"] != before.headers["etag"]
    key = f"sow/{line['batch']}/{line['planned_on']}"
    assert f'data-job="{key}"><b>✓ done' in unescape(after.text)


def test_marks_go_to_their_lines_alone():
    page = '<main><li data-job="sow/a&amp;&#34;b/1"><i>x</i><li class=c data-job=cut/c/2>y</main>'
    marked = with_records(page, {'sow/a&"b/1': "✓ done <3", "cut/other/2": "no"}, [])
    assert marked == page.replace('b/1">', 'b/1"><b>✓ done &lt;3</b> ')
    both = with_records(page, {"cut/c/2": "not done"}, ["an entry"])
    assert "data-job=cut/c/2><b>not done</b> y" in both
    assert both.index("<main>") < both.index("an entry") < both.index("<li class=c")


# Who may call


@pytest.mark.parametrize(
    ("host", "named", "opens"),
    [
        ("127.0.0.1", "127.0.0.1:8765", True),
        ("127.0.0.1", "LOCALHOST", True),
        ("127.0.0.1", "[::1]:8765", True),
        ("127.0.0.1", "farm.example", True),
        ("127.0.0.1", "farm.example.:443", True),
        ("127.0.0.1", "192.168.1.5:8765", False),
        ("127.0.0.1", "evil.example", False),
        ("127.0.0.1", "farm.example.evil", False),
        ("127.0.0.1", "farm.example@evil", False),
        ("127.0.0.1", "farm.example:80:80", False),
        ("127.0.0.1", "", False),
        ("0.0.0.0", "192.168.1.5:8765", True),
        ("0.0.0.0", "[fe80::1]", True),
        ("0.0.0.0", "evil.example", False),
        ("::", "192.168.1.5", True),
        ("192.168.1.5", "192.168.1.5:8765", True),
        ("192.168.1.5", "192.168.1.6:8765", False),
    ],
)
def test_the_server_answers_to_its_own_names(host, named, opens):
    assert doors(host, ["Farm.Example"]).opens(Headers({"host": named})) is opens


def test_a_wrong_or_missing_or_second_host_is_not_found(farm):
    for hosts in ([], ["evil.example"], [HOST, HOST], [HOST, "evil.example"]):
        pairs = [("host", name) for name in hosts]
        assert farm.ask("/feed/{page}/all.ics", headers=pairs, host=None).status == 404


@pytest.mark.parametrize(
    ("headers", "own"),
    [
        ({}, True),
        ({"origin": f"http://{HOST}"}, True),
        ({"origin": f"https://{HOST}", "sec-fetch-site": "same-origin"}, True),
        ({"sec-fetch-site": "none"}, True),
        ({"origin": "null"}, False),
        ({"origin": "http://evil.example"}, False),
        ({"origin": f"http://{HOST}.evil.example"}, False),
        ({"origin": f"http://{HOST}:81"}, False),
        ({"origin": ""}, False),
        ({"sec-fetch-site": "cross-site"}, False),
        ({"sec-fetch-site": "same-site", "origin": f"http://{HOST}"}, False),
        ({"sec-fetch-site": "same-origin", "origin": "http://evil.example"}, False),
    ],
)
def test_forms_come_from_own_pages_or_from_no_browser(headers, own):
    assert same_origin(Headers({"host": HOST, **headers})) is own
