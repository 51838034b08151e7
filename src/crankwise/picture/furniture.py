"""What stands around the lanes: heading, ruler and legend."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.language import say, say_many, told
from crankwise.picture import style, svg
from crankwise.picture.layout import Axis, fitted, text_width
from crankwise.picture.words import speed_words

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from crankwise.model.measurement import Measurement

RULER_HEIGHT: Final = 34.0
_MARGIN: Final = 16.0
_LINE: Final = 18.0
_TO_WORDS: Final = 6.0  # from a sign of the legend to its words
_APART: Final = 22.0  # from the words to the next sign
_STEPS_DEG: Final = (5, 10, 15, 30, 60, 90)


def heading(measurement: Measurement, *, width: float) -> tuple[list[svg.Element], float]:
    """Title, file, wheel and speed; return the elements and the lower end."""
    crank = measurement.crank
    name = fitted(measurement.recording.name, size=12.0, width=width - 40.0)
    facts = " · ".join(
        (
            say(
                "{wheel} wheel, {direction} edge is the timing edge",
                wheel=told(crank.wheel), direction=told(crank.timing_edge),
            ),
            speed_words(crank.speed_rpm),
            say_many("{count} revolution", "{count} revolutions", crank.revolutions),
        )
    )  # fmt: skip
    lines = [
        style.text(say("Valve timing by crank angle"), 16.0, 30.0, size=18.0, bold=True),
        style.text(name, 16.0, 50.0, size=12.0),
        style.text(fitted(facts, size=12.0, width=width - 40.0), 16.0, 68.0, size=12.0),
    ]
    if crank.cycle_known:
        return lines, 78.0
    doubt = say("Which revolution comes first is not known: every angle may be 360° more or less.")
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
    words = say("crank angle after the zero")
    parts.append(
        style.text(
            words, (axis.left + axis.right) / 2, y + 31.0, size=10.0,
            colour=style.FAINT_INK, anchor="middle",
        )
    )  # fmt: skip
    return parts


@dataclass(frozen=True, slots=True)
class Key:
    """One entry of a legend: a sign, drawn from its left end and base line, and what it means."""

    width: float
    sign: Callable[[float, float], list[svg.Element]]
    words: str


def keys(entries: Sequence[Key], y: float, *, width: float) -> tuple[list[svg.Element], float]:
    """Set entries one after another, in as many lines as they take; return the lower end, too."""
    parts: list[svg.Element] = []
    x = _MARGIN
    for entry in entries:
        room = entry.width + _TO_WORDS + text_width(entry.words, size=11.0)
        if x > _MARGIN and x + room > width - _MARGIN:
            x, y = _MARGIN, y + _LINE
        parts += entry.sign(x, y)
        parts.append(style.text(entry.words, x + entry.width + _TO_WORDS, y))
        x += room + _APART
    return parts, y + _LINE


def marker_key(words: str, *, rising: bool, is_open: bool = False) -> Key:
    """Entry for a marker of an edge."""
    return Key(
        12.0,
        lambda x, y: [
            style.marker(x + 6.0, y - 4.0, rising=rising, colour=style.INK, is_open=is_open)
        ],
        words,
    )


def zero_words(*, has_gap: bool) -> str:
    """Say from where angles are counted."""
    if has_gap:
        return say("0° is the timing edge of the first tooth after the gap")
    return say("0° is the timing edge of the tooth chosen to count from")


def legend(y: float, *, has_gap: bool, width: float) -> tuple[list[svg.Element], float]:
    """Say what the shapes mean; return the elements and the lower end."""
    entries = (
        marker_key(say("rising"), rising=True),
        marker_key(say("falling edge"), rising=False),
        marker_key(say("open: bank 2"), rising=True, is_open=True),
        Key(10.0, _scatter_sign, say("scatter of single cycles (± 2 standard deviations)")),
        Key(
            20.0,
            lambda x, y: [style.line(x, y - 4, x + 20, y - 4, colour=style.INK, width=2.0)],
            say("± expanded uncertainty, 95 %, where wide enough to see"),
        ),
    )
    parts, y = keys(entries, y, width=width)
    parts.append(style.text(zero_words(has_gap=has_gap), _MARGIN, y))
    return parts, y + 14.0


def _scatter_sign(x: float, y: float) -> list[svg.Element]:
    return [
        svg.element("rect", x=x, y=y - 11, width=10, height=14, fill=style.INK, fill_opacity=0.28)
    ]
