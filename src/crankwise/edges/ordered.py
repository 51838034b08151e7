"""Percentiles of values in order.

One sort answers every question about a set of values; NumPy's own percentile and median put the
values in order again for each.
"""

from __future__ import annotations

import numpy as np

from crankwise.model.recording import FloatArray


def in_order(values: FloatArray) -> FloatArray:
    """All values, flattened, in rising order and double precision."""
    return np.sort(values, axis=None).astype(np.float64, copy=False)


def percentile(ordered: FloatArray, percent: float) -> FloatArray:
    """Percentile along the last axis of values in order, straight between neighbours.

    Method 7 of Hyndman and Fan, The American Statistician 50 (1996) 361, as NumPy has it.

    >>> float(percentile(np.array([1.0, 2.0, 4.0]), 75.0))
    3.0
    """
    count = ordered.shape[-1]
    place = percent / 100.0 * (count - 1)
    below = int(place)
    low, high = ordered[..., below], ordered[..., min(below + 1, count - 1)]
    share, step = place - below, high - low
    # From the nearer of the two, which rounds less.
    return np.asarray(low + step * share if share < 0.5 else high - step * (1.0 - share))


def median(ordered: FloatArray) -> float:
    """Median of values in order.

    >>> median(np.array([1.0, 2.0, 4.0, 8.0]))
    3.0
    """
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return float(ordered[middle])
    return float((ordered[middle - 1] + ordered[middle]) / 2.0)
