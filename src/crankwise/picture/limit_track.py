"""A short track at each edge: between which limits a healthy engine's edge lies, and where it is.

It is drawn to the scale of the angle axis, about the known-good's edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.picture import style, svg

if TYPE_CHECKING:
    from crankwise.model.comparison import EdgeShift, HealthyLimits
    from crankwise.picture.layout import Axis

HEIGHT: Final = 16.0
_HALF: Final = 4.5  # of the height of a bracket
_SERIF: Final = 2.5  # length of the ends of a bracket


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of one cam, crank degrees from the known-good's edge."""

    healthy: HealthyLimits | None
    code_limit_deg: float


def draw(
    edge: EdgeShift, limits: Limits, axis: Axis, *, known_good: float, y: float, colour: str
) -> list[svg.Element]:
    """Draw bracket, marks of the code limit and the subject's place with its ± bar.

    ``known_good`` is the pixel position of the known-good's edge, ``y`` the middle of the track.
    """
    parts = []
    for way in (-1.0, 1.0):
        x = known_good + way * limits.code_limit_deg * axis.px_per_deg
        if axis.holds(x):
            parts += code_mark(x, y, inward=-way)
    if limits.healthy is not None:
        low = axis.clipped(known_good + limits.healthy.low_deg * axis.px_per_deg)
        high = axis.clipped(known_good + limits.healthy.high_deg * axis.px_per_deg)
        if low < high:
            parts += bracket(low, high, y)
    subject = known_good + edge.shift_deg * axis.px_per_deg
    if axis.holds(subject):
        reach = max(edge.uncertainty_deg * axis.px_per_deg, 1.5)
        bar = style.line(subject - reach, y, subject + reach, y, colour=style.INK, width=2.0)
        parts += [bar, place(subject, y, colour=colour)]
    return parts


def bracket(low: float, high: float, y: float) -> list[svg.Element]:
    """Draw a bracket around what is healthy."""
    ends = [
        style.polyline(
            [(x + turn, y - _HALF), (x, y - _HALF), (x, y + _HALF), (x + turn, y + _HALF)],
            colour=style.INK,
            width=1.3,
        )
        for x, turn in ((low, _SERIF), (high, -_SERIF))
    ]
    inside = svg.element(
        "rect", x=low, y=y - _HALF, width=high - low, height=2 * _HALF, fill=style.INK,
        fill_opacity=0.07,
    )  # fmt: skip
    return [inside, *ends]


def code_mark(x: float, y: float, *, inward: float) -> list[svg.Element]:
    """Draw a mark of the code limit: a thick stroke with a tooth towards the known-good."""
    stroke = style.line(x, y - _HALF, x, y + _HALF, colour=style.INK, width=2.4)
    tooth = style.line(x, y, x + 3.5 * inward, y, colour=style.INK, width=2.4)
    return [stroke, tooth]


def place(x: float, y: float, *, colour: str) -> svg.Element:
    """Draw where the subject's edge is."""
    return svg.element("circle", cx=x, cy=y, r=2.2, fill=colour)
