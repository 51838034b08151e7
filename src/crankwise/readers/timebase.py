"""From written time stamps to a time base: uniform, rounded, reversed, with gaps, or unequal.

Time stamps are written with so many digits. A line through them whose residuals stay within
half of the last digit can't be told from a uniform clock, so it is taken for one; the rule is
the same for text and for binary tables, since the last digit is found from the values.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding
from crankwise.model.recording import BoolArray, FloatArray

BLOCK = 1 << 17
UNIFORM_SHARE = 1e-3
"""Residuals up to this share of a sampling interval don't matter to any edge time."""

GAP_STEPS = 1.75
"""A step of more than this many intervals leaves out at least one sample."""

HEAD_ROWS = 1 << 17
"""A recording is judged by so many rows at its beginning where it is not held as a whole."""

RARE_SHARE = 0.02
_STRIP_STEPS = 25


@dataclass(frozen=True, slots=True, eq=False)
class TimeBase:
    """When the samples were taken.

    Attributes
    ----------
    start_s, duration_s, interval_s : float
        As in :class:`~crankwise.model.recording.Recording`.
    time_s : np.ndarray [shape=(n,)] or None
        The stamps themselves, only where their steps are truly unequal.
    keep : np.ndarray [shape=(rows,), dtype bool] or None
        Rows to keep, in the file's order; ``None`` keeps all.
    is_reversed : bool
        Whether the rows must be turned round, after applying ``keep``.
    findings : tuple of Finding
    """

    start_s: float
    duration_s: float
    interval_s: float
    time_s: FloatArray | None = None
    keep: BoolArray | None = None
    is_reversed: bool = False
    findings: tuple[Finding, ...] = ()


def from_interval(count: int, *, interval_s: float, start_s: float = 0.0) -> TimeBase:
    """Time base of ``count`` samples at a known interval, seconds."""
    return TimeBase(start_s, (count - 1) * interval_s, interval_s)


def from_stamps(times_s: FloatArray, *, place: Callable[[int], str]) -> TimeBase:
    """Find the time base that a sampled recording's time stamps describe.

    Parameters
    ----------
    times_s : np.ndarray [shape=(n,)]
        Finite stamps in file order, seconds; at least two.
    place : callable
        File and place of a row by its index, for messages (``"van.csv: row 12"``).

    Raises
    ------
    UnreadableError
        If time stands still or goes back in a way that rounding doesn't explain.
    """
    is_reversed = bool(times_s[-1] < times_s[0])
    ordered = times_s[::-1] if is_reversed else times_s
    findings = (reversed_finding(),) if is_reversed else ()
    base = from_clock(_Stamps(ordered))
    if base is not None:
        return replace(base, is_reversed=is_reversed, findings=findings + base.findings)
    return _unequal(ordered, is_reversed=is_reversed, findings=findings, place=place)


def last_digit_s(times_s: FloatArray) -> float:
    """Value of the last digit written, seconds, judged from the first and last stamps.

    The stamps are multiples of a power of ten, to the precision of their number type, or else
    the spacing of the floating-point numbers is the last digit.

    >>> last_digit_s(np.array([0.0, 0.25, 0.5]))
    0.01
    """
    sample = np.concatenate((times_s[:200], times_s[-200:]))
    largest = float(np.max(np.abs(sample))) or 1.0
    floor = float(np.spacing(largest))
    single = sample.astype(np.float32)
    if np.array_equal(single.astype(np.float64), sample):
        floor = float(np.spacing(single.dtype.type(largest)))
    coarsest = 0.0
    for part in (sample[: len(sample) // 2], sample[len(sample) // 2 :]):
        coarsest = max(coarsest, _decimal_step(part, floor=floor))
    return coarsest


def _decimal_step(values: FloatArray, *, floor: float) -> float:
    """Largest power of ten that all values are multiples of, or the floor."""
    largest = float(np.max(np.abs(values)))
    for exponent in range(3, -16, -1):
        step = 10.0**exponent
        if step <= floor:
            break
        if step <= largest and np.all(np.abs(np.round(values, -exponent) - values) <= 1.01 * floor):
            return step
    return floor


class Clock(Protocol):
    """What has to be known of all stamps, in the order of time, to find the clock behind them."""

    @property
    def count(self) -> int:
        """Number of stamps."""

    @property
    def bounds_s(self) -> tuple[float, float]:
        """First and last stamp."""

    @property
    def ends(self) -> FloatArray:
        """The first 200 and the last 200 stamps, or more."""

    def residual_range(self, start_s: float, interval_s: float) -> tuple[float, float]:
        """Lowest and highest difference to a line."""

    def regression(self) -> tuple[float, float]:
        """Least-squares line through the stamps."""

    def has_odd_steps(self) -> bool:
        """Whether a few steps leave out or repeat samples, in a way that rounding doesn't make."""


def from_clock(clock: Clock) -> TimeBase | None:
    """Time base if a uniform clock explains the stamps, else ``None``."""
    last = clock.count - 1
    start_s, end_s = clock.bounds_s
    interval_s = (end_s - start_s) / last
    if interval_s <= 0.0:
        return None
    low, high = clock.residual_range(start_s, interval_s)
    digit_s = last_digit_s(clock.ends)
    if high - low > 2.0 * UNIFORM_SHARE * interval_s:
        if high - low > 2.0 * (digit_s + UNIFORM_SHARE * interval_s) or clock.has_odd_steps():
            return None
        # A line through rounded stamps leaves them in a strip as wide as the last digit.
        widest_s = 1.001 * digit_s + 2.0 * UNIFORM_SHARE * interval_s
        start_s, interval_s = clock.regression()
        low, high = clock.residual_range(start_s, interval_s)
        if high - low > widest_s:
            start_s, interval_s = _narrowest_strip(clock, start_s, interval_s)
            low, high = clock.residual_range(start_s, interval_s)
        if high - low > widest_s:
            return None
    nice_s = shortest(interval_s, tolerance=0.25 * digit_s / last)
    unequal = digit_s > 0.01 * interval_s and high - low > 0.01 * interval_s
    findings = (_rounded_finding(digit_s, nice_s),) if unequal else ()
    return TimeBase(start_s, last * nice_s, nice_s, findings=findings)


@dataclass(frozen=True, slots=True, eq=False)
class _Stamps:
    """Stamps at hand, in the order of time."""

    times_s: FloatArray

    @property
    def count(self) -> int:
        return len(self.times_s)

    @property
    def bounds_s(self) -> tuple[float, float]:
        return float(self.times_s[0]), float(self.times_s[-1])

    @property
    def ends(self) -> FloatArray:
        return self.times_s

    def residual_range(self, start_s: float, interval_s: float) -> tuple[float, float]:
        # In blocks, to stay in the cache.
        ramp = np.arange(min(BLOCK, self.count)) * interval_s
        low, high = np.inf, -np.inf
        for first in range(0, self.count, BLOCK):
            block = self.times_s[first : first + BLOCK]
            residual = block - ramp[: len(block)]
            offset = start_s + first * interval_s
            low = min(low, float(residual.min()) - offset)
            high = max(high, float(residual.max()) - offset)
        return low, high

    def regression(self) -> tuple[float, float]:
        # As a correction to the line through both ends, which loses no digits.
        start_s, end_s = self.bounds_s
        interval_s = (end_s - start_s) / (self.count - 1)
        centre = (self.count - 1) / 2.0
        total = moment = 0.0
        for first in range(0, self.count, BLOCK):
            block = self.times_s[first : first + BLOCK]
            index = np.arange(first, first + len(block), dtype=np.float64)
            residual = block - (start_s + interval_s * index)
            total += float(residual.sum())
            moment += float(residual @ (index - centre))
        slope = moment / (self.count * (self.count**2 - 1.0) / 12.0)
        return start_s + total / self.count - slope * centre, interval_s + slope

    def has_odd_steps(self) -> bool:
        steps = np.diff(self.times_s)
        typical = float(np.median(steps))
        if typical <= 0.0:
            return False
        odd = np.flatnonzero((steps > GAP_STEPS * typical) | (steps == 0.0))
        if not 0 < len(odd) <= max(1.0, RARE_SHARE * len(steps)):
            return False
        spread = float(np.ptp(np.diff(odd))) if len(odd) > 2 else np.inf
        return not are_leaps(spread, reach=float(odd[-1] - odd[0]))


def are_leaps(spread: float, *, reach: float) -> bool:
    """Whether steps of none or of two come at even distances, as leap days do.

    Where the last digit is about as coarse as the interval, rounding makes such steps.

    Parameters
    ----------
    spread : float
        By how many samples their distances differ; infinite for fewer than three steps.
    reach : float
        Samples from the first to the last of them.
    """
    return spread <= max(2.0, 0.02 * reach)


def _narrowest_strip(clock: Clock, start_s: float, interval_s: float) -> tuple[float, float]:
    """Line in the middle of the narrowest strip that holds all stamps.

    Where the interval is nearly a multiple of the last digit, rounding errors follow a slow
    pattern that pulls least squares aside, but not this. The width is convex in the slope, so
    halving brackets it; the bracket is as wide as one strip can turn over the recording.
    """
    reach_s = float(np.ptp(clock.residual_range(start_s, interval_s))) / (clock.count - 1)
    low, high = interval_s - reach_s, interval_s + reach_s
    for _ in range(_STRIP_STEPS):
        left, right = low + (high - low) / 3.0, high - (high - low) / 3.0
        widths = [np.ptp(clock.residual_range(start_s, slope)) for slope in (left, right)]
        low, high = (low, right) if widths[0] < widths[1] else (left, high)
    slope = (low + high) / 2.0
    return start_s + sum(clock.residual_range(start_s, slope)) / 2.0, slope


def shortest(value: float, *, tolerance: float) -> float:
    """Return the number with the fewest digits within the tolerance of a value.

    >>> shortest(4.9999999999e-06, tolerance=1e-14)
    5e-06
    """
    for digits in range(1, 17):
        candidate = float(f"{value:.{digits - 1}e}")
        if abs(candidate - value) <= tolerance:
            return candidate
    return value


def _unequal(
    times_s: FloatArray,
    *,
    is_reversed: bool,
    findings: tuple[Finding, ...],
    place: Callable[[int], str],
) -> TimeBase:
    """Keep stamps that no uniform clock explains, once they are in order."""
    count = len(times_s)
    steps = np.diff(times_s)

    def row(index: int) -> str:
        return place(count - 1 - index if is_reversed else index)

    back = np.flatnonzero(steps < 0.0)
    if len(back):
        at = int(back[0]) + 1
        raise goes_back(row(at), float(times_s[at - 1]), float(times_s[at]))
    keep, repeat_findings = _without_repeats(steps, row)
    if keep is not None:
        times_s = times_s[keep]
        if len(times_s) < 2:
            raise UnreadableError(
                f"{row(1)}: the time stands still. Export it with more digits, or give the "
                "sampling interval with --interval"
            )
        steps = np.diff(times_s)
        base = from_clock(_Stamps(times_s))
        if base is not None:
            return replace(
                base,
                keep=keep[::-1] if is_reversed else keep,
                is_reversed=is_reversed,
                findings=findings + repeat_findings + base.findings,
            )
    interval_s = typical_step_s(steps)
    tally = StepTally(interval_s)
    tally.add(times_s[:-1], steps)
    return TimeBase(
        start_s=float(times_s[0]),
        duration_s=float(times_s[-1] - times_s[0]),
        interval_s=interval_s,
        time_s=np.ascontiguousarray(times_s),
        keep=keep[::-1] if keep is not None and is_reversed else keep,
        is_reversed=is_reversed,
        findings=findings + repeat_findings + (tally.finding(),),
    )


def goes_back(where: str, before_s: float, after_s: float) -> UnreadableError:
    """Refuse stamps that are not in order."""
    return UnreadableError(
        f"{where}: time goes back from {before_s:.9g} s to {after_s:.9g} s. "
        "Put the rows in order or cut the file there, or give the sampling interval with "
        "--interval to ignore the time column"
    )


def typical_step_s(steps_s: FloatArray) -> float:
    """Typical step of an uneven time base, from the first :data:`HEAD_ROWS` stamps."""
    typical = float(np.median(steps_s[: HEAD_ROWS - 1]))
    return shortest(typical, tolerance=1e-9 * typical)


def _without_repeats(
    steps: FloatArray, row: Callable[[int], str]
) -> tuple[BoolArray | None, tuple[Finding, ...]]:
    """Mark the rows to keep where a stamp stands twice; more than a few are refused."""
    same = steps == 0.0
    repeats = int(np.count_nonzero(same))
    if not repeats:
        return None, ()
    first = row(int(np.argmax(same)) + 1)
    if repeats > max(1.0, RARE_SHARE * len(steps)):
        raise UnreadableError(
            f"{first}: {repeats} of {len(steps) + 1} rows repeat the time of the row before, "
            "and rounding doesn't explain it. Export the time with more digits, or give the "
            "sampling interval with --interval to ignore the time column"
        )
    text = (
        f"{repeats} row(s) repeat the time of the row before, first {first}; "
        "the first row of each time was kept."
    )
    return np.concatenate(([True], ~same)), (Finding("time-repeated", "caution", text),)


@dataclass(slots=True)
class StepTally:
    """What is said about unequal steps: gaps in an even clock, or unequal throughout."""

    interval_s: float
    _gaps: int = 0
    _missing_s: float = 0.0
    _after_s: tuple[float, ...] = ()
    _is_even: bool = True
    _least_s: float = np.inf
    _most_s: float = 0.0

    def add(self, times_s: FloatArray, steps_s: FloatArray) -> None:
        """Take in steps and the stamps they begin at."""
        wide = np.flatnonzero(steps_s > GAP_STEPS * self.interval_s)
        self._gaps += len(wide)
        self._missing_s += float(steps_s[wide].sum())
        self._after_s = (*self._after_s, *times_s[wide[:3]].tolist())[:3]
        others = np.delete(steps_s, wide)
        self._is_even &= bool(np.all(np.abs(others - self.interval_s) <= 0.1 * self.interval_s))
        self._least_s = min(self._least_s, float(steps_s.min()))
        self._most_s = max(self._most_s, float(steps_s.max()))

    def finding(self) -> Finding:
        """Say which it is."""
        if self._gaps and self._is_even:
            where = ", ".join(f"{time:.6g} s" for time in self._after_s)
            return Finding(
                "time-gap",
                "caution",
                f"Samples are missing at {self._gaps} place(s), {self._missing_s:.3g} s in all "
                f"(after {where}{', …' if self._gaps > 3 else ''}). "
                "Edges inside can't be seen; record again without pauses if the result is weak.",
            )
        return Finding(
            "time-unequal",
            "note",
            f"The time steps are unequal ({self._least_s:.4g} s to {self._most_s:.4g} s); "
            "each sample keeps the time written for it.",
        )


def reversed_finding() -> Finding:
    """Remark that the rows ran backwards and were turned."""
    return Finding("time-reversed", "note", "The rows run backwards in time; they were turned.")


def _rounded_finding(digit_s: float, interval_s: float) -> Finding:
    return Finding(
        "time-rounded",
        "note",
        f"Time is written in steps of {digit_s:.3g} s only, so the samples look unevenly spaced; "
        f"the even interval of {interval_s:.9g} s that explains them was taken.",
    )
