"""Speed ripple that the teeth are too few to show, and what it does to an angle.

Each order of ripple is put through the very curve fit that a recording goes through, for the
wheel at hand. What comes out wrong at an angle, times the amplitude such a ripple may have, is the
uncertainty there: nothing on a dense wheel, a little inside its gap, much between few teeth.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from crankwise.angle.spline import fit, knot_step_deg
from crankwise.model.recording import FloatArray
from crankwise.model.wheel import Wheel

_MULTIPLES = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
_NONE: Mapping[float, float] = {}
_TURNS = 7
_GRID_DEG = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class UnseenRipple:
    """Standard uncertainty of an angle from unseen ripple, by place in the revolution.

    ``standard_deg`` has one entry for each degree after the zero, shape (360,).
    """

    standard_deg: FloatArray

    def at(self, angle_deg: float) -> float:
        """Standard uncertainty at a crank angle, degrees."""
        place = np.arange(len(self.standard_deg) + 1) * _GRID_DEG
        values = np.append(self.standard_deg, self.standard_deg[0])
        return float(np.interp(angle_deg % 360.0, place, values))


def unseen_ripple(
    wheel: Wheel,
    *,
    cutoff_order: float,
    second_order_share: float,
    other_shares: Mapping[float, float] = _NONE,
) -> UnseenRipple:
    """Uncertainty from ripple for one wheel.

    Parameters
    ----------
    wheel : Wheel
    cutoff_order : float
        Of the curve fit.
    second_order_share : float
        Amplitude of the second order of the speed as a share of the mean speed. Its multiples are
        assumed to fall with the square of the order (common practice, no source).
    other_shares : Mapping of order to share
        The same for other orders at which the engine may fire. How many cylinders it has is not
        known here, so the worst of them counts at each angle.
    """
    shares = {2.0: second_order_share, **other_shares}
    of_each = [_variance(wheel, cutoff_order, order, share) for order, share in shares.items()]
    return UnseenRipple(np.sqrt(np.max(of_each, axis=0)))


def _variance(wheel: Wheel, cutoff_order: float, firing_order: float, share: float) -> FloatArray:
    """Variance of the angle at each degree from one firing order and its multiples."""
    number = np.arange(wheel.teeth_per_rev * _TURNS)
    angle = 360.0 * (number // wheel.teeth_per_rev) + wheel.angles_deg[number % wheel.teeth_per_rev]
    asked = 360.0 * (_TURNS // 2) + np.arange(0.0, 360.0, _GRID_DEG)
    variance = np.zeros(len(asked))
    for multiple in _MULTIPLES:
        order = firing_order * multiple
        amplitude_deg = np.rad2deg(share / multiple**2 / order)
        for wave in (np.cos, np.sin):
            curve = fit(
                angle,
                angle + wave(np.deg2rad(order * angle)),
                np.ones(len(angle)),
                step_deg=knot_step_deg(wheel.teeth_per_rev),
                cutoff_order=cutoff_order,
                teeth_per_rev=wheel.teeth_per_rev,
            )
            missed = curve.time_at(asked) - asked - wave(np.deg2rad(order * asked))
            # Cosine and sine together stand for any phase: half the power each.
            variance += 0.5 * (amplitude_deg * missed) ** 2
    return variance
