"""What people type into forms, as facts of a visit."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Final

from fastapi import Depends, Request

from crankwise.errors import UsageError
from crankwise.language import say
from crankwise.workshop.typed import amount_of, decimal_of, mileage_of

if TYPE_CHECKING:
    from decimal import Decimal

    from crankwise.model.job import MileageUnit

MOST_WORDS: Final = 2000
_MOST_CODES: Final = 50
_LONGEST_CODE: Final = 20


async def typed(request: Request) -> dict[str, str]:
    """Return what a form of any fields holds, without the session's token.

    A dependency: the body is read by the server's loop, and the route does its work beside it.
    """
    fields = {key: str(value)[:MOST_WORDS] for key, value in (await request.form()).items()}
    fields.pop("csrf_token", None)
    return fields


Typed = Annotated[dict[str, str], Depends(typed)]


def words(text: str, *, what: str) -> str:
    """Put words on one line.

    Raises
    ------
    UsageError
        There are none, or too many.
    """
    line = _one_line(text)
    if not line:
        raise UsageError(say("{what}: nothing was written; fill in the field", what=what))
    if len(line) > MOST_WORDS:
        raise UsageError(say("{what}: shorten the text to 2000 characters", what=what))
    return line


def optional(text: str) -> str | None:
    """Words on one line, or nothing."""
    return _one_line(text)[:MOST_WORDS] or None


def _one_line(text: str) -> str:
    """Put text on one line, without characters that are not seen or turn the writing round."""
    return " ".join("".join(char if char.isprintable() else " " for char in text).split())


def amount(text: str, *, what: str) -> Decimal:
    """Read an amount of money as people write it, with a point or a comma before the cents.

    Raises
    ------
    UsageError
        It is none.

    >>> amount("1,234.50", what="x"), amount("1.234,50", what="x"), amount("89,5", what="x")
    (Decimal('1234.50'), Decimal('1234.50'), Decimal('89.50'))
    """
    found = amount_of(text)
    if found is None:
        raise UsageError(
            say("{what}: {typed} is no amount; write 240 or 89.50", what=what, typed=repr(text))
        )
    return found


def mileage(text: str, unit: MileageUnit) -> tuple[float | None, MileageUnit | None]:
    """Read a mileage; nothing written means that it is not known.

    A unit written behind it wins over the one chosen.

    Raises
    ------
    UsageError
        It is no mileage.
    """
    if not text.strip():
        return None, None
    found = mileage_of(text)
    if found is None:
        raise UsageError(
            say(
                "mileage: {typed} is no mileage; write the whole number, such as 58900",
                typed=repr(text),
            )
        )
    return found[0], found[1] or unit


def percent(text: str, *, what: str) -> Decimal | None:
    """Read a percentage; nothing written means none.

    Raises
    ------
    UsageError
        It is none, or not between 0 and 100.
    """
    if not text.strip():
        return None
    found = decimal_of(text)
    if found is None or found > 100:
        raise UsageError(
            say("{what}: {typed} is no percentage; write 20 or 7.7", what=what, typed=repr(text))
        )
    return found


def degrees(text: str, *, what: str) -> float | None:
    """Read crank degrees; nothing written means none.

    Raises
    ------
    UsageError
        It is no number.
    """
    if not text.strip():
        return None
    found = decimal_of(text)
    if found is None:
        raise UsageError(
            say("{what}: {typed} is no number; write 8 or 8.5", what=what, typed=repr(text))
        )
    return float(found)


def codes(text: str) -> tuple[str, ...]:
    """Read trouble codes, separated by commas or blanks.

    Raises
    ------
    UsageError
        A word is longer than any code.

    >>> codes("p0016, P0017")
    ('P0016', 'P0017')
    """
    found = tuple(re.findall(r"[\w-]+", text.upper())[:_MOST_CODES])
    for code in found:
        if len(code) > _LONGEST_CODE:
            raise UsageError(say("codes: {typed} is no code; write P0016", typed=repr(code[:40])))
    return found
