"""Conditional requests: when a client already has what it asks for (RFC 9110, 13)."""

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import format_datetime
from hashlib import sha256

_TAG = re.compile(r'(?:W/)?"[\x21\x23-\x7e\x80-\xff]*"')
_DATES = (  # the three forms of RFC 9110, 5.6.7
    "%a, %d %b %Y %H:%M:%S GMT",
    "%A, %d-%b-%y %H:%M:%S GMT",
    "%a %b %d %H:%M:%S %Y",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """Octets with what tells a client whether it has them: a strong tag and a time (UTC)."""

    octets: bytes
    etag: str
    modified: datetime

    @property
    def last_modified(self) -> str:
        """The time as a header says it."""
        return format_datetime(self.modified, usegmt=True)


def etag_of(octets: bytes) -> str:
    """Return a strong entity tag: the same octets, the same tag, in its quotes."""
    return f'"{sha256(octets).hexdigest()[:32]}"'


def is_known(served: Served, headers: Mapping[str, Sequence[str]]) -> bool:
    """Return whether a GET or HEAD with these headers is answered with 304.

    `headers` holds all values of each name in lower case. If-None-Match is compared weakly and
    outranks If-Modified-Since, also when it cannot be read; a date that cannot be read is ignored.
    """
    tags = headers.get("if-none-match", ())
    if tags:
        text = ", ".join(tags).strip(" \t")
        if text == "*":
            return True
        if _TAG.sub("", text).strip(" \t,"):  # more than tags
            return False
        return served.etag in (tag.removeprefix("W/") for tag in _TAG.findall(text))
    dates = headers.get("if-modified-since", ())
    if len(dates) != 1:
        return False
    since = _time(dates[0].strip(" \t"))
    return since is not None and served.modified <= since


def _time(text: str) -> datetime | None:
    for form in _DATES:
        with suppress(ValueError):
            return datetime.strptime(text, form).replace(tzinfo=UTC)
    return None


class Shelf:
    """Gives what is served its time: later whenever its octets differ from those before."""

    def __init__(self) -> None:
        self._last: dict[str, Served] = {}

    def put(self, name: str, octets: bytes, changed: datetime) -> Served:
        """Return the octets as they are served; `changed` is when they last did, as far as known.

        Times in headers are whole seconds: a second change within one is told as the next.
        """
        before, etag = self._last.get(name), etag_of(octets)
        if before is not None and before.etag == etag:
            return before
        modified = changed.astimezone(UTC).replace(microsecond=0)
        if before is not None and modified <= before.modified:
            modified = datetime.fromtimestamp(before.modified.timestamp() + 1, UTC)
        self._last[name] = Served(octets=octets, etag=etag, modified=modified)
        return self._last[name]

    def last(self, name: str) -> Served | None:
        """Return what was put under a name last."""
        return self._last.get(name)
