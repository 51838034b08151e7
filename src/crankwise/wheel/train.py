"""The train of timing edges in one direction, cut where the engine stood still."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.edges.running import running_median
from crankwise.model.edges import Direction, Edges
from crankwise.model.recording import FloatArray

_STALL_RATIO = 12.0
"""A wait this many times longer than its neighbours is no gap (at most 4 pitches) even when the
engine slows to a third within it: the engine stood still or the signal was lost."""


@dataclass(frozen=True, slots=True, eq=False)
class Train:
    """Timing edges of one direction without a standstill between them.

    Attributes
    ----------
    times_s, standard_uncertainty_s : np.ndarray [shape=(n,)]
    duty : np.ndarray [shape=(n,)]
        Share of the interval that ends at this edge spent since the last edge of the other
        direction (0 to 1); NaN for the first.
    """

    times_s: FloatArray
    standard_uncertainty_s: FloatArray
    duty: FloatArray

    def __len__(self) -> int:
        return len(self.times_s)


def trains(edges: Edges, direction: Direction) -> list[Train]:
    """Cut the edges of one direction at standstills; trains with under four edges are left out."""
    wanted = edges.rising if direction == "rising" else ~edges.rising
    times = edges.times_s[wanted]
    if len(times) < 4:
        return []
    uncertainty = edges.standard_uncertainty_s[wanted]
    duty = _duty(edges, wanted)
    intervals = np.diff(times)
    cuts = _standstills(intervals)
    parts = zip(
        np.split(times, cuts), np.split(uncertainty, cuts), np.split(duty, cuts), strict=True
    )
    return [Train(*part) for part in parts if len(part[0]) >= 4]


def _standstills(intervals: FloatArray) -> np.ndarray:
    """Edges before which the engine stood still."""
    if intervals.max() <= _STALL_RATIO * intervals.min():
        return np.empty(0, dtype=np.intp)
    typical = running_median(intervals, 9)
    # Between two speeds the local median may lie on the fast side; the larger neighbour decides.
    beside = np.maximum(np.append(typical[1:], typical[-1]), np.insert(typical[:-1], 0, typical[0]))
    return np.flatnonzero(intervals > _STALL_RATIO * np.maximum(typical, beside)) + 1


def _duty(edges: Edges, wanted: np.ndarray) -> FloatArray:
    times = edges.times_s[wanted]
    duty = np.full(len(times), np.nan)
    index = np.flatnonzero(wanted)
    before = edges.times_s[np.maximum(index - 1, 0)]
    duty[1:] = (times[1:] - before[1:]) / np.diff(times)
    return duty
