"""Unit conversions as ``a_to_b`` pairs, and wrapping of angles. Nothing else lives here."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

CYCLE_DEG = 720.0
"""Crank degrees in one four-stroke cycle."""

REVOLUTION_DEG = 360.0
"""Crank degrees in one crank revolution."""

Number = TypeVar("Number", float, npt.NDArray[np.float64])


def rpm_to_deg_per_s(speed_rpm: Number) -> Number:
    """Revolutions a minute to degrees a second (identity: 360/60).

    >>> rpm_to_deg_per_s(800.0)
    4800.0
    """
    return speed_rpm * 6.0


def deg_per_s_to_rpm(speed_deg_per_s: Number) -> Number:
    """Degrees a second to revolutions a minute.

    >>> deg_per_s_to_rpm(4800.0)
    800.0
    """
    return speed_deg_per_s / 6.0


def cam_deg_to_crank_deg(angle_cam_deg: Number) -> Number:
    """Camshaft degrees to crank degrees: a four-stroke cam turns at half speed.

    >>> cam_deg_to_crank_deg(90.0)
    180.0
    """
    return angle_cam_deg * 2.0


def crank_deg_to_cam_deg(angle_deg: Number) -> Number:
    """Crank degrees to camshaft degrees.

    >>> crank_deg_to_cam_deg(180.0)
    90.0
    """
    return angle_deg / 2.0


def deg_to_teeth(angle_deg: Number, *, pitch_deg: float) -> Number:
    """Crank degrees to crank-wheel tooth pitches.

    >>> deg_to_teeth(12.0, pitch_deg=6.0)
    2.0
    """
    return angle_deg / pitch_deg


def teeth_to_deg(teeth: Number, *, pitch_deg: float) -> Number:
    """Crank-wheel tooth pitches to crank degrees.

    >>> teeth_to_deg(16.0, pitch_deg=6.0)
    96.0
    """
    return teeth * pitch_deg


def delay_s_to_deg(delay_s: Number, *, speed_rpm: float) -> Number:
    """Angle the crank turns during a delay.

    >>> round(delay_s_to_deg(10e-6, speed_rpm=3000.0), 6)
    0.18
    """
    return delay_s * rpm_to_deg_per_s(speed_rpm)


def wrap_cycle_deg(angle_deg: Number) -> Number:
    """Wrap to ``[0, 720)``, also what rounding would put at 720.

    >>> wrap_cycle_deg(-36.0), wrap_cycle_deg(-1e-17)
    (684.0, 0.0)
    """
    return angle_deg % CYCLE_DEG % CYCLE_DEG


def wrap_signed_deg(angle_deg: Number, *, period_deg: float = CYCLE_DEG) -> Number:
    """Wrap a difference to ``[-period/2, period/2)``.

    >>> wrap_signed_deg(719.0)
    -1.0
    """
    half = period_deg / 2.0
    return (angle_deg + half) % period_deg - half
