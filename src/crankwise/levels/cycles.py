"""The cycles of a trace, each as the times at which the crank passes the bins of 720 degrees."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from crankwise.model.recording import FloatArray
from crankwise.model.trace import Trace, TraceRun
from crankwise.units import CYCLE_DEG, rpm_to_deg_per_s

BINS_PER_DEG: Final = 32
BINS: Final = BINS_PER_DEG * int(CYCLE_DEG)
"""Bins of a cycle, 1/32 degree each: finer than what an edge scatters."""

_MARGIN_DEG: Final = 10.0
"""Speed is told only this far inside a run, where the curve is held on both sides."""


@dataclass(frozen=True, slots=True, eq=False)
class CycleSpan:
    """A cycle, or the part of it that was recorded.

    Attributes
    ----------
    run : TraceRun
    number : int
        Counts cycles from the zero of the trace.
    first_bin, end_bin : int
        First bin that was recorded as a whole, and the one after the last.
    """

    run: TraceRun
    number: int
    first_bin: int
    end_bin: int

    def times_s(self) -> FloatArray:
        """When each bin begins, and when the last one ends."""
        zero_deg = CYCLE_DEG * self.number
        # The curve is smooth: between its values at whole degrees straight lines are enough, and
        # far cheaper than the curve itself.
        last_deg = -(-self.end_bin // BINS_PER_DEG)
        whole = np.arange(self.first_bin // BINS_PER_DEG, last_deg + 1, dtype=np.float64)
        inside = np.clip(whole + zero_deg, self.run.start_deg, self.run.end_deg)
        bins = np.arange(self.first_bin, self.end_bin + 1) / BINS_PER_DEG
        return np.interp(bins + zero_deg, inside, self.run.time_at(inside))


def spans(trace: Trace) -> tuple[CycleSpan, ...]:
    """Every cycle whose place is known, in time order."""
    found = (_span(run, number) for run in trace.runs if run.is_placed for number in _numbers(run))
    return tuple(span for span in found if span.end_bin > span.first_bin)


def _numbers(run: TraceRun) -> range:
    """Numbers of the cycles that a run has a part in."""
    return range(int(run.start_deg // CYCLE_DEG), int(run.end_deg // CYCLE_DEG) + 1)


def _span(run: TraceRun, number: int) -> CycleSpan:
    zero_deg = CYCLE_DEG * number
    first = int(np.ceil(max(run.start_deg - zero_deg, 0.0) * BINS_PER_DEG))
    end = int(np.floor(min(run.end_deg - zero_deg, CYCLE_DEG) * BINS_PER_DEG))
    return CycleSpan(run, number, first, end)


@dataclass(frozen=True, slots=True, eq=False)
class MeanCycle:
    """Speed over the cycle, at each whole degree from 0 to 720.

    Attributes
    ----------
    time_s : np.ndarray [shape=(721,)]
        Mean time after the zero.
    mean_rpm, low_rpm, high_rpm : np.ndarray [shape=(721,)]
        Mean, least and greatest speed over all cycles; NaN where none was recorded.
    """

    time_s: FloatArray
    mean_rpm: FloatArray
    low_rpm: FloatArray
    high_rpm: FloatArray


def mean_cycle(trace: Trace) -> MeanCycle:
    """Average the cycles of a trace by angle."""
    grid = np.arange(CYCLE_DEG + 1.0)
    seen, slowness = np.zeros(len(grid)), np.zeros(len(grid))
    low, high = np.full(len(grid), np.inf), np.full(len(grid), -np.inf)
    for run in (run for run in trace.runs if run.is_placed):
        for number in _numbers(run):
            angle = grid + CYCLE_DEG * number
            inside = (angle >= run.start_deg + _MARGIN_DEG) & (angle <= run.end_deg - _MARGIN_DEG)
            speed = run.speed_rpm_at(angle[inside])
            seen[inside] += 1.0
            slowness[inside] += 1.0 / speed
            low[inside] = np.minimum(low[inside], speed)
            high[inside] = np.maximum(high[inside], speed)
    known = seen > 0
    mean = np.where(known, seen, np.nan) / np.where(known, slowness, 1.0)
    filled = np.interp(grid, grid[known], mean[known]) if known.any() else mean
    steps_s = 1.0 / rpm_to_deg_per_s((filled[1:] + filled[:-1]) / 2.0)
    return MeanCycle(
        time_s=np.concatenate(([0.0], np.cumsum(steps_s))),
        mean_rpm=mean,
        low_rpm=np.where(known, low, np.nan),
        high_rpm=np.where(known, high, np.nan),
    )
