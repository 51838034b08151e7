"""Numbers, amounts, mileages and days as people type them, on screen and on the command line."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from crankwise.errors import UsageError

if TYPE_CHECKING:
    from crankwise.model.job import MileageUnit

MOST_AMOUNT: Final = Decimal(9999999)
MOST_MILEAGE: Final = 9_999_999
_CENT: Final = Decimal("0.01")
_BLANKS: Final = re.compile(r"[\s\u202f\u00a0]")
_GROUPED: Final = re.compile(r"(\d{1,3}([.,'])\d{3}(?:\2\d{3})*)(?:[.,](\d+))?", re.ASCII)
_WHOLE: Final = re.compile(r"(\d{1,12})(?:[.,](\d{1,6}))?", re.ASCII)
_UNIT_AT_END: Final = re.compile(r"(.*?)\s*(km|mi|miles?)\.?", re.IGNORECASE)
_DAY: Final = re.compile(r"(\d{1,2})([./])\s?(\d{1,2})\2\s?(\d{4}|\d{2})", re.ASCII)


def decimal_of(text: str) -> Decimal | None:
    """Read a number, its thousands grouped or not, with a point or a comma before its decimals.

    One mark before three digits parts thousands, as in mileages and prices.

    >>> decimal_of("1.234,50"), decimal_of("89,5"), decimal_of("98.400"), decimal_of("much")
    (Decimal('1234.50'), Decimal('89.5'), Decimal('98400.0'), None)
    """
    plain = _BLANKS.sub("", text).replace("\u2019", "'")
    grouped = _GROUPED.fullmatch(plain)
    if grouped:
        return Decimal(f"{re.sub(r'[^0-9]', '', grouped[1])}.{grouped[3] or 0}")
    whole = _WHOLE.fullmatch(plain)
    return Decimal(f"{whole[1]}.{whole[2] or 0}") if whole else None


def amount_of(text: str) -> Decimal | None:
    """Read an amount of money, or nothing where it is none or has parts of a cent.

    >>> amount_of("1,234.50"), amount_of("£89,5"), amount_of("8.905,123")
    (Decimal('1234.50'), Decimal('89.50'), None)
    """
    found = decimal_of(text.strip().strip("£€$").strip())
    if found is None or found > MOST_AMOUNT or found != found.quantize(_CENT):
        return None
    return found.quantize(_CENT)


def mileage_of(text: str) -> tuple[float, MileageUnit | None] | None:
    """Read a whole mileage with the unit that stands behind it, or nothing where it is none.

    >>> mileage_of("98.400"), mileage_of("98 400 km"), mileage_of("98,400 mi"), mileage_of("98.4")
    ((98400.0, None), (98400.0, 'km'), (98400.0, 'miles'), None)
    """
    match = _UNIT_AT_END.fullmatch(text.strip())
    number, unit = (match[1], match[2].casefold()) if match else (text, "")
    found = decimal_of(number)
    if found is None or found != int(found) or found > MOST_MILEAGE:
        return None
    return float(found), "km" if unit == "km" else "miles" if unit else None


def day_of(text: str) -> str | None:
    """Read a day as ISO 8601, or nothing where it is none.

    With points it is day, month, year; with strokes either order, where only one is a day.

    >>> day_of("2026-03-01"), day_of("1.3.2026"), day_of("27/11/26"), day_of("11/27/2026")
    ('2026-03-01', '2026-03-01', '2026-11-27', '2026-11-27')

    Raises
    ------
    UsageError
        It can be read as two days.
    """
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        pass
    match = _DAY.fullmatch(text.strip())
    if match is None:
        return None
    first, second = int(match[1]), int(match[3])
    year = int(match[4]) + (2000 if len(match[4]) == 2 else 0)
    readings = [(second, first)] if match[2] == "." else [(second, first), (first, second)]
    days = {day for month, day_ in readings if (day := _day(year, month, day_))}
    if len(days) > 1:
        earlier, later = sorted(days)
        raise UsageError(f"{text!r} may be {earlier} or {later}: write it so")
    return days.pop() if days else None


def _day(year: int, month: int, day: int) -> str | None:
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        return None
