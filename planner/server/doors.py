"""Who may ask: names of this server, and pages of its own that post to it."""

from collections.abc import Iterable
from dataclasses import dataclass
from ipaddress import ip_address
from re import fullmatch

from starlette.datastructures import Headers

_LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})
_ANY_ADDRESS = frozenset({"0.0.0.0", "::", ""})


@dataclass(frozen=True, slots=True)
class Doors:
    """The names by which this server may be called.

    Parameters
    ----------
    names
        Host names and addresses in lower case, without port.
    numbers
        Whether any address in figures is good: when the server listens on all of the machine's
        addresses. A page elsewhere that has its own name point here is still turned away.
    """

    names: frozenset[str]
    numbers: bool

    def opens(self, headers: Headers) -> bool:
        """Return whether the request names this server, once, in its Host header."""
        hosts = headers.getlist("host")
        name = _name_of(hosts[0]) if len(hosts) == 1 else None
        if name is None:
            return False
        return name in self.names or (self.numbers and _is_number(name))


def doors(host: str, public_names: Iterable[str] = ()) -> Doors:
    """Return the doors of a server that listens on `host` and is also known by `public_names`."""
    given = {host.lower().strip("[]"), *(name.lower().rstrip(".") for name in public_names)}
    return Doors(frozenset(given - _ANY_ADDRESS) | _LOOPBACK, host in _ANY_ADDRESS)


def is_wildcard(host: str) -> bool:
    """Return whether a server on `host` listens on all of the machine's addresses."""
    return host in _ANY_ADDRESS


def same_origin(headers: Headers) -> bool:
    """Return whether a post comes from a page of this server, or from no browser at all.

    A browser says where a post comes from in Sec-Fetch-Site or Origin, or both, and both must
    then be right. A proxy in front may change the scheme, so hosts alone are compared.
    """
    sites, origins = headers.getlist("sec-fetch-site"), headers.getlist("origin")
    if len(sites) > 1 or len(origins) > 1:
        return False
    if sites and sites[0] not in ("same-origin", "none"):
        return False
    if not origins:
        return True
    return origins[0].lower() in {f"{s}://{headers.get('host', '').lower()}" for s in _SCHEMES}


_SCHEMES = ("http", "https")


def _name_of(host: str) -> str | None:
    """Return a Host header's name without its port, or None when it is no host."""
    parts = fullmatch(r"(\[[0-9A-Fa-f:.]{2,45}\]|[0-9A-Za-z._-]{1,253})(?::[0-9]{1,5})?", host)
    return parts[1].strip("[]").lower().rstrip(".") if parts else None


def _is_number(name: str) -> bool:
    try:
        ip_address(name)
    except ValueError:
        return False
    return True
