"""Which characters separate cells and decimals, and where the rows of numbers begin."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from crankwise.readers.delimited.numbers import is_number, is_value

WHITESPACE = " "
"""Separator that stands for any run of blanks and tabs."""

NO_SEPARATOR = ""
"""Separator of a file with one column."""

ENOUGH_ROWS = 100
_DECIMAL_COMMA = re.compile(r"\d,\d")


@dataclass(frozen=True, slots=True)
class Dialect:
    """How rows are written.

    Attributes
    ----------
    separator : str
        One character; :data:`WHITESPACE` for runs of blanks, :data:`NO_SEPARATOR` for none.
    decimal : str
        ``"."`` or ``","``.
    cells : int
        Cells in a row, a blank one after a trailing separator included.
    used : tuple of int
        Indices of the cells that hold something in the first rows.
    first_row : int
        Index of the first row of numbers among the lines, from 0.
    """

    separator: str
    decimal: str
    cells: int
    used: tuple[int, ...]
    first_row: int


def split(line: str, separator: str) -> list[str]:
    """Cells of a line; separators inside double quotes don't count.

    >>> split('"0,5";2;', ";"), split("  1   2 ", WHITESPACE), split('"1,5","2"', ",")
    (['"0,5"', '2', ''], ['1', '2'], ['"1,5"', '"2"'])
    """
    if separator == NO_SEPARATOR:
        return [line]
    if separator == WHITESPACE:
        return line.split()
    if '"' not in line:
        return line.split(separator)
    cells = [""]
    for place, part in enumerate(line.split('"')):
        if place % 2:
            cells[-1] += f'"{part}"'
            continue
        first, *others = part.split(separator)
        cells[-1] += first
        cells.extend(others)
    return cells


def detect(lines: Sequence[str]) -> Dialect | None:
    """Find the dialect in which the most rows are numbers, or ``None`` if none are.

    Parameters
    ----------
    lines : sequence of str
        Lines from the beginning of the file.
    """
    best: tuple[tuple[bool, int, int], Dialect] | None = None
    for separator, decimal in _candidates(lines):
        first, count, cells = _longest_run(lines, separator, decimal)
        if not count:
            continue
        rank = (cells > 1, count, cells)
        if best is None or rank > best[0]:
            best = rank, _dialect(lines, separator, decimal, cells, first)
        if cells > 1 and count >= ENOUGH_ROWS:
            break
    return best[1] if best else None


def is_row(line: str, dialect: Dialect) -> bool:
    """Whether a line is a full row of numbers in this dialect."""
    cells = split(line, dialect.separator)
    return (
        len(cells) == dialect.cells
        and all(is_value(cells[index], dialect.decimal) for index in dialect.used)
        and any(is_number(cells[index], dialect.decimal) for index in dialect.used)
    )


def _candidates(lines: Sequence[str]) -> list[tuple[str, str]]:
    """Pairs of separator and decimal mark worth trying, the likeliest of equals first."""
    text = "\n".join(lines[-200:])
    pairs = []
    for separator in ("\t", ";", "|"):
        if separator in text:
            comma = _DECIMAL_COMMA.search(text) is not None
            pairs += [(separator, mark) for mark in ((",", ".") if comma else (".",))]
    if "," in text:
        pairs.append((",", "."))
        if '"' in text:
            pairs.append((",", ","))
    pairs += [(WHITESPACE, "."), (WHITESPACE, ","), (NO_SEPARATOR, "."), (NO_SEPARATOR, ",")]
    return pairs


def _longest_run(lines: Sequence[str], separator: str, decimal: str) -> tuple[int, int, int]:
    """First line, rows and cells of the longest run of rows that are all numbers.

    Blank lines don't end a run, and it is long enough at :data:`ENOUGH_ROWS`.
    """
    best = (0, 0, 0)
    first, count, width = 0, 0, 0
    for index, line in enumerate(lines):
        if not line.strip():
            continue
        cells = split(line, separator)
        if not (
            all(is_value(cell, decimal) for cell in cells)
            and any(is_number(cell, decimal) for cell in cells)
        ):
            count = 0
            continue
        if not count or len(cells) != width:
            first, count, width = index, 0, len(cells)
        count += 1
        if count > best[1]:
            best = (first, count, width)
        if count >= ENOUGH_ROWS:
            break
    return best


def _dialect(lines: Sequence[str], separator: str, decimal: str, cells: int, first: int) -> Dialect:
    """Complete a dialect: which cells are used, and where the rows really begin."""
    rows = [split(line, separator) for line in lines[first : first + ENOUGH_ROWS] if line.strip()]
    rows = [row for row in rows if len(row) == cells]
    used = tuple(index for index in range(cells) if any(row[index].strip(' \t"') for row in rows))
    dialect = Dialect(separator, decimal, cells, used, first)
    return replace(dialect, first_row=_beginning(lines, dialect))


def _is_note(cells: list[str]) -> bool:
    """Whether two cells are a key in words and its value."""
    return len(cells) == 2 and sum(character.isalpha() for character in cells[0]) > 2


def _beginning(lines: Sequence[str], dialect: Dialect) -> int:
    """Index of the first row, also where a bad row interrupts the rows further down.

    Upwards, rows with some numbers belong to the table if a good row or the names stand above
    them; a line without numbers in the used cells ends it.
    """
    start = dialect.first_row
    mixed = None
    for index in range(dialect.first_row - 1, -1, -1):
        if not lines[index].strip():
            continue
        cells = split(lines[index], dialect.separator)
        has_numbers = any(
            is_number(cells[place], dialect.decimal) for place in dialect.used if place < len(cells)
        )
        if not has_numbers:
            are_names = mixed is not None and len(cells) >= len(dialect.used)
            return mixed if are_names and mixed is not None else start
        fills = len(cells) == dialect.cells and not _is_note(cells)
        values = fills and all(is_value(cells[place], dialect.decimal) for place in dialect.used)
        start, mixed = (index, None) if values else (start, index if fills else None)
    return start
