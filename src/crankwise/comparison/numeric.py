"""Roots of increasing functions: the little of numerical solving that limits need."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from crankwise.model.recording import FloatArray

_HALVINGS = 60
_DOUBLINGS = 1100  # beyond these a double overflows, so no finite root is missed


def halve(
    function: Callable[[FloatArray], FloatArray], *, low: FloatArray, high: FloatArray
) -> FloatArray:
    """Roots of increasing functions, one for each element, by halving ``low`` to ``high``.

    Parameters
    ----------
    function : callable
        Takes and returns arrays of one shape; element ``i`` depends on element ``i`` alone.
    low, high : np.ndarray
        Where the function is not above and not below zero.
    """
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        below = function(middle) < 0.0
        low = np.where(below, middle, low)
        high = np.where(below, high, middle)
    return np.asarray(0.5 * (low + high))


def increasing_root(function: Callable[[float], float], *, start: float, step: float) -> float:
    """Root of an increasing function of one number.

    Looks outward from ``start`` in doubling steps for a change of sign, then halves.
    """
    towards = step if function(start) < 0.0 else -step
    near, far = start, start + towards
    for _ in range(_DOUBLINGS):
        if (function(far) < 0.0) != (towards > 0.0):
            break
        towards *= 2.0
        near, far = far, far + towards
    low, high = min(near, far), max(near, far)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if function(middle) < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
