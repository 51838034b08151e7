"""Windows of levels as a page's script gets them: a small head, and arrays packed behind it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from crankwise.levels import Levels, angle_window, time_window
from crankwise.units import CYCLE_DEG
from crankwise.web.packing import packed

if TYPE_CHECKING:
    from crankwise.levels.windows import EdgesStretch, SignalStretch
    from crankwise.model.recording import FloatArray
    from crankwise.web.works import Work

_MOST_SIGNAL_BYTES: Final = 120_000
"""For all signals of an answer together, whose columns become wider if need be."""
_MOST_STARTS: Final = 2000


@dataclass(frozen=True, slots=True)
class LevelsState:
    """Whether levels are at hand.

    Attributes
    ----------
    state : {"ready", "building", "failed"}
    step : str
        While building: what is being done, in words.
    share : float
        Done, 0 to 1.
    error : str
        Once failed: one line that says what to do.
    start_s, end_s : float
        Once ready: ends of the recording.
    cycles : int
        Cycles that were laid over each other.
    cycle_starts_s : tuple of float
        When cycles began; every second, third … one of a long recording.
    """

    state: Literal["ready", "building", "failed"]
    step: str = ""
    share: float = 0.0
    error: str = ""
    start_s: float = 0.0
    end_s: float = 0.0
    cycles: int = 0
    cycle_starts_s: tuple[float, ...] = ()


def levels_state(found: Levels | Work) -> LevelsState:
    """Say how it stands with levels."""
    if isinstance(found, Levels):
        return LevelsState(
            state="ready",
            share=1.0,
            start_s=found.info.start_s,
            end_s=found.info.start_s + found.info.duration_s,
            cycles=found.info.cycles,
            cycle_starts_s=_cycle_starts_s(found),
        )
    if found.state == "failed":
        return LevelsState("failed", error=found.error)
    return LevelsState("building", step=found.step, share=found.share)


def _cycle_starts_s(levels: Levels) -> tuple[float, ...]:
    starts: list[float] = []
    for run in levels.trace.runs:
        if run.is_placed:
            first, last = np.ceil(run.start_deg / CYCLE_DEG), np.floor(run.end_deg / CYCLE_DEG)
            zeros = np.arange(first, last + 1) * CYCLE_DEG
            starts += run.time_at(zeros[(zeros >= run.start_deg) & (zeros <= run.end_deg)]).tolist()
    every = -(-len(starts) // _MOST_STARTS) or 1
    return tuple(round(start, 6) for start in starts[::every])


def angle_bytes(levels: Levels, from_deg: float, to_deg: float, width: int) -> bytes:
    """Pack a stretch of the cycle.

    Arrays: ``bands`` (for each channel four rows of columns: least, greatest, and the inner band's
    both ends, in steps of the channel's range; least above greatest where nothing is known);
    ``cycle`` (721 times after the zero, s, then 721 mean, least and greatest speeds, rpm); for each
    cam ``cam-0-angle`` (degrees), ``-cycle`` and ``-edge`` of single edges.
    """
    channels = len(levels.info.channels)
    window = angle_window(levels, from_deg, to_deg, _fitting(width, bytes_each=8 * channels))
    head = {
        **_head(levels),
        "from_deg": window.from_deg,
        "to_deg": window.to_deg,
        "columns": window.bands.shape[2],
    }
    arrays: dict[str, Any] = {"bands": window.bands, "cycle": window.cycle}
    for number, cam in enumerate(window.cams):
        arrays |= {
            f"cam-{number}-angle": cam.angle_deg,
            f"cam-{number}-cycle": cam.cycle,
            f"cam-{number}-edge": cam.edge,
        }
    return packed(head, arrays)


def time_bytes(levels: Levels, from_s: float, to_s: float, width: int) -> bytes:
    """Pack a stretch of time; times in it count from its beginning, ``from_s`` of the head.

    Arrays: for each channel either ``channel-0-low`` and ``-high`` (steps in each column) or
    ``channel-0-step`` of single points, at the times ``sample-time``, for logic signals at
    ``channel-0-time``, from which on the state holds; ``angle`` (degrees, onward, at even steps
    over the stretch, NaN where not known); ``speed-time``, ``speed-low``, ``speed-high`` (rpm);
    ``tooth-time`` and ``tooth-turned`` (degrees after the zero); for each cam ``cam-0-time``,
    ``-angle``, ``-rising`` and ``-edge`` of single edges.
    """
    channels = len(levels.info.channels)
    # Up to two points a column; their times come once for all samples, else for each channel.
    time_bases = 1 if levels.info.samples else channels
    columns = _fitting(width, bytes_each=4 * channels + 8 * time_bases)
    window = time_window(levels, from_s, to_s, columns)
    begin = window.from_s
    arrays: dict[str, Any] = {}
    if levels.info.samples:
        arrays["sample-time"] = _since(window.signals[0].times_s, begin)
    for number, signal in enumerate(window.signals):
        arrays |= _signal(f"channel-{number}", signal)
        if not levels.info.samples:
            arrays[f"channel-{number}-time"] = _since(signal.times_s, begin)
    arrays |= {
        "angle": window.angle_deg,
        "speed-time": _since(window.speed.times_s, begin),
        "speed-low": window.speed.low_rpm,
        "speed-high": window.speed.high_rpm,
        "tooth-time": _since(window.teeth.times_s, begin),
        "tooth-turned": window.teeth.turned_deg,
    }
    for number, cam in enumerate(window.cams):
        arrays |= _edges(f"cam-{number}", cam, begin)
    head = {**_head(levels), "from_s": begin, "to_s": window.to_s, "columns": columns}
    return packed(head, arrays)


def _head(levels: Levels) -> dict[str, Any]:
    info = levels.info
    return {
        "channels": [
            {"name": one.name, "unit": one.unit, "low": one.low, "high": one.high,
             "sampled": one.is_sampled, "usual": usual}
            for one, usual in zip(info.channels, levels.usual, strict=True)
        ],
        "cams": [{"role": cam.role, "channel": cam.channel} for cam in info.cams],
    }  # fmt: skip


def _fitting(width: int, *, bytes_each: int) -> int:
    return max(min(width, _MOST_SIGNAL_BYTES // bytes_each), 1)


def _signal(name: str, signal: SignalStretch) -> dict[str, Any]:
    if len(signal.low):
        return {f"{name}-low": signal.low, f"{name}-high": signal.high}
    return {f"{name}-step": signal.steps}


def _edges(name: str, cam: EdgesStretch, begin: float) -> dict[str, Any]:
    return {
        f"{name}-time": _since(cam.times_s, begin),
        f"{name}-angle": cam.angle_deg,
        f"{name}-rising": cam.rising,
        f"{name}-edge": cam.edge,
    }


def _since(times_s: FloatArray, begin: float) -> np.ndarray:
    return (times_s - begin).astype(np.float32)
