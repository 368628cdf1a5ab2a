"""Whatever is sent without the secret, or out of shape, changes nothing and learns nothing."""

from collections.abc import Callable
from urllib.parse import quote

import pytest

from planner.book import open_book
from planner.history import BOOK
from planner.server.tokens import new_tokens
from tests.servedfarm import HOST, NOW, Answer, Served, entries_of, planned_farm, served

FORM = "application/x-www-form-urlencoded"
NOTE = {"kind": "note", "key": "k" * 22, "text": "let in"}
SENT = b"kind=note&key=kkkkkkkkkkkkkkkkkkkkkk&text=let+in"


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Served:
    farm = served(planned_farm(tmp_path_factory.mktemp("abuse") / "farm"))
    farm.enter("note", text="the only entry")
    return farm


def plain_404(farm: Served) -> Answer:
    return farm.ask("/")


def nothing_happened(farm: Served, answer: Answer) -> None:
    """Check that the answer holds no secret and the book is as it was."""
    whole = repr(answer.pairs) + answer.body.decode("utf-8", "replace")
    assert farm.tokens.page not in whole
    assert farm.tokens.record not in whole
    assert [entry.text for entry in entries_of(farm.folder)] == ["the only entry"]
    assert not {"set-cookie", "location"} & answer.headers.keys()


WRONG: dict[str, Callable[[str, str], str]] = {
    "none": lambda right, other: "",
    "short": lambda right, other: right[:-1],
    "half": lambda right, other: right[:11],
    "long": lambda right, other: f"{right}A",
    "swapped": lambda right, other: right.swapcase(),
    "upper": lambda right, other: right.upper(),
    "lower": lambda right, other: right.lower(),
    "backwards": lambda right, other: right[::-1],
    "one sign off": lambda right, other: right[:-1] + ("B" if right[-1] == "A" else "A"),
    "the other secret": lambda right, other: other,
    "guess": lambda right, other: "A" * 22,
    "star": lambda right, other: "*",
    "encoded": lambda right, other: "".join(f"%{ord(sign):02X}" for sign in right),
    "one encoded": lambda right, other: f"{right[:-1]}%{ord(right[-1]):02X}",
    "padded": lambda right, other: f"{right}==",
    "space": lambda right, other: f"{right}%20",
    "dot": lambda right, other: f"{right}.",
    "nul": lambda right, other: f"{right}%00",
    "semicolon": lambda right, other: f"{right};a=b",
}


@pytest.mark.parametrize("way", WRONG)
@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "OPTIONS", "DELETE"])
@pytest.mark.parametrize("what", ["feed", "plan", "record"])
def test_a_wrong_secret_always_gets_the_same_404(farm, what, method, way):
    right, other = farm.tokens.page, farm.tokens.record
    if what == "record":
        right, other = other, right
    path = f"/{what}/{WRONG[way](right, other)}/{'all.ics' if what == 'feed' else ''}"
    tag = farm.feed().headers["etag"]
    headers = {"if-none-match": tag, "content-type": FORM, "content-length": str(len(SENT))}
    answer = farm.ask(path, method, headers, SENT)
    plain = plain_404(farm)
    assert (answer.status, answer.pairs) == (404, plain.pairs)
    assert answer.body == (b"" if method == "HEAD" else plain.body)
    assert "etag" not in answer.headers
    nothing_happened(farm, answer)


def test_an_old_secret_is_dead_at_once(tmp_path):
    farm = served(planned_farm(tmp_path / "farm"))
    whole = farm.feed()
    assert whole.status == farm.ask("/record/{record}/").status == 200
    with open_book(farm.folder / BOOK) as book:
        new_tokens(book, farm.folder, NOW)
    for path in ("/feed/{page}/all.ics", "/plan/{page}/", "/record/{record}/"):
        answer = farm.ask(path, headers={"if-none-match": whole.headers["etag"]})
        assert answer.status == 404
        assert answer.pairs == plain_404(farm).pairs


@pytest.mark.parametrize(
    "path",
    [
        "/feed/{page}/../{page}/all.ics", "/feed/./{page}/all.ics", "//feed/{page}/all.ics",
        "/feed//{page}/all.ics", "/feed/{page}//all.ics", "/feed/{page}/all.ics/",
        "/feed/{page}/all%2eics", "/feed/{page}/%61ll.ics", "/%66eed/{page}/all.ics",
        "/feed%2f{page}%2fall.ics", "/feed\\{page}\\all.ics", "/feed/{page}/all.ics%00",
        "/feed/{page}/all.ics\0", "/feed/{page}/..%2f..%2fserve.tokens", "/feed/{page}/ALL.ics",
        "/feed/{page}/../../../../etc/passwd", "/feed/{page}/%2e%2e/%2e%2e/farm.toml",
        "/feed/{page}/all.ics;x", "/feed/{page}/none.ics", "/feed/{page}/", "/feed/{page}",
        "/plan/{page}", "/plan/{page}/plan.html", "/plan/{page}/plan.json", "/plan/{page}/..",
        "/plan/{page}/%2e%2e/book.db", "/plan/{page}/../serve.tokens", "/plan/{page}/tables/x.csv",
        "/record/{record}", "/record/{record}/../", "/record/{record}/page.css.j2",
        "/record/{record}/page.js%00", "/record/{record}/%72eplan", "/record/{page}/",
        "/feed/{record}/all.ics", "/plan/{record}/", "/serve.tokens", "/book.db", "/farm.toml",
        "/robots.txt", "/favicon.ico", "/.git/config", "/static/../serve.tokens", "*", "",
        "http://farm.example/feed/{page}/all.ics", "/FEED/{page}/all.ics",
        "/feed/{page}/\xe9.ics", "/feed/{page}/all.ics\r\nX-Bad: 1", "/feed/{page}/a ll.ics",
    ],
)  # fmt: skip
def test_no_trick_with_paths_leads_anywhere(farm, path):
    answer = farm.ask(path)
    assert (answer.status, answer.pairs) == (404, plain_404(farm).pairs)
    assert answer.body == plain_404(farm).body
    nothing_happened(farm, answer)


HUGE = b"kind=note&key=kkkkkkkkkkkkkkkkkkkkkk&text=" + b"a" * 66_000


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [
        (HUGE, {}, 413),
        (SENT, {"content-length": "70000"}, 413),
        (SENT, {"content-length": "9" * 30}, 413),
        (SENT, {"content-length": "-1"}, 400),
        (SENT, {"content-length": "0x10"}, 400),
        (HUGE, {"content-length": "10"}, 413),
        (SENT, {"content-type": "application/json"}, 415),
        (SENT, {"content-type": "text/plain"}, 415),
        (SENT, {"content-type": "multipart/form-data; boundary=x"}, 415),
        (SENT, {"content-type": ""}, 415),
        (SENT, {"content-type": f"{FORM}; charset=utf-16"}, 415),
        (SENT, {"content-type": f"{FORM}; charset=utf-7"}, 415),
        (SENT, {"content-encoding": "gzip"}, 415),
        (SENT + b"&text=twice", {}, 400),
        (SENT + b"&kind=note", {}, 400),
        (SENT + b"&key=other", {}, 400),
        (SENT + b"&a", {}, 400),
        (SENT + b"&=b", {}, 400),
        (SENT + b"&A=b", {}, 400),
        (SENT + b"&__class__=b", {}, 400),
        (SENT + b"&a%0d%0aX-Bad%3a1=b", {}, 400),
        (SENT + b"&a%00=b", {}, 400),
        (SENT + b"&who=a%00b", {}, 400),
        (SENT + b"&who=%ff%fe", {}, 400),
        (SENT + b"&who=%ed%a0%80", {}, 400),
        (SENT + b"&who=%zz", {}, 400),
        (SENT + b"&who=%", {}, 400),
        (SENT + b"&who=\xff", {}, 400),
        (SENT + "&who=é".encode(), {}, 400),
        (SENT + b"".join(b"&a%d=1" % n for n in range(70)), {}, 400),
        (b"&", {}, 400),
        (b"{}", {}, 400),
        (b"\0" * 100, {}, 400),
    ],
)
@pytest.mark.parametrize("where", ["", "replan"])
def test_a_form_out_of_shape_is_refused(farm, body, headers, status, where):
    given = {"content-type": FORM, "content-length": str(len(body)), **headers}
    answer = farm.ask(f"/record/{{record}}/{where}", "POST", given, body)
    assert answer.status == status
    assert "X-Bad" not in repr(answer.pairs)
    nothing_happened(farm, answer)
    assert not farm.replan.progress().begun


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"kind=note&text=no+key",
        b"kind=note&key=short&text=x",
        b"kind=note&key=" + b"k" * 100 + b"&text=x",
        b"kind=note&key=kkkkkkkkkkkkkkkk%0d%0a&text=x",
        b"kind=nothing&key=kkkkkkkkkkkkkkkkkkkkkk",
        b"kind=&key=kkkkkkkkkkkkkkkkkkkkkk",
        b"key=kkkkkkkkkkkkkkkkkkkkkk&text=x",
    ],
)
def test_a_form_that_the_page_does_not_have_is_refused(farm, body):
    answer = farm.post(body)
    assert answer.status == 400
    nothing_happened(farm, answer)


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": "http://farm.example.evil.example"},
        {"origin": "file://"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "cross-site", "origin": f"http://{HOST}"},
        {"sec-fetch-site": "none", "origin": "https://evil.example"},
    ],
)
@pytest.mark.parametrize("where", ["", "replan"])
def test_a_form_from_elsewhere_is_refused(farm, headers, where):
    answer = farm.post(NOTE, f"/record/{{record}}/{where}", headers)
    assert answer.status == 403
    nothing_happened(farm, answer)
    assert not farm.replan.progress().begun


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "X"])
@pytest.mark.parametrize("where", ["", "replan"])
def test_other_methods_change_nothing(farm, method, where):
    given = {"content-type": FORM, "content-length": str(len(SENT))}
    answer = farm.ask(f"/record/{{record}}/{where}", method, given, SENT)
    assert answer.status == 405
    assert answer.headers["allow"] == "GET, HEAD, POST"
    nothing_happened(farm, answer)


@pytest.mark.parametrize(
    "fields",
    [
        {"kind": "note", "text": ""},
        {"kind": "note", "text": "x", "on": "2999-01-01"},
        {"kind": "note", "text": "x", "secret": "1"},
        {"kind": "note", "text": "x", "number": "1"},
        {"kind": "note", "text": "x\x1b[31m"},
        {"kind": "note", "text": "x" * 5000},
        {"kind": "note", "text": "x", "corrects": "999"},
        {"kind": "void", "corrects": "999"},
        {"kind": "void", "corrects": "1; DROP TABLE entries"},
        {"kind": "void"},
        {"kind": "harvest", "crop": "../../etc", "amount": "nan kg"},
        {"kind": "harvest", "crop": "lettuce_butterhead", "amount": "1e999 kg"},
        {"kind": "harvest", "crop": "lettuce_butterhead", "amount": "-3 kg"},
        {"kind": "done", "step": "sow", "batch": "<script>alert(1)</script>"},
        {"kind": "done", "step": "explode", "batch": "G1"},
        {"kind": "weigh", "tank": "fish tank 1", "mean": "12 parsecs"},
        {"kind": "water_test", "ph": "99"},
        {"kind": "deaths", "tank": "fish tank 1", "count": "1" * 400},
        {"kind": "loss", "batch": "G1", "parts": "0.5"},
    ],
)
def test_an_entry_with_faults_is_shown_again_and_nothing_is_written(farm, fields):
    answer = farm.post({"key": "k" * 22, **fields})
    assert answer.status == 422
    assert "Not entered" in answer.text
    assert "<script>alert" not in answer.text
    nothing_happened(farm, answer)


def test_signs_of_html_and_headers_in_texts_stay_texts(tmp_path):
    farm = served(planned_farm(tmp_path / "farm"))
    bad = "<img src=x onerror=alert(1)>\r\nSet-Cookie: a=b \"'&"
    for kind, field in (("note", "text"), ("note", "who")):
        answer = farm.enter(kind, **{"text": "x", field: bad})
        assert answer.status == 303
        assert "set-cookie" not in answer.headers
    for page in (farm.record_page(), farm.ask("/plan/{page}/").text):
        assert "<img" not in page
        assert "&lt;img src=x" in page
    assert b"\r\nSet-Cookie" not in farm.feed().body


def test_queries_change_nothing_on_page_and_feed(farm):
    for path in ("/feed/{page}/all.ics", "/plan/{page}/"):
        plain = farm.ask(path)
        assert farm.ask(f"{path}?{quote('x=<b>&y=1')}").pairs == plain.pairs
    for query in ("entered=1", "entered=<b>", "back=99", "entered=1&entered=2", "x" * 9000):
        answer = farm.ask(f"/record/{{record}}/?{query}")
        assert answer.status == 200
        assert "<b>&" not in answer.text
        nothing_happened(farm, answer)
