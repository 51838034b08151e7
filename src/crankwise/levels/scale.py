"""Samples as whole steps of their channel's range: for pictures only, nothing is measured in them.

65,535 steps are finer than any screen and than the scope's own steps, and take half the room.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

Steps = npt.NDArray[np.int16]

FULL: Final = 32767
"""Step of the highest value; the lowest has the same with a minus."""
MISSING: Final = -32768
"""Stands for a sample that is missing."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Range of one channel, in its unit.

    Attributes
    ----------
    low, high : float
        Least and greatest finite value.
    has_missing : bool
        Whether samples are missing.
    """

    low: float
    high: float
    has_missing: bool = False

    def steps(self, values: npt.NDArray[Any]) -> Steps:
        """Round values to steps; those beyond the range come to its end, NaN to ``MISSING``."""
        half = (self.high - self.low) / 2 or 1.0
        scaled = values.astype(np.float32) if values.dtype.kind != "f" else values.copy()
        scaled -= scaled.dtype.type(self.low + (self.high - self.low) / 2)
        scaled *= scaled.dtype.type(FULL / half)
        np.rint(scaled, out=scaled)
        np.clip(scaled, -FULL, FULL, out=scaled)
        if self.has_missing:
            scaled[np.isnan(scaled)] = MISSING
        return scaled.astype(np.int16)


def scale_of(values: npt.NDArray[Any]) -> Scale:
    """Range of a channel's values.

    >>> scale_of(np.array([0.0, np.nan, 5.0, np.inf]))
    Scale(low=0.0, high=5.0, has_missing=True)
    """
    if len(values) == 0:
        return Scale(0.0, 0.0)
    low, high = float(values.min()), float(values.max())
    if np.isfinite(low) and np.isfinite(high):
        return Scale(low, high)
    finite = values[np.isfinite(values)]
    has_missing = bool(np.isnan(values).any())
    if len(finite) == 0:
        return Scale(0.0, 0.0, has_missing)
    return Scale(float(finite.min()), float(finite.max()), has_missing)
