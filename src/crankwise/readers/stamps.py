"""Time stamps as they come in, summed up in little memory: enough to find the clock behind them.

What a line through all stamps needs to know of them is how far they lie off it, above and below.
Only corners of the convex hull can be farthest off, and of a clock written with few digits the
hull has few corners, however long the recording.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.model.recording import BoolArray, FloatArray
from crankwise.readers.timebase import (
    GAP_STEPS,
    RARE_SHARE,
    UNIFORM_SHARE,
    StepTally,
    TimeBase,
    are_leaps,
)

IntArray = npt.NDArray[np.intp]

_ENDS = 200
_MOST_CORNERS = 1 << 14
_ROUNDS = 64
_UPSIDE_DOWN = np.array([[1.0], [-1.0]])


class NotEvenError(Exception):
    """The stamps are not those of the clock supposed; kept inside this package."""


@dataclass(slots=True)
class EvenStamps:
    """Stamps that lie on a line but for what does not matter to any edge.

    Attributes
    ----------
    start_s, interval_s : float
        The line, from the first stamps.
    """

    start_s: float
    interval_s: float
    count: int = 0
    first: FloatArray = field(default_factory=lambda: np.empty(0))
    last: FloatArray = field(default_factory=lambda: np.empty(0))
    _low_s: float = np.inf
    _high_s: float = -np.inf

    def add(self, times_s: FloatArray) -> None:
        """Take in the next stamps.

        Raises
        ------
        NotEvenError
            They lie too far off the line.
        """
        residual = self._residual(times_s)
        self._low_s = min(self._low_s, float(residual.min()))
        self._high_s = max(self._high_s, float(residual.max()))
        if not self._high_s - self._low_s <= UNIFORM_SHARE * self.interval_s:
            raise NotEvenError
        self._take(times_s)

    def _residual(self, times_s: FloatArray) -> FloatArray:
        """How far stamps lie off the line."""
        place = np.arange(self.count, self.count + len(times_s), dtype=np.float64)
        place *= -self.interval_s
        place += times_s
        place -= self.start_s
        return place

    def _take(self, times_s: FloatArray) -> None:
        self.count += len(times_s)
        if len(self.first) < _ENDS:
            self.first = np.concatenate((self.first, times_s[: _ENDS - len(self.first)]))
        self.last = np.concatenate((self.last, times_s[-_ENDS:]))[-_ENDS:]

    @property
    def bounds_s(self) -> tuple[float, float]:
        """First and last stamp."""
        return float(self.first[0]), float(self.last[-1])

    @property
    def ends(self) -> FloatArray:
        """The first and the last stamps, which show the last digit written."""
        return np.concatenate((self.first, self.last))

    def residual_range(self, start_s: float, interval_s: float) -> tuple[float, float]:
        """Least and greatest difference of all stamps to a line, or a little beyond them."""
        shift_s = self.start_s - start_s
        drift_s = (self.interval_s - interval_s) * (self.count - 1)
        return (
            self._low_s + shift_s + min(drift_s, 0.0),
            self._high_s + shift_s + max(drift_s, 0.0),
        )

    def regression(self) -> tuple[float, float]:
        """Return the line, which is close enough to all stamps."""
        return self.start_s, self.interval_s

    def has_odd_steps(self) -> bool:
        """No step is off by more than a thousandth."""
        return False


def _upper_hull(hull: FloatArray, points: FloatArray) -> FloatArray:
    """Corners of the upper convex hull of points in order of place, shape (2, corners).

    A point under the chord of its neighbours is no corner, whichever neighbours are left.
    """
    corners = np.concatenate((hull, points), axis=1)
    for _ in range(_ROUNDS):
        x, y = corners
        rise, run = np.diff(y), np.diff(x)
        is_corner = np.ones(len(x), dtype=np.bool_)
        is_corner[1:-1] = rise[:-1] * run[1:] > rise[1:] * run[:-1]
        if is_corner.all():
            break
        corners = corners[:, is_corner]
    return corners


@dataclass(slots=True)
class _Steps:
    """Steps between stamps, counted in last digits.

    ``typical`` is what the first ones show; ``first`` and ``last`` are the places of odd steps,
    ``nearest`` and ``farthest`` the least and greatest distance from one to the next.
    """

    counts: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    typical: float = 0.0
    first: int | None = None
    last: int = 0
    nearest: float = np.inf
    farthest: float = 0.0

    def add(self, steps_s: FloatArray, digit_s: float, *, first: int) -> None:
        """Take in the next steps; those of rounded stamps are few digits long."""
        digits = np.rint(steps_s / digit_s)
        if not (digits.min() >= 0.0 and digits.max() < _MOST_CORNERS):
            raise NotEvenError
        counts = np.bincount(digits.astype(np.intp))
        if first == 0:
            counts[0] -= 1  # the first stamp has no step
            self.typical = _median(counts)
        size = max(len(counts), len(self.counts))
        self.counts = _padded(self.counts, size) + _padded(counts, size)
        odd = np.flatnonzero(_is_odd(digits, self.typical)) + first
        odd = odd[odd > 0]
        if len(odd):
            before = odd[:0] if self.first is None else np.array([self.last])
            apart = np.diff(np.concatenate((before, odd))).astype(np.float64)
            self.nearest = min(self.nearest, float(apart.min(initial=np.inf)))
            self.farthest = max(self.farthest, float(apart.max(initial=0.0)))
            self.first = int(odd[0]) if self.first is None else self.first
            self.last = int(odd[-1])

    def are_odd(self) -> bool:
        """Whether a few of them leave out or repeat samples."""
        typical = _median(self.counts)
        if typical <= 0.0:
            return False
        number = int(self.counts[_is_odd(np.arange(len(self.counts)), typical)].sum())
        if not 0 < number <= max(1.0, RARE_SHARE * self.counts.sum()):
            return False
        if typical != self.typical or self.first is None:
            raise NotEvenError
        spread = self.farthest - self.nearest if number > 2 else np.inf
        return not are_leaps(spread, reach=float(self.last - self.first))


def _is_odd(digits: npt.NDArray[Any], typical: float) -> BoolArray:
    return np.asarray((digits > GAP_STEPS * typical) | (digits == 0))


def _median(counts: IntArray) -> float:
    """Median of whole numbers of which so many are 0, 1, 2 and so on."""
    below = np.cumsum(counts)
    middle = (below[-1] - 1) / 2
    lower, upper = np.searchsorted(below, [np.floor(middle), np.ceil(middle)], side="right")
    return float(lower + upper) / 2.0


def _padded(counts: IntArray, size: int) -> IntArray:
    return np.pad(counts, (0, size - len(counts)))


@dataclass(slots=True)
class RoundedStamps(EvenStamps):
    """Stamps of an even clock, written with few digits.

    ``digit_s`` is the last digit written, from the first stamps.
    """

    digit_s: float = 0.0
    _corners: tuple[FloatArray, FloatArray] = (np.empty((2, 0)), np.empty((2, 0)))
    _sum_s: float = 0.0
    _moment_s: float = 0.0
    _steps: _Steps = field(default_factory=_Steps)

    def add(self, times_s: FloatArray) -> None:
        """Take in the next stamps.

        Raises
        ------
        NotEvenError
            No line leaves them in a narrow strip.
        """
        residual = self._residual(times_s)
        place = np.arange(self.count, self.count + len(times_s), dtype=np.float64)
        self._sum_s += float(residual.sum())
        self._moment_s += float(residual @ place)
        before = self.last[-1:] if self.count else times_s[:1]
        self._steps.add(np.diff(times_s, prepend=before), self.digit_s, first=self.count)
        new = np.stack((place, residual))
        upper, lower = self._corners
        self._corners = (
            _upper_hull(upper, new),
            _UPSIDE_DOWN * _upper_hull(_UPSIDE_DOWN * lower, _UPSIDE_DOWN * new),
        )
        if max(corners.shape[1] for corners in self._corners) > _MOST_CORNERS:
            raise NotEvenError
        self._take(times_s)

    def residual_range(self, start_s: float, interval_s: float) -> tuple[float, float]:
        """Least and greatest difference of all stamps to a line."""

        def off(corners: FloatArray) -> FloatArray:
            place, residual = corners
            drift = place * (self.interval_s - interval_s)
            return np.asarray(residual + (self.start_s - start_s) + drift)

        upper, lower = self._corners
        return float(off(lower).min()), float(off(upper).max())

    def regression(self) -> tuple[float, float]:
        """Least-squares line through the stamps."""
        count, centre = self.count, (self.count - 1) / 2.0
        moment = self._moment_s - centre * self._sum_s
        slope = moment / (count * (count**2 - 1.0) / 12.0)
        mean = self.start_s + self._sum_s / count + self.interval_s * centre
        interval = self.interval_s + slope
        return mean - interval * centre, interval

    def has_odd_steps(self) -> bool:
        """Whether a few steps leave out or repeat samples, in a way that rounding doesn't make."""
        return self._steps.are_odd()


@dataclass(slots=True)
class UnevenStamps:
    """Stamps that no even clock explains; each sample keeps its own.

    ``interval_s`` is the typical step of the first ones.
    """

    interval_s: float
    count: int = 0
    first_s: float = 0.0
    last_s: float = 0.0
    tally: StepTally = field(init=False)

    def __post_init__(self) -> None:
        self.tally = StepTally(self.interval_s)

    def add(self, times_s: FloatArray) -> None:
        """Take in the next stamps; they rise."""
        known = np.array([self.last_s]) if self.count else times_s[:0]
        joined = np.concatenate((known, times_s))
        if len(joined) > 1:
            self.tally.add(joined[:-1], np.diff(joined))
        self.first_s = self.first_s if self.count else float(times_s[0])
        self.last_s = float(times_s[-1])
        self.count += len(times_s)

    def base(self) -> TimeBase:
        """Time base as told at the end; the stamps themselves have gone with their samples."""
        duration_s = self.last_s - self.first_s
        return TimeBase(self.first_s, duration_s, self.interval_s, findings=(self.tally.finding(),))
