"""Lists of state changes that are no table of numbers: by channel, in words, as a bus, by edge.

Loggers write the same list in several ways. Each is told by its names and its first rows, and
brought to the table that :mod:`crankwise.readers.events` takes apart: a time, and one state for
each channel.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from crankwise.readers.delimited.cells import is_state, is_time_cell, is_word, time_of
from crankwise.readers.delimited.dialect import split
from crankwise.readers.delimited.numbers import looks_grouped
from crankwise.readers.labels import (
    CHANNEL_WORDS,
    STATE_COLUMN_WORDS,
    STATES,
    Label,
    find_time,
    is_time_word,
    normal,
    parse_label,
    time_unit_s,
)

_SEPARATORS = (";", "\t", "|", ",")
_LONGEST_PREAMBLE = 200
_ENOUGH_ROWS = 100
_BITS = re.compile(r"\[(\d+)\s*(?:\.\.|:)\s*(\d+)\]|\bhex\b", re.IGNORECASE)
_PREFIXED = re.compile(r"0[xX][0-9a-fA-F]+|0[bB][01]+|[0-9a-fA-F]+[hH]")
_BARE = re.compile(r"[0-9a-fA-F]+")

Columns = Sequence[Sequence[str]]


@dataclass(frozen=True, slots=True)
class Listing:
    """How a list of state changes is written.

    Attributes
    ----------
    form : str
        ``"by-channel"``, ``"in-words"``, ``"bus"`` or ``"by-edge"``.
    separator : str
        One character between cells.
    decimal : str
        ``"."`` or ``","``.
    names_line : int
        Number of the line with the names, from 1; the rows follow it.
    labels : tuple of Label
        One for each cell of a row.
    time : int or None
        Index of the time; ``None`` where every column is one.
    channel, state : int or None
        Indices of the channel's name and its state, by channel.
    """

    form: str
    separator: str
    decimal: str
    names_line: int
    labels: tuple[Label, ...]
    time: int | None = None
    channel: int | None = None
    state: int | None = None


def find_listing(lines: Sequence[str]) -> Listing | None:
    """Recognise a list of state changes by its names and first rows; else ``None``.

    Parameters
    ----------
    lines : sequence of str
        Lines from the beginning of the file.

    Examples
    --------
    >>> find_listing(["time;channel;state", "0,1;D0;high", "0,2;D1;low", "0,4;D0;low"]).form
    'by-channel'
    >>> find_listing(["time,crank", "0.1,2.5", "0.2,2.4", "0.3,2.5"]) is None
    True
    """
    for index, line in enumerate(lines[:_LONGEST_PREAMBLE]):
        for separator in _SEPARATORS:
            names = split(line, separator)
            if len(names) < 2 or any(is_time_cell(name, mark) for name in names for mark in ".,"):
                continue
            columns = _columns(lines[index + 1 :], separator, len(names))
            if columns:
                labels = tuple(parse_label(name) for name in names)
                found = _told(labels, columns, separator, index + 1)
                if found is not None:
                    return found
    return None


def _columns(lines: Sequence[str], separator: str, cells: int) -> Columns:
    """Cells of the first rows, column by column; nothing if the rows are of another width."""
    rows = []
    for line in lines:
        if not line.strip(" \t\r,;|"):
            continue
        row = [cell.strip().strip('"').strip() for cell in split(line, separator)]
        if len(row) != cells:
            break
        rows.append(row)
        if len(rows) == _ENOUGH_ROWS:
            break
    return list(zip(*rows, strict=True)) if len(rows) > 2 else []


def _told(
    labels: tuple[Label, ...], columns: Columns, separator: str, names_line: int
) -> Listing | None:
    """Tell the form by names and cells."""
    text = " ".join(cell for column in columns for cell in column)
    has_comma = separator != "," and re.search(r"\d,\d", text) is not None
    decimal = "," if has_comma else "."
    time = find_time(labels)
    if time is not None and all(is_time_cell(cell, decimal) for cell in columns[time]):
        channel = _named(labels, CHANNEL_WORDS)
        state = _named(labels, STATE_COLUMN_WORDS)
        if None not in (channel, state) and all(map(is_state, columns[state or 0])):
            return Listing(
                "by-channel", separator, decimal, names_line, labels, time, channel, state
            )
        for form, fits in _FORMS.items():
            if fits(labels, columns, time):
                return Listing(form, separator, decimal, names_line, labels, time)
    if _by_edge(labels, columns, decimal):
        return Listing("by-edge", separator, decimal, names_line, labels)
    return None


def _named(labels: Sequence[Label], words: frozenset[str]) -> int | None:
    return next((i for i, label in enumerate(labels) if normal(label.name) in words), None)


def _in_words(labels: Sequence[Label], columns: Columns, time: int) -> bool:
    """Whether each channel's column says high or low, or the times carry their unit."""
    others = [
        column
        for index, column in enumerate(columns)
        if index != time and not labels[index].is_index
    ]
    are_states = bool(others) and all(is_state(cell) for column in others for cell in column)
    is_plain = all(cell in ("0", "1") for column in others for cell in column)
    return are_states and (not is_plain or any(map(is_word, columns[time])))


def _bus(labels: Sequence[Label], columns: Columns, time: int) -> bool:
    """Whether one column holds all channels as the bits of a number."""
    others = [index for index in range(len(labels)) if index != time and not labels[index].is_index]
    if len(others) != 1:
        return False
    cells = columns[others[0]]
    if all(_PREFIXED.fullmatch(cell) for cell in cells):
        return True
    label = labels[others[0]]
    is_told = _BITS.search(label.name) is not None or normal(label.unit or "") == "hex"
    return is_told and all(_BARE.fullmatch(cell) for cell in cells)


_FORMS: dict[str, Callable[[Sequence[Label], Columns, int], bool]] = {
    "in-words": _in_words,
    "bus": _bus,
}


def _by_edge(labels: Sequence[Label], columns: Columns, decimal: str) -> bool:
    """Whether every column lists the times of one channel's edges."""
    if any(is_time_word(label.name) or label.is_index for label in labels):
        return False
    if any(label.unit is not None and time_unit_s(label.unit) is None for label in labels):
        return False
    return all(_runs_on(column, decimal) for column in columns)


def _runs_on(column: Sequence[str], decimal: str) -> bool:
    """Whether times rise from cell to cell, with blanks at the end at most."""
    filled = [cell for cell in column if cell]
    if len(filled) < 3 or any(column[len(filled) :]):
        return False
    if not all(is_time_cell(cell, decimal) and not looks_grouped(cell) for cell in filled):
        return False
    times = [time_of(cell, decimal)[0] for cell in filled]
    return all(before < after for before, after in pairwise(times))


def edge_of(name: str) -> tuple[str, bool | None]:
    """Split a column's name into the channel and the state after the edge.

    >>> edge_of("crank rising"), edge_of("falling D1"), edge_of("CH1")
    (('crank', True), ('D1', False), ('CH1', None))
    """
    words = name.replace("_", " ").split()
    for index, word in enumerate(words):
        folded = normal(word)
        if folded in STATES and len(folded) > 1 and len(words) > 1:
            return " ".join(words[:index] + words[index + 1 :]), STATES[folded]
    return name, None
