"""The levels of a coil's signal, once its teeth have been seen a first time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from crankwise.edges.crossings import Crossings
from crankwise.edges.survey import Samples, Survey
from crankwise.model.recording import FloatArray

_TEETH_PER_SPAN = 58
"""About a revolution of a usual wheel, so that runout averages out as well."""
_ARM_SHARE = 0.3
"""Arming level as a share of the local peaks: runout and a speed that halves within a turn leave
peaks above it. The scheme is that of variable-reluctance interfaces (MAX9924-27 data sheet,
19-4283, adaptive peak threshold); the share is common practice, no source."""
_REACH_WINDOWS = 2


def settle_levels(levels: Survey, samples: Samples, crossings: Crossings) -> Survey:
    """Levels about the electrical zero, armed by the local height of the teeth.

    Without four falling crossings the survey's levels stay.
    """
    if int((~crossings.rising).sum()) < 4:
        return levels
    middle = _zero(levels, samples, crossings)
    arm = np.maximum(_ARM_SHARE * _tooth_height(levels, crossings), levels.least_arm)
    return replace(levels, middle=middle, arm_high=middle + arm, arm_low=middle - arm)


def _zero(levels: Survey, samples: Samples, crossings: Crossings) -> FloatArray:
    """Mean of the signal from one falling crossing to a later one.

    A coil's voltage is the change of its flux, and the flux comes back with every tooth, so this
    mean is the electrical zero. The survey's windows cut teeth, and their mean is off.
    """
    falling = crossings.first[~crossings.rising] + 1
    step = min(_TEETH_PER_SPAN, max((len(falling) - 1) // 4, 1))
    cuts = falling[::step]
    sums = np.add.reduceat(samples[: cuts[-1]], cuts[:-1], dtype=np.float64)
    zero = sums / np.diff(cuts)
    return np.asarray(np.interp(levels.centre, (cuts[1:] + cuts[:-1]) / 2, zero))


def _tooth_height(levels: Survey, crossings: Crossings) -> FloatArray:
    """Typical height about each window: the median of the peaks, weighted by their energy.

    The weight keeps a few tall peaks beside a gap from counting for the many teeth, and many
    small wiggles from counting for the few teeth of a cam.
    """
    length = 2.0 * levels.centre[0]
    window = np.clip(crossings.first / length, 0, len(levels.centre) - 1).astype(np.intp)
    bounds = np.searchsorted(window, np.arange(len(levels.centre) + 1))
    typical = np.full(len(levels.centre), np.nan)
    for i in range(len(typical)):
        first = bounds[max(i - _REACH_WINDOWS, 0)]
        last = bounds[min(i + 1 + _REACH_WINDOWS, len(typical))]
        if last - first >= 4:
            typical[i] = _energy_median(crossings.height[first:last])
    known = np.isfinite(typical)
    if not known.any():
        return np.full(len(typical), _energy_median(crossings.height))
    return np.asarray(np.interp(levels.centre, levels.centre[known], typical[known]))


def _energy_median(heights: FloatArray) -> float:
    ordered = np.sort(heights)
    energy = np.cumsum(ordered**2)
    return float(ordered[np.searchsorted(energy, 0.5 * energy[-1])])
