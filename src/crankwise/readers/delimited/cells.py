"""Cells of lists of state changes: times that may carry their unit, and words for states."""

from __future__ import annotations

import re

from crankwise.readers.labels import STATES, normal, scaled, time_unit_s

_TIME = {
    mark: re.compile(
        rf"(?P<number>[+\-\u2212]?(?:\d+{re.escape(mark)}?\d*|{re.escape(mark)}\d+)"
        r"(?:[eE][+-]?\d+)?)\s*(?P<unit>[^\W\d_]*)"
    )
    for mark in ".,"
}


def is_state(cell: str) -> bool:
    """Whether a cell is a word for a state or for an edge.

    >>> is_state("High"), is_state("falling"), is_state("2.4")
    (True, True, False)
    """
    return normal(cell) in STATES


def is_time_cell(cell: str, decimal: str) -> bool:
    """Whether a cell is a number, with a unit of time or without.

    >>> is_time_cell("0.4725 ms", "."), is_time_cell("12", "."), is_time_cell("5 V", ".")
    (True, True, False)
    """
    return _parts(cell, decimal) is not None


def is_word(cell: str) -> bool:
    """Whether a cell ends with letters, as a number with its unit does."""
    return cell.strip()[-1:].isalpha()


def time_of(cell: str, decimal: str) -> tuple[float, bool]:
    """Number in a cell, in seconds if its unit stands with it, and whether it does.

    >>> time_of("0,5 ms", ","), time_of("0.5", ".")
    ((0.0005, True), (0.5, False))

    Raises
    ------
    ValueError
        If it is no time.
    """
    parts = _parts(cell, decimal)
    if parts is None:
        raise ValueError(cell)
    number, factor = parts
    return (number, False) if factor is None else (scaled(number, factor), True)


def _parts(cell: str, decimal: str) -> tuple[float, float | None] | None:
    match = _TIME[decimal].fullmatch(cell.strip().strip('"').strip())
    if match is None:
        return None
    number = float(match["number"].replace("\u2212", "-").replace(decimal, "."))
    if not match["unit"]:
        return number, None
    factor = time_unit_s(match["unit"])
    return None if factor is None else (number, factor)
