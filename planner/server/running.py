"""Start the server on its address, run it, and end it without leaving anything behind."""

import logging
import signal
import socket
import ssl
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

import uvicorn

from planner.book import open_book
from planner.errors import PlannerError
from planner.farmfile import read_farm
from planner.history import BOOK
from planner.server.app import App
from planner.server.doors import doors
from planner.server.keeper import Clock, Keeper
from planner.server.links import Links, called, links
from planner.server.patience import PatientProtocol
from planner.server.recorddesk import RecordDesk
from planner.server.replan import Replan
from planner.server.tokens import PAGE, RECORD, Tokens, kept_tokens, new_tokens

_MOST_CONNECTIONS = 200
_IDLE_S = 5
_ENDING_S = 5
_LONGEST_HEAD = 16 * 1024  # octets of a request's line and headers


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What the grower asks of the server. Port 0 takes a free one; TLS needs both files."""

    farm: Path
    host: str = "127.0.0.1"
    port: int = 8765
    new_token: bool = False
    public_names: tuple[str, ...] = ()
    tls_cert: Path | None = None
    tls_key: Path | None = None

    @property
    def tls(self) -> bool:
        """Whether the server itself speaks TLS."""
        return self.tls_cert is not None


def serve(
    settings: Settings,
    *,
    clock: Clock,
    started: Callable[[Links | None, bool], None],
    report: Callable[[str], None],
) -> None:
    """Serve until SIGTERM or SIGINT.

    Parameters
    ----------
    clock
        Tells the time, with a zone.
    started
        Called when connections are taken: the links, or None when their secrets are not known any
        more, and whether they were made just now.
    report
        Is told what goes wrong while serving, in words without secrets.

    Raises
    ------
    PlannerError
        The farm has faults, the book cannot be used, or the address is taken.
    """
    _check_tls(settings)
    read_farm(settings.farm)
    tokens, new = _tokens(settings, clock)
    secrets = {} if tokens is None else {PAGE: tokens.page, RECORD: tokens.record}
    keeper = Keeper(settings.farm, clock=clock, report=report, secrets=secrets)
    keeper.view()
    replan = Replan([sys.executable, "-m", "planner", "plan", str(settings.farm.resolve())])
    app = App(keeper, RecordDesk(keeper, replan), doors(settings.host, settings.public_names))
    with _bound(settings.host, settings.port) as listener:
        server = uvicorn.Server(_config(app, settings))

        def end(number: int, frame: FrameType | None) -> None:
            server.should_exit = True

        before = {number: signal.signal(number, end) for number in (signal.SIGTERM, signal.SIGINT)}
        try:
            name = called(settings.host, settings.public_names)
            port = listener.getsockname()[1]
            started(
                None if tokens is None else links(tokens, host=name, port=port, tls=settings.tls),
                new,
            )
            server.run(sockets=[listener])
        finally:
            replan.stop()
            for number, handler in before.items():
                signal.signal(number, handler)


def _tokens(settings: Settings, clock: Clock) -> tuple[Tokens | None, bool]:
    """Return the secrets, if they are known, and whether they are new."""
    with open_book(settings.farm / BOOK, create=True) as book:
        if settings.new_token or not book.tokens():
            return new_tokens(book, settings.farm, clock()), True
        return kept_tokens(book, settings.farm), False


def _config(app: App, settings: Settings) -> uvicorn.Config:
    logging.getLogger("uvicorn.access").disabled = True  # addresses hold the secrets
    return uvicorn.Config(
        app,
        http=PatientProtocol,
        ws="none",
        loop="asyncio",
        lifespan="off",
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        limit_concurrency=_MOST_CONNECTIONS,
        timeout_keep_alive=_IDLE_S,
        timeout_graceful_shutdown=_ENDING_S,
        h11_max_incomplete_event_size=_LONGEST_HEAD,
        ssl_certfile=settings.tls_cert,
        ssl_keyfile=settings.tls_key,
    )


def _check_tls(settings: Settings) -> None:
    cert, key = settings.tls_cert, settings.tls_key
    if (cert is None) != (key is None):
        raise PlannerError("TLS needs both a certificate (--tls-cert) and its key (--tls-key)")
    if cert is None or key is None:
        return
    for path in (cert, key):
        if not path.is_file():
            raise PlannerError(f"{path}: there is no such file")
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(cert, key)
    except OSError as fault:
        raise PlannerError(
            f"{cert} and {key}: they are no certificate and its key in PEM ({fault})"
        ) from fault


def _bound(host: str, port: int) -> socket.socket:
    """Return a socket that takes connections; they wait until the server is ready."""
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host or None, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        listener = socket.socket(family, kind, protocol)
    except OSError as fault:
        raise PlannerError(f"{host}: it is no address of this machine ({fault})") from fault
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(address)
        listener.listen(2048)
    except OSError as fault:
        listener.close()
        raise PlannerError(
            f"{host} port {port}: cannot be listened on ({fault.strerror or fault}); "
            "give another --host or --port"
        ) from fault
    return listener
