"""Edges of one channel, stretch by stretch."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.edges import stretch as stretches
from crankwise.edges.glitches import keep_teeth
from crankwise.edges.smoothing import Found
from crankwise.edges.stretch import Piece, Stretch, edges_in, seam
from crankwise.model.edges import Edges
from crankwise.model.recording import BoolArray, FloatArray


def bounds(count: int) -> Iterator[tuple[int, int, int, int]]:
    """First and last sample, with the margins and without, of each stretch of a recording.

    >>> list(bounds(10_000_000))
    [(0, 8650752, 0, 8388608), (8126464, 10000000, 8388608, 10000000)]
    """
    for begin in range(0, max(count, 1), stretches.STRETCH):
        end = min(begin + stretches.STRETCH, count)
        margin = stretches.MARGIN
        yield max(begin - margin, 0), min(end + margin, count), begin, end


class ChannelFinder:
    """Takes the stretches of one channel in order and finds its edges."""

    def __init__(self, name: str, *, interval_s: float) -> None:
        self._name = name
        self._interval_s = interval_s
        self._pieces: list[Piece] = []
        self._before: Found | None = None

    def take(self, stretch: Stretch) -> None:
        """Find the edges of the next stretch; its samples are not kept."""
        piece = edges_in(stretch, interval_s=self._interval_s, before=self._before)
        if self._pieces:
            cut = seam(self._pieces[-1].position, border=stretch.begin)
            last = self._pieces[-1]
            self._pieces[-1] = last.where(last.position < cut)
            piece = piece.where(piece.position >= cut)
        if piece.found is not None:
            if self._before is not None and piece.found.outgrows(self._before):
                # What seemed to be the signal was hum before the sensor had anything to say.
                self._pieces = [each.where(each.position < 0) for each in self._pieces]
            self._before = piece.found
        self._pieces.append(piece)

    def edges(self, *, start_s: float, interval_s: float) -> Edges:
        """All edges, on the time base as it is known in the end."""
        pieces = [piece for piece in self._pieces if len(piece.position)]
        dead_time_s = interval_s * sum(piece.missing for piece in self._pieces)
        if not pieces:
            too_fast = sum(piece.too_fast for piece in self._pieces)
            return _no_edges(self._name, dead_time_s=dead_time_s, too_fast=too_fast)
        everything = _joined(pieces)
        levels = [piece.found.levels for piece in pieces if piece.found is not None]
        times_s, step_s = everything.time_s, everything.step_s
        if len(times_s) == 0:
            times_s = start_s + everything.position * interval_s
            step_s = np.full(len(times_s), interval_s)
        keep, glitches, dropouts = _select(times_s, everything.is_usable, everything.rising)
        steepness = everything.steepness
        return Edges(
            channel=self._name,
            sensor=levels[-1].sensor,
            times_s=times_s[keep],
            rising=everything.rising[keep],
            standard_uncertainty_s=(everything.standard_uncertainty * step_s)[keep],
            low=float(np.median([level.low for level in levels])),
            high=float(np.median([level.high for level in levels])),
            noise=float(np.median([level.noise for level in levels])),
            clipped_fraction=float(
                np.average(
                    [piece.clipped_fraction for piece in pieces],
                    weights=[piece.samples for piece in pieces],
                )
            ),
            rejected={"glitch": glitches, "dropout": dropouts},
            dead_time_s=dead_time_s,
            height=everything.height[keep],
            steepness=steepness[keep] if len(steepness) else steepness,
            jumps=sum(piece.jumps for piece in pieces),
            codes=min(level.codes for level in levels),
        )


def _joined(pieces: list[Piece]) -> Piece:
    """The edges of all pieces in one."""
    if len(pieces) == 1:
        return pieces[0]

    def all_of(parts: Iterable[npt.NDArray[Any]]) -> npt.NDArray[Any]:
        return np.concatenate(list(parts))

    return replace(
        pieces[-1],
        position=all_of(piece.position for piece in pieces),
        standard_uncertainty=all_of(piece.standard_uncertainty for piece in pieces),
        rising=all_of(piece.rising for piece in pieces),
        is_usable=all_of(piece.is_usable for piece in pieces),
        time_s=all_of(piece.time_s for piece in pieces),
        step_s=all_of(piece.step_s for piece in pieces),
        height=all_of(piece.height for piece in pieces),
        steepness=all_of(piece.steepness for piece in pieces),
    )


def _select(
    times_s: FloatArray, usable: BoolArray, rising: BoolArray
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
