"""Numbers as another language writes them: only where the text is nothing but numbers and units."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Marks:
    """How a language writes numbers.

    Attributes
    ----------
    decimal, thousands : str
        Marks within a number.
    before_percent : str
        What stands between a number and its percent sign.
    day : str
        A date, with the places ``{day}``, ``{month}`` and ``{year}``.
    """

    decimal: str
    thousands: str
    before_percent: str
    day: str


MARKS: Final = {"de": Marks(",", ".", " ", "{day}.{month}.{year}")}
"""By language. English is what the core writes."""

_DAY: Final = re.compile(r"(\d{4})-(\d\d)-(\d\d)")
_NUMBER: Final = re.compile(
    r"(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?(?:e[+-]?\d+)?(?![.,]?\d)", re.IGNORECASE
)
_UNITS: Final = (
    "rpm|mm|km|miles|mi|ms|µs|us|ns|s|min|h|mV|kV|V|kHz|MHz|Hz|kS/s|MS/s|kB|MB|GB|N m|Ω|to|x"
)
_TOKEN: Final = re.compile(
    rf"\s+|[-+±×−~<>=/,;()°%*·…]|({_DAY.pattern})|({_NUMBER.pattern})|(?:{_UNITS})\b"
)
_WORD: Final = re.compile(r"[A-Za-z]\w*")


def is_number(text: str) -> bool:
    """Whether a text is nothing but numbers, their units, signs and dates.

    >>> is_number("+4.1° ± 0.2°"), is_number("687 to 814"), is_number("2026-03-01")
    (True, True, True)
    >>> is_number("60-2.csv"), is_number("1.2.3"), is_number("P0016"), is_number("°")
    (False, False, False, False)
    """
    at, has_digit = 0, False
    while at < len(text):
        found = _TOKEN.match(text, at)
        if found is None:
            return False
        has_digit = has_digit or found[1] is not None or found[5] is not None
        at = found.end()
    return has_digit


def written(text: str, marks: Marks) -> str:
    """Write the numbers of such a text in another language; words in it are left.

    >>> written("+4.1° ± 0.2°", MARKS["de"]), written("12,345.6 km", MARKS["de"])
    ('+4,1° ± 0,2°', '12.345,6 km')
    >>> written("57%", MARKS["de"]), written("2026-03-01", MARKS["de"])
    ('57 %', '01.03.2026')
    """
    parts: list[str] = []
    at = 0
    for day in _DAY.finditer(text):
        parts.append(_numbers(text[at : day.start()], marks))
        parts.append(marks.day.format(year=day[1], month=day[2], day=day[3]))
        at = day.end()
    parts.append(_numbers(text[at:], marks))
    return re.sub(r"(?<=\d)%", f"{marks.before_percent}%", "".join(parts))


def _numbers(text: str, marks: Marks) -> str:
    def swap(found: re.Match[str]) -> str:
        whole, dot, decimals = found[0].replace(",", "\0").partition(".")
        return whole.replace("\0", marks.thousands) + (marks.decimal if dot else "") + decimals

    return _NUMBER.sub(swap, text)
