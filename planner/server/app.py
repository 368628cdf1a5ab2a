"""Who asks for what: addresses, secrets, methods. Everything else gets one and the same 404.

Addresses are few and are matched as they came, before any decoding, so no dots, slashes or signs
in disguise lead anywhere. The secret is looked at before anything else.
"""

import re
from collections.abc import Callable

import anyio.to_thread
from anyio import CapacityLimiter
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from planner.book import BookError
from planner.errors import PlannerError
from planner.server import answers
from planner.server.doors import Doors, same_origin
from planner.server.forms import Refused, read_form
from planner.server.keeper import Keeper
from planner.server.recorddesk import RecordDesk
from planner.server.tokens import PAGE, RECORD

_ADDRESS = re.compile(r"/(plan|feed|record)/([A-Za-z0-9_-]{22})/([a-z0-9-]{0,60}(?:\.[a-z]{2,3})?)")
_READS = ("GET", "HEAD")
_READ_ONLY, _READ_AND_POST = "GET, HEAD", "GET, HEAD, POST"
_WRITERS = 8  # threads that may wait for the book at one time


class App:
    """The whole server as an ASGI application.

    Parameters
    ----------
    keeper
        Of the farm that is served.
    desk
        Answers about records.
    doors
        Names by which the server may be called.
    """

    def __init__(self, keeper: Keeper, desk: RecordDesk, doors: Doors) -> None:
        self._keeper = keeper
        self._desk = desk
        self._doors = doors
        self._writers: CapacityLimiter | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return
        request = Request(scope, receive)
        response = await self._answer(request)
        if request.method == "HEAD":
            response.body = b""
        await response(scope, receive, send)

    async def _answer(self, request: Request) -> Response:
        raw: bytes = request.scope.get("raw_path") or request.scope["path"].encode()
        address = _ADDRESS.fullmatch(raw.decode("latin-1"))
        if address is None or not self._doors.opens(request.headers):
            return answers.not_found()
        what, token, name = address.groups()
        secret = RECORD if what == "record" else PAGE
        if not await anyio.to_thread.run_sync(self._keeper.gate.admits, secret, token):
            return answers.not_found()
        try:
            if what == "record":
                return await self._record(request, name)
            found = self._page if what == "plan" else self._feed
            return await anyio.to_thread.run_sync(found, request, name)
        except BookError as fault:
            more = f" {fault}" if what == "record" else ""
            return answers.not_ready(f"The book cannot be read or written now.{more}")
        except PlannerError:
            return answers.not_ready("The farm cannot be read now; see the server's terminal.")

    def _page(self, request: Request, name: str) -> Response:
        if name:
            return answers.not_found()
        if request.method not in _READS:
            return answers.not_allowed(_READ_ONLY)
        found = self._keeper.page()
        if found is None:
            return answers.not_ready("There is no plan's page yet: run `sowstock plan`.")
        page, policy = found
        return answers.file(request, page, answers.HTML, csp=policy)

    def _feed(self, request: Request, name: str) -> Response:
        feeds = self._keeper.feeds()
        if feeds is None and name.endswith(".ics"):
            return answers.not_ready("There is no plan yet: run `sowstock plan`.")
        if feeds is None or name not in feeds:
            return answers.not_found()
        if request.method not in _READS:
            return answers.not_allowed(_READ_ONLY)
        return answers.file(request, feeds[name], answers.CALENDAR)

    async def _record(self, request: Request, name: str) -> Response:
        desk = self._desk
        if name in desk.files:
            if request.method not in _READS:
                return answers.not_allowed(_READ_ONLY)
            served, media = desk.files[name]
            return answers.file(request, served, media)
        if name not in ("", "replan"):
            return answers.not_found()
        if request.method in _READS:
            if name:
                return await anyio.to_thread.run_sync(desk.progress)
            return await anyio.to_thread.run_sync(desk.page, request.url.query)
        if request.method != "POST":
            return answers.not_allowed(_READ_AND_POST)
        if not same_origin(request.headers):
            return answers.refused(403, "Forms are taken from this server's own pages only.")
        try:
            form = await read_form(request)
        except Refused as refusal:
            return answers.refused(refusal.status, refusal.words)
        act: Callable[[dict[str, str]], Response] = desk.replan if name else desk.enter
        if self._writers is None:
            self._writers = CapacityLimiter(_WRITERS)
        return await anyio.to_thread.run_sync(act, form, limiter=self._writers)
