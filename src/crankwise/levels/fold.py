"""All cycles of a channel laid over each other: how far they reach in each bin of 720 degrees.

Where the cycles are alike the band is as thin as the signal; at an edge its width is the scatter.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from crankwise.levels.cycles import BINS, CycleSpan
from crankwise.levels.extremes import Indices
from crankwise.levels.scale import FULL, MISSING, Steps
from crankwise.levels.source import Reached

INNER: Final = (0.1, 0.9)
"""Shares of the cycles below the inner band and below its top."""
_MOST_FOR_INNER: Final = 64


class Fold:
    """Collects the cycles of one channel."""

    def __init__(self, *, cycles: int) -> None:
        """Begin; ``cycles`` is how many will come, of which at most 64 make the inner band."""
        self._low = np.full(BINS, FULL, np.int16)
        self._high = np.full(BINS, MISSING, np.int16)
        slots = min(max(cycles, 1), _MOST_FOR_INNER)
        kept = np.unique(np.linspace(0, max(cycles - 1, 0), slots).astype(int))
        self._slots = {int(number): slot for slot, number in enumerate(kept)}
        self._stack = np.full((len(kept), BINS), MISSING, np.int16)

    def add(self, index: int, span: CycleSpan, reached: Reached) -> None:
        """Lay one more cycle over the others; ``index`` counts them from 0."""
        bins = slice(span.first_bin, span.end_bin)
        np.minimum(self._low[bins], reached.low, out=self._low[bins])
        np.maximum(self._high[bins], reached.high, out=self._high[bins])
        if index in self._slots:
            self._stack[self._slots[index], bins] = reached.at

    def band(self) -> Steps:
        """Return least, greatest, and the inner band's both ends of each bin, shape (4, bins).

        Nothing is known where the least is above the greatest.
        """
        ordered = np.sort(np.ascontiguousarray(self._stack.T), axis=1)
        missing = (ordered == MISSING).sum(axis=1)
        last = ordered.shape[1] - 1
        inner = [
            ordered[np.arange(BINS), np.minimum(missing + _rank(last - missing, share), last)]
            for share in INNER
        ]
        unknown = missing > last
        inner_low = np.where(unknown, self._low, inner[0])
        inner_high = np.where(unknown, self._high, inner[1])
        return np.stack((self._low, self._high, inner_low, inner_high))


def _rank(last: Indices, share: float) -> Indices:
    return np.rint(np.maximum(last, 0) * share).astype(np.intp)
