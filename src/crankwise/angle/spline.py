"""Penalised cubic spline of time over crank angle.

Least squares on a cubic B-spline with even knots, with a penalty on the third derivative (P-spline;
Eilers and Marx, Statistical Science 11 (1996) 89). With knots and teeth close together its gain
for the n-th order of the revolution is 1/(1 + (n/cutoff)^6); with a knot at every tooth of 60 it is
a little less from the tenth order on. The engine's own ripple passes whole, tooth-to-tooth jitter
does not, and where a gap has no teeth the curve goes on as the teeth on both sides demand.
"""

from __future__ import annotations

import numpy as np

from crankwise.angle.banded import solve
from crankwise.model.crank_angle import AngleRun
from crankwise.model.recording import FloatArray

_MAX_STEP_DEG = 10.0


def knot_step_deg(teeth_per_rev: int) -> float:
    """Distance of the knots: a whole number in a revolution, about a tooth, at most 10 degrees."""
    return 360.0 / max(float(np.ceil(teeth_per_rev * 1.02)), 360.0 / _MAX_STEP_DEG)


def fit(
    angle_deg: FloatArray,
    time_s: FloatArray,
    weight: FloatArray,
    *,
    step_deg: float,
    cutoff_order: float,
    teeth_per_rev: int,
) -> AngleRun:
    """Fit time over angle.

    Parameters
    ----------
    angle_deg : np.ndarray [shape=(n,), increasing]
    time_s, weight : np.ndarray [shape=(n,)]
        Weight 1 for a good tooth, 0 for one to be left out.
    step_deg : float
        Distance of the knots.
    cutoff_order : float
        Order of the revolution that passes at about half height.
    teeth_per_rev : int
        Density of the teeth, which scales the penalty.
    """
    first = np.floor(angle_deg[0] / step_deg) * step_deg
    knots = int(np.ceil((angle_deg[-1] - first) / step_deg)) + 1
    count = knots + 2
    # Solve for the deviation from the straight line: it is small, so nothing is lost to rounding.
    rate = (time_s[-1] - time_s[0]) / (angle_deg[-1] - angle_deg[0])
    deviation = time_s - time_s[0] - rate * (angle_deg - angle_deg[0])
    place = (angle_deg - first) / step_deg
    knot = np.minimum(place.astype(np.intp), count - 4)
    share = place - knot
    weights = _basis(share)
    band = _penalty(count, step_deg, cutoff_order, teeth_per_rev)
    right = np.zeros(count)
    steps = count - 3
    for i in range(4):
        weighted = weight * weights[i]
        right[i : i + steps] += np.bincount(knot, weighted * deviation, minlength=steps)
        for j in range(i, 4):
            band[j - i, i : i + steps] += np.bincount(knot, weighted * weights[j], minlength=steps)
    solution = solve(band, right)
    # The straight line is a spline too: its coefficients lie on it, one knot to the left on.
    centre = first + (np.arange(count) - 1) * step_deg
    line = time_s[0] + rate * (centre - angle_deg[0])
    return AngleRun(first, step_deg, solution + line, float(angle_deg[0]), float(angle_deg[-1]))


def _basis(share: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Weights of the four coefficients that reach into a step, at a share of it."""
    first, last = (1.0 - share) ** 3 / 6.0, share**3 / 6.0
    second = (share - 2.0) * share**2 / 2.0 + 2.0 / 3.0
    return first, second, 1.0 - first - second - last, last


def _penalty(count: int, step_deg: float, cutoff_order: float, teeth_per_rev: int) -> FloatArray:
    """Lower band of ``strength * D'D`` with third differences ``D``."""
    wave = np.deg2rad(cutoff_order)
    strength = (teeth_per_rev / 360.0) / wave**6 * step_deg / step_deg**6
    difference = np.array([-1.0, 3.0, -3.0, 1.0])
    band = np.zeros((4, count))
    rows = count - 3
    for i in range(4):
        for j in range(i, 4):
            band[j - i, i : i + rows] += difference[i] * difference[j]
    # Whole numbers up to here: parabolas must cost exactly nothing, also beside a strong penalty.
    return np.asarray(strength * band)
