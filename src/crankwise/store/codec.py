"""Dataclasses of the model as JSON text and back, to the last bit."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from typing import Any, TypeVar

from pydantic import TypeAdapter

_Model = TypeVar("_Model")
_ADAPTERS: dict[Any, TypeAdapter[Any]] = {}


def dump(value: Any) -> str:
    """Return a dataclass as compact JSON; the same value always gives the same text."""
    return adapter(type(value)).dump_json(value).decode()


def load(text: str, kind: type[_Model]) -> _Model:
    """Read what :func:`dump` wrote."""
    loaded: _Model = adapter(kind).validate_json(text)
    return loaded


@lru_cache(maxsize=1024)
def load_document(text: str, kind: type[_Model]) -> _Model:
    """Read a measurement or a comparison; being frozen, the last thousand are remembered."""
    return load(text, kind)


def digest(text: str) -> str:
    """SHA-256 of a text in hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def adapter(kind: Any) -> TypeAdapter[Any]:
    """Return the reader and writer of one class, made once."""
    if kind not in _ADAPTERS:
        _ADAPTERS[kind] = TypeAdapter(kind)
    return _ADAPTERS[kind]
