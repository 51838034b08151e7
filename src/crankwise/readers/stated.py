"""A sampling interval that a file states beside its samples: in notes, attributes, metadata."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from crankwise.model.finding import Finding
from crankwise.readers.labels import (
    INTERVAL_WORDS,
    RATE_WORDS,
    Label,
    normal,
    parse_label,
    rate_unit_hz,
    scaled,
    time_unit_s,
)

FINEST_S, COARSEST_S = 1e-9, 2e-3
"""Range of sampling intervals that are likely where a note has no unit."""

Note = tuple[Label, float, str | None]
"""Key, value, and the unit written with the value or the key."""

_QUANTITY = re.compile(
    r"^\s*(?P<number>[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(?P<unit>\S*)"
)


def interval_from_notes(notes: Iterable[Note]) -> tuple[float | None, tuple[Finding, ...]]:
    """Take the sampling interval that notes state, if they agree.

    Returns
    -------
    interval_s : float or None
    findings : tuple of Finding
        What was assumed, or that the notes contradict each other.
    """
    found: list[tuple[float, bool]] = []
    for key, number, unit in notes:
        word = normal(key.name.replace("_", " "))
        if word in INTERVAL_WORDS:
            found += _from_interval(number, unit)
        elif word in RATE_WORDS:
            found += _from_rate(number, unit)
    if not found:
        return None, ()
    interval_s, has_unit = found[0]
    if any(abs(other - interval_s) > 1e-3 * interval_s for other, _ in found):
        text = "The file states different sampling intervals: " + ", ".join(
            f"{other:.6g} s" for other, _ in found
        )
        return None, (Finding("interval-ambiguous", "caution", text + "; none was used."),)
    if has_unit:
        return interval_s, ()
    text = (
        f"The file states the sampling interval or rate without a unit; {interval_s:.6g} s was "
        "taken. Angles don't depend on it, but speeds do: check that the speed is right."
    )
    return interval_s, (Finding("interval-unit-assumed", "note", text),)


def notes_from_metadata(metadata: Mapping[str, Any]) -> list[Note]:
    """Turn named values of any kind into notes; those that are no quantities are left out.

    >>> notes_from_metadata({"interval_us": 5, "fs": "200 kHz", "title": "idle"})
    [(Label(name='interval', unit='us'), 5.0, 'us'), (Label(name='fs', unit=None), 200.0, 'kHz')]
    """
    notes: list[Note] = []
    for name, value in metadata.items():
        key = _key(name)
        text = value.decode(errors="replace") if isinstance(value, bytes) else str(value)
        match = _QUANTITY.match(text.strip("[]() "))
        if match:
            notes.append((key, float(match["number"]), match["unit"].strip("])") or key.unit))
    return notes


def _key(name: str) -> Label:
    """Split a name such as ``interval_us``, ``interval [us]`` or ``sample_rate_kHz``."""
    label = parse_label(name)
    stem, _, tail = label.name.rpartition("_")
    if label.unit is None and stem and (time_unit_s(tail) or rate_unit_hz(tail)):
        return Label(stem, tail)
    return label


def _from_interval(number: float, unit: str | None) -> list[tuple[float, bool]]:
    factor = time_unit_s(unit)
    if factor is not None and number > 0.0:
        return [(scaled(number, factor), True)]
    return [(number, False)] if unit is None and FINEST_S <= number <= COARSEST_S else []


def _from_rate(number: float, unit: str | None) -> list[tuple[float, bool]]:
    factor = rate_unit_hz(unit) if unit else None
    if factor is not None and number > 0.0:
        return [(1.0 / (number * factor), True)]
    is_likely = number > 0.0 and FINEST_S <= 1.0 / number <= COARSEST_S
    return [(1.0 / number, False)] if unit is None and is_likely else []
