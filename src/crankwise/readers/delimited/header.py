"""What stands above the numbers: names, units, and a sampling interval among other notes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from crankwise.model.finding import Finding
from crankwise.readers.delimited.dialect import ENOUGH_ROWS, WHITESPACE, Dialect, split
from crankwise.readers.delimited.numbers import is_number, looks_grouped, parse_number
from crankwise.readers.labels import (
    INTERVAL_WORDS,
    RATE_WORDS,
    Label,
    is_unit,
    normal,
    parse_label,
    rate_unit_hz,
    time_unit_s,
)
from crankwise.readers.stated import Note, interval_from_notes

_LONGEST_NOTE = 1000
"""Characters of a line above the rows that may be a note."""

_COMMENT = re.compile(r"^\s*(?:#|%|//|')+\s*")
_NOTE = re.compile(r"^(?P<key>[^\d:=;,\t|]*[^\s\d:=;,\t|])[\s:=;,\t|]+(?P<value>[+-]?[.,]?\d.*)$")
_VALUE = re.compile(r"^(?P<number>[+-]?[\d.,]*\d[.,]?(?:[eE][+-]?\d+)?)\s*(?P<unit>.*)$")


@dataclass(frozen=True, slots=True)
class Header:
    """Names and units found above the rows of numbers.

    Attributes
    ----------
    labels : tuple of Label
        One for each cell of a row; blank names where nothing is written.
    names_line, units_line : int or None
        Their line numbers in the file, from 1.
    interval_s : float or None
        Sampling interval stated in the preamble, seconds.
    findings : tuple of Finding
        What was assumed to read it.
    """

    labels: tuple[Label, ...]
    names_line: int | None
    units_line: int | None
    interval_s: float | None
    findings: tuple[Finding, ...]


def read_header(lines: Sequence[str], dialect: Dialect) -> Header:
    """Find names, units and the stated interval above the rows of numbers.

    Parameters
    ----------
    lines : sequence of str
        The file's lines from its first one on, at least up to the first row of numbers.
    dialect : Dialect
        How the rows are written and where they begin.
    """
    above = [(number, line) for number, line in enumerate(lines[: dialect.first_row], start=1)]
    above = [(number, line) for number, line in above if line.strip(" \t,;|\"'")]
    rows = [(number, _cells(line, dialect)) for number, line in above[-2:]]
    units_line = names_line = None
    names = units = [""] * dialect.cells
    if rows and _are_units(rows[-1][1], dialect):
        units_line, units = rows.pop()
    if rows and _are_names(rows[-1][1], dialect):
        names_line, names = rows.pop()
    labels = tuple(
        _label(name, unit)
        for name, unit in zip(_fit(names, dialect), _fit(units, dialect), strict=True)
    )
    noted = [*(line for _, line in above), *_beside(lines, dialect)]
    interval_s, findings = interval_from_notes(_notes(noted, dialect))
    return Header(labels, names_line, units_line, interval_s, findings)


def _cells(line: str, dialect: Dialect) -> list[str]:
    """Cells of a line above the rows; blanks inside a name or before its unit don't split it."""
    text = _COMMENT.sub("", line).strip() if dialect.separator == WHITESPACE else line
    if dialect.separator == WHITESPACE:
        for gap in (r"\s{2,}|\t", r"\s+(?![\[({])"):
            cells = re.split(gap, text)
            if len(cells) == dialect.cells:
                return cells
    return [cell.strip() for cell in split(_COMMENT.sub("", text), dialect.separator)]


def _fit(cells: list[str], dialect: Dialect) -> list[str]:
    return (cells + [""] * dialect.cells)[: dialect.cells]


def _are_units(cells: list[str], dialect: Dialect) -> bool:
    """Whether the cells over the numbers are units, or blank."""
    over = [cell for index, cell in enumerate(cells) if index in dialect.used and cell.strip('" ')]
    return bool(over) and all(is_unit(cell) for cell in over)


def _are_names(cells: list[str], dialect: Dialect) -> bool:
    """Whether the cells over the numbers could be names: words, and not a note with a value."""
    over = [cell for index, cell in enumerate(cells) if index in dialect.used]
    if not any(cell.strip('" ') for cell in over) or any(
        is_number(cell, dialect.decimal) for cell in over
    ):
        return False
    return len(cells) > 1 or len(dialect.used) == 1


def _label(name: str, unit: str) -> Label:
    written = parse_label(name)
    inner = unit.strip().strip('"').strip()
    if len(inner) > 1 and inner[0] in "[({<" and inner[-1] in "])}>":
        inner = inner[1:-1].strip()
    return Label(written.name, inner or written.unit)


def _beside(lines: Sequence[str], dialect: Dialect) -> list[str]:
    """Collect notes that stand in the unused cells of the first rows, beside the numbers."""
    unused = [index for index in range(dialect.cells) if index not in dialect.used]
    if not unused:
        return []
    first = dialect.first_row
    rows = [split(line, dialect.separator) for line in lines[first : first + ENOUGH_ROWS]]
    full = [row for row in rows if len(row) == dialect.cells]
    notes = [dialect.separator.join(row[index] for index in unused) for row in full]
    return [note for note in notes if note.strip(" \t,;|")]


def _notes(above: Sequence[str], dialect: Dialect) -> Iterator[Note]:
    """Find notes with a value: ``key: value unit`` in a line, or a value below its key."""
    above = [line for line in above if len(line) <= _LONGEST_NOTE]
    for line in above:
        match = _NOTE.match(_COMMENT.sub("", line.replace('"', "")).strip())
        if match:
            key = parse_label(match["key"])
            value = _value(match["value"], dialect)
            if value is not None:
                yield key, value[0], value[1] or key.unit
    for upper, lower in pairwise(above):
        for key_cell, cell in zip(_cells(upper, dialect), _cells(lower, dialect), strict=False):
            key = parse_label(key_cell)
            value = _value(cell, dialect)
            if value is not None and normal(key.name) in INTERVAL_WORDS | RATE_WORDS:
                yield key, value[0], value[1] or key.unit


def _value(text: str, dialect: Dialect) -> tuple[float, str | None] | None:
    """Read number and unit of a note; numbers that may have thousands separators say nothing."""
    separator = dialect.separator.strip(" ")
    cells = [cell.strip() for cell in (text.split(separator) if separator else [text])]
    match = _VALUE.match(cells[0].strip('"'))
    if not match:
        return None
    written = match["number"]
    number = parse_number(written.rstrip(".,"))
    if number is None or (looks_grouped(written) and dialect.decimal not in written):
        return None
    unit = match["unit"].strip(' "[]()')
    if not unit and len(cells) > 1:
        following = cells[1].strip('"[]()')
        unit = following if time_unit_s(following) or rate_unit_hz(following) else ""
    return number, unit or None
