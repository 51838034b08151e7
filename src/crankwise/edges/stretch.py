"""Edges of one stretch of samples, and how stretches that overlap become one train."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from crankwise.edges.crossings import BLOCK
from crankwise.edges.smoothing import Found, TooFastError, find_through_noise
from crankwise.edges.survey import LARGEST, NotFiniteError, Samples, Survey, is_usable
from crankwise.edges.timing import edge_positions
from crankwise.model.recording import BoolArray, FloatArray

STRETCH = 1 << 23
"""Samples of a channel that are looked at together: 34 MB, eight seconds at 1 MS/s. A recording up
to this length is one stretch. Fixed, so that the edges found don't depend on how samples come."""

MARGIN = 1 << 18
"""Samples that a stretch reaches into both neighbours: some teeth even at 10 MS/s."""

_MIN_SAMPLES = 16
_JUMP_SHARE = 0.4
_GAP_STEPS = 1.75
"""A longer step between two samples is a gap in the recording, not a step of its time base."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A part of one channel.

    Attributes
    ----------
    samples : np.ndarray [shape=(m,)]
        With the margins.
    offset : int
        Place of the first of them in the recording.
    begin, end : int
        The part without the margins, places in the recording.
    time_s : np.ndarray [shape=(m,)] or None
        Stamps, where the time base is uneven.
    """

    samples: Samples
    offset: int
    begin: int
    end: int
    time_s: FloatArray | None = None

    @property
    def core(self) -> Samples:
        """The samples without the margins."""
        return self.samples[self.begin - self.offset : self.end - self.offset]


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """What was found in one stretch.

    Attributes
    ----------
    position, standard_uncertainty : np.ndarray [shape=(n,)]
        Of each edge, samples from the recording's first one.
    rising, is_usable : np.ndarray [shape=(n,), dtype bool]
        Direction, and whether both neighbouring samples exist and follow each other.
    time_s, step_s : np.ndarray [shape=(n,)] or empty
        Time of each edge and step of the time base there, where that is uneven.
    height, steepness : np.ndarray
        As in :class:`~crankwise.model.edges.Edges`.
    found : Found or None
        Levels and smoothing; ``None`` where nothing stands out of the noise.
    samples, missing, too_fast : int
        Samples without the margins, those of them that are missing, and changes in a signal that
        changes every sample or two.
    clipped_fraction : float
    jumps : int
        As in :class:`~crankwise.model.edges.Edges`.
    """

    position: FloatArray
    standard_uncertainty: FloatArray
    rising: BoolArray
    is_usable: BoolArray
    time_s: FloatArray
    step_s: FloatArray
    height: FloatArray
    steepness: FloatArray
    found: Found | None
    samples: int
    missing: int = 0
    too_fast: int = 0
    clipped_fraction: float = 0.0
    jumps: int = 0

    def where(self, chosen: BoolArray) -> Piece:
        """Keep the chosen edges."""

        def part(values: FloatArray) -> FloatArray:
            return values[chosen] if len(values) else values

        return replace(
            self,
            position=self.position[chosen],
            standard_uncertainty=self.standard_uncertainty[chosen],
            rising=self.rising[chosen],
            is_usable=self.is_usable[chosen],
            time_s=part(self.time_s),
            step_s=part(self.step_s),
            height=self.height[chosen],
            steepness=part(self.steepness),
        )


def edges_in(stretch: Stretch, *, interval_s: float, before: Found | None) -> Piece:
    """Find the edges of a stretch, those in its margins included.

    Parameters
    ----------
    stretch : Stretch
    interval_s : float
        Sampling interval, seconds.
    before : Found or None
        What was found last in the stretches before.
    """
    try:
        samples, found = _search(stretch.samples, interval_s=interval_s, before=before)
    except TooFastError as error:
        return _nothing(stretch, too_fast=int(error.args[0]))
    if found is None:
        return _nothing(stretch)
    edges = edge_positions(samples, found.crossings, found.levels, found_in=found.samples)
    index = np.clip(edges.position.astype(np.intp), 0, len(samples) - 2)
    usable = np.ones(len(index), dtype=np.bool_)
    missing = infinite = 0
    if samples is not stretch.samples:
        missing, infinite = _count(np.isnan, stretch), _count(_is_beyond, stretch)
        usable = ~(np.isnan(stretch.samples[index]) | np.isnan(stretch.samples[index + 1]))
    time_s = step_s = np.empty(0)
    if stretch.time_s is not None:
        step_s = stretch.time_s[index + 1] - stretch.time_s[index]
        time_s = step_s * (edges.position - index) + stretch.time_s[index]
        usable &= step_s < _GAP_STEPS * interval_s
    return Piece(
        position=edges.position + stretch.offset,
        standard_uncertainty=edges.standard_uncertainty,
        rising=found.crossings.rising,
        is_usable=usable,
        time_s=time_s,
        step_s=step_s,
        height=found.crossings.height,
        steepness=edges.steepness,
        found=found.without_samples(),
        samples=len(stretch.core),
        missing=missing,
        clipped_fraction=_clipped_fraction(samples, found.levels, infinite / len(stretch.core)),
        jumps=_jumps(stretch.core, found.levels),
    )


def _search(
    samples: Samples, *, interval_s: float, before: Found | None
) -> tuple[Samples, Found | None]:
    """What was found, and the samples it was found in: filled up where some are no numbers."""
    if len(samples) < _MIN_SAMPLES:
        return samples, None
    try:
        return samples, find_through_noise(samples, interval_s=interval_s, before=before)
    except NotFiniteError:
        samples = _filled(samples)
    if len(samples) < _MIN_SAMPLES:
        return samples, None
    return samples, find_through_noise(samples, interval_s=interval_s, before=before)


def _is_beyond(values: Samples) -> BoolArray:
    """Which samples are infinite, or as good as that."""
    # What takes their place lies up to three times as far out, and must be usable itself.
    return np.asarray(~(is_usable(values, limit=LARGEST / 4.0) | np.isnan(values)))


def _count(is_so: Callable[[Samples], BoolArray], stretch: Stretch) -> int:
    return int(np.count_nonzero(is_so(stretch.core)))


def _nothing(stretch: Stretch, *, too_fast: int = 0) -> Piece:
    none, never = np.empty(0), np.empty(0, dtype=np.bool_)
    missing = _count(np.isnan, stretch)
    return Piece(
        none, none, never, never, none, none, none, none,
        found=None, samples=len(stretch.core), missing=missing, too_fast=too_fast,
    )  # fmt: skip


def _filled(values: Samples) -> Samples:
    """Samples with every NaN replaced by the last value and every infinity by one beyond range."""
    missing = np.isnan(values)
    infinite = _is_beyond(values)
    good = ~(infinite | missing)
    if not good.any():
        return values[:0]
    filled = values.copy()
    low, high = float(values[good].min()), float(values[good].max())
    # Beyond the range is certainly another level, even where no finite sample shows that one.
    beyond = (high - low) or max(abs(high), 1.0)
    filled[infinite] = np.where(values[infinite] > 0, high + beyond, low - beyond)
    if missing.any():
        index = np.where(missing, 0, np.arange(len(values)))
        np.maximum.accumulate(index, out=index)
        first_good = int(np.argmax(~missing))
        index[:first_good] = first_good
        filled = filled[index]
    return filled


def _clipped_fraction(samples: Samples, levels: Survey, beyond: float) -> float:
    """Share of the samples standing still at an extreme of a coil's signal.

    A coil's peaks are round; a flat one was cut by the scope's range. A two-level sensor rests at
    its levels by nature, so only samples marked as beyond range count there.
    """
    if levels.sensor == "hall":
        return beyond
    thinned = samples[:: max(len(samples) // 400_000, 1)]
    top, bottom = thinned.max(), thinned.min()
    close = 1e-6 * (top - bottom)
    share = float(((thinned > top - close) | (thinned < bottom + close)).mean())
    return max(beyond, share if share > 0.005 else 0.0)


def _jumps(samples: Samples, levels: Survey) -> int:
    """How often a coil's signal goes over much of its swing within two samples."""
    if levels.sensor == "hall":
        return 0
    least = _JUMP_SHARE * (levels.high - levels.low)
    count, after = 0, False
    for begin in range(0, len(samples) - 2, BLOCK):
        block = samples[begin : begin + BLOCK + 2]
        with np.errstate(invalid="ignore", over="ignore"):  # infinity less infinity
            step = np.abs(block[2:] - block[:-2])
            far = (step > least) & np.isfinite(step)
        count += int(np.count_nonzero(far[1:] & ~far[:-1])) + (bool(far[0]) and not after)
        after = bool(far[-1])
    return count


def seam(position: FloatArray, *, border: int) -> float:
    """Where one stretch gives over to the next: far from any edge, near their border.

    Parameters
    ----------
    position : np.ndarray [shape=(n,), increasing]
        Edges of the earlier stretch, samples.
    border : int
        Where it ends without its margin.

    >>> seam(np.array([90.0, 95.0]), border=100)
    65633.5
    """
    reach = MARGIN // 2
    near = position[(position > border - reach) & (position < border + reach)]
    bounds = np.concatenate(([border - reach], near, [border + reach]))
    widest = int(np.argmax(np.diff(bounds)))
    return float(bounds[widest] + bounds[widest + 1]) / 2.0
