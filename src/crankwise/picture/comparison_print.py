"""A comparison for paper: each turn of the crank and the closer look as strips of their own.

The angle view of a screen is too wide for a page; here each stretch takes its whole width.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.language import say
from crankwise.picture import comparison_furniture, furniture, style, svg
from crankwise.picture.comparison_view import closer_window
from crankwise.picture.layout import Axis
from crankwise.picture.panels import panels
from crankwise.picture.shift_lane import ShiftLane
from crankwise.units import CYCLE_DEG, REVOLUTION_DEG

if TYPE_CHECKING:
    from crankwise.model.comparison import Comparison
    from crankwise.picture.crank_lane import CrankWheel

WIDTH: Final = 860.0
_INSET: Final = 15.0  # of what a screen shows from its left end
_LEFT: Final = 150.0
_LABEL: Final = 128.0  # room at the right for the label of an edge just before the end
_LONG_LABEL: Final = 185.0


@dataclass(frozen=True, slots=True)
class Strip:
    """One picture and what stretch it shows, in words."""

    title: str
    svg: str


def comparison_strips(comparison: Comparison, *, crank: CrankWheel) -> tuple[Strip, ...]:
    """Draw subject over known-good in strips: near the gap, then either turn, then the legend.

    Parameters
    ----------
    comparison : Comparison
    crank : CrankWheel
        Crank of the subject.

    Returns
    -------
    tuple of Strip
        Empty where no cam was compared.
    """
    if not comparison.cams:
        return ()
    window = closer_window(comparison, crank)
    stretches = [
        (say("First revolution of the crank"), (0.0, REVOLUTION_DEG)),
        (say("Second revolution of the crank"), (REVOLUTION_DEG, CYCLE_DEG)),
    ]
    if window is not None:
        near = say("Near the gap") if crank.has_gap else say("Closer")
        stretches.insert(0, (near, window))
    strips = [
        Strip(title, _strip(comparison, crank, stretch, title, detailed=stretch == window))
        for title, stretch in stretches
    ]
    return (*strips, Strip(say("What the shapes mean"), _legend(comparison, crank)))


def _strip(
    comparison: Comparison,
    crank: CrankWheel,
    stretch: tuple[float, float],
    title: str,
    *,
    detailed: bool,
) -> str:
    label = _LONG_LABEL if detailed else _LABEL
    axis = Axis(*stretch, _LEFT, WIDTH + _INSET - label)
    limit_deg = comparison.limits.code_limit_deg
    lanes = [ShiftLane(cam, limit_deg, detailed) for cam in comparison.cams]
    parts, bottom = panels(crank, lanes, [axis], 0.0)
    return _sheet([_at_margin(parts)], bottom, title)


def _legend(comparison: Comparison, crank: CrankWheel) -> str:
    parts, y = comparison_furniture.shapes(comparison, 14.0, width=WIDTH + 2 * _INSET)
    zero = style.text(furniture.zero_words(has_gap=crank.has_gap), 1.0 + _INSET, y)
    return _sheet([_at_margin([*parts, zero])], y + 8.0, say("What the shapes mean"))


def _at_margin(parts: list[svg.Element]) -> svg.Element:
    """Take the inset of a screen off, so that names stand at the margin of the page."""
    return svg.element("g", *parts, transform=f"translate({svg.short(-_INSET)} 0)")


def _sheet(parts: list[svg.Element], height: float, title: str) -> str:
    return svg.document(
        *furniture.sheet(parts, width=WIDTH, height=height),
        width=WIDTH,
        height=height,
        title=title,
        text="",
    )
