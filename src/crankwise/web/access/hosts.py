"""Names the server goes by; whoever asks under another one is misled (DNS rebinding)."""

from __future__ import annotations

import ipaddress
import re
import socket
from typing import Final

from fastapi import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from crankwise.web import failures
from crankwise.web.settings import LOOPBACK, Settings

_HOST: Final = re.compile(r"(?:\[([0-9a-f:.]+)\]|([^\[\]:@/]*))(?::[0-9]{0,5})?")
_MISDIRECTED: Final = 421  # RFC 9110, section 15.5.20


class Hosts:
    """Answers only what was asked under a name of this server."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self._app = app
        self._names = names_of(settings)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on what is asked under a right name, refuse the rest."""
        if scope["type"] != "http" or self._is_ours(scope):
            await self._app(scope, receive, send)
            return
        answer = failures.answer_status(Request(scope), _MISDIRECTED)
        await answer(scope, receive, send)

    def _is_ours(self, scope: Scope) -> bool:
        hosts = [value for key, value in scope["headers"] if key == b"host"]
        if len(hosts) != 1:
            return False
        host = host_of(hosts[0].decode("latin-1"))
        # An address can't be rebound; the one that the connection came in at is this computer's.
        return host in self._names or host == host_of(_bracketed(scope["server"][0]))


def names_of(settings: Settings) -> frozenset[str]:
    """Return the names that a server goes by, in lower case."""
    names = {*LOOPBACK, *settings.names}
    if not settings.is_loopback:
        own = socket.gethostname()
        short = own.partition(".")[0]
        names |= {settings.host, own, short, f"{short}.local"}
    return frozenset(host_of(_bracketed(name)) for name in names if name)


def host_of(host: str) -> str:
    """Return the name of a Host header, without its port and in one spelling.

    It is empty where there is more than a name and a port.

    >>> host_of("Shop.local.:8720"), host_of("[0:0::1]:80"), host_of("127.0.0.1"), host_of("[::1")
    ('shop.local', '::1', '127.0.0.1', '')
    """
    parts = _HOST.fullmatch(host.strip().lower())
    if parts is None:
        return ""
    name = parts[1] or parts[2].rstrip(".")
    try:
        found = ipaddress.ip_address(name)
    except ValueError:
        return name
    mapped = found.ipv4_mapped if isinstance(found, ipaddress.IPv6Address) else None
    return str(mapped or found)  # as a socket for both kinds tells an IPv4 address


def own_address() -> str:
    """Return the address under which others on this network most likely reach this computer."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documentation; nothing is sent
        except OSError:
            return socket.gethostname()
        address: str = probe.getsockname()[0]
        return address


def _bracketed(name: str) -> str:
    return f"[{name}]" if ":" in name and not name.startswith("[") else name
