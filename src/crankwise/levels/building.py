"""Levels of a recording built into a folder: pyramids over time, bands over the cycle, the trace.

Some seconds of a recording are a blink here: what each sample is touched for is done block by
block, two channels at a time, while NumPy has let go of the interpreter lock.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from itertools import repeat
from pathlib import Path
from typing import Any, Final

import numpy as np

from crankwise.levels import names
from crankwise.levels.clock import Clock
from crankwise.levels.cycles import CycleSpan, mean_cycle, spans
from crankwise.levels.fold import Fold
from crankwise.levels.info import CamInfo, ChannelInfo, LevelsInfo
from crankwise.levels.pyramid import PyramidWriter
from crankwise.levels.rows import RowReader
from crankwise.levels.scale import scale_of
from crankwise.levels.source import Events, Sampled, Source
from crankwise.levels.trace_files import run_info, write_trace
from crankwise.model.recording import EventChannel, Recording, SampledChannel
from crankwise.model.trace import Trace

Progress = Callable[[str, float], None]

_BLOCK: Final = 1 << 18
_AT_ONCE: Final = 2
_CYCLES_AT_ONCE: Final = 8


def build_levels(
    recording: Recording, trace: Trace, folder: Path, *, progress: Progress | None = None
) -> LevelsInfo:
    """Build everything into an empty folder.

    Parameters
    ----------
    recording : Recording
    trace : Trace
        Of the same recording.
    folder : Path
    progress : callable, optional
        Called with a step in words and the share done (0 to 1).
    """
    tell = progress or (lambda _step, _share: None)
    tell("drawing the signals", 0.0)
    clock = _clock(recording)
    with ThreadPoolExecutor(_AT_ONCE) as pool:
        source, channels = _signals(recording, clock, folder, pool)
        tell("laying the cycles over each other", 0.4)
        bands = [names.band(number) for number in range(len(channels))]
        cycles = _fold(trace, source, bands, folder, pool)
    write_trace(trace, folder)
    info = _info(recording, trace, clock, channels=channels, cycles=cycles)
    info.write(folder)
    tell("done", 1.0)
    return info


def _clock(recording: Recording) -> Clock:
    if isinstance(recording.channels[0], EventChannel):
        return Clock(recording.start_s, 0.0, 0, None)
    return Clock(
        start_s=recording.start_s,
        interval_s=float(recording.interval_s or 0.0),
        samples=len(recording.channels[0].values),
        time_s=recording.time_s,
    )


def _signals(
    recording: Recording, clock: Clock, folder: Path, pool: ThreadPoolExecutor
) -> tuple[Source, tuple[ChannelInfo, ...]]:
    """Write the signals of all channels; returns how to ask them, and what is said of them."""
    sampled = [item for item in recording.channels if isinstance(item, SampledChannel)]
    if not sampled:
        return _events([c for c in recording.channels if isinstance(c, EventChannel)], folder)
    if clock.time_s is not None:
        np.save(folder / names.TIMES, clock.time_s)
    channels = tuple(pool.map(partial(_write_pyramid, folder), range(len(sampled)), sampled))
    readers = [RowReader(folder / names.level(number, 0)) for number in range(len(sampled))]
    return Sampled(clock, readers, [channel.has_missing for channel in channels]), channels


def _write_pyramid(folder: Path, number: int, channel: SampledChannel) -> ChannelInfo:
    scale = scale_of(channel.values)
    writer = PyramidWriter(folder, number, scale)
    for begin in range(0, len(channel.values), _BLOCK):
        writer.add(channel.values[begin : begin + _BLOCK])
    writer.finish()
    return ChannelInfo(channel.name, channel.unit, True, scale.low, scale.high, scale.has_missing)


def _events(
    channels: Sequence[EventChannel], folder: Path
) -> tuple[Events, tuple[ChannelInfo, ...]]:
    held = [np.concatenate(([channel.initial_state], channel.states)) for channel in channels]
    for number, channel in enumerate(channels):
        np.save(folder / names.changes(number), channel.times_s)
        np.save(folder / names.held(number), held[number])
    infos = tuple(ChannelInfo(channel.name, "", False, 0.0, 1.0, False) for channel in channels)
    return Events([channel.times_s for channel in channels], held), infos


def _fold(
    trace: Trace, source: Source, bands: Sequence[str], folder: Path, pool: ThreadPoolExecutor
) -> int:
    """Write the band of each channel and the mean cycle; returns the number of cycles."""
    cycles = spans(trace)
    folds = [Fold(cycles=len(cycles)) for _ in bands]

    def add(number: int, begin: int, placed: Sequence[tuple[CycleSpan, Any]]) -> None:
        for index, (span, place) in enumerate(placed, start=begin):
            folds[number].add(index, span, source.reached(number, place))

    for begin in range(0, len(cycles), _CYCLES_AT_ONCE):
        part = cycles[begin : begin + _CYCLES_AT_ONCE]
        places = pool.map(lambda span: source.stretches(span.times_s()), part)
        placed = list(zip(part, places, strict=True))
        list(pool.map(add, range(len(folds)), repeat(begin), repeat(placed)))
    for name, band in zip(bands, pool.map(Fold.band, folds), strict=True):
        np.save(folder / name, band)
    mean = mean_cycle(trace)
    table = np.stack((mean.time_s, mean.mean_rpm, mean.low_rpm, mean.high_rpm))
    np.save(folder / names.CYCLE, table.astype(np.float32))
    return len(cycles)


def _info(
    recording: Recording,
    trace: Trace,
    clock: Clock,
    *,
    channels: Sequence[ChannelInfo],
    cycles: int,
) -> LevelsInfo:
    return LevelsInfo(
        name=recording.name,
        sha256=recording.sha256,
        start_s=recording.start_s,
        duration_s=recording.duration_s,
        interval_s=clock.interval_s,
        samples=clock.samples,
        has_times=clock.time_s is not None,
        crank=trace.crank,
        cycles=cycles,
        channels=tuple(channels),
        runs=tuple(run_info(run) for run in trace.runs),
        cams=tuple(CamInfo(cam.role, cam.channel) for cam in trace.cams),
    )
