"""HTTP connections that are closed when a request does not come whole in time.

The server's library closes connections that are idle between requests; one that never begins, or
sends its headers sign by sign, would be held for ever.
"""

import asyncio
from typing import ClassVar

from uvicorn.protocols.http.h11_impl import H11Protocol


class PatientProtocol(H11Protocol):
    """HTTP/1.1 whose request heads must come within `head_s`. [s]"""

    head_s: ClassVar[float] = 15.0
    _awaited: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first request."""
        super().connection_made(transport)
        self._await_head()

    def data_received(self, data: bytes) -> None:
        """Wait on while what came is no whole head; its body has limits of its own."""
        super().data_received(data)
        if self._answers():
            self._stop_waiting()
        elif self._awaited is None:
            self._await_head()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        self._stop_waiting()
        super().connection_lost(exc)

    def _answers(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def _await_head(self) -> None:
        self._awaited = self.loop.call_later(self.head_s, self._give_up)

    def _stop_waiting(self) -> None:
        if self._awaited is not None:
            self._awaited.cancel()
            self._awaited = None

    def _give_up(self) -> None:
        self._awaited = None
        if not self._answers() and not self.transport.is_closing():
            self.transport.close()
