"""A stretch of time at the width of a screen."""

from __future__ import annotations

from typing import Final

import numpy as np

from crankwise.errors import UsageError
from crankwise.levels.extremes import GROUP, Cover, lows_of
from crankwise.levels.pyramid import LEVELS
from crankwise.levels.scale import FULL, Steps
from crankwise.levels.source import Events
from crankwise.levels.stored import Levels
from crankwise.levels.windows import (
    EdgesStretch,
    SignalStretch,
    SpeedStretch,
    TeethStretch,
    TimeWindow,
)
from crankwise.model.recording import FloatArray
from crankwise.model.trace import CamTrace
from crankwise.units import CYCLE_DEG, REVOLUTION_DEG

_LEAST_ROWS: Final = 4
"""Rows of a level in each column, so that what lies across its borders hardly widens it."""
_ANGLES: Final = 513
_MOST_MARKS: Final = 600
_MOST_SPEEDS: Final = 800
_EMPTY: Final = np.empty(0, np.int16)


def time_window(levels: Levels, from_s: float, to_s: float, width: int) -> TimeWindow:
    """Sum up a stretch of time in ``width`` columns, or give each point where these are few.

    Every extreme of the samples is in the column of its time, or in both at a border.

    Raises
    ------
    UsageError
        The stretch lies outside the recording.
    """
    start_s, end_s = levels.info.start_s, levels.info.start_s + levels.info.duration_s
    begin, end = max(from_s, start_s), min(to_s, end_s)
    if begin >= end:
        raise UsageError(f"the recording goes from {start_s:g} s to {end_s:g} s: ask inside it")
    borders = np.linspace(begin, end, width + 1)
    channels = range(len(levels.info.channels))
    if levels.events is not None:
        signals = tuple(_changes(levels.events, number, borders) for number in channels)
    else:
        signals = tuple(_samples(levels, number, borders) for number in channels)
    return TimeWindow(
        from_s=begin,
        to_s=end,
        signals=signals,
        angle_deg=levels.trace.angle_at(np.linspace(begin, end, _ANGLES)),
        speed=_speed(levels.speed, begin, end, min(width, _MOST_SPEEDS)),
        teeth=_teeth(levels, begin, end),
        cams=_edges(levels, begin, end),
    )


def _samples(levels: Levels, channel: int, borders: FloatArray) -> SignalStretch:
    place = levels.clock.place_of(borders)
    width = len(borders) - 1
    first, last = int(place[0]), int(np.ceil(place[-1]))
    if last - first <= 2 * width:
        steps = levels.rows(channel, 0).rows(first, last + 1)
        return SignalStretch(_EMPTY, _EMPTY, levels.clock.times(first, last + 1), steps)
    low, high = _columns(levels, channel, place)
    return SignalStretch(low, high, np.empty(0), _EMPTY)


def _columns(levels: Levels, channel: int, place: FloatArray) -> tuple[Steps, Steps]:
    """Least and greatest step in each column, from the level that has a few rows for each."""
    each = (place[-1] - place[0]) / (len(place) - 1)
    level = int(np.clip(np.log(each / _LEAST_ROWS) / np.log(GROUP), 0, LEVELS))
    row = np.floor(place / GROUP**level).astype(np.intp)
    rows = levels.rows(channel, level).rows(int(row[0]), int(row[-1]) + 1)
    begin = np.minimum(row[:-1] - row[0], len(rows) - 1)
    count = np.minimum(row[1:] - row[0], len(rows) - 1) - begin + 1
    if level == 0:
        lows, highs = lows_of(rows, has_missing=levels.info.channels[channel].has_missing), rows
    else:
        lows, highs = np.ascontiguousarray(rows.T)
    cover = Cover.of(begin, count)
    return cover.pick(lows, np.minimum), cover.pick(highs, np.maximum)


def _changes(events: Events, channel: int, borders: FloatArray) -> SignalStretch:
    times, held = events.changes(channel)
    first, end = np.searchsorted(times, borders[[0, -1]], side="right")
    if end - first > 2 * (len(borders) - 1):
        reached = events.reached(channel, borders)
        return SignalStretch(reached.low, reached.high, np.empty(0), _EMPTY)
    steps = np.where(held[first : end + 1], np.int16(FULL), np.int16(-FULL))
    return SignalStretch(_EMPTY, _EMPTY, np.concatenate((borders[:1], times[first:end])), steps)


def _speed(speed: FloatArray, begin: float, end: float, width: int) -> SpeedStretch:
    times, values = speed
    first = max(int(np.searchsorted(times, begin)) - 1, 0)
    stop = min(int(np.searchsorted(times, end)) + 1, len(times))
    if stop - first <= 2 * width:
        shown = values[first:stop].astype(np.float32)
        return SpeedStretch(times[first:stop], shown, shown)
    starts = np.linspace(first, stop, width, endpoint=False).astype(np.intp)
    part = values[:stop]
    return SpeedStretch(
        times_s=times[starts],
        low_rpm=np.minimum.reduceat(part, starts).astype(np.float32),
        high_rpm=np.maximum.reduceat(part, starts).astype(np.float32),
    )


def _teeth(levels: Levels, begin: float, end: float) -> TeethStretch:
    times, turned = [np.empty(0)], [np.empty(0)]
    for run in levels.trace.runs:
        inside = slice(*np.searchsorted(run.times_s, (begin, end)))
        times.append(run.times_s[inside])
        turned.append(run.tooth_deg[inside] % REVOLUTION_DEG)
    if sum(map(len, times)) > _MOST_MARKS:
        return TeethStretch(np.empty(0), np.empty(0, np.float32))
    return TeethStretch(np.concatenate(times), np.concatenate(turned).astype(np.float32))


def _edges(levels: Levels, begin: float, end: float) -> tuple[EdgesStretch, ...]:
    cams = levels.trace.cams
    inside = [slice(*np.searchsorted(cam.times_s, (begin, end))) for cam in cams]
    if sum(part.stop - part.start for part in inside) > _MOST_MARKS:
        inside = [slice(0, 0)] * len(cams)
    return tuple(
        edges_stretch(cam, np.arange(part.start, part.stop), levels.first_cycle)
        for cam, part in zip(cams, inside, strict=True)
    )


def edges_stretch(cam: CamTrace, chosen: np.ndarray, first_cycle: int) -> EdgesStretch:
    """Chosen edges of a cam, by their place in the cycle."""
    cycle, angle = np.divmod(cam.angle_deg[chosen], CYCLE_DEG)
    return EdgesStretch(
        times_s=cam.times_s[chosen],
        angle_deg=angle.astype(np.float32),
        cycle=cycle.astype(np.int32) - first_cycle,
        rising=cam.rising[chosen],
        edge=cam.edge[chosen],
    )
