"""The lane of one cam: its levels over the cycle, and every edge with what was measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import labels, style, svg
from crankwise.picture.lane import AIR, Flank, Room, level_points
from crankwise.picture.words import angle_words

if TYPE_CHECKING:
    from crankwise.model.measurement import CamEdge, CamMeasurement
    from crankwise.picture.layout import Axis

_LEVEL: Final = 26.0  # height between low and high


@dataclass(frozen=True, slots=True)
class CamLane:
    """One cam of a measurement."""

    cam: CamMeasurement

    def room(self, axis: Axis) -> Room:
        """Room the labels need on this stretch."""
        above, below = self._blocks(axis)
        return Room(max(above.height, 2.0), _LEVEL, max(below.height, 8.0))

    def draw(self, axis: Axis, top: float, room: Room, *, named: bool) -> list[svg.Element]:
        """Draw one cam: levels, scatter bands, markers with ± bars, labels.

        Rising edges are labelled above the pattern and falling ones below it.
        """
        cam, colour = self.cam, style.role_colour(self.cam.role)
        high = top + room.above + AIR
        low = high + _LEVEL
        parts = [_levels(cam, axis, high=high, low=low)]
        for x, edge in self._in_view(axis):
            parts += _edge_mark(edge, x, axis, cam.role, high=high, low=low)
        above, below = self._blocks(axis)
        parts += labels.draw(above, axis, high - 5.0, colour, above=True)
        parts += labels.draw(below, axis, low + 5.0, colour, above=False)
        if named:
            moving = say("moves while recorded") if cam.moving_deg > 0 else ""
            channel = cam.channel if cam.channel != cam.role else ""
            parts += style.lane_name(cam.role, (channel, moving), high + 8.0)
        return parts

    def _in_view(self, axis: Axis) -> list[tuple[float, CamEdge]]:
        """Edges on this stretch with their pixel positions, left to right."""
        placed = ((axis.unwrapped(edge.angle_deg), edge) for edge in self.cam.edges)
        seen = [(axis.x(angle), edge) for angle, edge in placed if angle is not None]
        return sorted(seen, key=lambda item: item[0])

    def _blocks(self, axis: Axis) -> tuple[labels.Block, labels.Block]:
        """Labels above (rising edges) and below (falling ones)."""
        seen = self._in_view(axis)
        rising = [(x, _label(edge)) for x, edge in seen if edge.edge == "rising"]
        falling = [(x, _label(edge)) for x, edge in seen if edge.edge != "rising"]
        return labels.arrange(rising, axis), labels.arrange(falling, axis)


def _label(edge: CamEdge) -> tuple[str, ...]:
    return (angle_words(edge.angle_deg, edge.uncertainty_deg), *told(edge.teeth).split(", "))


def _levels(cam: CamMeasurement, axis: Axis, *, high: float, low: float) -> svg.Element:
    if not cam.edges:
        return style.text(say("no edge measured"), axis.left, low, colour=style.FAINT_INK)
    flanks = [Flank(edge.angle_deg, edge.edge == "rising") for edge in cam.edges]
    points = level_points(flanks, axis, high=high, low=low)
    return style.polyline(points, colour=style.role_colour(cam.role), width=1.8)


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
