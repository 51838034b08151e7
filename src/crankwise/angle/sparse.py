"""Teeth of a wheel that has too few of them for their errors to be learned."""

from __future__ import annotations

import numpy as np

from crankwise.model.recording import FloatArray
from crankwise.model.teeth import Teeth

_FEWEST = 5
FEWEST_TOLD = 8
"""With fewer teeth, what looks like a tooth out of place may as well be the engine's speed."""
_GAIN = 1.4
"""A lone error of one degree shows as 1 at its tooth, as 2/3 at either neighbour and as 1/6 at the
next ones: the root of the sum of their squares (weights of a cubic through even teeth)."""


def off_neighbours_deg(teeth: Teeth) -> FloatArray:
    """How late each tooth comes by its two neighbours on either side, median over the turns.

    A cubic through the four neighbours follows most of what the engine's speed does; what is left
    is the tooth, or speed too quick for so few teeth.

    Returns
    -------
    np.ndarray [shape=(teeth_per_rev,)]
        Crank degrees; 0 for a tooth that was never seen with all its neighbours. Empty for a wheel
        of under five teeth.
    """
    count = teeth.wheel.teeth_per_rev
    if count < _FEWEST:
        return np.empty(0)
    tooth, late = [np.empty(0, dtype=np.int64)], [np.empty(0)]
    for run in teeth.runs:
        angle, time_s = run.angles_deg(teeth.wheel), run.times_s
        middle = np.arange(2, run.teeth - 2)
        near = middle[:, None] + np.array([-2, -1, 1, 2])
        apart = angle[near] - angle[middle][:, None]
        expected = np.zeros(len(middle))
        for each in range(4):
            others = np.delete(apart, each, axis=1)
            weight = np.prod(-others / (apart[:, [each]] - others), axis=1)
            expected += weight * time_s[near[:, each]]
        slowness = (time_s[middle + 1] - time_s[middle - 1]) / (apart[:, 2] - apart[:, 1])
        tooth.append(run.number[middle] % count)
        late.append((time_s[middle] - expected) / slowness)
    which, off = np.concatenate(tooth), np.concatenate(late)
    seen = [off[which == each] for each in range(count)]
    return np.array([float(np.median(each)) if len(each) else 0.0 for each in seen])


def spacing_sd_deg(teeth: Teeth) -> float:
    """Standard deviation of the teeth's places, as far as their neighbours show it; degrees."""
    if teeth.wheel.teeth_per_rev < _FEWEST:
        return _unlike_repeats_deg(teeth)
    off = off_neighbours_deg(teeth)
    return float(np.sqrt(np.mean(off**2)) / _GAIN) if len(off) else 0.0


def _unlike_repeats_deg(teeth: Teeth) -> float:
    """Standard deviation of the teeth's places against those of the wheel's other repeats.

    Firings come at even angles, so the speed does alike in each part of a turn that looks alike;
    0 for a wheel that does not repeat.
    """
    count, repeats = teeth.wheel.teeth_per_rev, teeth.wheel.repeats
    tooth = np.concatenate([run.number[:-1][np.diff(run.number) == 1] for run in teeth.runs])
    lasts = np.concatenate([np.diff(run.times_s)[np.diff(run.number) == 1] for run in teeth.runs])
    seen = [lasts[tooth % count == each] for each in range(count)]
    if repeats == 1 or not all(len(each) for each in seen):
        return 0.0
    share = np.array([float(np.mean(each)) for each in seen])
    share *= 360.0 / share.sum()
    parts = share.reshape(repeats, count // repeats)
    off = np.cumsum((parts - parts.mean(axis=0)).ravel())
    return float(np.std(off))
