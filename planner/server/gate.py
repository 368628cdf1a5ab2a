"""Who is let in: the secrets of the links, checked against the book."""

import hmac
import threading
from collections.abc import Callable, Mapping
from hashlib import sha256
from pathlib import Path

from planner.book import BookError, open_book
from planner.history import BOOK
from planner.server.filemarks import Mark, settled
from planner.server.tokens import looks_right

SHORT_S = 2.0  # while another program holds the book, what was read last is served
BOOK_FILES = (BOOK, f"{BOOK}-wal")


class Gate:
    """Knows the secrets of one farm; may be asked from many threads.

    Parameters
    ----------
    report
        Is told of a book that cannot be read.
    secrets
        By name, as far as they are known; these hold while the book cannot be asked.
    """

    def __init__(
        self, folder: Path, *, report: Callable[[Exception], None], secrets: Mapping[str, str]
    ) -> None:
        self._folder = folder
        self._report = report
        self._lock = threading.Lock()
        self._admitted = {name: _digest(token) for name, token in secrets.items()}
        self._admitted_at: dict[str, Mark | None] = {}

    def admits(self, name: str, token: str) -> bool:
        """Return whether a text is the secret of that name; as last known if the book is away."""
        if not looks_right(token):
            return False
        digest = _digest(token)
        remembered = hmac.compare_digest(self._admitted.get(name, b""), digest)
        mark = settled(self._folder, BOOK_FILES)
        if remembered and mark is not None and mark == self._admitted_at.get(name):
            return True
        try:
            with open_book(self._folder / BOOK, wait_s=SHORT_S) as book:
                right = book.token_matches(name, token)
        except BookError as fault:
            self._report(fault)
            return remembered
        with self._lock:
            if right:
                self._admitted[name], self._admitted_at[name] = digest, mark
            elif remembered:
                self._admitted.pop(name, None)
        return right


def _digest(token: str) -> bytes:
    return sha256(token.encode()).digest()
