"""Sessions of browsers: a random id in a cookie, all else here, gone when the server ends."""

from __future__ import annotations

import hashlib
import secrets
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

LONGEST_S: Final = 12 * 3600.0
IDLE_S: Final = 2 * 3600.0
_ID_BYTES: Final = 32
_MOST_NAMELESS: Final = 2_000
_MOST_OF_ONE: Final = 200
"""Most sessions without a sign-in, in all and of one address: anyone may begin one, so the one
that was not seen for longest goes."""


@dataclass(frozen=True, slots=True)
class Session:
    """One browser's session.

    Attributes
    ----------
    id : str
        Known to the browser alone; the server finds it by its digest.
    csrf_token : str
        What every change asked for by a page of this session brings along.
    signed_in : bool
        Whether the pass-phrase was given.
    proof : str
        What stands for the pass-phrase that was given; empty where none was.
    address : str
        Whence it was begun.
    begun_at, seen_at : float
        Seconds of the clock.
    """

    id: str
    csrf_token: str
    signed_in: bool
    begun_at: float
    seen_at: float
    proof: str = ""
    address: str = ""


class Sessions:
    """All sessions of one server.

    Parameters
    ----------
    clock : callable
        Seconds that go on while the computer sleeps.
    """

    def __init__(self, *, clock: Callable[[], float] = time.time) -> None:
        self._clock = clock
        self._sessions: dict[str, Session] = {}
        self._lock = threading.Lock()

    def begin(self, *, signed_in: bool = False, proof: str = "", address: str = "") -> Session:
        """Begin a session with an id of its own."""
        now = self._clock()
        session = Session(
            id=secrets.token_urlsafe(_ID_BYTES),
            csrf_token=secrets.token_urlsafe(_ID_BYTES),
            signed_in=signed_in,
            begun_at=now,
            seen_at=now,
            proof=proof,
            address=address,
        )
        with self._lock:
            self._sessions[_digest(session.id)] = session
            self._forget(now)
        return session

    def find(self, identifier: str) -> Session | None:
        """Return a session that is still good, and note that it was seen."""
        now, digest = self._clock(), _digest(identifier)
        with self._lock:
            session = self._sessions.pop(digest, None)
            if session is None or not _is_good(session, now):
                return None
            seen = replace(session, seen_at=now)
            self._sessions[digest] = seen  # at the end: the order is that of when it was seen
            return seen

    def end(self, identifier: str) -> None:
        """End a session, if there is one."""
        with self._lock:
            self._sessions.pop(_digest(identifier), None)

    def _forget(self, now: float) -> None:
        """Drop what is over, and nameless sessions beyond the most."""
        nameless: Counter[str] = Counter()
        for digest, session in reversed(list(self._sessions.items())):
            if not session.signed_in:
                nameless[session.address] += 1
            too_many = not session.signed_in and (
                nameless[session.address] > _MOST_OF_ONE or nameless.total() > _MOST_NAMELESS
            )
            if too_many or not _is_good(session, now):
                del self._sessions[digest]


def _digest(identifier: str) -> str:
    """What a session is found by; looking up a digest tells nothing of the id in its time."""
    return hashlib.sha256(identifier.encode("utf-8", "replace")).hexdigest()


def _is_good(session: Session, now: float) -> bool:
    return now - session.begun_at < LONGEST_S and now - session.seen_at < IDLE_S
