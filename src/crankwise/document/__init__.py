"""Measurements and comparisons as JSON documents: written whole or not at all, checked when read.

A document mirrors the dataclasses of :mod:`crankwise.model` field by field, so that the format
can't drift from the code. The JSON Schemas are in ``crankwise/schemas``.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from crankwise.document.files import at_home, looks_like_document, write_whole
from crankwise.document.kinds import COMPARISON, MEASUREMENT, parsed, refuse
from crankwise.document.text import plain, pretty
from crankwise.given import bytes_of
from crankwise.model.comparison import Comparison
from crankwise.model.measurement import Measurement

_MOST_BYTES = 16_000_000
"""Largest document read: one has some 20 kB."""

__all__ = [
    "at_home",
    "dumps",
    "load",
    "load_comparison",
    "loads",
    "loads_comparison",
    "looks_like_document",
    "recordings_of",
    "save",
    "to_json",
    "write_whole",
]


def to_json(result: Measurement | Comparison) -> dict[str, Any]:
    """Return a result as plain JSON values, the format's fixed fields first.

    Raises
    ------
    ValueError
        A number is NaN or infinite, which JSON can't carry; names the field.
    """
    kind = COMPARISON if isinstance(result, Comparison) else MEASUREMENT
    values: dict[str, Any] = plain(result)
    head = {key: values.pop(key) for key in kind.first}
    return head | values


def dumps(result: Measurement | Comparison) -> str:
    """Return the document as text: one line for each entry, lists of numbers on one line."""
    return pretty(to_json(result)) + "\n"


def save(result: Measurement | Comparison, path: str | os.PathLike[str]) -> None:
    """Write the document; an interrupted write leaves what was there before.

    Raises
    ------
    UsageError
        The place can't be written, or holds a recording that the result came from.
    """
    write_whole(path, dumps(result).encode(), keep_sha256=recordings_of(result))


def load(path: str | os.PathLike[str]) -> Measurement:
    """Read a saved measurement; fields this version does not know are passed over.

    Raises
    ------
    UnreadableError
        Not a measurement, of a format this version does not read, or with a missing or senseless
        value; names the file, the place in it and what to do.
    """
    return loads(_text(path, MEASUREMENT.noun), name=str(path))


def loads(text: str, *, name: str) -> Measurement:
    """Read a measurement from JSON text; ``name`` is what errors call it.

    Raises
    ------
    UnreadableError
        As for :func:`load`.
    """
    return parsed(text, name, MEASUREMENT)


def load_comparison(path: str | os.PathLike[str]) -> Comparison:
    """Read a saved comparison; otherwise as :func:`load`.

    Raises
    ------
    UnreadableError
        As for :func:`load`.
    """
    return loads_comparison(_text(path, COMPARISON.noun), name=str(path))


def loads_comparison(text: str, *, name: str) -> Comparison:
    """Read a comparison from JSON text; ``name`` is what errors call it.

    Raises
    ------
    UnreadableError
        As for :func:`load`.
    """
    return parsed(text, name, COMPARISON)


def recordings_of(result: Measurement | Comparison) -> set[str]:
    """Digests of all recordings that took part, which no result may replace."""
    if isinstance(result, Measurement):
        return {result.recording.sha256}
    return {side.sha256 for side in (result.subject, *result.known_goods)}


def _text(path: str | os.PathLike[str], noun: str) -> str:
    try:
        return bytes_of(Path(path), most_bytes=_MOST_BYTES).decode("utf-8-sig")
    except OSError as error:
        refuse(Path(path), f"it can't be opened ({error.strerror})")
    except UnicodeDecodeError:
        refuse(Path(path), f"it is not text, so not a saved {noun}; measure it as a recording")
