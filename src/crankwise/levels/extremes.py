"""Least and greatest values of many stretches of one array at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Self

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


@dataclass(frozen=True, slots=True, eq=False)
class Cover:
    """Many stretches of an array, each covered by a few runs of one width that may overlap.

    The least of every run of ``width`` values comes by doubling, for the whole array at once; then
    each stretch takes that of its runs. For many short stretches of about the same length this is
    far quicker than ``reduceat``, and one cover serves many arrays.

    Attributes
    ----------
    width : int
        A power of two that fits the shortest stretch; 0 where lengths differ too much for this.
    starts : tuple of np.ndarray [shape=(m,)]
        Where the first, the second … run of each stretch begins. With ``width`` 0 the first value
        of each stretch, and the one after its last.
    """

    width: int
    starts: tuple[Indices, ...]

    @classmethod
    def of(cls, begin: Indices, count: Indices) -> Self:
        """Cover ``begin : begin + count``; every stretch has at least one value."""
        shortest, longest = int(count.min(initial=1)), int(count.max(initial=1))
        if longest > _EVEN * shortest:
            return cls(0, (begin, begin + count))
        width = 1 << (shortest.bit_length() - 1)
        further = range(width, longest, width)
        return cls(
            width, (begin, *(begin + np.minimum(offset, count - width) for offset in further))
        )

    def pick(self, values: Steps, pick: np.ufunc) -> Steps:
        """Pick from each stretch, as ``pick.reduce(values[begin : begin + count])``.

        Parameters
        ----------
        values : np.ndarray [shape=(n,)]
        pick : ufunc
            ``np.minimum`` or ``np.maximum``.

        Examples
        --------
        >>> cover = Cover.of(np.array([0, 1]), np.array([3, 3]))
        >>> cover.pick(np.array([3, 1, 2, 5]), np.maximum).tolist()
        [3, 5]
        """
        if self.width == 0:
            borders = np.stack(self.starts, axis=1).ravel()
            return np.asarray(pick.reduceat(np.append(values, values[-1]), borders)[::2])
        runs: npt.NDArray[Any] = values
        reach = 1
        while reach < self.width:
            runs = pick(runs[:-reach], runs[reach:])
            reach *= 2
        picked = runs.take(self.starts[0])
        for start in self.starts[1:]:
            pick(picked, runs.take(start), out=picked)
        return picked
