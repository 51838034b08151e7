"""How much later a cam sensor answers than the crank sensor, from speeds within one recording.

A delay turns into an angle that grows with speed (6 degrees a second for each rpm); the place of
the cam does not. So the slope of the cam's angle over speed is the delay.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from crankwise.angle.folding import Cluster
from crankwise.angle.student import student_factor
from crankwise.model.crank_angle import CrankAngle
from crankwise.units import rpm_to_deg_per_s

_LEAST_SPAN = 0.3
"""Least range of the speed, as a share of its mean, from which a slope is worth stating."""
_MIN_CYCLES = 8


def sensor_delay_s(pattern: Sequence[Cluster], crank: CrankAngle) -> tuple[float, float] | None:
    """Delay of a cam sensor against the crank's, and its expanded uncertainty (95 %), seconds.

    None where the speed hardly changed or there are few cycles. Ordinary least squares of the
    deviation of each sighting on the speed at it; cycles, not sightings, count as independent.
    """
    if not pattern:
        return None
    time_s = np.concatenate([item.time_s for item in pattern])
    deviation = np.concatenate([item.deviation_deg for item in pattern])
    cycles = len(np.unique(np.concatenate([item.cycle for item in pattern])))
    speed = rpm_to_deg_per_s(_speed_rpm(time_s, crank))
    if cycles < _MIN_CYCLES or np.ptp(speed) < _LEAST_SPAN * speed.mean():
        return None
    centred = speed - speed.mean()
    power = float((centred**2).sum())
    slope_s = float((centred * deviation).sum() / power)
    rest = deviation - deviation.mean() - slope_s * centred
    spread = float(np.sqrt((rest**2).sum() / (len(rest) - 2)))
    # Edges of one cycle share its scatter: their number counts once.
    standard = spread / np.sqrt(power) * np.sqrt(len(rest) / cycles)
    return slope_s, float(student_factor(cycles - 2.0) * standard)


def _speed_rpm(time_s: np.ndarray, crank: CrankAngle) -> np.ndarray:
    """Mean speed of the turn about each time, rpm."""
    speed = np.zeros(len(time_s))
    for run, teeth in zip(crank.runs, crank.teeth.runs, strict=True):
        inside = (time_s >= teeth.times_s[0]) & (time_s <= teeth.times_s[-1])
        angle = run.angle_at(time_s[inside])
        before = np.maximum(angle - 180.0, run.start_deg)
        after = np.minimum(angle + 180.0, run.end_deg)
        speed[inside] = (after - before) / (run.time_at(after) - run.time_at(before)) / 6.0
    return speed
