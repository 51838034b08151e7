"""Channels as a picture asks for them: what they reached between any times, and at them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from crankwise.levels.clock import Clock
from crankwise.levels.extremes import Cover, Indices, lows_of
from crankwise.levels.rows import RowReader
from crankwise.levels.scale import FULL, MISSING, Steps
from crankwise.model.recording import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Reached:
    """What a channel did in stretches of time that follow each other, in steps of its range.

    Attributes
    ----------
    low, high : np.ndarray [shape=(m,)]
        Least and greatest value in each stretch; ``low`` above ``high`` where nothing is known.
    at : np.ndarray [shape=(m,)]
        Value at the beginning of each stretch; ``MISSING`` where not known.
    """

    low: Steps
    high: Steps
    at: Steps


class Source(Protocol):
    """All channels of a recording; what a stretch of time is made to depends on their kind."""

    def stretches(self, times_s: FloatArray) -> Any:
        """Find the stretches between each of these rising times and the next."""

    def reached(self, channel: int, stretches: Any) -> Reached:
        """What a channel did in each stretch."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Where stretches of time that follow each other lie among the samples.

    Attributes
    ----------
    first, end : int
        Samples that all of them together need.
    left, right : np.ndarray [shape=(m + 1,)]
        Samples before and after each border, counted from ``first``.
    share : np.ndarray [shape=(m + 1,)]
        How far the border lies on the way from the one to the other.
    has_samples : np.ndarray [shape=(m,), dtype bool]
        Whether samples lie inside the stretch.
    inside : Cover
        Those of the stretches that have some.
    """

    first: int
    end: int
    left: Indices
    right: Indices
    share: npt.NDArray[np.float32]
    has_samples: BoolArray
    inside: Cover


class Sampled:
    """Sampled channels, taken as straight lines between their samples."""

    def __init__(
        self, clock: Clock, samples: Sequence[RowReader], has_missing: Sequence[bool]
    ) -> None:
        self._clock, self._samples, self._has_missing = clock, samples, has_missing

    def stretches(self, times_s: FloatArray) -> Stretches:
        """Find the samples between each of these rising times and the next."""
        place = self._clock.place_of(times_s)
        left = place.astype(np.intp)
        first, end = int(left[0]), min(int(left[-1]) + 2, self._clock.samples)
        share = (place - left).astype(np.float32)
        left -= first
        right = np.minimum(left + 1, end - first - 1)
        inside = np.diff(left)
        has_samples = inside > 0
        cover = Cover.of(right[:-1][has_samples], inside[has_samples])
        return Stretches(first, end, left, right, share, has_samples, cover)

    def reached(self, channel: int, stretches: Stretches) -> Reached:
        """What a channel did in each stretch."""
        block = self._samples[channel].rows(stretches.first, stretches.end)
        has_missing = self._has_missing[channel]
        at = _between(block, stretches, has_missing=has_missing)
        at_low = lows_of(at, has_missing=has_missing)
        low = np.minimum(at_low[:-1], at_low[1:])
        high = np.maximum(at[:-1], at[1:])
        _take_inside(lows_of(block, has_missing=has_missing), stretches, np.minimum, low)
        _take_inside(block, stretches, np.maximum, high)
        return Reached(low, high, at[:-1])


def _between(block: Steps, stretches: Stretches, *, has_missing: bool) -> Steps:
    """Value at each border; missing if either of its neighbours is."""
    begin, end = block.take(stretches.left), block.take(stretches.right)
    rise = stretches.share * (end.astype(np.float32) - begin)
    at = np.rint(begin + rise).astype(np.int16)
    if has_missing:
        at[(begin == MISSING) | (end == MISSING)] = MISSING
    return at


def _take_inside(values: Steps, stretches: Stretches, pick: np.ufunc, into: Steps) -> None:
    """Let the samples inside each stretch take part, where there are any."""
    some = stretches.has_samples
    if some.all():
        pick(into, stretches.inside.pick(values, pick), out=into)
    elif some.any():
        into[some] = pick(into[some], stretches.inside.pick(values, pick))


class Events:
    """Logic signals as their changes."""

    def __init__(self, times_s: Sequence[FloatArray], held: Sequence[BoolArray]) -> None:
        """Take the times of the changes, and the states before each change and after the last."""
        self._times_s, self._held = times_s, held

    def changes(self, channel: int) -> tuple[FloatArray, BoolArray]:
        """Times of the changes of a channel, and the states before each and after the last."""
        return self._times_s[channel], self._held[channel]

    def stretches(self, times_s: FloatArray) -> FloatArray:
        """Return the times themselves: each channel has its own changes."""
        return times_s

    def reached(self, channel: int, stretches: FloatArray) -> Reached:
        """What a channel did in each stretch."""
        before = np.searchsorted(self._times_s[channel], stretches, side="right")
        changes = np.diff(before) > 0
        at = self._held[channel][before[:-1]]
        return Reached(low=_as_steps(at & ~changes), high=_as_steps(at | changes), at=_as_steps(at))


def _as_steps(states: BoolArray) -> Steps:
    return np.where(states, np.int16(FULL), np.int16(-FULL))
