"""Least and greatest values of many stretches of one array at once."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from crankwise.levels.scale import FULL, MISSING, Steps

GROUP: Final = 16
"""Values that each level sums up in one."""

_EVEN: Final = 16
"""Stretches that differ more in length are taken one by one."""

Indices = npt.NDArray[np.intp]


def grouped(lows: Steps, highs: Steps) -> tuple[Steps, Steps]:
    """Least and greatest of every 16 values; the number of values is a multiple of 16.

    Transposed first: then NumPy compares whole rows, which is ten times as fast.
    """
    columns = np.ascontiguousarray(lows.reshape(-1, GROUP).T)
    least = columns.min(axis=0)
    if highs is not lows:
        columns = np.ascontiguousarray(highs.reshape(-1, GROUP).T)
    return least, columns.max(axis=0)


def lows_of(steps: Steps, *, has_missing: bool) -> Steps:
    """The same steps with missing ones where they never are the least."""
    return np.where(steps == MISSING, np.int16(FULL), steps) if has_missing else steps


def over(values: Steps, begin: Indices, count: Indices, pick: np.ufunc) -> Steps:
    """Pick from each stretch of an array, as ``pick.reduce(values[begin : begin + count])``.

    Parameters
    ----------
    values : np.ndarray [shape=(n,)]
    begin, count : np.ndarray [shape=(m,)]
        First value of each stretch, and how many it has, at least one.
    pick : ufunc
        ``np.minimum`` or ``np.maximum``.

    Notes
    -----
    First comes the pick of every run of ``width`` values, ``width`` the largest power of two that
    fits the shortest stretch, by doubling; then each stretch is covered by a few such runs. That is
    far quicker than ``reduceat`` for many short stretches of about the same length.

    Examples
    --------
    >>> over(np.array([3, 1, 2, 5]), np.array([0, 1]), np.array([3, 3]), np.maximum).tolist()
    [3, 5]
    """
    if len(begin) == 0:
        return values[:0]
    width, shortest, longest = 1, int(count.min()), int(count.max())
    if longest > _EVEN * shortest:
        borders = np.stack((begin, begin + count), axis=1).ravel()
        return np.asarray(pick.reduceat(np.append(values, values[-1]), borders)[::2])
    runs: npt.NDArray[Any] = values
    while 2 * width <= shortest:
        runs = pick(runs[:-width], runs[width:])
        width *= 2
    picked = runs[begin]
    for offset in range(width, longest, width):
        pick(picked, runs[begin + np.minimum(offset, count - width)], out=picked)
    return picked
