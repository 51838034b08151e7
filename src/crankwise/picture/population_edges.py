"""Each edge of each cam over the known-goods: mean place, spread and extremes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import labels, style, svg
from crankwise.picture.lane import Flank, level_points
from crankwise.picture.layout import Axis, fitted
from crankwise.picture.panels import WIDTH
from crankwise.picture.population_rows import mean_and_spread
from crankwise.picture.scale import Scale, round_steps
from crankwise.picture.words import bounds_words, shown_angle, signed
from crankwise.roles.naming import cam_name
from crankwise.units import CYCLE_DEG, wrap_signed_deg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.model.shelf import EdgeSpread, FamilyStatistics

_COLUMNS: Final = 2
_BETWEEN: Final = 34.0
_ROW: Final = 19.0
_LEVEL: Final = 16.0  # height between low and high
_WIDTH: Final = (WIDTH - 32.0 - _BETWEEN) / _COLUMNS
_STRIP: Final = (98.0, 340.0)  # left and right end of the strips, from the left of a column
_LAST: Final = 56.0  # room for what is written at an edge just before the end
_WORDS: Final = 354.0  # left end of the words, likewise
_TICK_PX: Final = 46.0


def draw_edges(statistics: FamilyStatistics, y: float) -> tuple[list[svg.Element], float]:
    """Draw a block for each cam, two side by side; return the elements and the lower end.

    With one known-good, whose edges have no spread, their places are written at the pattern.
    """
    edges = statistics.edges
    roles = sorted({edge.role for edge in edges})
    farthest = max(max(map(abs, extremes_deg(edge))) for edge in edges)
    parts: list[svg.Element] = []
    for start in range(0, len(roles), _COLUMNS):
        ends = [y]
        for place, role in enumerate(roles[start : start + _COLUMNS]):
            left = 16.0 + place * (_WIDTH + _BETWEEN)
            block = _Block(role, sorted((e for e in edges if e.role == role), key=_angle), left)
            if statistics.known_goods > 1:
                drawn, end = block.strips(y, farthest_deg=farthest or 1.0)
            else:
                drawn, end = block.places(y)
            parts += drawn
            ends.append(end)
        y = max(ends) + 14.0
    return parts, y


def _angle(edge: EdgeSpread) -> float:
    return edge.angle_deg


def extremes_deg(edge: EdgeSpread) -> tuple[float, float]:
    """Extremes of an edge from its mean, crank degrees."""
    low, high = wrap_signed_deg(edge.low_deg - edge.angle_deg), edge.high_deg - edge.low_deg
    return float(low), float(low) + high


@dataclass(frozen=True, slots=True)
class _Block:
    """The edges of one cam, by their angle, and the left end of their column."""

    role: str
    edges: Sequence[EdgeSpread]
    left: float

    def strips(self, y: float, *, farthest_deg: float) -> tuple[list[svg.Element], float]:
        """Draw a strip for each edge below the pattern; return also the lower end."""
        parts = [
            self._name(y),
            *self._pattern(Axis(0.0, CYCLE_DEG, self.left, self.left + _WIDTH), y + 24.0),
        ]
        y += 24.0 + _LEVEL + 14.0
        ends = self.left + _STRIP[0], self.left + _STRIP[1]
        across = Scale(-1.06 * farthest_deg, 1.06 * farthest_deg, *ends)
        for number, edge in enumerate(self.edges):
            parts += _edge(edge, across, self.left, y + _ROW * (number + 0.5))
        y += _ROW * len(self.edges)
        return [*parts, *_axis(across, y)], y + 34.0

    def places(self, y: float) -> tuple[list[svg.Element], float]:
        """Write the places of the edges at the pattern; return also the lower end."""
        axis = Axis(0.0, CYCLE_DEG, self.left, self.left + _WIDTH - _LAST)
        colour = style.role_colour(self.role)
        above, below = (
            labels.arrange(
                [(axis.x(edge.angle_deg), (_angle_words(edge),)) for edge in self.edges
                 if (edge.edge == "rising") == is_above],
                axis,
            )
            for is_above in (True, False)
        )  # fmt: skip
        high = y + 26.0 + above.height
        low = high + _LEVEL
        return [
            self._name(y),
            *self._pattern(axis, high),
            *labels.draw(above, axis, high - 5.0, colour, above=True),
            *labels.draw(below, axis, low + 5.0, colour, above=False),
        ], low + below.height + 14.0

    def _name(self, y: float) -> svg.Element:
        name = fitted(told(cam_name(self.role)), size=13.0, width=_WIDTH / 1.15)
        colour = style.role_colour(self.role)
        return style.text(name, self.left, y + 14.0, size=13.0, colour=colour, bold=True)

    def _pattern(self, axis: Axis, high: float) -> list[svg.Element]:
        """Draw the levels over the cycle with every edge, for its place in the pattern."""
        low = high + _LEVEL
        flanks = [Flank(edge.angle_deg, edge.edge == "rising") for edge in self.edges]
        points = level_points(flanks, axis, high=high, low=low)
        colour, middle = style.role_colour(self.role), (high + low) / 2
        marks = [_marker(edge, axis.x(edge.angle_deg), middle) for edge in self.edges]
        return [style.polyline(points, colour=colour, width=1.6), *marks]


def _marker(edge: EdgeSpread, x: float, y: float) -> svg.Element:
    return style.marker(
        x, y, rising=edge.edge == "rising", colour=style.role_colour(edge.role),
        is_open=style.has_open_markers(edge.role),
    )  # fmt: skip


def _angle_words(edge: EdgeSpread) -> str:
    return told(f"{shown_angle(edge.angle_deg, decimals=2)}°")


def _edge(edge: EdgeSpread, across: Scale, left: float, y: float) -> list[svg.Element]:
    low, high = extremes_deg(edge)
    parts = [
        _marker(edge, left + 8.0, y),
        style.text(_angle_words(edge), left + _STRIP[0] - 12.0, y + 4.0, anchor="end"),
    ]
    if low < high:
        ends = across.at(low), across.at(high)
        parts += [
            style.line(ends[0], y, ends[1], y, colour=style.INK, width=1.0),
            *(style.line(x, y - 4.0, x, y + 4.0, colour=style.INK, width=1.0) for x in ends),
        ]
        words = say(
            "spread {spread}°, extremes {bounds}", spread=told(f"{edge.spread_deg:.2f}"),
            bounds=bounds_words(low, high),
        )  # fmt: skip
        parts.append(
            style.text(
                fitted(words, size=10.0, width=_WIDTH - _WORDS), left + _WORDS, y + 3.5, size=10.0,
                colour=style.FAINT_INK,
            )
        )  # fmt: skip
    bar = across.at(-edge.spread_deg), across.at(edge.spread_deg)
    return [*parts, *mean_and_spread(across.at(0.0), *bar, y)]


def _axis(across: Scale, y: float) -> list[svg.Element]:
    parts = [style.line(across.start, y, across.end, y, colour=style.FAINT_INK)]
    most = int((across.end - across.start) / _TICK_PX)
    for step in round_steps(across.low, across.high, most=most):
        x, decimals = across.at(step), 0 if step.is_integer() else 1
        words = told(f"{signed(step, decimals=decimals)}°")
        parts += [
            style.line(x, y, x, y + 4.0, colour=style.FAINT_INK),
            style.text(words, x, y + 15.0, size=10.0, anchor="middle"),
        ]
    middle = (across.start + across.end) / 2
    words = fitted(say("from the mean place"), size=10.0, width=across.end - across.start)
    faint = style.FAINT_INK
    return [*parts, style.text(words, middle, y + 28.0, size=10.0, colour=faint, anchor="middle")]
