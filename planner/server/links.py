"""The links to give away: page, forms and calendar, and a picture of one for a phone's camera."""

import io
import socket
from dataclasses import dataclass

import qrcode

from planner.server.doors import is_wildcard
from planner.server.tokens import Tokens


@dataclass(frozen=True, slots=True, kw_only=True)
class Links:
    """Addresses with their secrets."""

    page: str
    record: str
    feed: str
    webcal: str


def links(tokens: Tokens, *, host: str, port: int, tls: bool) -> Links:
    """Return the links of a server that is called `host`."""
    where = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
    scheme = "https" if tls else "http"
    feed = f"{where}/feed/{tokens.page}/all.ics"
    return Links(
        page=f"{scheme}://{where}/plan/{tokens.page}/",
        record=f"{scheme}://{where}/record/{tokens.record}/",
        feed=f"{scheme}://{feed}",
        webcal=f"webcal://{feed}",
    )


def called(host: str, public_names: tuple[str, ...]) -> str:
    """Return the name to put in links: a public one, the host, or this machine's own address."""
    if public_names:
        return public_names[0]
    return _own_address() if is_wildcard(host) else host


def picture(link: str) -> str:
    """Return a link as a QR code of signs, for a terminal with a dark ground."""
    code = qrcode.QRCode(border=2)
    code.add_data(link)
    text = io.StringIO()
    code.print_ascii(out=text, invert=True)
    return text.getvalue()


def _own_address() -> str:
    """Return the address that this machine has in its network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # for documentation only (RFC 5737)
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"
