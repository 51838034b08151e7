"""How well a step of the train fits a step of a wheel.

The observation is the change of the logarithm of the slowness (seconds per degree) from one
interval to the next. An engine can't change its speed at will: over an angle ``a`` the logarithm
changes by about ``roughness * a``. So one wheel fits at all speeds, a gap is judged by the teeth
beside it, and a swing by a factor of two inside a revolution is no surprise.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from crankwise.model.recording import FloatArray
from crankwise.model.wheel import Wheel
from crankwise.wheel.train import Train

ROUGHNESS_PER_DEG = (0.0003, 0.0006, 0.0012, 0.0025, 0.005, 0.01, 0.02)
"""Rates of change of ln(speed) tried, 1/degree: idle swings of 19 % peak to peak in the second
order make 0.0016 rms; a factor of two in a quarter turn makes 0.008."""

STUDENT_DOF = 3.0
"""Heavy tails: damaged teeth and glitches must not outvote the rest."""


TOOTH_SD_DEG = 0.25
"""Allowance for teeth out of place. Real coils see the teeth beside a gap up to 0.7 degrees off,
because the flux there is lopsided; common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Observed steps of a train: entry ``i`` compares interval ``i`` with interval ``i - 1``.

    Attributes
    ----------
    change : np.ndarray [shape=(m,)]
        Difference of ln(interval).
    timing_variance : np.ndarray [shape=(m,)]
        Variance of ``change`` from the uncertainty of the edge times.
    duty : np.ndarray [shape=(m,)]
        Duty of the interval, for wheels coded in widths.
    """

    change: FloatArray
    timing_variance: FloatArray
    duty: FloatArray


def steps_of(train: Train) -> Steps:
    """Observed steps; ``len(train) - 2`` of them."""
    intervals = np.diff(train.times_s)
    variance = train.standard_uncertainty_s**2
    # Three edges enter: outer ones once, the middle one with both signs.
    middle = variance[1:-1] * (1 / intervals[1:] + 1 / intervals[:-1]) ** 2
    outer = variance[2:] / intervals[1:] ** 2 + variance[:-2] / intervals[:-1] ** 2
    return Steps(np.diff(np.log(intervals)), middle + outer, train.duty[2:])


def log_density(residual: FloatArray, variance: FloatArray) -> FloatArray:
    """Log density of a change that is off its expectation by ``residual`` (Student's t).

    The power ``STUDENT_DOF + 1`` is taken by squaring twice, so that one logarithm is enough.
    """
    tail = (1.0 + residual**2 / (STUDENT_DOF * variance)) ** 2
    return np.asarray(-0.5 * np.log(variance * tail * tail))


@dataclass(frozen=True, slots=True, eq=False)
class Expected:
    """What a wheel predicts for each tooth ``k``: interval ``k`` against interval ``k - 1``.

    Attributes
    ----------
    change : np.ndarray [shape=(teeth,)]
        Change of ln(interval) at constant speed.
    step_deg : np.ndarray [shape=(teeth,)]
        Mean angle of the two intervals.
    tooth_variance : np.ndarray [shape=(teeth,)]
        Variance of ``change`` from teeth out of place.
    is_wide : np.ndarray [shape=(teeth,), dtype bool] or None
        Width of the tooth in interval ``k``, for wheels coded in widths.
    """

    change: FloatArray
    step_deg: FloatArray
    tooth_variance: FloatArray
    is_wide: np.ndarray | None

    def speed_variance(self, tooth: np.ndarray, *, roughness: float | FloatArray) -> FloatArray:
        """Variance of the change at each ``tooth`` that the engine's speed explains."""
        return np.asarray((roughness * self.step_deg[tooth]) ** 2)


def tooth_variance(step_deg: FloatArray, before_deg: FloatArray) -> FloatArray:
    """Variance of a change of ln(interval) when each of its three edges may be out of place."""
    return np.asarray(
        TOOTH_SD_DEG**2
        * (1 / step_deg**2 + 1 / before_deg**2 + (1 / step_deg + 1 / before_deg) ** 2)
    )


@lru_cache(maxsize=256)
def expected_of(wheel: Wheel) -> Expected:
    """Predicted change of ln(interval) at constant speed, and mean step in degrees."""
    steps = np.asarray(wheel.intervals_deg)
    before = np.roll(steps, 1)
    is_wide = None
    if wheel.width_deg:
        widths = np.asarray(wheel.width_deg)
        # The interval that starts at edge k ends at edge k + 1, and so does the tooth in it.
        is_wide = np.roll(widths, -1) > (widths.max() + widths.min()) / 2
    return Expected(
        np.log(steps / before), (steps + before) / 2, tooth_variance(steps, before), is_wide
    )


def width_classes(duty: FloatArray) -> np.ndarray | None:
    """Tell wide teeth from narrow ones, or None where the duty does not fall into two classes.

    >>> import numpy as np
    >>> width_classes(np.array([0.8, 0.2, 0.81, 0.79, 0.19, 0.2]))
    array([ True, False,  True,  True, False, False])
    """
    good = duty[np.isfinite(duty)]
    if len(good) < 6:
        return None
    middle = (np.percentile(good, 10) + np.percentile(good, 90)) / 2
    above, below = good[good > middle], good[good <= middle]
    if len(above) < 0.2 * len(good) or len(below) < 0.2 * len(good):
        return None
    if above.mean() - below.mean() < 5 * max(above.std(), below.std(), 0.02):
        return None
    return np.asarray(duty > middle)
