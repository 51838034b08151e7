"""One channel to edges: the entry of this package."""

from __future__ import annotations

import numpy as np

from crankwise.edges.glitches import keep_teeth
from crankwise.edges.smoothing import TooFastError, find_through_noise
from crankwise.edges.survey import Samples, Survey
from crankwise.edges.timing import edge_positions
from crankwise.model.edges import Edges
from crankwise.model.recording import EventChannel, FloatArray, Recording, SampledChannel

_MIN_SAMPLES = 16
_GAP_STEPS = 1.75
"""A longer step between two samples is a gap in the recording, not a step of its time base."""


def find_edges(recording: Recording, channel_name: str) -> Edges:
    """Edges of one channel.

    A channel on which nothing stands out of the noise has no edges; that is no error here.

    Raises
    ------
    KeyError
        No channel of that name.
    """
    channel = recording.channel(channel_name)
    if isinstance(channel, EventChannel):
        return _from_events(channel)
    return _from_samples(channel, recording)


def _from_events(channel: EventChannel) -> Edges:
    times = channel.times_s
    keep = keep_teeth(times)
    resolution_s = time_resolution_s(times)
    return Edges(
        channel=channel.name,
        sensor="logic",
        times_s=times[keep],
        rising=channel.states[keep],
        standard_uncertainty_s=np.full(int(keep.sum()), resolution_s / np.sqrt(12.0)),
        low=0.0,
        high=1.0,
        noise=0.0,
        clipped_fraction=0.0,
        rejected={"glitch": int((~keep).sum())},
    )


def time_resolution_s(times_s: FloatArray) -> float:
    """The coarsest round step that all these times are multiples of, seconds.

    Where none from 10 ms down to 1 ns fits, the clock was finer than what was written: 1 ns.

    >>> import numpy as np
    >>> time_resolution_s(np.array([0.00125, 0.00375, 0.01]))
    5e-05
    """
    sample = times_s[:4096]
    for exponent in range(-2, -9, -1):
        for digit in (5.0, 2.0, 1.0):
            step = float(f"{digit}e{exponent}")
            steps = sample / step
            if np.all(np.abs(steps - np.round(steps)) < 1e-4):
                return step
    return 1e-9


def _from_samples(channel: SampledChannel, recording: Recording) -> Edges:
    interval_s = recording.interval_s
    assert interval_s is not None  # noqa: S101  (sampled recordings have one)
    samples, missing, infinite = _finite(channel.values)
    if len(samples) < _MIN_SAMPLES:
        return _no_edges(channel.name, dead_time_s=missing * interval_s)
    try:
        found = find_through_noise(samples, interval_s=interval_s)
    except TooFastError as error:
        return _no_edges(channel.name, dead_time_s=missing * interval_s, too_fast=error.args[0])
    if found is None:
        return _no_edges(channel.name, dead_time_s=missing * interval_s)
    levels = found.levels
    edges = edge_positions(samples, found.crossings, levels, found_in=found.samples)
    rising = found.crossings.rising
    usable = _beside_samples(channel.values, edges.position, recording, missing=missing)
    times_s = _to_time(edges.position, recording)
    keep, glitches, dropouts = _select(times_s, usable, rising)
    spread_s = edges.standard_uncertainty * _local_interval(edges.position, recording)
    return Edges(
        channel=channel.name,
        sensor=levels.sensor,
        times_s=times_s[keep],
        rising=rising[keep],
        standard_uncertainty_s=spread_s[keep],
        low=levels.low,
        high=levels.high,
        noise=levels.noise,
        clipped_fraction=_clipped_fraction(samples, levels, infinite),
        rejected={"glitch": glitches, "dropout": dropouts},
        dead_time_s=missing * interval_s,
        height=found.crossings.height[keep],
        steepness=edges.steepness[keep] if len(edges.steepness) else edges.steepness,
    )


def _select(
    times_s: FloatArray, usable: np.ndarray, rising: np.ndarray
) -> tuple[np.ndarray, int, int]:
    """Drop edges beside missing samples and glitches; directions alternate afterwards."""
    increasing = np.append(True, np.diff(times_s) > 0) if len(times_s) else usable
    dropouts = int((~usable).sum())
    index = np.flatnonzero(usable & increasing)
    # After a dropout two edges of one direction may follow each other: the later one is sure.
    same = rising[index[1:]] == rising[index[:-1]]
    index = np.delete(index, np.flatnonzero(same))
    dropouts += int(same.sum()) if dropouts else 0
    teeth = keep_teeth(times_s[index])
    return index[teeth], int((~teeth).sum()), dropouts


def _finite(values: Samples) -> tuple[Samples, int, int]:
    """Samples with every NaN replaced by the last value and every infinity by one beyond range.

    Returns the samples, the number of missing ones and of those beyond range. The input is
    returned as it is where nothing needs replacing.
    """
    if values.dtype.kind != "f":
        return values.astype(np.float32), 0, 0
    lowest, highest = (float(values.min()), float(values.max())) if len(values) else (0.0, 0.0)
    if np.isfinite(lowest) and np.isfinite(highest):
        return values, 0, 0
    infinite, missing = np.isinf(values), np.isnan(values)
    good = ~(infinite | missing)
    if not good.any():
        return values[:0], int(missing.sum()), int(infinite.sum())
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
    return filled, int(missing.sum()), int(infinite.sum())


def _beside_samples(
    values: Samples, positions: FloatArray, recording: Recording, *, missing: int
) -> np.ndarray:
    """Edges whose two neighbouring samples both exist and follow each other without a gap."""
    index = np.clip(positions.astype(np.intp), 0, len(values) - 2)
    usable = np.ones(len(index), dtype=np.bool_)
    if missing:
        usable = ~(np.isnan(values[index]) | np.isnan(values[index + 1]))
    if recording.time_s is not None and recording.interval_s is not None:
        apart = recording.time_s[index + 1] - recording.time_s[index]
        usable &= apart < _GAP_STEPS * recording.interval_s
    return usable


def _to_time(positions: FloatArray, recording: Recording) -> FloatArray:
    if recording.time_s is not None:
        grid = np.arange(len(recording.time_s))
        return np.asarray(np.interp(positions, grid, recording.time_s))
    assert recording.interval_s is not None  # noqa: S101
    return recording.start_s + positions * recording.interval_s


def _local_interval(positions: FloatArray, recording: Recording) -> FloatArray:
    if recording.time_s is None:
        return np.full(len(positions), recording.interval_s)
    index = np.clip(positions.astype(np.intp), 0, len(recording.time_s) - 2)
    return np.asarray(recording.time_s[index + 1] - recording.time_s[index])


def _clipped_fraction(samples: Samples, levels: Survey, infinite: int) -> float:
    """Share of the samples standing still at an extreme of a coil's signal.

    A coil's peaks are round; a flat one was cut by the scope's range. A two-level sensor rests at
    its levels by nature, so only samples marked as beyond range count there.
    """
    beyond = infinite / len(samples)
    if levels.sensor == "hall":
        return beyond
    thinned = samples[:: max(len(samples) // 400_000, 1)]
    top, bottom = thinned.max(), thinned.min()
    close = 1e-6 * (top - bottom)
    share = float(((thinned > top - close) | (thinned < bottom + close)).mean())
    return max(beyond, share if share > 0.005 else 0.0)


def _no_edges(channel: str, *, dead_time_s: float, too_fast: int = 0) -> Edges:
    empty = np.empty(0)
    return Edges(
        channel=channel,
        sensor="hall",
        times_s=empty,
        rising=np.empty(0, dtype=np.bool_),
        standard_uncertainty_s=empty,
        low=0.0,
        high=0.0,
        noise=0.0,
        clipped_fraction=0.0,
        rejected={"too-fast": too_fast} if too_fast else {},
        dead_time_s=dead_time_s,
    )
