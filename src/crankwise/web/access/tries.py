"""Tries to sign in: a few at once, then a growing wait, for each address and for all together.

So that nobody is shut out by those who guess, a browser that has signed in before has tries of its
own, which it is known for by a cookie, and this computer does not wait for all the others (OWASP:
Slow Down Online Guessing Attacks with Device Cookies).
"""

from __future__ import annotations

import hashlib
import ipaddress
import math
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

_ALL: Final = "all addresses"
_FORGOTTEN_S: Final = 3600.0
_MOST_ADDRESSES: Final = 4_096
_MOST_BROWSERS: Final = 1_000


@dataclass(frozen=True, slots=True)
class _Rule:
    """``free`` tries, then a wait that doubles from ``first_s`` up to ``longest_s``; seconds."""

    free: int
    first_s: float
    longest_s: float

    def wait_s(self, tries: int) -> float:
        if tries < self.free:
            return 0.0
        return min(self.first_s * 2.0 ** min(tries - self.free, 30), self.longest_s)


_EACH: Final = _Rule(free=5, first_s=15.0, longest_s=900.0)
_TOGETHER: Final = _Rule(free=30, first_s=5.0, longest_s=60.0)
"""Common practice, no source: nobody types faster, and a guesser gets a few hundred a day."""


@dataclass(frozen=True, slots=True)
class _Count:
    tries: int = 0
    not_before: float = 0.0
    last: float = -math.inf


class Tries:
    """Failed tries of late.

    Parameters
    ----------
    clock : callable
        Seconds.
    """

    def __init__(self, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._counts: dict[str, _Count] = {}
        self._browsers: dict[str, None] = {}
        self._lock = threading.Lock()

    def begin(self, address: str, browser: str = "") -> int:
        """Count a try before it is made; returns the seconds to wait instead, or 0.

        ``browser`` is what it was given when it signed in before, see :meth:`succeeded`.

        It counts as failed until :meth:`succeeded` is called, so tries at the same time don't
        slip through.
        """
        now = self._clock()
        with self._lock:
            self._forget(now)
            rules = self._rules(address, browser)
            counts = {name: self._counts.get(name, _Count()) for name in rules}
            wait_s = max(count.not_before for count in counts.values()) - now
            if wait_s > 0.0:
                return math.ceil(wait_s)
            for name, rule in rules.items():
                tries = counts[name].tries + 1
                self._counts[name] = _Count(tries, now + rule.wait_s(tries), now)
        return 0

    def succeeded(self, address: str, browser: str = "") -> str:
        """Forget the failed tries of an address or a browser; returns what to know it by."""
        known = secrets.token_urlsafe(32)
        with self._lock:
            for name in self._rules(address, browser).keys() - {_ALL}:
                mine = self._counts.pop(name, _Count())
                together = self._counts.get(_ALL, _Count())
                left = max(0, together.tries - mine.tries)
                self._counts[_ALL] = _Count(left, 0.0, together.last)
            self._browsers[_digest(known)] = None
            while len(self._browsers) > _MOST_BROWSERS:
                del self._browsers[next(iter(self._browsers))]
        return known

    def _rules(self, address: str, browser: str) -> dict[str, _Rule]:
        """What holds for a try, by what it is counted under."""
        if browser and _digest(browser) in self._browsers:
            return {f"browser {_digest(browser)}": _EACH}
        network = network_of(address)
        if _is_here(network):
            return {network: _EACH}
        return {network: _EACH, _ALL: _TOGETHER}

    def _forget(self, now: float) -> None:
        for name, count in list(self._counts.items()):
            if now - count.last > _FORGOTTEN_S and now >= count.not_before:
                del self._counts[name]
        while len(self._counts) > _MOST_ADDRESSES:
            oldest = min(self._counts, key=lambda name: self._counts[name].last)
            del self._counts[oldest]


def network_of(address: str) -> str:
    """Return what tries are counted by: an address, of IPv6 the network that one line is given.

    >>> network_of("::ffff:192.0.2.7"), network_of("2001:db8:1:2:3::9"), network_of("someone")
    ('192.0.2.7', '2001:db8:1:2::/64', 'someone')
    """
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped is not None:
        found = found.ipv4_mapped  # as a socket for both kinds tells it
    if found.version == 4:
        return str(found)
    return str(ipaddress.ip_network((found, 64), strict=False))


def _is_here(network: str) -> bool:
    """Whether it is this computer."""
    try:
        return ipaddress.ip_network(network).network_address.is_loopback or network == "::/64"
    except ValueError:
        return False


def _digest(browser: str) -> str:
    return hashlib.sha256(browser.encode("utf-8", "replace")).hexdigest()
