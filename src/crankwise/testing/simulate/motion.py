"""The crankshaft's rotation as an exact curve: angle at any time and time of any angle.

Between the nodes of the integration the angle is the cubic Hermite polynomial through angle and
speed at both ends. That curve *is* the simulated rotation, so edge times found on it are exact
to rounding whatever the step of the integration was.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.model.recording import FloatArray
from crankwise.units import deg_per_s_to_rpm

BLOCK = 1 << 16
"""Samples worked on at a time, so that the intermediate arrays stay in the cache."""


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Nodes of the rotation.

    Attributes
    ----------
    time_s : np.ndarray [shape=(n,)]
        Strictly increasing; 0 is the first sample of the recording.
    angle_deg : np.ndarray [shape=(n,)]
        Not decreasing, not wrapped; crank degrees after a zero with cycle parity 0.
    speed_deg_per_s : np.ndarray [shape=(n,)]
        Never negative.
    torque_nm : np.ndarray [shape=(n,)]
        Net torque on the crank, from which chain slack takes its side.
    """

    time_s: FloatArray
    angle_deg: FloatArray
    speed_deg_per_s: FloatArray
    torque_nm: FloatArray

    def at(self, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Angle (degrees) and speed (degrees per second) at times, shapes as given."""
        angle, speed = np.empty(len(time_s)), np.empty(len(time_s))
        for first in range(0, len(time_s), BLOCK):
            part = slice(first, first + BLOCK)
            angle[part], speed[part] = self._block(time_s[part])
        return angle, speed

    def _block(self, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        index = np.searchsorted(self.time_s, time_s, side="right") - 1
        index = np.clip(index, 0, len(self.time_s) - 2)
        width, a, b, c, d = self._cubic(index)
        u = (time_s - self.time_s[index]) / width
        angle = a + u * (b + u * (c + u * d))
        speed = (b + u * (2 * c + u * 3 * d)) / width
        return angle, speed

    def _cubic(
        self, index: np.ndarray[tuple[int], np.dtype[np.int64]]
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
        """Width and coefficients in u = 0…1 of the intervals ``index``."""
        width = self.time_s[index + 1] - self.time_s[index]
        start = self.angle_deg[index]
        rise = self.angle_deg[index + 1] - start
        first = self.speed_deg_per_s[index] * width
        last = self.speed_deg_per_s[index + 1] * width
        return width, start, first, 3 * rise - 2 * first - last, first + last - 2 * rise

    def time_of(self, angle_deg: FloatArray) -> FloatArray:
        """Time at which the crank reaches each angle; NaN where it never does.

        Newton's method kept inside a shrinking bracket (W. H. Press et al., *Numerical
        Recipes*, ch. 9.4: ``rtsafe``; from memory), for all angles at once.
        """
        reached = (angle_deg >= self.angle_deg[0]) & (angle_deg < self.angle_deg[-1])
        wanted = angle_deg[reached]
        index = np.searchsorted(self.angle_deg, wanted, side="right") - 1
        index = np.clip(index, 0, len(self.angle_deg) - 2)
        width, a, b, c, d = self._cubic(index)
        target = wanted - a
        low, high = np.zeros_like(target), np.ones_like(target)
        u = target / (b + c + d)
        for _ in range(60):
            off = u * (b + u * (c + u * d)) - target
            low, high = np.where(off < 0, u, low), np.where(off < 0, high, u)
            slope = b + u * (2 * c + u * 3 * d)
            step = u - off / np.where(slope > 0, slope, 1.0)
            inside = (slope > 0) & (step >= low) & (step <= high)
            following = np.where(inside, step, 0.5 * (low + high))
            settled = bool(np.max(np.abs(following - u), initial=0.0) < 1e-14)
            u = following
            if settled:
                break
        times = np.full_like(angle_deg, np.nan)
        times[reached] = self.time_s[index] + u * width
        return times

    def window(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Angles at the start and end of a stretch of time, degrees."""
        angles, _ = self.at(np.array([start_s, end_s], dtype=np.float64))
        return float(angles[0]), float(angles[1])

    def speed_range_rpm(self, start_s: float, end_s: float) -> tuple[float, float, float]:
        """Mean (turned angle over time), least and greatest speed of a stretch, rpm."""
        (first, last), ends = self.at(np.array([start_s, end_s], dtype=np.float64))
        inside = (self.time_s > start_s) & (self.time_s < end_s)
        speed = np.concatenate((ends, self.speed_deg_per_s[inside]))
        mean = deg_per_s_to_rpm(float(last - first) / (end_s - start_s))
        return mean, deg_per_s_to_rpm(float(speed.min())), deg_per_s_to_rpm(float(speed.max()))
