"""A folder of levels, opened for reading."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from crankwise.errors import UnreadableError
from crankwise.levels import names
from crankwise.levels.clock import Clock
from crankwise.levels.info import LevelsInfo
from crankwise.levels.pyramid import LEVELS
from crankwise.levels.rows import RowReader
from crankwise.levels.scale import FULL, Steps
from crankwise.levels.source import Events
from crankwise.levels.trace_files import read_trace
from crankwise.model.recording import FloatArray
from crankwise.model.trace import Trace
from crankwise.units import CYCLE_DEG

_USUAL_PERCENT: Final = (4.0, 96.0)


class Levels:
    """Levels of one recording.

    Attributes
    ----------
    info : LevelsInfo
    trace : Trace
    clock : Clock
    bands : tuple of np.ndarray [shape=(4, bins)]
        Of each channel.
    usual : tuple of (int, int)
        Between which steps each channel usually lies, spikes left aside.
    cycle : np.ndarray [shape=(4, 721)]
        The mean cycle.
    speed : np.ndarray [shape=(2, n)]
        Times and speeds, rpm; NaN between runs of teeth.
    events : Events or None
        For an event list.

    Raises
    ------
    UnreadableError
        On opening a folder that is damaged or of another version.
    """

    def __init__(self, folder: Path) -> None:
        self.info = LevelsInfo.read(folder)
        channels = range(len(self.info.channels))
        try:
            self.trace: Trace = read_trace(self.info, folder)
            self.bands: tuple[Steps, ...] = tuple(
                np.load(folder / names.band(number)) for number in channels
            )
            self.usual = tuple(_usual(band) for band in self.bands)
            self.cycle: np.ndarray = np.load(folder / names.CYCLE)
            self.speed: FloatArray = np.load(folder / names.SPEED)
            times = np.load(folder / names.TIMES, mmap_mode="r") if self.info.has_times else None
            self.events = None if self.info.samples else _events(folder, len(channels))
            self._rows = () if self.events else tuple(_rows(folder, number) for number in channels)
        except (OSError, ValueError) as error:
            raise UnreadableError(
                f"{folder}: these levels are damaged; they are made again when deleted"
            ) from error
        self.clock = Clock(self.info.start_s, self.info.interval_s, self.info.samples, times)

    @property
    def first_cycle(self) -> int:
        """Number of the first cycle, of which a part was recorded."""
        starts = [run.start_deg for run in self.trace.runs if run.is_placed]
        return int(min(starts, default=0.0) // CYCLE_DEG)

    def rows(self, channel: int, level: int) -> RowReader:
        """One level of a sampled channel; level 0 holds the samples."""
        return self._rows[channel][level]


def _usual(band: Steps) -> tuple[int, int]:
    """Step that the inner band seldom falls below, and the one that it seldom exceeds."""
    inner = band[2:, band[0] <= band[1]]
    if inner.size == 0:
        return -FULL, FULL
    low, high = (int(np.percentile(inner, share)) for share in _USUAL_PERCENT)
    return (low, high) if low < high else (-FULL, FULL)


def _events(folder: Path, channels: int) -> Events:
    return Events(
        [np.load(folder / names.changes(number), mmap_mode="r") for number in range(channels)],
        [np.load(folder / names.held(number), mmap_mode="r") for number in range(channels)],
    )


def _rows(folder: Path, channel: int) -> tuple[RowReader, ...]:
    return tuple(RowReader(folder / names.level(channel, level)) for level in range(LEVELS + 1))
