"""What must not leave the house: VIN, plate and customer, in whatever text they stand."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import PurePath
from typing import Any

from crankwise import document
from crankwise.model.job import VehicleDetails
from crankwise.model.measurement import Measurement

_SAYS_SOMETHING = 4
"""Shortest name of a file, or part of a name, that is looked for inside other words."""
_TYPED = ("recording", "channel", "provenance", "grade", "family", "settings")
"""Fields that people fill in; the rest is written by the program."""
_FREE_KEYS = ("roles", "settings")
"""Fields whose keys are no words of the format."""


def neutral(measurement: Measurement) -> Measurement:
    """Return the measurement with the file's name, which may say whose it is, taken out.

    >>> from crankwise.store.privacy import neutral_name
    >>> neutral_name("smith van.csv", "1a2b3c4d" + 56 * "0")
    'known-good-1a2b3c4d.csv'
    """
    name = measurement.recording.name
    plain = neutral_name(name, measurement.recording.sha256)
    values = document.to_json(measurement)
    if len(name) >= _SAYS_SOMETHING:
        values = _replaced(values, name, plain)
    values["recording"]["name"] = plain
    return document.loads(json.dumps(values, ensure_ascii=False, allow_nan=False), name=plain)


def neutral_name(name: str, sha256: str) -> str:
    """Name a known-good's recording by its digest; the kind of file stays."""
    kind = PurePath(name).suffix.lower()
    return f"known-good-{sha256[:8]}{kind if re.fullmatch(r'[.][a-z0-9]{1,8}', kind) else ''}"


def naming(values: Mapping[str, Any], private: Iterable[VehicleDetails]) -> tuple[str, str] | None:
    """Find where a document names a vehicle or its owner.

    Parameters
    ----------
    values : mapping
        The document as JSON values.
    private : iterable of VehicleDetails

    Returns
    -------
    tuple of (place, what) or None
        For example ``("provenance.conditions", "plate")``.
    """
    wanted = list(_wanted(private))
    if not wanted:
        return None
    for place, text, typed in _texts(values, ""):
        squeezed, words = _squeezed(text), _words(text)
        for what, parts in wanted:
            if what == "customer" and not typed:
                continue  # names may be words that the program uses
            joined = "".join(parts)
            whole = joined in squeezed if _is_telling(joined) else _in_a_row(parts, words)
            if whole or (what == "customer" and _any_part(parts, words)):
                return place, what
    return None


def _wanted(private: Iterable[VehicleDetails]) -> Iterator[tuple[str, tuple[str, ...]]]:
    seen: set[tuple[str, tuple[str, ...]]] = set()
    for details in private:
        for what in ("vin", "plate", "customer"):
            parts = _words(getattr(details, what) or "")
            if parts and (what, parts) not in seen:
                seen.add((what, parts))
                yield what, parts


def _is_telling(joined: str) -> bool:
    """Whether it is told apart even inside other words: long, with letters and digits."""
    return (
        len(joined) > _SAYS_SOMETHING
        and any(char.isdigit() for char in joined)
        and any(char.isalpha() for char in joined)
    )


def _in_a_row(parts: tuple[str, ...], words: tuple[str, ...]) -> bool:
    """Whether the words hold the parts next to each other, however they are spaced."""
    joined = "".join(parts)
    for start in range(len(words)):
        grown = ""
        for word in words[start:]:
            grown += word
            if grown == joined:
                return True
            if len(grown) >= len(joined):
                break
    return False


def _any_part(parts: tuple[str, ...], words: tuple[str, ...]) -> bool:
    return any(len(part) >= _SAYS_SOMETHING and part in words for part in parts)


def _words(text: str) -> tuple[str, ...]:
    return tuple(re.findall(r"[^\W_]+", text.casefold()))


def _squeezed(text: str) -> str:
    return "".join(_words(text))


def _texts(value: Any, place: str) -> Iterator[tuple[str, str, bool]]:
    """Every text with its place, and whether people fill it in."""
    if isinstance(value, str):
        yield place, value, any(part in place for part in _TYPED)
    elif isinstance(value, Mapping):
        for key, item in value.items():
            if place.endswith(_FREE_KEYS):
                yield f"{place}.{key}", str(key), True
            yield from _texts(item, f"{place}.{key}".lstrip("."))
    elif isinstance(value, (list, tuple)):
        for index, item in enumerate(value):
            yield from _texts(item, f"{place}[{index}]")


def _replaced(value: Any, name: str, plain: str) -> Any:
    if isinstance(value, str):
        return value.replace(name, plain)
    if isinstance(value, Mapping):
        return {key: _replaced(item, name, plain) for key, item in value.items()}
    if isinstance(value, list):
        return [_replaced(item, name, plain) for item in value]
    return value
