"""Phase of the crank's own speed ripple against the gap: evidence that the cams have no part in.

Compression slows the crank down at fixed crank angles. If the toothed target has moved on the
crank, the gap moves against this ripple and every cam seems to move alike; a worn chain leaves the
ripple where it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.model.measurement import Measurement, RippleOrder
from crankwise.units import wrap_signed_deg

_STARTER_RPM = 400.0
_LIKE_SPEED = 0.2
"""Largest difference of the mean speeds, as a share, at which the ripple may be compared."""
_LEAST_SHARE = 0.004
"""Least amplitude of the ripple as a share of the speed."""


@dataclass(frozen=True, slots=True)
class RippleChange:
    """Change of the ripple's phase, subject less known-good, and its standard uncertainty."""

    order: float
    shift_deg: float
    standard_deg: float


def ripple_change(
    subject: Measurement,
    known_good: Measurement,
    *,
    turn_deg: float,
    idle_deg: float,
    starter_deg: float,
) -> RippleChange | None:
    """Compare the strongest order that both recordings show; None where there is none.

    Parameters
    ----------
    subject, known_good : Measurement
    turn_deg : float
        What the match added to the subject's angles.
    idle_deg, starter_deg : float
        Standard deviation of the phase between two recordings of a healthy engine, at idle and
        on the starter, from the policy.
    """
    mine, theirs = subject.crank.speed_rpm.mean, known_good.crank.speed_rpm.mean
    if abs(mine - theirs) > _LIKE_SPEED * theirs:
        return None
    best: tuple[float, RippleOrder, RippleOrder] | None = None
    known = {item.order: item for item in known_good.crank.ripple}
    for item in subject.crank.ripple:
        other = known.get(item.order)
        if other is None or item.order < 1.0:
            continue
        strength = min(item.amplitude_rpm / mine, other.amplitude_rpm / theirs)
        if strength > _LEAST_SHARE and (best is None or strength > best[0]):
            best = strength, item, other
    if best is None:
        return None
    _, item, other = best
    period = 360.0 / item.order
    shift = wrap_signed_deg(item.phase_deg + turn_deg - other.phase_deg, period_deg=period)
    own = np.hypot(item.uncertainty_deg, other.uncertainty_deg) / 2.0
    healthy = starter_deg if max(mine, theirs) < _STARTER_RPM else idle_deg
    return RippleChange(item.order, float(shift), float(np.hypot(own, healthy)))
