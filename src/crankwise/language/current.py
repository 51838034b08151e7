"""Which language is spoken, and the two ways into it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

LANGUAGES: Final = {"en": "English", "de": "Deutsch"}
"""Languages by code, with what each calls itself."""

_current: ContextVar[str] = ContextVar("language", default="en")


def current() -> str:
    """Code of the language that is spoken."""
    return _current.get()


@contextmanager
def using(code: str) -> Iterator[None]:
    """Speak a language for a while; one that is not known means English."""
    token = _current.set(code if code in LANGUAGES else "en")
    try:
        yield
    finally:
        _current.reset(token)


def say(text: str, /, **values: object) -> str:
    """Return a text of ours in the language spoken, with its ``{places}`` filled."""
    return text.format(**values) if values else text


def told(sentence: str) -> str:
    """Return a sentence that the core made in the language spoken."""
    return sentence
