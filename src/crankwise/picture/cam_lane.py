"""The lane of one cam: its levels over the cycle, and every edge with what was measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.picture import labels, style, svg
from crankwise.units import CYCLE_DEG

if TYPE_CHECKING:
    from crankwise.model.measurement import CamEdge, CamMeasurement
    from crankwise.picture.layout import Axis

_LEVEL: Final = 26.0  # height between low and high
_AIR: Final = 10.0  # around the pattern


@dataclass(frozen=True, slots=True)
class Size:
    """Room a lane needs above and below its pattern; two stretches share the larger ones."""

    above: float
    below: float

    @property
    def height(self) -> float:
        """Height of the whole lane."""
        return self.above + _LEVEL + self.below + 2 * _AIR

    def joined(self, other: Size) -> Size:
        """Room enough for both."""
        return Size(max(self.above, other.above), max(self.below, other.below))


def size(cam: CamMeasurement, axis: Axis) -> Size:
    """Room the labels of a cam need on this stretch."""
    above, below = _blocks(cam, axis)
    return Size(max(above.height, 2.0), max(below.height, 8.0))


def draw(
    cam: CamMeasurement, axis: Axis, top: float, room: Size, *, named: bool
) -> list[svg.Element]:
    """Draw one cam: levels, scatter bands, markers with ± bars, labels.

    Rising edges are labelled above the pattern and falling ones below it.
    """
    high = top + room.above + _AIR
    low = high + _LEVEL
    seen = _in_view(cam, axis)
    parts = [_levels(cam, seen, axis, high=high, low=low)]
    for x, edge in seen:
        parts += _edge_mark(edge, x, axis, cam.role, high=high, low=low)
    above, below = _blocks(cam, axis)
    colour = style.role_colour(cam.role)
    parts += labels.draw(above, axis, high - 5.0, colour, above=True)
    parts += labels.draw(below, axis, low + 5.0, colour, above=False)
    if named:
        moving = "moves while recorded" if cam.moving_deg > 0 else ""
        parts += style.lane_name(cam.role, cam.channel, moving, high + 8.0)
    return parts


def _blocks(cam: CamMeasurement, axis: Axis) -> tuple[labels.Block, labels.Block]:
    """Labels above (rising edges) and below (falling ones)."""
    seen = _in_view(cam, axis)
    rising = [item for item in seen if item[1].edge == "rising"]
    falling = [item for item in seen if item[1].edge != "rising"]
    return labels.arrange(rising, axis), labels.arrange(falling, axis)


def _in_view(cam: CamMeasurement, axis: Axis) -> list[tuple[float, CamEdge]]:
    """Edges on this stretch with their pixel positions, left to right."""
    placed = ((axis.unwrapped(edge.angle_deg), edge) for edge in cam.edges)
    seen = [(axis.x(angle), edge) for angle, edge in placed if angle is not None]
    return sorted(seen, key=lambda item: item[0])


def _levels(
    cam: CamMeasurement, seen: list[tuple[float, CamEdge]], axis: Axis, *, high: float, low: float
) -> svg.Element:
    """Level over the angle, from the direction of each edge."""

    def level(edge: CamEdge) -> float:
        return high if edge.edge == "rising" else low

    colour = style.role_colour(cam.role)
    if not cam.edges:
        return style.text("no edge measured", axis.left, low, colour=style.FAINT_INK)
    # Going back from the left end, the first edge met sets the level that is held until now.
    behind = min(cam.edges, key=lambda e: (axis.from_deg - e.angle_deg) % CYCLE_DEG or CYCLE_DEG)
    path = [(axis.left, level(behind))]
    for x, edge in seen:
        path += [(x, path[-1][1]), (x, level(edge))]
    path.append((axis.right, path[-1][1]))
    points = " ".join(f"{svg.short(x)},{svg.short(y)}" for x, y in path)
    return svg.element("polyline", points=points, fill="none", stroke=colour, stroke_width=1.8)


def _edge_mark(
    edge: CamEdge, x: float, axis: Axis, role: str, *, high: float, low: float
) -> list[svg.Element]:
    colour, middle = style.role_colour(role), (high + low) / 2
    half = max(2.0 * edge.scatter_deg * axis.px_per_deg, 0.6)
    reach = edge.uncertainty_deg * axis.px_per_deg
    band = svg.element(
        "rect", x=x - half, y=high - 6, width=2 * half, height=low - high + 12, fill=colour,
        fill_opacity=0.28,
    )  # fmt: skip
    is_open = style.has_open_markers(role)
    mark = style.marker(x, middle, rising=edge.edge == "rising", colour=colour, is_open=is_open)
    if reach < 1.0:
        return [band, mark]
    bar = style.line(x - reach, high - 6, x + reach, high - 6, colour=style.INK, width=2.0)
    return [band, bar, mark]
