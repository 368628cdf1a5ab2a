"""`sowstock serve` as a process: links, secrets, signals, TLS, what it survives."""

import asyncio
import json
import os
import re
import signal
import socket
import ssl
import stat
import subprocess
import threading
import time
from contextlib import contextmanager, suppress
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import httpx
import pytest
import uvicorn

from planner.book import open_book
from planner.history import BOOK
from planner.server import answers
from planner.server.patience import PatientProtocol
from tests.servedfarm import ROOT, SERVE, entries_of, planned_farm, serving

LINK = r"http://127\.0\.0\.1:\d+/(plan|record|feed)/[A-Za-z0-9_-]{22}/"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return planned_farm(tmp_path / "farm")


def note(text: str, key: str) -> dict[str, str]:
    return {"kind": "note", "key": key, "text": text}


def log_of(folder: Path) -> str:
    return (folder.parent / "serve.log").read_text()


def test_links_are_shown_and_work_and_the_feed_line_stands_alone(folder):
    with serving(folder) as server:
        assert re.fullmatch(LINK, server.link("page"))
        assert re.fullmatch(LINK, server.link("record"))
        assert re.fullmatch(LINK + r"all\.ics", server.link("feed"))
        assert server.link("subscribe") == server.link("feed").replace("http:", "webcal:")
        assert any(set("█▀▄ \xa0") >= set(line) and len(line) > 20 for line in server.lines)
        feed = httpx.get(server.link("feed"))
        assert feed.status_code == 200
        assert feed.content.startswith(b"BEGIN:VCALENDAR\r\n")
        assert feed.content.endswith(b"END:VCALENDAR\r\n")
        assert "server" not in feed.headers
        assert httpx.get(server.link("page")).status_code == 200
        assert httpx.get(server.link("record")).status_code == 200


def test_secrets_are_kept_for_their_owner_alone_and_only_hashed_in_the_book(folder):
    with serving(folder) as server:
        secret = urlsplit(server.link("page")).path.split("/")[2]
        other = urlsplit(server.link("record")).path.split("/")[2]
        file = folder / "serve.tokens"
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
        assert json.loads(file.read_text()) == {"page": secret, "record": other}
        assert server.stop() == 0
    assert secret != other
    for path in folder.glob("book.db*"):
        assert secret.encode() not in path.read_bytes()
        assert other.encode() not in path.read_bytes()


def test_a_later_start_keeps_the_links_and_a_new_token_ends_them(folder):
    with serving(folder) as server:
        first = urlsplit(server.link("feed")).path
    with serving(folder) as server:
        assert urlsplit(server.link("feed")).path == first
        assert not any("█" in line for line in server.lines)
        with serving(folder, "--new-token") as newer:
            second = urlsplit(newer.link("feed")).path
            assert second != first
            for running in (server, newer):
                where = f"http://127.0.0.1:{running.port}"
                assert httpx.get(where + first).status_code == 404
                assert httpx.get(where + second).status_code == 200


def test_when_the_secrets_are_lost_it_says_so_and_serves_on(folder):
    with serving(folder) as server:
        link = urlsplit(server.link("feed")).path
    (folder / "serve.tokens").unlink()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [*SERVE, str(folder), "--port", str(port)]
    with subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stderr is not None
            assert "--new-token" in process.stderr.readline()
            assert httpx.get(f"http://127.0.0.1:{port}{link}").status_code == 200
        finally:
            process.terminate()
            said, _ = process.communicate(timeout=20)
    assert "feed:" not in said


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_it_in_order(folder, number):
    with serving(folder) as server, httpx.Client() as kept_alive:
        assert kept_alive.get(server.link("feed")).status_code == 200
        began = time.monotonic()
        assert server.stop(number) == 0
        assert time.monotonic() - began < 10
    assert "Traceback" not in log_of(folder)
    assert not (folder / f"{BOOK}-wal").exists()


def test_ending_leaves_no_planning_behind(folder):
    with serving(folder) as server:
        record = server.link("record")
        answer = httpx.post(record + "replan", data={"a": "b"}, follow_redirects=False)
        assert (answer.status_code, answer.headers["location"]) == (303, "replan")
        assert "Planning." in httpx.get(record + "replan").text
        child = children_of(server.process.pid)
        assert len(child) == 1
        assert server.stop() == 0
        assert not os.path.exists(f"/proc/{child[0]}") or os.name != "posix"


def children_of(pid: int) -> list[int]:
    tasks = Path(f"/proc/{pid}/task")
    return [
        int(child) for task in tasks.iterdir() for child in (task / "children").read_text().split()
    ]


def test_no_secret_is_ever_logged(folder):
    with serving(folder) as server:
        feed, record = server.link("feed"), server.link("record")
        for link in (feed, record, feed + "x", record + "page.js"):
            httpx.get(link, headers={"referer": record})
        httpx.post(record, data=note("x", "k" * 22))
        httpx.post(record, data={"kind": "x"})
        with socket.create_connection(("127.0.0.1", server.port)) as raw:
            raw.sendall(f"GET {urlsplit(feed).path} HTTP/9.9\r\nbad\x00header\r\n\r\n".encode())
            assert b"400" in raw.recv(1000)
        server.stop()
        said = log_of(folder) + "\n".join(server.lines[server.lines.index(f"feed: {feed}") + 1 :])
    for link in (feed, record):
        assert urlsplit(link).path.split("/")[2] not in said


@pytest.mark.parametrize(
    "request_",
    [
        b"GET /%s HTTP/1.1\r\n\r\n",
        b"GET %s HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        b"POST %s HTTP/1.1\r\nHost: a\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nabcde",
        b"POST %s HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: gzip\r\n\r\n",
        b"GET %s HTTP/1.1\r\nHost: 127.0.0.1\r\nX: " + b"a" * 600_000 + b"\r\n\r\n",
        b"GET /" + b"a" * 600_000 + b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
        b"GET %s HTTP/1.1\r\nHost: 127.0.0.1\r\n folded: x\r\n\r\n",
        b"GET %s\x00 HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
        b"GET %s HTTP/1.1\r\nHost: 127.0.0.1\r\nX: a\x00b\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"GET %s/../all.ics HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
        b"CONNECT evil.example:443 HTTP/1.1\r\nHost: evil.example:443\r\n\r\n",
    ],
)
def test_broken_requests_get_an_error_and_nothing_else(served_raw, request_):
    port, path, folder = served_raw
    with socket.create_connection(("127.0.0.1", port), timeout=10) as raw:
        said = b""
        with suppress(OSError):  # the server may hang up before all is sent
            raw.sendall(request_.replace(b"%s", path.encode()))
            raw.shutdown(socket.SHUT_WR)
        with suppress(ConnectionError):
            while more := raw.recv(65536):
                said += more
    status = said.split(b" ", 2)[1:2]
    assert status in ([b"400"], [b"404"], [])
    assert b"VCALENDAR" not in said
    assert path.split("/")[2].encode() not in said
    assert httpx.get(f"http://127.0.0.1:{port}{path}").status_code == 200
    assert entries_of(folder) == []


@pytest.fixture(scope="module")
def served_raw(tmp_path_factory):
    folder = planned_farm(tmp_path_factory.mktemp("raw") / "farm")
    with serving(folder) as server:
        yield server.port, urlsplit(server.link("feed")).path, folder


def test_a_kill_during_posts_loses_no_entry_that_was_acknowledged(folder):
    acknowledged: list[str] = []

    def post_on(record: str, worker: int, round_: int) -> None:
        with httpx.Client() as client:
            for n in range(10_000):
                text = f"note {round_}-{worker}-{n}"
                try:
                    answer = client.post(record, data=note(text, f"key-{round_}-{worker}-{n:08}"))
                except httpx.TransportError:
                    return
                if answer.status_code == 303:
                    acknowledged.append(text)

    for round_ in range(3):
        before = len(acknowledged)
        with serving(folder) as server:
            record = server.link("record")
            workers = [threading.Thread(target=post_on, args=(record, n, round_)) for n in range(3)]
            for worker in workers:
                worker.start()
            ends = time.monotonic() + 20
            while len(acknowledged) < before + 15 + 7 * round_ and time.monotonic() < ends:
                time.sleep(0.005)
            server.stop(signal.SIGKILL)
            for worker in workers:
                worker.join(20)
        assert len(acknowledged) > before
    with open_book(folder / BOOK) as book:
        book.check()
    found = [entry.text for entry in entries_of(folder)]
    assert set(acknowledged) <= set(found)
    assert len(found) == len(set(found))


def test_tls_is_spoken_with_a_certificate(folder, tmp_path):
    cert, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    made = subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj",
         "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1",
         "-keyout", key, "-out", cert],
        capture_output=True, check=False,
    )  # fmt: skip
    if made.returncode:
        pytest.skip("openssl cannot make a certificate here")
    with serving(folder, "--tls-cert", str(cert), "--tls-key", str(key)) as server:
        assert server.link("feed").startswith("https://127.0.0.1:")
        trust = ssl.create_default_context(cafile=str(cert))
        assert httpx.get(server.link("feed"), verify=trust).status_code == 200


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--tls-cert", "cert.pem"], "--tls-key"),
        (["--tls-cert", "no.pem", "--tls-key", "no.pem"], "no such file"),
        (["--tls-cert", "farm.toml", "--tls-key", "farm.toml"], "no certificate"),
        (["--host", "192.0.2.77"], "cannot be listened on"),
        (["--host", "no such name"], "no address"),
    ],
)
def test_what_the_grower_can_mend_is_told(folder, options, words):
    command = [*SERVE, str(folder), "--port", "0", *options]
    ended = subprocess.run(
        command, cwd=folder, capture_output=True, text=True, timeout=60, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert ended.returncode == 1
    assert words in ended.stderr
    assert "Traceback" not in ended.stderr


def test_a_port_that_is_taken_and_a_folder_that_is_no_farm_are_told(folder, tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        for where, words in ((folder, "another --host or --port"), (tmp_path, "farm.toml")):
            command = [*SERVE, str(where), "--port", port]
            ended = subprocess.run(
                command, cwd=ROOT, capture_output=True, text=True, timeout=60, check=False
            )
            assert ended.returncode == 1
            assert words in ended.stderr
            assert "Traceback" not in ended.stderr
    assert not (tmp_path / BOOK).exists()


class Hasty(PatientProtocol):
    head_s = 0.5


@pytest.mark.parametrize("sent", [b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: a\r\nX: "])
def test_a_head_that_does_not_come_whole_is_not_waited_for(sent):
    async def app(scope, receive, send):
        raise AssertionError("nothing whole was sent")

    with listening(app) as port, socket.create_connection(("127.0.0.1", port)) as raw:
        raw.settimeout(10)
        raw.sendall(sent)
        assert raw.recv(1000) == b""


def test_a_whole_request_is_answered_however_long_that_takes():
    async def app(scope, receive, send):
        await asyncio.sleep(1.5)
        await answers.answer("late")(scope, receive, send)

    with listening(app) as port, httpx.Client() as client:
        for _ in range(2):
            assert client.get(f"http://127.0.0.1:{port}/").text == "late"


@contextmanager
def listening(app):
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        server = uvicorn.Server(
            uvicorn.Config(app, http=Hasty, ws="none", lifespan="off", log_level="error")
        )
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        yield listener.getsockname()[1]
        server.should_exit = True
        thread.join(10)


def test_a_form_in_pieces_over_the_wire_is_read_whole(folder):
    with serving(folder) as server:
        body = urlencode(note("in pieces", "k" * 22)).encode()
        path = urlsplit(server.link("record")).path

        def pieces():
            for start in range(0, len(body), 7):
                yield body[start : start + 7]

        answer = httpx.post(
            f"http://127.0.0.1:{server.port}{path}",
            content=pieces(),
            headers={"content-type": "application/x-www-form-urlencoded"},
        )
        assert answer.status_code == 303
    assert [entry.text for entry in entries_of(folder)] == ["in pieces"]
