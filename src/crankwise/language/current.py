"""Which language is spoken."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

LANGUAGES: Final = {"en": "English", "de": "Deutsch"}
"""Languages by code, with what each calls itself."""

SOURCE: Final = "en"
"""The language that the program is written in: it needs no catalogue."""

_current: ContextVar[str] = ContextVar("language", default=SOURCE)


def current() -> str:
    """Code of the language that is spoken."""
    return _current.get()


@contextmanager
def using(code: str) -> Iterator[None]:
    """Speak a language for a while; one that is not known means English."""
    token = _current.set(code if code in LANGUAGES else SOURCE)
    try:
        yield
    finally:
        _current.reset(token)
