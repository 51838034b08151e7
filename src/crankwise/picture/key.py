"""The key below a picture: signs with their words, in as many lines as the language needs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from crankwise.picture import style, svg
from crankwise.picture.layout import fitted, text_width

SIGN: Final = 28.0
"""Width of a sign, pixels."""
_SIZE: Final = 11.0
_LINE: Final = 20.0
_BETWEEN: Final = 26.0


@dataclass(frozen=True, slots=True)
class Entry:
    """A sign and what it stands for.

    ``draw`` is told the sign's left end and its middle height; None for words without a sign.
    """

    words: str
    draw: Callable[[float, float], list[svg.Element]] | None = None


def key(
    entries: Sequence[Entry], y: float, *, left: float, right: float
) -> tuple[list[svg.Element], float]:
    """Set the entries side by side from the baseline ``y`` on; return elements and lower end."""
    parts: list[svg.Element] = []
    x = left
    for entry in entries:
        sign = SIGN + 8.0 if entry.draw else 0.0
        words = fitted(entry.words, size=_SIZE, width=right - left - sign)
        width = sign + text_width(words, size=_SIZE)
        if x > left and x + width > right:
            x, y = left, y + _LINE
        if entry.draw:
            parts += entry.draw(x, y - 4.0)
        parts.append(style.text(words, x + sign, y, size=_SIZE))
        x += width + _BETWEEN
    return parts, y + 12.0
