"""How a verdict is shown: always its word and a shape, with colour only on top."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.picture import svg

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crankwise.model.comparison import Level


@dataclass(frozen=True, slots=True)
class Sign:
    """The sign of one level.

    Attributes
    ----------
    sign, plain : str
        A character with this shape, and what stands for it where it can't be printed.
    colour : str
        For pictures and pages; told apart by the colour-blind too.
    style : str
        For terminals.
    """

    sign: str
    plain: str
    colour: str
    style: str


SIGNS: Final[Mapping[Level, Sign]] = {
    "in-time": Sign("●", "(=)", "#1f6fb2", "bold green"),
    "drifting": Sign("◐", "(~)", "#b07a00", "bold yellow"),
    "worn": Sign("◆", "<!>", "#b3351b", "bold red"),
    "out-of-time": Sign("■", "[X]", "#7a0f2b", "bold red"),
    "not-judged": Sign("○", "(?)", "#5a6375", "bold"),
}
"""Full, half full and empty circle, diamond and square stay apart in black and white."""


def drawn(level: Level, x: float, y: float, *, radius: float = 8.0) -> list[svg.Element]:
    """Draw the sign of a level about its middle."""
    colour = SIGNS[level].colour
    if level in {"in-time", "not-judged", "drifting"}:
        fill = colour if level == "in-time" else "#ffffff"
        circle = svg.element(
            "circle", cx=x, cy=y, r=radius, fill=fill, stroke=colour, stroke_width=2.0
        )
        return [circle, _left_half(x, y, radius, colour)] if level == "drifting" else [circle]
    if level == "worn":
        tips = ((0.0, -1.2), (1.2, 0.0), (0.0, 1.2), (-1.2, 0.0))
    else:
        tips = ((-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9))
    points = " ".join(
        f"{svg.short(x + dx * radius)},{svg.short(y + dy * radius)}" for dx, dy in tips
    )
    return [svg.element("polygon", points=points, fill=colour)]


def _left_half(x: float, y: float, radius: float, colour: str) -> svg.Element:
    top, foot, r = svg.short(y - radius), svg.short(y + radius), svg.short(radius)
    place = svg.short(x)
    return svg.element("path", d=f"M{place},{top} A{r},{r} 0 0 0 {place},{foot} Z", fill=colour)
