"""The angle view of a comparison: the subject over its known-good, shift and limits at each edge.

The upper part shows the whole cycle, the lower part looks closer at the gap, where a technician
counts. Everything is drawn to the scale of one crank-angle axis.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import comparison_furniture, furniture, style, svg
from crankwise.picture.layout import Axis
from crankwise.picture.panels import GUTTER, LEFT, WIDTH, beyond_gap_deg, panels, zoom_windows
from crankwise.picture.shift_lane import ShiftLane
from crankwise.units import CYCLE_DEG

if TYPE_CHECKING:
    from crankwise.model.comparison import Comparison
    from crankwise.model.measurement import CrankMeasurement

_AROUND_DEG: Final = 30.0  # shown on either side of an edge that is far from every gap


def comparison_view(comparison: Comparison, *, crank: CrankMeasurement) -> str:
    """Draw a comparison as an SVG picture.

    Parameters
    ----------
    comparison : Comparison
    crank : CrankMeasurement
        Crank of the subject, whose teeth are drawn.

    Returns
    -------
    str
        A complete SVG file, self-contained, on a light background.
    """
    head, bottom = comparison_furniture.heading(comparison, width=WIDTH)
    whole = Axis(0.0, CYCLE_DEG, LEFT, WIDTH - GUTTER)
    panel, bottom = panels(crank, _lanes(comparison, detailed=False), [whole], bottom + 10.0)
    near, bottom = _closer(comparison, crank, bottom)
    legend, bottom = comparison_furniture.legend(
        comparison, bottom + 26.0, has_gap=crank.has_gap, width=WIDTH
    )
    return svg.document(
        *furniture.sheet([*head, *panel, *near, *legend], width=WIDTH, height=bottom),
        width=WIDTH,
        height=bottom,
        title=say("Valve timing against the known-good: {name}", name=comparison.subject.name),
        text=_in_words(comparison),
    )


def _lanes(comparison: Comparison, *, detailed: bool) -> list[ShiftLane]:
    limit_deg = comparison.limits.code_limit_deg
    return [ShiftLane(cam, limit_deg, detailed) for cam in comparison.cams]


def _closer(
    comparison: Comparison, crank: CrankMeasurement, bottom: float
) -> tuple[list[svg.Element], float]:
    """Draw the closer look, over the whole width so that shifts of a degree show."""
    window = closer_window(comparison, crank)
    if window is None:
        return [], bottom
    words = say("Near the gap") if crank.has_gap else say("Closer")
    heading = style.text(words, 16.0, bottom + 24.0, size=14.0, bold=True)
    axis = Axis(*window, LEFT, WIDTH - GUTTER)
    lanes = _lanes(comparison, detailed=True)
    drawn, bottom = panels(crank, lanes, [axis], bottom + 34.0)
    return [heading, *drawn], bottom


def closer_window(comparison: Comparison, crank: CrankMeasurement) -> tuple[float, float] | None:
    """Stretch for the closer look, crank degrees: the gap with edges of the most cams near it.

    Where no edge is near a gap, or there is none, the edge nearest to it; None without edges.
    """
    angles = {
        cam.role: [edge.known_good_deg + share * edge.shift_deg
                   for edge in cam.edges for share in (0.0, 1.0)]
        for cam in comparison.cams
    }  # fmt: skip
    every = [angle for places in angles.values() for angle in places]
    if not every:
        return None
    windows = zoom_windows(every, crank)
    if windows:
        return max(windows, key=lambda w: sum(_is_near(a, w) for a in angles.values()))
    gap_deg = crank.intervals_deg[-1] if crank.has_gap else 0.0
    nearest = min(
        every, key=lambda a: min(beyond_gap_deg(a, zero, gap_deg) for zero in (0.0, 360.0))
    )
    return nearest - _AROUND_DEG, nearest + _AROUND_DEG


def _is_near(places: list[float], window: tuple[float, float]) -> bool:
    axis = Axis(*window, 0.0, 1.0)
    return any(axis.unwrapped(angle) is not None for angle in places)


def _in_words(comparison: Comparison) -> str:
    """Describe the picture for readers who can't see it."""
    parts = [f"{comparison.verdict.level}: {comparison.verdict.summary}"]
    parts += [cam.words for cam in comparison.cams]
    parts += [change.words for change in comparison.separations]
    return " ".join(told(words if words.endswith(".") else f"{words}.") for words in parts)
