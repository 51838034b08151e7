"""Panels: crank, lanes and ruler over one or more stretches of the angle axis side by side."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING, Final

from crankwise.picture import crank_lane, furniture
from crankwise.picture.lane import Room
from crankwise.units import CYCLE_DEG, REVOLUTION_DEG

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.picture import svg
    from crankwise.picture.crank_lane import CrankWheel
    from crankwise.picture.lane import Lane
    from crankwise.picture.layout import Axis

WIDTH: Final = 1230.0
"""Width of every picture, pixels."""
LEFT: Final = 160.0
"""Left end of the angle axis."""
GUTTER: Final = 175.0
"""Room at the right for the label of an edge just before the end."""
_ZOOM_LEAST_DEG: Final = 30.0
_ZOOM_MOST_DEG: Final = 60.0


def panels(
    crank: CrankWheel, lanes: Sequence[Lane], axes: Sequence[Axis], top: float
) -> tuple[list[svg.Element], float]:
    """Draw stretches side by side, each lane at one height; return elements and lower end."""
    rooms = [functools.reduce(Room.joined, map(lane.room, axes)) for lane in lanes]
    bottom = top + crank_lane.HEIGHT + sum(room.height for room in rooms)
    parts = []
    for axis in axes:
        named = axis is axes[0]
        parts += crank_lane.gaps(crank, axis, top, bottom)
        parts += crank_lane.draw(crank, axis, top, named=named)
        y = top + crank_lane.HEIGHT
        for lane, room in zip(lanes, rooms, strict=True):
            parts += lane.draw(axis, y, room, named=named)
            y += room.height
        parts += furniture.ruler(axis, bottom)
    return parts, bottom + furniture.RULER_HEIGHT


def zoom_windows(angles_deg: Sequence[float], crank: CrankWheel) -> list[tuple[float, float]]:
    """Stretches around the two gaps of a cycle that have a cam edge near, crank degrees.

    Each reaches 30° to 60° beyond either end of the gap, as far as the edges there ask for. The
    one around the zero of the cycle begins below 0°.
    """
    if not crank.has_gap:
        return []
    gap_deg = crank.intervals_deg[-1]
    windows = []
    for zero_deg in (0.0, REVOLUTION_DEG):
        reach = [beyond_gap_deg(angle, zero_deg, gap_deg) for angle in angles_deg]
        near = [distance for distance in reach if distance <= _ZOOM_MOST_DEG - 6.0]
        if near:
            half = min(max(_ZOOM_LEAST_DEG, max(near) + 12.0), _ZOOM_MOST_DEG)
            windows.append((zero_deg - gap_deg - half, zero_deg + half))
    return windows


def beyond_gap_deg(angle_deg: float, zero_deg: float, gap_deg: float) -> float:
    """Distance of an angle from the nearer end of the gap that ends at ``zero_deg``."""
    centred = (angle_deg - zero_deg + gap_deg / 2 + CYCLE_DEG / 2) % CYCLE_DEG - CYCLE_DEG / 2
    return max(abs(centred) - gap_deg / 2, 0.0)
