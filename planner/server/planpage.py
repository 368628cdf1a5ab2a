"""The plan's page as it is served: the file as planned, with what was recorded since put in."""

import re
from collections.abc import Mapping, Sequence
from html import escape, unescape

_LINE = re.compile(r'(<[a-z]+\b[^<>]*\bdata-job=(?:"([^"<>]*)"|([^\s"<>]+))[^<>]*>)')
_PLACES = (re.compile(r'(?=<section id="feed">)'), re.compile(r"(?<=<main>)"))


def with_records(html: str, marks: Mapping[str, str], since: Sequence[str]) -> str:
    """Return the page with a mark at each line that is done and a list of what was recorded.

    Parameters
    ----------
    html
        The page; lines of work carry their job key in `data-job`.
    marks
        By job key.
    since
        Entries that the plan did not know, in words, oldest first.
    """

    def marked(found: re.Match[str]) -> str:
        mark = marks.get(unescape(found[2] or found[3]))
        return found[1] if mark is None else f"{found[1]}<b>{escape(mark)}</b> "

    html = _LINE.sub(marked, html)
    if not since:
        return html
    items = "".join(f'\n<li dir="auto">{escape(text)}' for text in reversed(since))
    section = (
        '<section id="recorded">\n<h2>Recorded since this plan '
        f"<small>{len(since)}</small></h2>\n<details><summary>Latest first</summary>"
        f"\n<ul>{items}\n</ul></details>\n</section>\n"
    )
    place = next((place for place in _PLACES if place.search(html)), None)
    return html if place is None else place.sub(lambda _: section, html, count=1)
