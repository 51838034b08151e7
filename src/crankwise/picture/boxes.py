"""Boxes around what is drawn, to keep one thing from covering another."""

from __future__ import annotations

from dataclasses import dataclass

from crankwise.picture.layout import text_width


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle, pixels; ``top`` is the smaller height, as on a page."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Box) -> bool:
        """Whether two boxes share room.

        >>> box = Box(0, 0, 10, 10)
        >>> box.overlaps(Box(9, 9, 20, 20)), box.overlaps(Box(10, 0, 20, 9))
        (True, False)
        """
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


def text_box(words: str, x: float, baseline: float, *, size: float, anchor: str = "start") -> Box:
    """Box of one line of text set at a place."""
    width = text_width(words, size=size)
    left = x - {"start": 0.0, "middle": width / 2.0, "end": width}[anchor]
    return Box(left, baseline - 0.78 * size, left + width, baseline + 0.24 * size)
