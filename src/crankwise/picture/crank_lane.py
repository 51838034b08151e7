"""The crank lane: its timing edges as counted teeth, and the gap."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import style, svg
from crankwise.picture.layout import Axis, text_width, thinning
from crankwise.units import REVOLUTION_DEG

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.model.measurement import CrankMeasurement
    from crankwise.model.wheel import Wheel

_TOOTH: Final = 22.0  # height of a tooth
HEIGHT: Final = 18.0 + _TOOTH + 22.0


@dataclass(frozen=True, slots=True)
class Tooth:
    """A crank tooth as drawn: its angle on the axis and how it is counted."""

    angle_deg: float
    number: int
    after: bool


def counted_teeth(crank: CrankMeasurement | Wheel, axis: Axis) -> Iterator[Tooth]:
    """Teeth in view, numbered outward from the nearer gap, or onward where there is none.

    Where more teeth are missing elsewhere, the count goes on by pitches, as the words at the
    edges do.
    """
    last_deg = REVOLUTION_DEG - crank.intervals_deg[-1]
    for cycle in range(int(axis.from_deg // REVOLUTION_DEG), 3):
        turn_deg = 0.0
        for step_deg in crank.intervals_deg:
            angle_deg = cycle * REVOLUTION_DEG + turn_deg
            after = not crank.has_gap or turn_deg <= last_deg / 2
            from_gap_deg = turn_deg if after else last_deg - turn_deg
            if axis.from_deg <= angle_deg <= axis.to_deg:
                yield Tooth(angle_deg, round(1 + from_gap_deg / crank.pitch_deg), after)
            turn_deg += step_deg


def draw(crank: CrankMeasurement, axis: Axis, top: float, *, named: bool) -> list[svg.Element]:
    """Draw the timing edges as strokes, the longer the ones that carry a number."""
    foot = top + 18.0 + _TOOTH
    every = thinning(crank.pitch_deg * axis.px_per_deg, room=24.0)
    thick = min(max(0.3 * crank.pitch_deg * axis.px_per_deg, 1.0), 4.0)
    parts = [style.line(axis.left, foot, axis.right, foot, colour=style.CRANK)]
    for tooth in counted_teeth(crank, axis):
        x = axis.x(tooth.angle_deg)
        numbered = tooth.number % every == 0 or tooth.number == 1
        head = foot - _TOOTH * (1.0 if numbered else 0.7)
        parts.append(style.line(x, foot, x, head, colour=style.CRANK, width=thick))
        if numbered:
            parts.append(style.text(str(tooth.number), x, foot + 12.0, size=9.5, anchor="middle"))
    if named:
        channel = crank.channel if crank.channel != "crank" else ""
        parts += style.lane_name("crank", (channel, told(crank.wheel)), top + 24.0)
    return parts


def gaps(crank: CrankMeasurement, axis: Axis, top: float, bottom: float) -> list[svg.Element]:
    """Shade each gap through all lanes and say on which side teeth are counted how."""
    if not crank.has_gap:
        return []
    parts = []
    for turn in range(4):
        end_deg = turn * REVOLUTION_DEG
        start_deg = end_deg - crank.intervals_deg[-1]
        low, high = max(start_deg, axis.from_deg), min(end_deg, axis.to_deg)
        if low > high:
            continue
        if low < high:
            x, width = axis.x(low), axis.x(high) - axis.x(low)
            parts.append(
                svg.element(
                    "rect", x=x, y=top, width=width, height=bottom - top, fill=style.GAP_SHADE
                )
            )
            words = say("gap")
            if width >= text_width(words, size=10.0):
                parts.append(style.text(words, x + width / 2, top + 11.0, size=10, anchor="middle"))
        parts += _counting(axis, start_deg, end_deg, top + 11.0)
    return parts


def _counting(axis: Axis, start_deg: float, end_deg: float, y: float) -> list[svg.Element]:
    """Words beside the gap: which way teeth are counted, where there is room for them."""
    parts = []
    before, after = say("← teeth before the gap"), say("teeth after the gap →")
    room = text_width(before, size=10.0) + 6.0
    if axis.x(start_deg) - room >= axis.left:
        x = axis.x(start_deg) - 6.0
        parts.append(style.text(before, x, y, size=10.0, colour=style.FAINT_INK, anchor="end"))
    if axis.x(end_deg) + room <= axis.right:
        x = axis.x(end_deg) + 6.0
        parts.append(style.text(after, x, y, size=10.0, colour=style.FAINT_INK))
    return parts
