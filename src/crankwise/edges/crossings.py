"""Where a signal crosses its middle level for good: hysteresis on whole segments.

A crossing counts if the signal then reaches the arming level on the other side. So noise that
dithers about the middle, and ringing that does not reach the other side, makes no edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from crankwise.edges.survey import LARGEST, NotFiniteError, Samples, Survey
from crankwise.model.recording import BoolArray, FloatArray

BLOCK = 1 << 17
"""Samples handled at a time: a block, and what is worked out about it, stay in the cache."""

_WORD = 64

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
        How far the signal goes beyond the middle level after the edge; at least so far unless
        exact heights were asked for.
    """

    first: IntArray
    last: IntArray
    rising: BoolArray
    height: FloatArray


def find_crossings(samples: Samples, levels: Survey, *, exact: bool) -> Crossings:
    """Confirmed crossings of a signal.

    Parameters
    ----------
    samples : np.ndarray [shape=(n,)]
    levels : Survey
    exact : bool
        Whether exact heights are needed, which takes as long again as everything else.

    Raises
    ------
    NotFiniteError
        A sample is no finite number.

    >>> import numpy as np
    >>> from crankwise.edges.survey import survey
    >>> y = np.array([0.0, 0.0, 5.0, 5.0, 0.0, 0.0] * 50)
    >>> found = find_crossings(y, survey(y, interval_s=1e-3), exact=True)
    >>> found.first[:3], found.rising[:3]
    (array([1, 3, 7]), array([ True, False,  True]))
    """
    level = levels.middle[0]
    if len(levels.middle) > 1:
        samples, level = _less_middle(samples, levels), 0.0
    is_high_at_start = bool(samples[0] > samples.dtype.type(level))
    start = np.concatenate(([0], _changes(samples, level)))
    is_high = (np.arange(len(start)) % 2 == 0) == is_high_at_start
    middle, upper, lower = (
        _level_at(levels, values, start)
        for values in (levels.middle, levels.arm_high, levels.arm_low)
    )
    if len(levels.middle) > 1:
        # A moving middle has been taken off already.
        middle, upper, lower = np.zeros(len(start)), upper - middle, lower - middle
    # One sample from the middle of a segment shows most of them to reach their level.
    extreme = samples[(start + np.append(start[1:], len(samples))) // 2].astype(np.float64)
    armed = np.where(is_high, extreme > upper, extreme < lower)
    asked = np.ones(len(start), dtype=np.bool_) if exact else ~armed
    extreme[asked] = _extremes(samples, start, is_high, asked)
    armed = np.where(is_high, extreme > upper, extreme < lower)
    segment = np.flatnonzero(armed)
    turn = np.flatnonzero(is_high[segment[1:]] != is_high[segment[:-1]])
    before, after = segment[turn], segment[turn + 1]
    height = np.where(is_high, extreme - middle, middle - extreme)[after]
    return Crossings(start[before + 1] - 1, start[after] - 1, is_high[after], height)


def _less_middle(samples: Samples, levels: Survey) -> Samples:
    """Take a moving middle off, which is straight between the centres of the windows."""
    result = np.empty_like(samples)
    cuts = np.clip(np.ceil(levels.centre).astype(np.intp), 0, len(samples))
    bounds = np.concatenate(([0], cuts, [len(samples)]))
    for piece, (first, last) in enumerate(pairwise(bounds)):
        if 0 < piece < len(levels.centre):
            left, right = levels.centre[piece - 1], levels.centre[piece]
            low, high = levels.middle[piece - 1], levels.middle[piece]
            index = np.arange(first, last, dtype=np.float64)
            middle = ((high - low) / (right - left) * (index - left) + low).astype(samples.dtype)
        else:
            middle = samples.dtype.type(levels.middle[0 if piece == 0 else -1])
        np.subtract(samples[first:last], middle, out=result[first:last])
    return result


def _changes(samples: Samples, level: float) -> IntArray:
    """Samples that are on another side of the level than the one before.

    >>> _changes(np.array([1.0, 2.0, -1.0, 1.0]), 0.0)
    array([2, 3])
    """
    words = np.zeros(-(-len(samples) // _WORD), dtype="<u8")
    packed = words.view(np.uint8)
    size = min(BLOCK, len(samples))
    above, differs = np.empty(size + 1, dtype=np.bool_), np.empty(size, dtype=np.bool_)
    limit = samples.dtype.type(level)
    above[0] = samples[0] > limit
    for begin in range(0, len(samples), BLOCK):
        block = samples[begin : begin + BLOCK]
        count = len(block)
        np.greater(block, limit, out=above[1 : count + 1])
        np.not_equal(above[1 : count + 1], above[:count], out=differs[:count])
        bits = np.packbits(differs[:count], bitorder="little")
        packed[begin // 8 : begin // 8 + len(bits)] = bits
        above[0] = above[count]
        # Comparing shows neither NaN nor infinity; the cache still holds the block.
        if not (np.maximum.reduce(block) < LARGEST and np.minimum.reduce(block) > -LARGEST):
            raise NotFiniteError
    where = np.flatnonzero(words != 0)
    bits = np.unpackbits(words[where].view(np.uint8), bitorder="little")
    found = np.flatnonzero(bits.view(np.bool_))
    return np.asarray(where[found // _WORD] * _WORD + found % _WORD)


def _extremes(
    samples: Samples, start: IntArray, is_high: BoolArray, asked: BoolArray
) -> FloatArray:
    """Highest value of each high segment asked for, and lowest of each low one.

    Where an index is not below the next one, ``reduceat`` takes that one value; so in backward
    order the segments between those wanted cost nothing.
    """
    result = np.empty(len(start))
    last = len(start) - 1
    for reduce, wanted in ((np.maximum, asked & is_high), (np.minimum, asked & ~is_high)):
        if wanted[last]:  # it has no end to give
            result[last] = reduce.reduce(samples[start[last] :])
        chosen = np.flatnonzero(wanted[:last])[::-1]
        if len(chosen):
            pairs = np.stack((start[chosen], start[chosen + 1]), axis=1).ravel()
            result[chosen] = reduce.reduceat(samples, pairs)[::2]
    return result[asked]


def _level_at(levels: Survey, values: FloatArray, index: IntArray) -> FloatArray:
    if len(values) == 1:
        return np.full(len(index), values[0])
    return np.asarray(np.interp(index, levels.centre, values))
