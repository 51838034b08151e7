"""The angle view: every cam edge on one crank-angle axis, teeth counted from the gap.

The upper part shows the whole cycle, the lower part what is near each gap, where a technician
counts. Colours go by role; shapes carry the same facts, so that it reads in black and white.
"""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING, Final

from crankwise.picture import cam_lane, crank_lane, furniture, style, svg
from crankwise.picture.layout import Axis
from crankwise.picture.words import angle_words
from crankwise.units import CYCLE_DEG, REVOLUTION_DEG

if TYPE_CHECKING:
    from crankwise.model.measurement import Measurement

_WIDTH: Final = 1230.0
_LEFT: Final = 160.0
_GUTTER: Final = 175.0  # room at the right for the label of an edge just before the end
_ZOOM_LEAST_DEG: Final = 30.0
_ZOOM_MOST_DEG: Final = 60.0


def angle_view(measurement: Measurement) -> str:
    """Draw a measurement as an SVG picture.

    Parameters
    ----------
    measurement : Measurement
        Everything drawn comes from it; no samples are needed.

    Returns
    -------
    str
        A complete SVG file, self-contained, on a light background.
    """
    head, bottom = furniture.heading(measurement, width=_WIDTH)
    whole = Axis(0.0, CYCLE_DEG, _LEFT, _WIDTH - _GUTTER)
    panel, bottom = _panels(measurement, [whole], bottom + 10.0)
    near, bottom = _near_the_gaps(measurement, bottom)
    legend, bottom = furniture.legend(bottom + 26.0, has_gap=measurement.crank.has_gap)
    paper = svg.element("rect", width=_WIDTH, height=bottom, fill="#ffffff")
    body = svg.element("g", *head, *panel, *near, *legend, font_family=style.FONT)
    title = f"Valve timing by crank angle: {measurement.recording.name}"
    said = _in_words(measurement)
    return svg.document(paper, body, width=_WIDTH, height=bottom, title=title, text=said)


def _near_the_gaps(measurement: Measurement, bottom: float) -> tuple[list[svg.Element], float]:
    """Draw the closer look at each gap that has an edge near, side by side."""
    windows = zoom_windows(measurement)
    if not windows:
        return [], bottom
    heading = style.text("Near the gap", 16.0, bottom + 24.0, size=14.0, bold=True)
    width = (_WIDTH - _LEFT) / len(windows)
    axes = [
        Axis(from_deg, to_deg, _LEFT + index * width, _LEFT + (index + 1) * width - _GUTTER)
        for index, (from_deg, to_deg) in enumerate(windows)
    ]
    panels, bottom = _panels(measurement, axes, bottom + 34.0)
    return [heading, *panels], bottom


def _in_words(measurement: Measurement) -> str:
    """Describe the picture for readers who can't see it."""
    return " ".join(
        f"{cam.role}: "
        + "; ".join(
            f"{edge.edge} {angle_words(edge.angle_deg, edge.uncertainty_deg)}, {edge.teeth}"
            for edge in cam.edges
        )
        + "."
        for cam in measurement.cams
    )


def zoom_windows(measurement: Measurement) -> list[tuple[float, float]]:
    """Stretches around the two gaps of a cycle that have a cam edge near, crank degrees.

    Each reaches 30° to 60° beyond either end of the gap, as far as the edges there ask for. The
    one around the zero of the cycle begins below 0°.
    """
    if not measurement.crank.has_gap:
        return []
    gap_deg = measurement.crank.intervals_deg[-1]
    angles = [edge.angle_deg for cam in measurement.cams for edge in cam.edges]
    windows = []
    for zero_deg in (0.0, REVOLUTION_DEG):
        reach = [_beyond_gap_deg(angle, zero_deg, gap_deg) for angle in angles]
        near = [distance for distance in reach if distance <= _ZOOM_MOST_DEG - 6.0]
        if near:
            half = min(max(_ZOOM_LEAST_DEG, max(near) + 12.0), _ZOOM_MOST_DEG)
            windows.append((zero_deg - gap_deg - half, zero_deg + half))
    return windows


def _beyond_gap_deg(angle_deg: float, zero_deg: float, gap_deg: float) -> float:
    """Distance of an angle from the nearer end of the gap that ends at ``zero_deg``."""
    centred = (angle_deg - zero_deg + gap_deg / 2 + CYCLE_DEG / 2) % CYCLE_DEG - CYCLE_DEG / 2
    return max(abs(centred) - gap_deg / 2, 0.0)


def _panels(
    measurement: Measurement, axes: list[Axis], top: float
) -> tuple[list[svg.Element], float]:
    """Draw crank, cams and ruler over stretches side by side, each lane at one height."""
    cams = measurement.cams
    rooms = [
        functools.reduce(cam_lane.Size.joined, (cam_lane.size(cam, axis) for axis in axes))
        for cam in cams
    ]
    bottom = top + crank_lane.HEIGHT + sum(room.height for room in rooms)
    parts = []
    for axis in axes:
        named = axis is axes[0]
        parts += crank_lane.gaps(measurement.crank, axis, top, bottom)
        parts += crank_lane.draw(measurement.crank, axis, top, named=named)
        y = top + crank_lane.HEIGHT
        for cam, room in zip(cams, rooms, strict=True):
            parts += cam_lane.draw(cam, axis, y, room, named=named)
            y += room.height
        parts += furniture.ruler(axis, bottom)
    return parts, bottom + furniture.RULER_HEIGHT
