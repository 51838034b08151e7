"""The trace of a recording: where the crank was at every moment, and every cam edge of every cycle.

A measurement keeps what all cycles say together; a picture also wants each of them. Angles count
from the zero and the cycle of the measurement, onward over the whole recording: folded to 720
degrees they are the measurement's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from crankwise.model.crank_angle import AngleRun
from crankwise.model.recording import BoolArray, FloatArray

_NEWTON_STEPS: Final = 3
_ROUNDING_DEG: Final = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class TraceRun:
    """One uninterrupted run of teeth.

    Attributes
    ----------
    times_s : np.ndarray [shape=(n,)]
        Timing edge of each tooth.
    tooth_deg : np.ndarray [shape=(n,)]
        Nominal crank angle of each tooth on the count of the cycle.
    curve : AngleRun
        Time over the run's own count of degrees.
    offset_deg : float
        From the run's own count to that of the cycle.
    is_placed : bool
        Whether the cams tell which cycle the run belongs to; else ``offset_deg`` is 0, and its
        angles are right up to a whole turn.
    """

    times_s: FloatArray
    tooth_deg: FloatArray
    curve: AngleRun
    offset_deg: float
    is_placed: bool

    @property
    def start_deg(self) -> float:
        """Angle of the first tooth."""
        return self.curve.start_deg + self.offset_deg

    @property
    def end_deg(self) -> float:
        """Angle of the last tooth."""
        return self.curve.end_deg + self.offset_deg

    def time_at(self, angle_deg: FloatArray) -> FloatArray:
        """Time at each angle, seconds; NaN outside the run."""
        own = np.asarray(angle_deg, dtype=np.float64) - self.offset_deg
        inside = np.clip(own, self.curve.start_deg, self.curve.end_deg)
        is_known = np.abs(own - inside) < _ROUNDING_DEG
        return np.where(is_known, self.curve.time_at(inside), np.nan)

    def angle_at(self, time_s: FloatArray) -> FloatArray:
        """Angle at each time, degrees; NaN outside the run.

        Unlike that of the curve, this costs only what the asked times do: pictures ask for few.
        """
        time = np.asarray(time_s, dtype=np.float64)
        inside = np.clip(time, self.times_s[0], self.times_s[-1])
        own = np.interp(inside, self.times_s, self.tooth_deg) - self.offset_deg
        for _ in range(_NEWTON_STEPS):
            own = own + (inside - self.curve.time_at(own)) / self.curve.slowness_at(own)
        return np.where(time == inside, own + self.offset_deg, np.nan)

    def speed_rpm_at(self, angle_deg: FloatArray) -> FloatArray:
        """Crank speed at each angle of the run, rpm."""
        return self.curve.speed_rpm_at(np.asarray(angle_deg) - self.offset_deg)


@dataclass(frozen=True, slots=True, eq=False)
class CamTrace:
    """Every edge of one cam, in time order.

    Attributes
    ----------
    role, channel : str
    times_s, angle_deg : np.ndarray [shape=(n,)]
    rising : np.ndarray [shape=(n,), dtype bool]
    edge : np.ndarray [shape=(n,), dtype int16]
        Which edge of the measured pattern each one is; -1 for those left out of it.
    """

    role: str
    channel: str
    times_s: FloatArray
    angle_deg: FloatArray
    rising: BoolArray
    edge: npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """The whole trace.

    Attributes
    ----------
    crank : str
        Channel of the crank.
    runs : tuple of TraceRun
        In time order.
    cams : tuple of CamTrace
        In the order of the measurement.
    """

    crank: str
    runs: tuple[TraceRun, ...]
    cams: tuple[CamTrace, ...]

    def angle_at(self, time_s: FloatArray) -> FloatArray:
        """Angle at each time, degrees; NaN where the crank was not followed."""
        time = np.asarray(time_s, dtype=np.float64)
        angle = np.full(time.shape, np.nan)
        for run in self.runs:
            inside = (time >= run.times_s[0]) & (time <= run.times_s[-1])
            angle[inside] = run.angle_at(time[inside])
        return angle

    def speed_rpm_at(self, time_s: FloatArray) -> FloatArray:
        """Crank speed at each time, rpm; NaN where the crank was not followed."""
        time = np.asarray(time_s, dtype=np.float64)
        speed = np.full(time.shape, np.nan)
        for run in self.runs:
            inside = (time >= run.times_s[0]) & (time <= run.times_s[-1])
            speed[inside] = run.speed_rpm_at(run.angle_at(time[inside]))
        return speed
