"""Whether the whole cam pattern moves during the recording (a phaser), or only scatters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crankwise.angle.folding import Cluster
from crankwise.edges.running import running_median
from crankwise.model.recording import FloatArray

_LEAST_DEG = 1.0
"""Movement below a degree is not worth a warning: chain dynamics alone twist by 0.5 to 0.8 crank
degrees (abstract TEMA20000703416)."""
_MIN_CYCLES = 6
_BY_CHANCE = 0.02
_LEAST_SWING_DEG = 2.0
"""A wave is ruled out to be mere scatter at that probability, and only where it is as large as
chain dynamics don't make."""


@dataclass(frozen=True, slots=True, eq=False)
class Movement:
    """Movement common to all edges of a cam.

    Attributes
    ----------
    cycle : np.ndarray [shape=(c,), dtype int]
    common_deg : np.ndarray [shape=(c,)]
        Mean deviation of the pattern in each cycle.
    scatter_deg : float
        Standard deviation of ``common_deg``.
    moving_deg : float
        Range of the smoothed movement where it exceeds the noise; else 0.
    """

    cycle: np.ndarray
    common_deg: FloatArray
    scatter_deg: float
    moving_deg: float


def movement(pattern: Sequence[Cluster]) -> Movement:
    """Common movement of a pattern, cycle by cycle."""
    if not pattern:
        return Movement(np.empty(0, dtype=np.intp), np.empty(0), 0.0, 0.0)
    cycle = np.concatenate([item.cycle for item in pattern])
    deviation = np.concatenate([item.deviation_deg for item in pattern])
    cycles, position = np.unique(cycle, return_inverse=True)
    count = np.bincount(position)
    common = np.bincount(position, deviation) / count
    # The first and the last cycle may hold one edge only: that one's scatter is no movement.
    whole = count >= max(count.max() / 2, 1)
    cycles, common = cycles[whole], common[whole]
    scatter = float(np.std(common, ddof=1)) if len(common) > 1 else 0.0
    return Movement(cycles, common, scatter, _moving_deg(common))


def _moving_deg(common: FloatArray) -> float:
    """Range of the smoothed movement, if neighbouring cycles go together; else 0.

    Scatter jumps from cycle to cycle, a phaser can't. Von Neumann's ratio (mean square successive
    difference over variance) is 2 for scatter with standard deviation sqrt(4(n-2)/(n^2-1))
    (von Neumann 1941; from memory); two of those below it the cycles hang together.
    """
    count = len(common)
    variance = float(np.var(common, ddof=1)) if count >= _MIN_CYCLES else 0.0
    if variance == 0.0:
        return 0.0
    ratio = float(np.mean(np.diff(common) ** 2)) / variance
    chance = 2.0 - 2.0 * np.sqrt(4.0 * (count - 2.0) / (count**2 - 1.0))
    reach = float(np.ptp(running_median(common, 3)))
    if reach > _LEAST_DEG and ratio < chance:
        return reach
    swing = _swing_deg(common)
    return swing if swing > _LEAST_SWING_DEG else 0.0


def _swing_deg(common: FloatArray) -> float:
    """Peak to peak of a wave that stands out of the scatter, however quick it is; else 0.

    A phaser that hunts every few cycles leaves neighbouring cycles as unlike as scatter does. A
    test on the periodogram tells them apart, as Fisher's does (Proc. R. Soc. A 125 (1929) 54; from
    memory), but of two neighbouring ordinates, among which a wave may be divided: of ``m`` of mere
    noise two hold the share ``g`` of all with a probability of ``(1 - g)^(m - 1) + (m - 1) g (1 -
    g)^(m - 2)``, and there are ``m - 1`` such pairs.
    """
    power = np.abs(np.fft.rfft(common - common.mean()))[1 : (len(common) + 1) // 2] ** 2
    total, count = float(power.sum()), len(power)
    if count < 3 or total == 0.0:
        return 0.0
    pair = float((power[1:] + power[:-1]).max())
    rest = 1.0 - pair / total
    chance = rest ** (count - 1) + (count - 1) * (1.0 - rest) * rest ** (count - 2)
    if (count - 1) * chance > _BY_CHANCE:
        return 0.0
    return 4.0 * float(np.sqrt(pair)) / len(common)
