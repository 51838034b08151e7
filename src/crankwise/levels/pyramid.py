"""Samples summed up in levels: each holds the least and greatest of 16 values of the one below.

Written block by block, in memory that does not grow with the recording; how it is cut into blocks
does not matter.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from crankwise.levels import names
from crankwise.levels.extremes import GROUP, grouped, lows_of
from crankwise.levels.rows import RowWriter
from crankwise.levels.scale import Scale, Steps

LEVELS: Final = 4
"""Levels above the samples: the highest has one pair for 65,536 of them."""


class PyramidWriter:
    """Writes all levels of one channel."""

    def __init__(self, folder: Path, channel: int, scale: Scale) -> None:
        self._scale = scale
        self._samples = RowWriter(folder / names.level(channel, 0))
        self._levels = [_Level(folder / names.level(channel, k + 1)) for k in range(LEVELS)]

    def add(self, values: npt.NDArray[Any]) -> None:
        """Take the next samples, in the channel's unit."""
        steps = self._scale.steps(values)
        self._samples.append(steps)
        lows = lows_of(steps, has_missing=self._scale.has_missing)
        highs = steps
        for level in self._levels:
            lows, highs = level.add(lows, highs)

    def finish(self) -> int:
        """Write what is left and return the number of samples."""
        lows = highs = np.empty(0, np.int16)
        for level in self._levels:
            before = level.add(lows, highs)
            after = level.rest()
            lows, highs = (np.concatenate(pair) for pair in zip(before, after, strict=True))
            level.close()
        return self._samples.close()


class _Level:
    """One level, and what came in that does not make a whole group yet."""

    def __init__(self, path: Path) -> None:
        self._file = RowWriter(path, row_shape=(2,))
        self._lows = self._highs = np.empty(0, np.int16)

    def add(self, lows: Steps, highs: Steps) -> tuple[Steps, Steps]:
        """Write the whole groups, and return them for the next level."""
        if len(self._lows):
            lows = np.concatenate((self._lows, lows))
            highs = np.concatenate((self._highs, highs))
        whole = len(lows) // GROUP * GROUP
        # Copies, so that the whole block isn't kept for a few values.
        self._lows, self._highs = lows[whole:].copy(), highs[whole:].copy()
        whole_lows = lows[:whole]
        whole_highs = whole_lows if highs is lows else highs[:whole]
        return self._written(*grouped(whole_lows, whole_highs))

    def rest(self) -> tuple[Steps, Steps]:
        """Write what is left as the last, smaller group."""
        if len(self._lows) == 0:
            return self._lows, self._highs
        return self._written(self._lows.min(keepdims=True), self._highs.max(keepdims=True))

    def close(self) -> None:
        """Finish the file."""
        self._file.close()

    def _written(self, lows: Steps, highs: Steps) -> tuple[Steps, Steps]:
        self._file.append(np.stack((lows, highs), axis=1))
        return lows, highs
