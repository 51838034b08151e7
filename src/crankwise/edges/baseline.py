"""The electrical zero of a coil, taken over whole teeth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from crankwise.edges.crossings import Crossings
from crankwise.edges.survey import Samples, Survey

_TEETH_PER_SPAN = 58
"""About a revolution of a usual wheel, so that runout averages out as well."""


def with_zero_mean(levels: Survey, samples: Samples, crossings: Crossings) -> Survey:
    """Levels about the mean of the signal over whole teeth.

    A coil's voltage is the change of its flux, and the flux comes back with every tooth: its
    mean from one falling crossing to a later one is zero. The survey's windows cut teeth, so
    their mean is not. Without four falling crossings the survey's levels stay.
    """
    falling = crossings.first[~crossings.rising] + 1
    if len(falling) < 4:
        return levels
    step = min(_TEETH_PER_SPAN, max((len(falling) - 1) // 4, 1))
    cuts = falling[::step]
    sums = np.add.reduceat(samples[: cuts[-1]], cuts[:-1], dtype=np.float64)
    zero = sums / np.diff(cuts)
    middle = np.interp(levels.centre, (cuts[1:] + cuts[:-1]) / 2, zero)
    move = middle - levels.middle
    return replace(
        levels, middle=middle, arm_high=levels.arm_high + move, arm_low=levels.arm_low + move
    )
