"""The lane of one compared cam: the subject's pattern over the known-good's, with its limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import labels, limit_track, style, svg
from crankwise.picture.lane import AIR, Flank, Room, level_points
from crankwise.picture.words import bounds_words, shift_words

if TYPE_CHECKING:
    from crankwise.model.comparison import CamShift, EdgeShift
    from crankwise.picture.layout import Axis

_LEVEL: Final = 32.0  # height between low and high
_BENEATH: Final = 4.0  # how far the known-good's line is set down, to show where both agree
_HEAD: Final = 4.0  # length of an arrow's head
_LEAST_ARROW: Final = 6.0  # pixels; less is told by the two lines alone


@dataclass(frozen=True, slots=True)
class Seen:
    """One edge on a stretch: pixel positions of known-good and subject."""

    known_good: float
    subject: float
    edge: EdgeShift


@dataclass(frozen=True, slots=True)
class ShiftLane:
    """One cam of a comparison.

    Attributes
    ----------
    cam : CamShift
    code_limit_deg : float
        Where a trouble code is expected, crank degrees from the known-good's edge.
    detailed : bool
        Whether the place of the known-good is written at each edge, too.
    """

    cam: CamShift
    code_limit_deg: float
    detailed: bool

    def room(self, axis: Axis) -> Room:
        """Room the labels and the limits need on this stretch."""
        above, below = self._blocks(axis)
        track = limit_track.HEIGHT
        return Room(above.height + track, _LEVEL, max(below.height, 4.0) + track)

    def draw(self, axis: Axis, top: float, room: Room, *, named: bool) -> list[svg.Element]:
        """Draw both patterns, and at each edge arrow, ± bar, limits and label.

        What belongs to rising edges stands above the pattern, to falling ones below it.
        """
        high = top + room.above + AIR
        low = high + _LEVEL
        parts = self._patterns(axis, high=high, low=low)
        for seen in self._in_view(axis):
            parts += self._edge(seen, axis, high=high, low=low)
        above, below = self._blocks(axis)
        colour, track = style.role_colour(self.cam.role), limit_track.HEIGHT
        parts += labels.draw(above, axis, high - AIR / 2 - track, colour, above=True)
        parts += labels.draw(below, axis, low + AIR / 2 + track, colour, above=False)
        if named:
            parts += style.lane_name(self.cam.role, self._remarks(), high)
        return parts

    def _patterns(self, axis: Axis, *, high: float, low: float) -> list[svg.Element]:
        if not self.cam.edges:
            return [style.text(say("no edge compared"), axis.left, low, colour=style.FAINT_INK)]
        role = self.cam.role
        known_good, subject = (
            [Flank(edge.known_good_deg + share * edge.shift_deg, edge.edge == "rising")
             for edge in self.cam.edges]
            for share in (0.0, 1.0)
        )  # fmt: skip
        beneath = level_points(known_good, axis, high=high + _BENEATH, low=low + _BENEATH)
        over = level_points(subject, axis, high=high, low=low)
        pale = style.known_good_colour(role)
        return [
            style.polyline(beneath, colour=pale, width=1.8, dashes="6 3"),
            style.polyline(over, colour=style.role_colour(role), width=1.8),
        ]

    def _edge(self, seen: Seen, axis: Axis, *, high: float, low: float) -> list[svg.Element]:
        edge, role, colour = seen.edge, self.cam.role, style.role_colour(self.cam.role)
        rising = edge.edge == "rising"
        offset = AIR / 2 + limit_track.HEIGHT / 2
        y = high - offset if rising else low + offset
        limits = limit_track.Limits(self.cam.healthy, self.code_limit_deg)
        parts = limit_track.draw(edge, limits, axis, known_good=seen.known_good, y=y, colour=colour)
        parts += _arrow(seen, axis, high + 0.8 * _LEVEL, colour)
        if not axis.holds(seen.subject):
            return parts
        is_open = style.has_open_markers(role)
        mark = style.marker(
            seen.subject, high + 0.4 * _LEVEL, rising=rising, colour=colour, is_open=is_open
        )
        return [*parts, mark]

    def _in_view(self, axis: Axis) -> list[Seen]:
        """Edges of which one of the two places lies on this stretch, left to right.

        An edge that moved over the end of the cycle is seen at either end.
        """
        found: dict[tuple[int, int], Seen] = {}
        for index, edge in enumerate(self.cam.edges):
            for share in (0.0, 1.0):
                angle_deg = axis.unwrapped(edge.known_good_deg + share * edge.shift_deg)
                if angle_deg is not None:
                    known_good = axis.x(angle_deg - share * edge.shift_deg)
                    subject = known_good + edge.shift_deg * axis.px_per_deg
                    found[index, round(subject)] = Seen(known_good, subject, edge)
        return sorted(found.values(), key=lambda seen: seen.subject)

    def _blocks(self, axis: Axis) -> tuple[labels.Block, labels.Block]:
        """Labels above (rising edges) and below (falling ones)."""
        seen = [
            (item.subject, item.edge) for item in self._in_view(axis) if axis.holds(item.subject)
        ]
        rising = [(x, self._label(edge)) for x, edge in seen if edge.edge == "rising"]
        falling = [(x, self._label(edge)) for x, edge in seen if edge.edge != "rising"]
        return labels.arrange(rising, axis), labels.arrange(falling, axis)

    def _label(self, edge: EdgeShift) -> tuple[str, ...]:
        lines = [shift_words(edge.shift_deg, edge.uncertainty_deg), told(edge.subject_teeth)]
        if self.detailed:
            lines.append(say("known-good {place}", place=told(edge.known_good_teeth)))
        return tuple(part for line in lines for part in line.split(", "))

    def _remarks(self) -> tuple[str, ...]:
        cam = self.cam
        healthy = cam.healthy
        return (
            f"{shift_words(cam.shift_deg, cam.uncertainty_deg)} {told(cam.direction)}",
            say("healthy {limits}", limits=bounds_words(healthy.low_deg, healthy.high_deg))
            if healthy
            else "",
            cam.subject_channel if cam.subject_channel != cam.role else "",
            say("signal upside down") if cam.inverted else "",
        )


def _arrow(seen: Seen, axis: Axis, y: float, colour: str) -> list[svg.Element]:
    """Arrow from the known-good's edge to the subject's; none where they can't be told apart."""
    way = seen.subject - seen.known_good
    if abs(way) < _LEAST_ARROW:
        return []
    back = -_HEAD if way > 0 else _HEAD
    start, end = axis.clipped(seen.known_good), axis.clipped(seen.subject + back)
    parts = [style.line(start, y, end, y, colour=colour, width=1.6)]
    if axis.holds(seen.subject):
        tip, foot = svg.short(seen.subject), svg.short(seen.subject + back)
        points = f"{tip},{svg.short(y)} {foot},{svg.short(y - 3)} {foot},{svg.short(y + 3)}"
        parts.append(svg.element("polygon", points=points, fill=colour))
    return parts
