"""Where things go: the angle axis, room for text, labels that never cover each other."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.units import CYCLE_DEG

if TYPE_CHECKING:
    from collections.abc import Sequence

# Advance widths of DejaVu Sans (its hmtx table) in hundredths of the font size, by group of
# characters; rarer characters take the width of a digit, ideographs a full em.
_WIDTHS: Final = {
    "'": 28, "ijl|": 34, "IJ ,./:;\\": 34, "f-": 36, "()[]t": 40, "r!": 41, '"*_`°': 50,
    "szc?": 55, "BRXZCAVK": 70, "UHN": 75, "DGOQ&": 79, "w#+<=>^~±→←×": 84, "M": 86,
    "m%": 97, "W@—": 100,
}  # fmt: skip
_WIDTH_OF: Final = {char: width for chars, width in _WIDTHS.items() for char in chars}


def text_width(text: str, *, size: float) -> float:
    """Width of a line of text, in the unit of ``size``; rather too wide than too narrow.

    >>> round(text_width("150.02°", size=12), 1)
    48.5
    """
    hundredths = sum(_WIDTH_OF.get(char, 64 if ord(char) < 0x2E80 else 100) for char in text)
    return hundredths * size / 100.0


def fitted(text: str, *, size: float, width: float) -> str:
    """Shorten a text with an ellipsis until it fits.

    >>> fitted("a very long channel name", size=10, width=60)
    'a very lon…'
    """
    if text_width(text, size=size) <= width:
        return text
    while text and text_width(text + "…", size=size) > width:
        text = text[:-1]
    return text.rstrip() + "…"


def wrapped(text: str, *, size: float, width: float) -> list[str]:
    """Break a text between words into lines that fit; a longer word is shortened.

    >>> wrapped("one two three", size=10, width=50)
    ['one two', 'three']
    """
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size=size) <= width:
            lines[-1] = longer
        else:
            lines.append(fitted(word, size=size, width=width))
    return lines


@dataclass(frozen=True, slots=True)
class Axis:
    """A stretch of the crank-angle axis and where it is drawn.

    ``from_deg`` may be negative, to look across the zero; ``left`` and ``right`` are in pixels.
    """

    from_deg: float
    to_deg: float
    left: float
    right: float

    @property
    def px_per_deg(self) -> float:
        """Pixels for each crank degree."""
        return (self.right - self.left) / (self.to_deg - self.from_deg)

    def x(self, angle_deg: float) -> float:
        """Pixel position of an angle already on this stretch."""
        return self.left + (angle_deg - self.from_deg) * self.px_per_deg

    def holds(self, x: float) -> bool:
        """Whether a pixel position lies on this stretch."""
        return self.left <= x <= self.right

    def clipped(self, x: float) -> float:
        """Bring a pixel position beyond either end to that end."""
        return min(max(x, self.left), self.right)

    def unwrapped(self, angle_deg: float) -> float | None:
        """Bring an angle onto this stretch by whole cycles; None if it is not in view."""
        turns = math.ceil((self.from_deg - angle_deg) / CYCLE_DEG)
        moved = angle_deg + turns * CYCLE_DEG
        return moved if moved <= self.to_deg else None


def label_rows(positions: Sequence[float], widths: Sequence[float]) -> list[int]:
    """Give each label a row, so that neither labels nor the lines to them cross a label.

    Each label starts at its position and runs to the right. Taken from the right, a label that
    would run into others goes one row below the lowest of them; its line comes down on the left
    of all of them.

    Parameters
    ----------
    positions : sequence of float
        Left end of each label, ascending.
    widths : sequence of float
        Room each label takes, with its margin.

    >>> label_rows([0.0, 30.0, 200.0], [100.0, 100.0, 100.0])
    [1, 0, 0]
    """
    rows = [0] * len(positions)
    for index in reversed(range(len(positions))):
        end = positions[index] + widths[index]
        met = [rows[j] for j in range(index + 1, len(positions)) if positions[j] < end]
        rows[index] = max(met, default=-1) + 1
    return rows


def spread(positions: Sequence[float], *, apart: float, left: float, right: float) -> list[float]:
    """Move crowded positions aside until they are ``apart``, keeping order and limits.

    >>> spread([10.0, 12.0, 50.0], apart=10.0, left=0.0, right=60.0)
    [10.0, 20.0, 50.0]
    """
    moved = list(positions)
    for index in range(len(moved)):
        least = moved[index - 1] + apart if index else left
        moved[index] = max(moved[index], least)
    most = right
    for index in reversed(range(len(moved))):
        moved[index] = min(moved[index], most)
        most = moved[index] - apart
    return moved


def stacked(
    wanted: Sequence[float], heights: Sequence[float], *, top: float, bottom: float
) -> list[float]:
    """Place blocks one below the other, together as near to where they are wanted as can be.

    The order is kept. Of the places that don't overlap these have the least sum of squared
    distances (isotonic regression by pooling; Barlow and others, 1972, section 1.2).

    Parameters
    ----------
    wanted, heights : sequence of float
        Upper end that each block would like, ascending, and its height.
    top, bottom : float
        Room for all; too little of it is overrun at the bottom.

    >>> stacked([10.0, 12.0, 50.0], [10.0, 10.0, 10.0], top=0.0, bottom=60.0)
    [6.0, 16.0, 50.0]
    """
    before = [0.0, *itertools.accumulate(heights)]
    pools: list[tuple[float, int]] = []  # mean of the places without what lies above, and count
    for place, above in zip(wanted, before, strict=False):
        mean, count = place - above, 1
        while pools and pools[-1][0] > mean:
            other, others = pools.pop()
            mean, count = (mean * count + other * others) / (count + others), count + others
        pools.append((mean, count))
    most = max(top, bottom - before[-1])
    even = [min(max(mean, top), most) for mean, count in pools for _ in range(count)]
    return [place + above for place, above in zip(even, before, strict=False)]


def thinning(spacing: float, *, room: float) -> int:
    """Every how many teeth a number fits: 1, 2, 5, 10 and so on.

    >>> thinning(7.5, room=25.0)
    5
    """
    scale = 1
    while True:
        for step in (scale, 2 * scale, 5 * scale):
            if step * spacing >= room:
                return step
        scale *= 10
