"""Read a posted form: small, plain, each field once. Whatever else comes is refused."""

import re
from urllib.parse import parse_qsl

import anyio
from starlette.requests import ClientDisconnect, Request

MOST_OCTETS = 64 * 1024
MOST_FIELDS = 60
LONGEST_S = 20.0
_TYPE = "application/x-www-form-urlencoded"
_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")


class Refused(Exception):
    """A request that is not read: status and words of the answer."""

    def __init__(self, status: int, words: str) -> None:
        self.status, self.words = status, words
        super().__init__(words)


async def read_form(request: Request) -> dict[str, str]:
    """Return the fields of a posted form.

    Raises
    ------
    Refused
        413 over 64 kB, 415 another type, 408 too slow, 400 malformed, a field twice, too many.
    """
    media = [part.strip().lower() for part in request.headers.get("content-type", "").split(";")]
    if (
        len(request.headers.getlist("content-type")) != 1
        or media[0] != _TYPE
        or any(part not in ("charset=utf-8", 'charset="utf-8"', "") for part in media[1:])
        or "content-encoding" in request.headers
    ):
        raise Refused(415, f"Send forms as {_TYPE}.")
    length = request.headers.get("content-length", "0")
    if not (length.isascii() and length.isdigit()):
        raise Refused(400, "Content-Length is no number.")
    if len(length) > 12 or int(length) > MOST_OCTETS:
        raise Refused(413, "The form is too long.")
    return parse(await _body(request))


async def _body(request: Request) -> bytes:
    body = bytearray()
    try:
        with anyio.fail_after(LONGEST_S):
            async for piece in request.stream():
                body += piece
                if len(body) > MOST_OCTETS:
                    raise Refused(413, "The form is too long.")
    except TimeoutError:
        raise Refused(408, "The form came too slowly.") from None
    except ClientDisconnect:
        raise Refused(400, "The form broke off.") from None
    return bytes(body)


def parse(body: bytes) -> dict[str, str]:
    """Return the fields of a form's body; raises Refused (400) for whatever is not in order."""
    try:
        text = body.decode("ascii")
    except UnicodeDecodeError:
        raise Refused(400, "The form is not encoded as forms are.") from None
    if re.search(r"%(?![0-9A-Fa-f]{2})", text):
        raise Refused(400, "The form is not encoded as forms are.")
    try:
        pairs = parse_qsl(
            text,
            keep_blank_values=True,
            strict_parsing=bool(text),
            errors="strict",
            max_num_fields=MOST_FIELDS,
        )
    except ValueError:
        raise Refused(400, "The form is not in order, or has too many fields.") from None
    fields = dict(pairs)
    if len(fields) < len(pairs):
        raise Refused(400, "The form has a field twice.")
    if not all(_NAME.fullmatch(name) for name in fields):
        raise Refused(400, "The form has a field that no form of this server has.")
    if any("\0" in value for value in fields.values()):
        raise Refused(400, "The form holds a sign that is no text.")
    return fields
