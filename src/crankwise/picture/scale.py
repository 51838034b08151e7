"""A stretch of plain numbers on paper, and round numbers to mark it with."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Scale:
    """Numbers from ``low`` to ``high``, drawn from ``start`` to ``end`` in pixels.

    On an axis that goes up the page, ``start`` is larger than ``end``.
    """

    low: float
    high: float
    start: float
    end: float

    @property
    def px_per_unit(self) -> float:
        """Pixels for each unit, whichever way."""
        return abs(self.end - self.start) / (self.high - self.low)

    def at(self, value: float) -> float:
        """Pixel position of a number, on the stretch or beyond it."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def holds(self, value: float) -> bool:
        """Whether a number lies on the stretch."""
        return self.low <= value <= self.high

    def clipped(self, value: float) -> float:
        """Bring a number beyond either end to that end."""
        return min(max(value, self.low), self.high)


def round_steps(low: float, high: float, *, most: int) -> tuple[float, ...]:
    """Round numbers within a stretch, 1, 2 or 5 times a power of ten apart.

    ``most`` is how many steps the stretch may have.

    >>> round_steps(-0.3, 4.4, most=6)
    (0.0, 1.0, 2.0, 3.0, 4.0)
    >>> round_steps(0.0, 0.5, most=6)
    (0.0, 0.1, 0.2, 0.3, 0.4, 0.5)
    """
    coarse = (high - low) / most
    power = 10.0 ** math.floor(math.log10(coarse))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= coarse * 0.999999)
    first, last = math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6)
    return tuple(float(f"{number * step:.12g}") for number in range(first, last + 1))
