"""Column labels as people and scopes write them: names, units, time words, stated intervals."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

Unit = TypeVar("Unit")
Number = TypeVar("Number", float, npt.NDArray[np.float64])

_WORDS: dict[str, Any] = tomllib.loads(
    files("crankwise.readers").joinpath("words.toml").read_text(encoding="utf-8")
)


def _by_spelling(table: str, values: Mapping[str, Unit]) -> dict[str, Unit]:
    """Turn a table of spellings into a look-up from spelling to value."""
    return {
        spelling: values[unit]
        for unit, spellings in _WORDS[table].items()
        for spelling in spellings
    }


TIME_UNITS = _by_spelling("time_units", {"min": 60.0, "s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9})
"""Seconds in one time unit, by its normalised spelling."""

RATE_UNITS = _by_spelling("rate_units", {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9})
"""Samples a second in one rate unit."""

SIGNAL_UNITS = _by_spelling(
    "signal_units",
    {
        "V": ("V", 1.0),
        "mV": ("V", 1e-3),
        "kV": ("V", 1e3),
        "uV": ("V", 1e-6),
        "A": ("A", 1.0),
        "mA": ("A", 1e-3),
        "uA": ("A", 1e-6),
        "kA": ("A", 1e3),
    },
)
"""Base unit and factor for the units that are converted."""

KEPT_UNITS = frozenset(_WORDS["kept_units"])
TIME_WORDS = frozenset(_WORDS["time_words"])
INDEX_WORDS = frozenset(_WORDS["index_words"])
INTERVAL_WORDS = frozenset(_WORDS["interval_words"])
RATE_WORDS = frozenset(_WORDS["rate_words"])
COLUMN_WORDS = frozenset(_WORDS["column_words"])
BLANK_WORDS = frozenset(_WORDS["blank_words"])
CHANNEL_WORDS = frozenset(_WORDS["channel_words"])
STATE_COLUMN_WORDS = frozenset(_WORDS["state_column_words"])
STATES = dict.fromkeys(_WORDS["high_words"], True) | dict.fromkeys(_WORDS["low_words"], False)
"""High or low, by the word for it; a word for an edge means the state after it."""

_LONGEST_LABEL = 100
"""Characters of a name that are kept: it is shown in messages and pictures."""

_BRACKETED = re.compile(r"^(?P<name>.*?)\s*[\[({<]\s*(?P<unit>[^\[\](){}<>]*?)\s*[\])}>]$")
_DIVIDED = re.compile(r"^(?P<name>.+?)\s*(?:/|,|\bin\b)\s*(?P<unit>\S+)$")
_TAILED = re.compile(r"^(?P<name>.+?)[_ .-](?P<unit>[^_\s]+)$")


@dataclass(frozen=True, slots=True)
class Label:
    """A column's name and the unit written for it; ``unit`` is ``None`` where none is."""

    name: str
    unit: str | None

    @property
    def is_time(self) -> bool:
        """Whether the name is a word for time, or the name of a time unit."""
        return is_time_word(self.name) or (not self.name and time_unit_s(self.unit) is not None)

    @property
    def is_index(self) -> bool:
        """Whether the column counts samples instead of carrying a signal."""
        if self.unit is not None and normal(self.unit) in ("sequence", "samples", "sample"):
            return True
        return normal(self.name) in INDEX_WORDS and self.unit in (None, "", "-", "1")


def normal(text: str) -> str:
    """Fold case, compatibility forms, quotes and outer punctuation, for look-ups.

    >>> normal(' "Sample Interval:" ')
    'sample interval'
    """
    folded = unicodedata.normalize("NFKC", text).strip().strip("\"'").strip().casefold()
    return " ".join(folded.rstrip(":=.").split())


def time_unit_s(unit: str | None) -> float | None:
    """Seconds in one such unit, or ``None`` if it is not a time unit.

    >>> time_unit_s("µs"), time_unit_s("mV")
    (1e-06, None)
    """
    if unit is None or unit in ("MS", "NS", "US"):  # upper case could as well be mega
        return None
    return TIME_UNITS.get(normal(unit))


def rate_unit_hz(unit: str) -> float | None:
    """Give the samples a second in one such unit, or ``None`` if it is not a rate unit."""
    return RATE_UNITS.get(normal(unit))


def signal_unit(unit: str | None) -> tuple[str, float]:
    """Choose the unit to store a signal in, and the factor to it.

    >>> signal_unit("mV"), signal_unit("°C"), signal_unit(None)
    (('V', 0.001), ('°C', 1.0), ('', 1.0))
    """
    if unit is None:
        return "", 1.0
    spelled = unicodedata.normalize("NFKC", unit).strip()
    if spelled in SIGNAL_UNITS:
        return SIGNAL_UNITS[spelled]
    return ("" if spelled in ("-", "1", "bit", "bool", "logic") else unit.strip()), 1.0


def scaled(value: Number, factor: float) -> Number:
    """Multiply by a power of ten; by dividing where that rounds better.

    >>> 5 * 1e-6, scaled(5.0, 1e-6)
    (4.9999999999999996e-06, 5e-06)
    """
    return value / round(1.0 / factor) if factor < 1.0 else value * factor


def is_unit(text: str) -> bool:
    """Whether a text is a unit by itself, with or without brackets."""
    inner = text.strip().strip("\"'").strip()
    if len(inner) > 1 and inner[0] in "[({<" and inner[-1] in "])}>":
        inner = inner[1:-1].strip()
    spelled = unicodedata.normalize("NFKC", inner)
    return (
        time_unit_s(inner) is not None
        or spelled in SIGNAL_UNITS
        or spelled in KEPT_UNITS
        or normal(inner) in KEPT_UNITS
    )


def is_time_word(name: str) -> bool:
    """Whether a name says time: the word itself, or a phrase that begins with it.

    >>> is_time_word("Zeit"), is_time_word("Time since start"), is_time_word("timing")
    (True, True, False)
    """
    folded = normal(name)
    if folded in TIME_WORDS:
        return True
    first = re.split(r"[\s_.-]", folded)[0]
    return len(first) > 1 and first in TIME_WORDS


def parse_label(text: str) -> Label:
    """Split a header cell into name and unit.

    >>> parse_label("Time[s]"), parse_label("t_ms")
    (Label(name='Time', unit='s'), Label(name='t', unit='ms'))
    >>> parse_label("Crank (bank 1)")
    Label(name='Crank (bank 1)', unit=None)
    """
    clean = " ".join(text.strip().strip('"').split())[:_LONGEST_LABEL]
    bracketed = _BRACKETED.match(clean)
    if bracketed:
        name, unit = bracketed["name"].strip(), bracketed["unit"]
        if is_unit(unit) or is_time_word(name):
            return Label(name, unit or None)
        return Label(clean, None)
    if time_unit_s(clean) is not None and len(clean) > 1:
        return Label("", clean)
    divided = _DIVIDED.match(clean)
    if divided and is_unit(divided["unit"]) and not _is_letter(divided["name"], divided["unit"]):
        return Label(divided["name"].strip(), divided["unit"])
    tailed = _TAILED.match(clean)
    if tailed and _is_tail_unit(tailed["name"], tailed["unit"]):
        return Label(tailed["name"].strip(), tailed["unit"])
    return Label(clean, None)


def _is_letter(name: str, unit: str) -> bool:
    """Whether ``A`` or ``V`` letters a part, as in ``Cam 1/A``, instead of being its unit."""
    return unit in ("A", "K", "N", "W", "L", "1", "g", "m", "-") and len(name) > 2


def _is_tail_unit(name: str, unit: str) -> bool:
    """Whether a last word is a unit: ``time_ms`` yes, ``Channel A`` no."""
    if is_time_word(name):
        return time_unit_s(unit) is not None
    return unit in ("V", "mV", "kV", "mA", "volts", "Volts")


def find_time(labels: Sequence[Label]) -> int | None:
    """Index of the time column by its label, or ``None``.

    A word for time is enough anywhere; a bare time unit only in the first column, since
    ``Injection (ms)`` further right is a signal.
    """
    for index, label in enumerate(labels):
        if label.is_time:
            return index
    if labels and time_unit_s(labels[0].unit) is not None:
        return 0
    if len(labels) > 1 and labels[0].is_index and time_unit_s(labels[1].unit) is not None:
        return 1
    is_axis = labels and normal(labels[0].name) in ("x", "x-axis", "x axis", "xaxis")
    return 0 if is_axis and not labels[0].is_index else None


def unique_names(names: Sequence[str], *, fallback: str) -> tuple[str, ...]:
    """Make names unique and non-empty; the fallback is numbered by place, from 1.

    >>> unique_names(["CH", "", "CH"], fallback="column")
    ('CH', 'column 2', 'CH (2)')
    """
    taken: set[str] = set()
    result = []
    for place, name in enumerate(names, start=1):
        base = name[:_LONGEST_LABEL] or f"{fallback} {place}"
        candidate, count = base, 1
        while candidate in taken:
            count += 1
            candidate = f"{base} ({count})"
        taken.add(candidate)
        result.append(candidate)
    return tuple(result)
