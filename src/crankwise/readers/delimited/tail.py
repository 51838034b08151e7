"""The end of a file that was cut short while writing or copying."""

from __future__ import annotations

import re

from crankwise.readers.delimited.dialect import Dialect, is_row, split
from crankwise.readers.delimited.numbers import is_value

_FRACTION = re.compile(r"[.,](\d+)(?:[eE][+-]?\d+)?$")
_NEIGHBOURS = 20


def cut_incomplete(data: bytes, dialect: Dialect) -> tuple[bytes, bool]:
    """Leave out a last row that was not written to its end.

    A row is incomplete if cells are missing that all its neighbours have, or if the file ends
    inside its last number: an unfinished number, or fewer decimals than all neighbours have.

    Parameters
    ----------
    data : bytes
        The last lines of the file, UTF-8.
    dialect : Dialect
        How rows are written.

    Returns
    -------
    data : bytes
        Without the incomplete row.
    is_cut : bool
        Whether there was one; it was the line after those returned.
    """
    body = data.rstrip(b"\r\n")
    start = body.rfind(b"\n") + 1
    last = body[start:].decode(errors="replace").rstrip("\r")
    if not last.strip():
        return data, False
    before = body[max(0, start - 4096) : start].decode(errors="replace").splitlines()
    neighbours = [line for line in before if is_row(line, dialect)][-_NEIGHBOURS:]
    has_end = len(body) < len(data)
    if neighbours and (
        _lacks_cells(last, dialect) or (not has_end and _ends_inside(last, neighbours, dialect))
    ):
        return data[:start], True
    return data, False


def _lacks_cells(last: str, dialect: Dialect) -> bool:
    """Whether the row ends before its last used cell."""
    return len(split(last, dialect.separator)) <= max(dialect.used)


def _ends_inside(last: str, neighbours: list[str], dialect: Dialect) -> bool:
    """Whether the last cell is an unfinished number."""
    cells = split(last, dialect.separator)
    if len(cells) != dialect.cells or dialect.used[-1] != dialect.cells - 1:
        return False
    cell = cells[-1].strip()
    if not is_value(cell, dialect.decimal) or (cell in "+-" and cell):
        return True
    decimals = {_decimals(split(line, dialect.separator)[-1]) for line in neighbours}
    return len(neighbours) >= 5 and len(decimals) == 1 and _decimals(cell) < decimals.pop()


def _decimals(cell: str) -> int:
    match = _FRACTION.search(cell.strip().strip('"'))
    return len(match[1]) if match else 0
