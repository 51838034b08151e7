"""A stretch of the cycle at the width of a screen."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from crankwise.levels.cycles import BINS, BINS_PER_DEG
from crankwise.levels.extremes import Cover
from crankwise.levels.scale import Steps
from crankwise.levels.stored import Levels
from crankwise.levels.time_window import edges_stretch
from crankwise.levels.windows import AngleWindow, EdgesStretch
from crankwise.units import CYCLE_DEG

_CLOSE_DEG: Final = 400.0
"""Single cycles are told apart only this close."""
_MOST_EDGES: Final = 4000
_PICKS: Final = (np.minimum, np.maximum, np.minimum, np.maximum)


def angle_window(levels: Levels, from_deg: float, to_deg: float, width: int) -> AngleWindow:
    """Sum up a stretch of the cycle, up to 720 degrees long, in at most ``width`` columns.

    It may begin anywhere, also before 0 degrees: the cycle repeats. Every extreme of the bins is
    in its column, or in both at a border.
    """
    first = int(np.floor(from_deg * BINS_PER_DEG))
    count = min(int(np.ceil(to_deg * BINS_PER_DEG)) - first, BINS)
    borders = np.linspace(0, count, min(width, count) + 1)
    begin = np.floor(borders[:-1]).astype(np.intp)
    bins = np.arange(first, first + count) % BINS
    cover = Cover.of(begin, np.ceil(borders[1:]).astype(np.intp) - begin)
    return AngleWindow(
        from_deg=first / BINS_PER_DEG,
        to_deg=(first + count) / BINS_PER_DEG,
        bands=np.stack([_summed(band[:, bins], cover) for band in levels.bands]),
        cycle=levels.cycle,
        cams=_edges(levels, from_deg, min(to_deg - from_deg, CYCLE_DEG)),
    )


def _summed(band: Steps, cover: Cover) -> npt.NDArray[np.int16]:
    return np.stack([cover.pick(row, pick) for row, pick in zip(band, _PICKS, strict=True)])


def _edges(levels: Levels, from_deg: float, span_deg: float) -> tuple[EdgesStretch, ...]:
    """Edges of single cycles; every second, third … cycle if there are many."""
    cams = levels.trace.cams
    if span_deg > _CLOSE_DEG:
        return tuple(edges_stretch(cam, np.empty(0, np.intp), levels.first_cycle) for cam in cams)
    inside = [np.flatnonzero((cam.angle_deg - from_deg) % CYCLE_DEG <= span_deg) for cam in cams]
    every = -(-sum(map(len, inside)) // _MOST_EDGES) or 1
    found = []
    for cam, chosen in zip(cams, inside, strict=True):
        cycle = np.floor(cam.angle_deg[chosen] / CYCLE_DEG).astype(np.intp)
        found.append(edges_stretch(cam, chosen[cycle % every == 0], levels.first_cycle))
    return tuple(found)
