"""The content security policy of a finished page, from the page itself."""

from base64 import b64encode
from collections.abc import Iterable, Sequence
from hashlib import sha256
from html.parser import HTMLParser


def policy_of(html: str) -> str:
    """Return a policy that lets a page use its own inline styles and scripts and nothing else."""
    found = _Inline()
    found.feed(html)
    found.close()
    styles = [*dict.fromkeys(found.texts["style"]), *dict.fromkeys(found.attributes)]
    attributes = ["'unsafe-hashes'"] if found.attributes else []
    directives = [
        "default-src 'none'",
        f"style-src {_sources(styles, attributes)}",
        f"script-src {_sources(dict.fromkeys(found.texts['script']))}",
        "img-src data:",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    ]
    return "; ".join(directives)


def _sources(texts: Iterable[str], more: Sequence[str] = ()) -> str:
    hashes = [f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'" for text in texts]
    return " ".join([*more, *hashes]) or "'none'"


class _Inline(HTMLParser):
    """Gathers the texts of style and script elements, and the values of style attributes."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: dict[str, list[str]] = {"style": [], "script": []}
        self.attributes: list[str] = []
        self._inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.attributes += [value or "" for name, value in attrs if name == "style"]
        if tag in self.texts:
            self._inside = tag
            self.texts[tag].append("")

    def handle_endtag(self, tag: str) -> None:
        if tag == self._inside:
            self._inside = ""

    def handle_data(self, data: str) -> None:
        if self._inside:
            self.texts[self._inside][-1] += data
