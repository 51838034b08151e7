"""Cells: what counts as a number, a mark for out of range, or a missing value."""

from __future__ import annotations

import re

_UNSIGNED = {
    ".": r"(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?",
    ",": r"(?:\d+(?:,\d*)?|,\d+)(?:[eE][+-]?\d+)?",
}
NUMBER = {decimal: re.compile(rf"[+\-\u2212]?{body}") for decimal, body in _UNSIGNED.items()}
"""A whole cell that is a number, by decimal mark."""

_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:[.,'’\s]\d{3})+(?:[.,]\d*)?|[+-]?\d+[.,]\d+[.,]\d+.*")
_BEYOND = re.compile(
    r"∞|inf|infinity|o\.?l\.?|ov[rlf]|ofl|over|over ?range|out of range|overflow|overload"
    r"|clip(ped)?|1?\.?#inf"
)
_BELOW = re.compile(r"under|under ?range|underflow")
_MISSING = re.compile(
    r"|nan|n/?a|n\.a\.|#n/a|#nv|null|none|nil|-+|\?|\*+|±(∞|inf)|-?(1\.)?#?(q?nan|ind)"
)


def mark_value(cell: str) -> float | None:
    """Value of a mark for out of range or missing, or ``None`` if it is none.

    >>> mark_value("-∞"), mark_value("OL"), mark_value("abc")
    (-inf, inf, None)
    """
    text = cell.strip().strip("\"'").strip().casefold()
    if _MISSING.fullmatch(text):
        return float("nan")
    sign = -1.0 if text[0] in "-−" else 1.0
    bare = text.lstrip("+-−").strip()
    if _BEYOND.fullmatch(bare):
        return sign * float("inf")
    if _BELOW.fullmatch(bare):
        return -float("inf")
    return None


def is_value(cell: str, decimal: str) -> bool:
    """Whether a cell is a number, blank, or a mark."""
    text = cell.strip()
    if not text or NUMBER[decimal].fullmatch(text):
        return True
    text = text.strip('"').strip()
    return NUMBER[decimal].fullmatch(text) is not None or mark_value(text) is not None


def is_number(cell: str, decimal: str) -> bool:
    """Whether a cell is a plain number, quoted or not."""
    return NUMBER[decimal].fullmatch(cell.strip().strip('"').strip()) is not None


def looks_grouped(cell: str) -> bool:
    """Whether a cell looks like a number with thousands separators.

    >>> looks_grouped("1.234,5"), looks_grouped("1'000"), looks_grouped("1.5")
    (True, True, False)
    """
    return _THOUSANDS.fullmatch(cell.strip().strip('"').strip()) is not None


def parse_number(text: str) -> float | None:
    """Read a number with either decimal mark, for preambles; ``None`` if it is none.

    >>> parse_number("5,0E-6"), parse_number("200000"), parse_number("fast")
    (5e-06, 200000.0, None)
    """
    clean = text.strip().strip('"').strip()
    if NUMBER["."].fullmatch(clean):
        return float(clean)
    if NUMBER[","].fullmatch(clean):
        return float(clean.replace(",", "."))
    return None
