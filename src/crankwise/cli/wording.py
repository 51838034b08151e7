"""Words that need no terminal to be put together."""

from __future__ import annotations

from crankwise.language import told


def short(identifier: str) -> str:
    """Shorten a hash or an identifier to what one types.

    >>> short("1a2b3c4d5e6f7081")
    '1a2b3c4d'
    """
    return identifier[:8]


def distance(mileage: float | None, unit: str | None) -> str:
    """Write a mileage as one reads it from the clock.

    >>> distance(98400, "miles"), distance(None, None)
    ('98,400 miles', '')
    """
    return "" if mileage is None else told(f"{mileage:,.0f} {unit or ''}".rstrip())
