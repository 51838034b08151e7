"""Tell from its numbers whether an unlabelled first column is the time."""

from __future__ import annotations

import numpy as np

from crankwise.model.recording import FloatArray
from crankwise.readers.timebase import last_digit_s


def first_column_is_clock(rows: FloatArray, *, is_named: bool) -> bool:
    """Whether the first column runs like a clock and the others don't.

    A column with some other name must step evenly, to the last digit written; a nameless one
    need only never stand still, as in a list of state changes.

    Parameters
    ----------
    rows : np.ndarray [shape=(rows, columns)]
        The first rows, NaN where a cell is blank.
    is_named : bool
        Whether the file gives the column a name that says nothing about time.

    Examples
    --------
    >>> first_column_is_clock(np.array([[0.0, 1.0], [1.5, 0.0], [1.6, 1.0]]), is_named=False)
    True
    """
    first = rows[:, 0]
    if len(rows) < 3 or not np.all(np.isfinite(first)):
        return False
    steps = np.diff(first)
    if steps[0] < 0.0:
        steps = -steps
    digit = last_digit_s(first)
    even = np.ptp(steps) <= 2.0 * digit + 1e-3 * abs(float(np.median(steps)))
    if even and np.all(steps >= 0.0) and np.any(steps > 0.0):
        return True
    others_run = [bool(np.all(np.diff(column) > 0.0)) for column in rows[:, 1:].T]
    return not is_named and bool(np.all(steps > 0.0)) and not all(others_run)
