"""What stands around the lanes: heading, ruler and legend."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.picture import style, svg
from crankwise.picture.layout import Axis, fitted, text_width
from crankwise.picture.words import speed_words

if TYPE_CHECKING:
    from crankwise.model.measurement import Measurement

RULER_HEIGHT: Final = 34.0
_STEPS_DEG: Final = (5, 10, 15, 30, 60, 90)


def heading(measurement: Measurement, *, width: float) -> tuple[list[svg.Element], float]:
    """Title, file, wheel and speed; return the elements and the lower end."""
    crank = measurement.crank
    name = fitted(measurement.recording.name, size=12.0, width=width - 40.0)
    facts = (
        f"{crank.wheel} wheel, {crank.timing_edge} edge is the timing edge · "
        f"{speed_words(crank.speed_rpm)} · {crank.revolutions} revolutions"
    )
    lines = [
        style.text("Valve timing by crank angle", 16.0, 30.0, size=18.0, bold=True),
        style.text(name, 16.0, 50.0, size=12.0),
        style.text(fitted(facts, size=12.0, width=width - 40.0), 16.0, 68.0, size=12.0),
    ]
    if crank.cycle_known:
        return lines, 78.0
    doubt = "Which revolution comes first is not known: every angle may be 360° more or less."
    return [*lines, style.text(doubt, 16.0, 86.0, size=12.0, bold=True)], 96.0


def sheet(parts: list[svg.Element], *, width: float, height: float) -> list[svg.Element]:
    """Put everything on white paper, in the one font."""
    paper = svg.element("rect", width=width, height=height, fill="#ffffff")
    return [paper, svg.element("g", *parts, font_family=style.FONT)]


def ruler(axis: Axis, y: float) -> list[svg.Element]:
    """Draw the angle axis; across the zero it goes on counting from 720 down."""
    room = text_width("720°", size=10.5) + 16.0
    step = next((s for s in _STEPS_DEG if s * axis.px_per_deg >= room), 180)
    parts = [style.line(axis.left, y, axis.right, y, colour=style.INK)]
    first = int(-(-axis.from_deg // step)) * step
    for angle in range(first, int(axis.to_deg) + 1, step):
        x = axis.x(float(angle))
        shown = angle % 720 if axis.from_deg < 0 else angle
        parts += [
            style.line(x, y, x, y + 6.0, colour=style.INK),
            style.text(f"{shown}°", x, y + 18.0, size=10.5, anchor="middle"),
        ]
    words = "crank angle after the zero"
    parts.append(
        style.text(
            words, (axis.left + axis.right) / 2, y + 31.0, size=10.0,
            colour=style.FAINT_INK, anchor="middle",
        )
    )  # fmt: skip
    return parts


def legend(y: float, *, has_gap: bool) -> tuple[list[svg.Element], float]:
    """Say what the shapes mean; return the elements and the lower end."""
    zero = "first tooth after the gap" if has_gap else "tooth chosen to count from"
    parts = [
        style.marker(22.0, y - 4.0, rising=True, colour=style.INK, is_open=False),
        style.text("rising", 32.0, y),
        style.marker(84.0, y - 4.0, rising=False, colour=style.INK, is_open=False),
        style.text("falling edge", 94.0, y),
        style.marker(184.0, y - 4.0, rising=True, colour=style.INK, is_open=True),
        style.text("open: bank 2", 194.0, y),
        svg.element(
            "rect", x=290, y=y - 11, width=10, height=14, fill=style.INK, fill_opacity=0.28
        ),
        style.text("scatter of single cycles (± 2 standard deviations)", 306.0, y),
        style.line(620.0, y - 4.0, 640.0, y - 4.0, colour=style.INK, width=2.0),
        style.text("± expanded uncertainty, 95 %, where wide enough to see", 648.0, y),
        style.text(f"0° is the timing edge of the {zero}", 16.0, y + 18.0),
    ]
    return parts, y + 32.0
