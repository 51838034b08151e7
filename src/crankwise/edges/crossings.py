"""Where a signal crosses its middle level for good: hysteresis on whole segments.

A crossing counts if the signal then reaches the arming level on the other side. So noise that
dithers about the middle, and ringing that does not reach the other side, makes no edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.edges.survey import Samples, Survey
from crankwise.model.recording import BoolArray, FloatArray

BLOCK = 1 << 18
"""Samples handled at a time: a block and its comparison stay in the cache."""

IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """Confirmed crossings of the middle level.

    Attributes
    ----------
    first, last : np.ndarray [shape=(n,)]
        The samples just before the first and just before the last crossing of the middle level
        that belong to this edge (equal unless it dithered).
    rising : np.ndarray [shape=(n,), dtype bool]
    height : np.ndarray [shape=(n,)]
        How far the signal goes beyond the middle level after the edge.
    """

    first: IntArray
    last: IntArray
    rising: BoolArray
    height: FloatArray


def find_crossings(samples: Samples, levels: Survey) -> Crossings:
    """Confirmed crossings of a finite signal.

    >>> import numpy as np
    >>> from crankwise.edges.survey import survey
    >>> y = np.array([0.0, 0.0, 5.0, 5.0, 0.0, 0.0] * 50)
    >>> found = find_crossings(y, survey(y, interval_s=1e-3))
    >>> found.first[:3], found.rising[:3]
    (array([1, 3, 7]), array([ True, False,  True]))
    """
    starts = [np.array([0], dtype=np.intp)]
    is_high_at_start = bool(samples[0] > _level_at(levels, levels.middle, 0.0))
    previous = is_high_at_start
    tops: list[FloatArray] = []
    bottoms: list[FloatArray] = []
    for begin in range(0, len(samples), BLOCK):
        block = samples[begin : begin + BLOCK]
        if len(levels.middle) > 1:
            index = np.arange(begin, begin + len(block))
            block = block - np.interp(index, levels.centre, levels.middle).astype(block.dtype)
            above = block > 0
        else:
            above = block > block.dtype.type(levels.middle[0])
        changes = np.flatnonzero(above[1:] != above[:-1]) + 1
        if above[0] != previous:
            changes = np.concatenate(([0], changes))
        cuts = changes if len(changes) and changes[0] == 0 else np.concatenate(([0], changes))
        _merge(tops, np.maximum.reduceat(block, cuts), np.maximum, fresh=above[0] != previous)
        _merge(bottoms, np.minimum.reduceat(block, cuts), np.minimum, fresh=above[0] != previous)
        starts.append(changes + begin)
        previous = bool(above[-1])
    start = np.concatenate(starts)
    top = np.concatenate(tops).astype(np.float64)
    bottom = np.concatenate(bottoms).astype(np.float64)
    return _confirm(start, top, bottom, is_high_at_start=is_high_at_start, levels=levels)


def _merge(parts: list[FloatArray], new: FloatArray, extreme: Any, *, fresh: bool) -> None:
    """Append segment extremes; the first joins the open segment unless a new one begins."""
    if parts and not fresh:
        parts[-1][-1] = extreme(parts[-1][-1], new[0])
        new = new[1:]
    if len(new):
        parts.append(new)


def _level_at(levels: Survey, values: FloatArray, index: float | FloatArray) -> FloatArray:
    if len(values) == 1:
        return np.full(np.shape(index), values[0])
    return np.asarray(np.interp(index, levels.centre, values))


def _confirm(
    start: IntArray,
    top: FloatArray,
    bottom: FloatArray,
    *,
    is_high_at_start: bool,
    levels: Survey,
) -> Crossings:
    """Keep segments that reach their arming level; an edge lies between unlike neighbours."""
    is_high = (np.arange(len(start)) % 2 == 0) == is_high_at_start
    upper = _level_at(levels, levels.arm_high, start.astype(np.float64))
    lower = _level_at(levels, levels.arm_low, start.astype(np.float64))
    middle = _level_at(levels, levels.middle, start.astype(np.float64))
    if len(levels.middle) > 1:
        # The block loop has taken a moving middle off already.
        upper, lower, middle = upper - middle, lower - middle, np.zeros(len(start))
    armed = np.flatnonzero(np.where(is_high, top > upper, bottom < lower))
    turn = np.flatnonzero(is_high[armed[1:]] != is_high[armed[:-1]])
    before, after = armed[turn], armed[turn + 1]
    height = np.where(is_high, top - middle, middle - bottom)[after]
    return Crossings(start[before + 1] - 1, start[after] - 1, is_high[after], height)
