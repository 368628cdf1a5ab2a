"""The answers that do not depend on the farm: headers, the one 404, refusals, files."""

from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import Response

from planner.server.conditional import Served, is_known

TEXT = "text/plain; charset=utf-8"
HTML = "text/html; charset=utf-8"
CALENDAR = "text/calendar; charset=utf-8"
NOTHING = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
_ALWAYS = {
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex",
    "X-Content-Type-Options": "nosniff",
}


def answer(
    body: str | bytes,
    media: str = TEXT,
    *,
    status: int = 200,
    csp: str = NOTHING,
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return an answer that no store keeps, with the headers that all answers have."""
    given = {"Cache-Control": "no-store", "Content-Security-Policy": csp, **_ALWAYS}
    return Response(body, status, given | dict(headers or {}), media_type=media)


def not_found() -> Response:
    """Return the one answer to everything that is not there, or not for the one who asks."""
    return answer("Not found.\n", status=404)


def not_allowed(allowed: str) -> Response:
    """Return the answer to a method that an address does not have."""
    return answer("This method is not allowed here.\n", status=405, headers={"Allow": allowed})


def refused(status: int, words: str) -> Response:
    """Return a refusal in plain words."""
    return answer(f"{words}\n", status=status)


def not_ready(words: str) -> Response:
    """Return the answer while there is nothing whole to serve; clients keep what they have."""
    return answer(f"{words}\n", status=503, headers={"Retry-After": "60"})


def file(request: Request, served: Served, media: str, *, csp: str = NOTHING) -> Response:
    """Return something whole to a GET or HEAD, or 304 to a client that has it."""
    given = {
        "ETag": served.etag,
        "Last-Modified": served.last_modified,
        "Cache-Control": "private, no-cache",
        **_ALWAYS,
    }
    asked: dict[str, list[str]] = {}
    for name, value in request.headers.items():
        asked.setdefault(name, []).append(value)
    if is_known(served, asked):
        return Response(None, 304, given)
    given["Content-Security-Policy"] = csp
    return Response(served.octets, 200, given, media_type=media)
