"""Crank angle as a smooth function of time, carried as time over angle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.model.recording import FloatArray
from crankwise.model.teeth import Teeth
from crankwise.units import deg_per_s_to_rpm


@dataclass(frozen=True, slots=True, eq=False)
class AngleRun:
    """Time over angle for one run of teeth: a cubic B-spline on even knots.

    Attributes
    ----------
    first_deg, step_deg : float
        Angle of the first knot inside the run, and the distance of the knots, degrees.
    coefficients_s : np.ndarray [shape=(m,)]
        Spline coefficients, seconds; ``m = knots + 2``.
    start_deg, end_deg : float
        Angles of the first and the last tooth: outside them nothing is known.
    """

    first_deg: float
    step_deg: float
    coefficients_s: FloatArray
    start_deg: float
    end_deg: float

    def time_at(self, angle_deg: FloatArray) -> FloatArray:
        """Time at each angle, seconds."""
        return self.time_and_slowness_at(angle_deg)[0]

    def slowness_at(self, angle_deg: FloatArray) -> FloatArray:
        """Seconds a degree at each angle."""
        return self.time_and_slowness_at(angle_deg)[1]

    def time_and_slowness_at(self, angle_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Time at each angle, seconds, and seconds a degree there.

        Between two knots the uniform cubic B-spline is a polynomial in the share of the step (de
        Boor, A Practical Guide to Splines, chapter IX; from memory).
        """
        place = (np.asarray(angle_deg, dtype=np.float64) - self.first_deg) / self.step_deg
        knot = np.clip(np.floor(place), 0, len(self.coefficients_s) - 4).astype(np.intp)
        share = place - knot
        at, steps = self.coefficients_s[knot + 1], np.diff(self.coefficients_s)
        cubic, square, linear = _polynomials(steps[knot], steps[knot + 1], steps[knot + 2])
        time_s = ((cubic * share + square) * share + linear) * share + (at + square / 3.0)
        slope_s = (3.0 * cubic * share + 2.0 * square) * share + linear
        return np.asarray(time_s), np.asarray(slope_s / self.step_deg)

    def least_slowness(self) -> float:
        """Least seconds a degree, looked for at and half-way between the knots of the run."""
        steps = np.diff(self.coefficients_s)
        cubic, square, linear = _polynomials(steps[:-2], steps[1:-1], steps[2:])
        halfway = 0.75 * cubic + square + linear
        first, last = (
            int(np.ceil((angle - self.first_deg) / self.step_deg))
            for angle in (self.start_deg, self.end_deg)
        )
        ends = self.slowness_at(np.array([self.start_deg, self.end_deg]))
        inside = np.concatenate((linear[first:last], halfway[first : last - 1]))
        return float(min(ends.min(), inside.min(initial=np.inf) / self.step_deg))

    def speed_rpm_at(self, angle_deg: FloatArray) -> FloatArray:
        """Crank speed at each angle, rpm."""
        return deg_per_s_to_rpm(1.0 / self.slowness_at(angle_deg))

    def angle_at(self, time_s: FloatArray) -> FloatArray:
        """Angle at each time, degrees; NaN outside the run.

        Time rises with angle, so the inverse is found by Newton's method from the straight line
        between knots; three steps leave less than 1e-9 degrees.
        """
        grid = np.arange(self.start_deg, self.end_deg + self.step_deg, self.step_deg)
        grid[-1] = self.end_deg
        at_grid = self.time_at(grid)
        angle = np.interp(time_s, at_grid, grid)
        for _ in range(3):
            at_angle, slowness = self.time_and_slowness_at(angle)
            angle = angle + (time_s - at_angle) / slowness
        outside = (time_s < at_grid[0]) | (time_s > at_grid[-1])
        return np.where(outside, np.nan, angle)


def _polynomials(
    before: FloatArray, across: FloatArray, after: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Cubic, square and linear coefficient between two knots, from the steps of the spline's."""
    return (after - 2.0 * across + before) / 6.0, (across - before) / 2.0, (before + across) / 2.0


@dataclass(frozen=True, slots=True, eq=False)
class CrankAngle:
    """The crank's angle over the recording, and what is known about its teeth.

    Attributes
    ----------
    teeth : Teeth
        Named teeth the angle came from.
    runs : tuple of AngleRun
        One for each run of teeth.
    coarse_runs : tuple of AngleRun
        The same, followed less closely: how far the two differ tells what the choice matters.
    tooth_error_deg : np.ndarray [shape=(teeth_per_rev,)] or empty
        Learned place of each timing edge against the even grid, positive = later.
    tooth_error_sd_deg : float
        Standard deviation of the tooth errors, estimated from the learned part.
    learned_share : float
        Share of a lone tooth's error that learning shows; the rest passes for speed.
    unlearned_sd_deg : float
        Standard uncertainty of an angle from the part of the tooth errors that can't be told
        from the engine's speed.
    unlearned_dof : float
        Degrees of freedom of that estimate.
    residual_sd_deg : float
        Scatter of single teeth about the curve.
    outlier_teeth : int
        Teeth left out because they lie far off the curve.
    """

    teeth: Teeth
    runs: tuple[AngleRun, ...]
    coarse_runs: tuple[AngleRun, ...]
    tooth_error_deg: FloatArray
    tooth_error_sd_deg: float
    learned_share: float
    unlearned_sd_deg: float
    unlearned_dof: float
    residual_sd_deg: float
    outlier_teeth: int
