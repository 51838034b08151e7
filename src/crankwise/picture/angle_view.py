"""The angle view: every cam edge on one crank-angle axis, teeth counted from the gap.

The upper part shows the whole cycle, the lower part what is near each gap, where a technician
counts. Colours go by role; shapes carry the same facts, so that it reads in black and white.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.language import say, told
from crankwise.picture import furniture, style, svg
from crankwise.picture.cam_lane import CamLane
from crankwise.picture.layout import Axis
from crankwise.picture.panels import GUTTER, LEFT, WIDTH, panels, zoom_windows
from crankwise.picture.words import angle_words
from crankwise.units import CYCLE_DEG

if TYPE_CHECKING:
    from crankwise.model.measurement import Measurement


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
    head, bottom = furniture.heading(measurement, width=WIDTH)
    lanes = [CamLane(cam) for cam in measurement.cams]
    whole = Axis(0.0, CYCLE_DEG, LEFT, WIDTH - GUTTER)
    panel, bottom = panels(measurement.crank, lanes, [whole], bottom + 10.0)
    near, bottom = _near_the_gaps(measurement, lanes, bottom)
    legend, bottom = furniture.legend(bottom + 26.0, has_gap=measurement.crank.has_gap, width=WIDTH)
    return svg.document(
        *furniture.sheet([*head, *panel, *near, *legend], width=WIDTH, height=bottom),
        width=WIDTH,
        height=bottom,
        title=say("Valve timing by crank angle: {name}", name=measurement.recording.name),
        text=_in_words(measurement),
    )


def _near_the_gaps(
    measurement: Measurement, lanes: list[CamLane], bottom: float
) -> tuple[list[svg.Element], float]:
    """Draw the closer look at each gap that has an edge near, side by side."""
    angles = [edge.angle_deg for cam in measurement.cams for edge in cam.edges]
    windows = zoom_windows(angles, measurement.crank)
    if not windows:
        return [], bottom
    heading = style.text(say("Near the gap"), 16.0, bottom + 24.0, size=14.0, bold=True)
    width = (WIDTH - LEFT) / len(windows)
    axes = [
        Axis(from_deg, to_deg, LEFT + index * width, LEFT + (index + 1) * width - GUTTER)
        for index, (from_deg, to_deg) in enumerate(windows)
    ]
    drawn, bottom = panels(measurement.crank, lanes, axes, bottom + 34.0)
    return [heading, *drawn], bottom


def _in_words(measurement: Measurement) -> str:
    """Describe the picture for readers who can't see it."""
    return " ".join(
        f"{told(cam.role)}: "
        + "; ".join(
            f"{told(edge.edge)} {angle_words(edge.angle_deg, edge.uncertainty_deg)}, "
            f"{told(edge.teeth)}"
            for edge in cam.edges
        )
        + "."
        for cam in measurement.cams
    )
