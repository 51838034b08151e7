"""A comparison for paper: each turn of the crank and the closer look as strips of their own.

The angle view of a screen is too wide for a page; here each stretch takes its whole width.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.language import say
from crankwise.picture import furniture, limit_track, style, svg
from crankwise.picture.comparison_view import closer_window
from crankwise.picture.layout import Axis
from crankwise.picture.panels import panels
from crankwise.picture.shift_lane import ShiftLane
from crankwise.units import CYCLE_DEG, REVOLUTION_DEG

if TYPE_CHECKING:
    from crankwise.model.comparison import Comparison
    from crankwise.picture.crank_lane import CrankWheel

WIDTH: Final = 860.0
_INSET: Final = 15.0  # of the names of lanes, taken off so that they stand at the margin
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
        (say("First turn of the crank"), (0.0, REVOLUTION_DEG)),
        (say("Second turn of the crank"), (REVOLUTION_DEG, CYCLE_DEG)),
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
    moved = svg.element("g", *parts, transform=f"translate({svg.short(-_INSET)} 0)")
    return _sheet([moved], bottom, title)


def _legend(comparison: Comparison, crank: CrankWheel) -> str:
    ink, pale = style.INK, style.FAINT_INK
    limit = f"{comparison.limits.code_limit_deg:g}"
    zero = say("first tooth after the gap") if crank.has_gap else say("tooth chosen to count from")
    first, second, third, fourth = 14.0, 34.0, 54.0, 72.0
    parts = [
        style.polyline([(1, first - 4), (29, first - 4)], colour=ink, width=1.8),
        style.text(say("subject"), 37.0, first),
        style.polyline([(110, first - 4), (138, first - 4)], colour=pale, width=1.8, dashes="6 3"),
        style.text(say("known-good"), 146.0, first),
        style.marker(250.0, first - 4.0, rising=True, colour=ink, is_open=False),
        style.text(say("rising"), 260.0, first),
        style.marker(330.0, first - 4.0, rising=False, colour=ink, is_open=False),
        style.text(say("falling edge of the subject"), 340.0, first),
        style.marker(560.0, first - 4.0, rising=True, colour=ink, is_open=True),
        style.text(say("open: bank 2"), 570.0, first),
        *limit_track.bracket(1.0, 29.0, second - 4.0),
        style.text(say("healthy engines, about the known-good's edge"), 37.0, second),
        style.line(440.0, second - 4.0, 460.0, second - 4.0, colour=ink, width=2.0),
        limit_track.place(450.0, second - 4.0, colour=ink),
        style.text(say("the subject's edge there, ± 95 %"), 468.0, second),
        *limit_track.code_mark(1.0, third - 4.0, inward=1.0),
        style.text(say("code limit, {deg}° either way", deg=limit), 37.0, third),
        style.text(say("+ later (retarded), - earlier (advanced), ± 95 %"), 440.0, third),
        style.text(say("0° is the timing edge of the {tooth}", tooth=zero), 1.0, fourth),
    ]
    return _sheet(parts, fourth + 8.0, say("What the shapes mean"))


def _sheet(parts: list[svg.Element], height: float, title: str) -> str:
    return svg.document(
        *furniture.sheet(parts, width=WIDTH, height=height),
        width=WIDTH,
        height=height,
        title=title,
        text="",
    )
