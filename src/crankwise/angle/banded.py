"""Solve the symmetric banded equations of a spline."""

from __future__ import annotations

import numpy as np

from crankwise.model.recording import FloatArray

_WIDTH = 3
"""Bands below the diagonal."""

_BLOCK = 48
_LONG = 1 << 13
"""From so many unknowns on LAPACK is worth what importing SciPy's part of it takes (0.2 s)."""


def solve(band: FloatArray, right: FloatArray) -> FloatArray:
    """Solve ``A x = right`` for a symmetric positive definite ``A`` with three bands.

    Parameters
    ----------
    band : np.ndarray [shape=(4, n)]
        Diagonal ``i`` below the main one in row ``i``, from its first column on; what stands
        behind a diagonal's end does not matter.
    right : np.ndarray [shape=(n,)]

    >>> band = np.array([[2.0, 2.0, 2.0], [1.0, 1.0, 0.0], [0.0] * 3, [0.0] * 3])
    >>> solve(band, np.array([3.0, 4.0, 3.0])).round(12)
    array([1., 1., 1.])
    """
    if len(right) < _LONG:
        return _by_blocks(band, right)
    from scipy.linalg import solveh_banded  # noqa: PLC0415  slow to import

    return np.asarray(solveh_banded(band, right, lower=True, check_finite=False))


def _by_blocks(band: FloatArray, right: FloatArray) -> FloatArray:
    """Eliminate block by block, then put in what is known from the last one to the first.

    A block is joined to the next one by a corner of three by three alone.
    """
    count = len(right)
    starts = list(range(0, max(count - _WIDTH, 1), _BLOCK))
    ends = [*starts[1:], count]
    solved: list[FloatArray] = []
    first_block, first_right = np.zeros((_WIDTH, _WIDTH)), np.zeros(_WIDTH)
    for start, end in zip(starts, ends, strict=True):
        block = _dense(band[:, start:end])
        known = np.zeros((end - start, 1 + _WIDTH))
        known[:, 0] = right[start:end]
        if start > 0:
            block[:_WIDTH, :_WIDTH] -= first_block
            known[:_WIDTH, 0] -= first_right
        if end < count:
            corner = _corner(band, end)
            known[-_WIDTH:, 1:] = corner.T
        solution = np.asarray(np.linalg.solve(block, known), dtype=np.float64)
        if end < count:
            onward = corner @ solution[-_WIDTH:]
            first_right, first_block = onward[:, 0], onward[:, 1:]
        solved.append(solution)
    result = np.empty(count)
    after = np.zeros(_WIDTH)
    for start, end, solution in zip(
        reversed(starts), reversed(ends), reversed(solved), strict=True
    ):
        result[start:end] = solution[:, 0] - solution[:, 1:] @ after
        after = result[start : start + _WIDTH]
    return result


def _dense(band: FloatArray) -> FloatArray:
    """A block on the diagonal, all of it."""
    count = band.shape[1]
    block = np.zeros((count, count))
    for below in range(_WIDTH + 1):
        # A step of one more than the width runs along a diagonal.
        lower = block.reshape(-1)[below * count :: count + 1][: count - below]
        upper = block.reshape(-1)[below :: count + 1][: count - below]
        lower[:] = upper[:] = band[below, : count - below]
    return block


def _corner(band: FloatArray, row: int) -> FloatArray:
    """Three rows from one on, in the three columns before it: zero below their diagonal."""
    corner = np.zeros((_WIDTH, _WIDTH))
    for i in range(_WIDTH):
        for j in range(i, _WIDTH):
            corner[i, j] = band[_WIDTH + i - j, row - _WIDTH + j]
    return corner
