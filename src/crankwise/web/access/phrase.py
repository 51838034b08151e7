"""The pass-phrase: kept as a slow hash, never as it is."""

from __future__ import annotations

import hashlib
import threading
import unicodedata
from functools import cache
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from crankwise.errors import UsageError
from crankwise.store import Store
from crankwise.web.settings import PASS_PHRASE_VARIABLE, Settings

FEWEST: Final = 12
_MOST: Final = 128
_one_at_a_time = threading.Lock()
"""A hash takes 64 MB of memory for as long as it takes; tries wait for each other."""


def keep(store: Store, phrase: str) -> None:
    """Keep the hash of a pass-phrase, unless it is that of the one in force.

    Raises
    ------
    UsageError
        It is shorter than twelve characters, or longer than any that is typed.
    """
    text = _normal(phrase)
    if len(text.strip()) < FEWEST:
        raise UsageError(f"the pass-phrase is too short: take {FEWEST} characters or more")
    if len(text) > _MOST:
        raise UsageError(f"the pass-phrase is too long: take {_MOST} characters at most")
    if not is_right(store, phrase):
        store.shop.keep_pass_phrase_hash(_hasher().hash(text))


def is_right(store: Store, phrase: str) -> bool:
    """Whether this is the pass-phrase in force; takes as long where none is set."""
    text, kept = _normal(phrase), store.shop.pass_phrase_hash()
    if len(text) > _MOST:
        return False
    with _one_at_a_time:
        try:
            _hasher().verify(kept or _of_nothing(), text)
        except (VerificationError, InvalidHashError):
            return False
    return kept is not None


def proof(store: Store) -> str:
    """Return what stands for the pass-phrase in force; another one for every new pass-phrase."""
    return hashlib.sha256((store.shop.pass_phrase_hash() or "").encode()).hexdigest()


def require(store: Store, settings: Settings) -> None:
    """Refuse to be reached by others without a pass-phrase.

    Raises
    ------
    UsageError
        None is set.
    """
    if settings.needs_sign_in and store.shop.pass_phrase_hash() is None:
        where = settings.host if not settings.is_loopback else ", ".join(settings.names)
        raise UsageError(
            f"others reach the screens under {where}, so they need a pass-phrase: add "
            f"--pass-phrase once, which asks for it, or set {PASS_PHRASE_VARIABLE}"
        )


def _normal(phrase: str) -> str:
    """The same characters, whatever keyboard they were typed on (RFC 8265, OpaqueString)."""
    return unicodedata.normalize("NFC", phrase)


@cache
def _hasher() -> PasswordHasher:
    return PasswordHasher()


@cache
def _of_nothing() -> str:
    """A hash to verify against where none is set, so that the answer takes as long."""
    return _hasher().hash("")
