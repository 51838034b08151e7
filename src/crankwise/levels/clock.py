"""When each sample was taken, and which sample belongs to a time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.model.recording import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Clock:
    """Time base of a sampled recording.

    Attributes
    ----------
    start_s : float
        Time of the first sample.
    interval_s : float
        Sampling interval; the mean one where the steps are unequal.
    samples : int
    time_s : np.ndarray [shape=(samples,)] or None
        Only where the steps are unequal.
    """

    start_s: float
    interval_s: float
    samples: int
    time_s: FloatArray | None

    def place_of(self, time_s: FloatArray) -> FloatArray:
        """Place of each time among the samples, with its fraction, from 0 to the last sample."""
        last = self.samples - 1
        if self.time_s is None:
            return np.clip((time_s - self.start_s) / self.interval_s, 0.0, float(last))
        before = np.clip(
            np.searchsorted(self.time_s, time_s, side="right") - 1, 0, max(last - 1, 0)
        )
        after = np.minimum(before + 1, last)
        begin, end = self.time_s[before], self.time_s[after]
        share = (time_s - begin) / np.where(end > begin, end - begin, 1.0)
        return np.asarray(before + np.clip(share, 0.0, 1.0))

    def times(self, first: int, end: int) -> FloatArray:
        """Times of the samples from ``first`` up to, not including, ``end``."""
        if self.time_s is None:
            return np.asarray(self.start_s + self.interval_s * np.arange(first, end))
        return np.asarray(self.time_s[first:end])
