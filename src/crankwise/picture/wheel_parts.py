"""A toothed wheel as one sees it from the timing side, with the zero under the sensor.

The crank is drawn turning clockwise, so what comes after the zero stands against the clock from
the sensor. A tooth is drawn before its timing edge; how wide, only the catalogue's widths tell,
and else it takes half a pitch.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import style, svg
from crankwise.picture.crank_lane import counted_teeth
from crankwise.picture.layout import Axis, fitted
from crankwise.units import REVOLUTION_DEG, wrap_signed_deg

if TYPE_CHECKING:
    from crankwise.model.wheel import Wheel

_ROOT: Final = 0.87  # radius between the teeth
_INNER: Final = 0.70  # radius on which the numbers stand
_ARROW: Final = 0.42
_SENSOR: Final = (11.0, 15.0)  # half its width, and its height
_SIZE: Final = 10.0
_UNDER_SENSOR_DEG: Final = 16.0
_NAME_DEG: Final = 24.0  # what a name takes of the circumference
AROUND: Final = 44.0
"""Room for what is written above a wheel, pixels."""
BESIDE: Final = 80.0
"""Room for what is written at its sides, beyond what the marks take."""


def toothed_wheel(
    wheel: Wheel, x: float, y: float, radius: float, *, tdc_after_zero_deg: float | None = None
) -> list[svg.Element]:
    """Draw a crank wheel about its middle, with its zero at the top under the sensor."""
    return [
        *_gap(wheel, x, y, radius, tdc_after_zero_deg),
        _outline(wheel, x, y, radius),
        *_numbers(wheel, x, y, radius),
        *_middle(wheel, x, y, radius),
        *_sensor(x, y - radius),
        *([] if tdc_after_zero_deg is None else _tdc(x, y, radius, tdc_after_zero_deg)),
    ]


def plain_wheel(
    x: float, y: float, radius: float, *, teeth: int | None, colour: str, is_open: bool
) -> list[svg.Element]:
    """Draw a wheel of which at most the number of teeth is known: dashed, its teeth even."""
    disc = svg.element(
        "circle", cx=x, cy=y, r=radius * _ROOT, fill="#ffffff" if is_open else colour,
        fill_opacity=0.12, stroke=colour, stroke_width=1.2, stroke_dasharray="4 3",
    )  # fmt: skip
    if not teeth:
        unknown = style.text("?", x, y + 6.0, size=16.0, colour=style.FAINT_INK, anchor="middle")
        return [disc, unknown]
    pitch = REVOLUTION_DEG / teeth
    marks = [
        svg.element(
            "path", d=_tooth(x, y, radius, pitch * (k + 0.25), pitch * (k - 0.25)), fill=colour,
            fill_opacity=0.35, stroke=colour, stroke_width=1.0, stroke_dasharray="2 2",
        )
        for k in range(teeth)
    ]  # fmt: skip
    count = style.text(str(teeth), x, y + 5.0, size=14.0, anchor="middle", bold=True)
    return [disc, *marks, count]


def _point(x: float, y: float, radius: float, angle_deg: float) -> str:
    """Place of an angle after the zero, against the clock from the top."""
    angle = math.radians(angle_deg)
    return f"{svg.short(x - radius * math.sin(angle))},{svg.short(y - radius * math.cos(angle))}"


def _arc(x: float, y: float, radius: float, start_deg: float, end_deg: float) -> str:
    """Arc to ``end_deg``, against the clock, from where the path stands at ``start_deg``."""
    large = int(end_deg - start_deg > REVOLUTION_DEG / 2)
    r = svg.short(radius)
    return f"A{r},{r} 0 {large} 0 {_point(x, y, radius, end_deg)}"


def _tooth(x: float, y: float, radius: float, end_deg: float, start_deg: float) -> str:
    root = radius * _ROOT
    r = svg.short(root)
    return (
        f"M{_point(x, y, root, start_deg)} L{_point(x, y, radius, start_deg)} "
        f"{_arc(x, y, radius, start_deg, end_deg)} L{_point(x, y, root, end_deg)} "
        f"A{r},{r} 0 0 1 {_point(x, y, root, start_deg)} Z"
    )


def tooth_widths_deg(wheel: Wheel) -> tuple[float, ...]:
    """Width of the tooth before each timing edge, as drawn.

    >>> from crankwise.wheel.catalogue import load
    >>> tooth_widths_deg(load()["60-2"])[:2]
    (3.0, 3.0)
    """
    if wheel.width_deg:
        return wheel.width_deg
    before = (wheel.intervals_deg[-1], *wheel.intervals_deg[:-1])
    return tuple(min(wheel.pitch_deg, interval) / 2.0 for interval in before)


def _outline(wheel: Wheel, x: float, y: float, radius: float) -> svg.Element:
    """Draw all teeth in one line, against the clock from the first one."""
    parts: list[str] = []
    root, last = radius * _ROOT, 0.0
    for angle, width in zip(wheel.angles_deg, tooth_widths_deg(wheel), strict=True):
        start, end = float(angle) - width, float(angle)
        way = _arc(x, y, root, last, start) if parts else f"M{_point(x, y, root, start)}"
        parts.append(
            f"{way} L{_point(x, y, radius, start)} {_arc(x, y, radius, start, end)} "
            f"L{_point(x, y, root, end)}"
        )
        last = end
    closing = _arc(x, y, root, last, REVOLUTION_DEG - tooth_widths_deg(wheel)[0])
    return svg.element(
        "path", d=f"{' '.join(parts)} {closing} Z", fill=style.CRANK, fill_opacity=0.14,
        stroke=style.CRANK, stroke_width=1.1, stroke_linejoin="round",
    )  # fmt: skip


def _gap(
    wheel: Wheel, x: float, y: float, radius: float, tdc_deg: float | None
) -> list[svg.Element]:
    """Shade the gap out to beyond the teeth, and name it unless top dead centre is there."""
    if not wheel.has_gap:
        return []
    start = REVOLUTION_DEG - wheel.intervals_deg[-1]
    end = REVOLUTION_DEG - tooth_widths_deg(wheel)[0]
    far, root = radius + 5.0, radius * _ROOT
    back = f"A{svg.short(root)},{svg.short(root)} 0 {int(end - start > 180.0)} 1"
    shade = (
        f"M{_point(x, y, root, start)} L{_point(x, y, far, start)} {_arc(x, y, far, start, end)} "
        f"L{_point(x, y, root, end)} {back} {_point(x, y, root, start)} Z"
    )
    drawn = svg.element("path", d=shade, fill=style.GAP_SHADE, stroke="none")
    middle = (start + end) / 2
    if tdc_deg is not None:
        away_deg = wrap_signed_deg(tdc_deg - middle, period_deg=REVOLUTION_DEG)
        if abs(away_deg) < _NAME_DEG:
            return [drawn]
    return [drawn, _outside(say("gap"), x, y, far + 4.0, middle)]


def _numbers(wheel: Wheel, x: float, y: float, radius: float) -> list[svg.Element]:
    """Number the teeth as they are counted, outward from the gap."""
    turn = Axis(0.0, REVOLUTION_DEG - 1e-6, 0.0, radius * _INNER * 2.0 * math.pi)
    every = next(n for n in (1, 2, 5, 10, 20) if n * wheel.pitch_deg * turn.px_per_deg >= 20.0)
    shown = []
    for tooth in counted_teeth(wheel, turn):
        is_first_before = tooth.number == 1 and not tooth.after
        if tooth.number % every == 0 or (tooth.number == 1 and every > 1) or is_first_before:
            angle = math.radians(tooth.angle_deg)
            shown.append(
                style.text(
                    str(tooth.number), x - _INNER * radius * math.sin(angle),
                    y - _INNER * radius * math.cos(angle) + 3.0, size=8.5, anchor="middle",
                )
            )  # fmt: skip
    return shown


def _middle(wheel: Wheel, x: float, y: float, radius: float) -> list[svg.Element]:
    """Say how many teeth there are, and which way it turns."""
    arrow = turning_arrow(x, y, _ARROW * radius, from_deg=130.0, to_deg=50.0)
    return [
        *arrow,
        style.text(str(wheel.teeth_per_rev), x, y + 4.0, size=14.0, anchor="middle", bold=True),
        style.text(say("teeth"), x, y + 17.0, size=9.5, colour=style.FAINT_INK, anchor="middle"),
    ]


def turning_arrow(
    x: float, y: float, radius: float, *, from_deg: float, to_deg: float
) -> list[svg.Element]:
    """Draw an arrow clockwise about a place, between angles counted from the right upwards."""
    start, end = math.radians(from_deg), math.radians(to_deg)
    r = svg.short(radius)
    x1, y1 = x + radius * math.cos(start), y - radius * math.sin(start)
    x2, y2 = x + radius * math.cos(end), y - radius * math.sin(end)
    large = int((from_deg - to_deg) % 360.0 > 180.0)
    line = svg.element(
        "path",
        d=f"M{svg.short(x1)},{svg.short(y1)} A{r},{r} 0 {large} 1 {svg.short(x2)},{svg.short(y2)}",
        fill="none", stroke=style.INK, stroke_width=1.4,
    )  # fmt: skip
    return [line, style.arrow_head(x2, y2, way_deg=to_deg - 90.0)]


def _sensor(x: float, y: float) -> list[svg.Element]:
    """Draw the sensor above the first tooth after the gap, where the zero is."""
    half, height = _SENSOR
    body = svg.element(
        "rect", x=x - half, y=y - 4.0 - height, width=2 * half, height=height, rx=2.0,
        fill="#ffffff", stroke=style.INK, stroke_width=1.2,
    )  # fmt: skip
    words = style.text("0°", x, y - 8.0 - height, size=10.0, anchor="middle")
    return [body, words]


def _tdc(x: float, y: float, radius: float, angle_deg: float) -> list[svg.Element]:
    """Mark top dead centre of cylinder 1 outside the teeth."""
    angle = math.radians(angle_deg)
    way = -math.sin(angle), -math.cos(angle)
    tip, foot, far = radius + 3.0, radius + 14.0, radius + 19.0
    head = style.line(
        x + tip * way[0], y + tip * way[1], x + foot * way[0], y + foot * way[1],
        colour=style.INK, width=2.2,
    )  # fmt: skip
    words = say("TDC 1, {angle}°", angle=told(f"{angle_deg:g}"))
    words = fitted(words, size=_SIZE, width=BESIDE)
    from_top_deg = wrap_signed_deg(angle_deg, period_deg=REVOLUTION_DEG)
    if abs(from_top_deg) >= _UNDER_SENSOR_DEG:
        return [head, _outside(words, x, y, far, angle_deg)]
    return [head, _beside_sensor(words, x, y - radius, on_left=from_top_deg >= 0.0)]


def _beside_sensor(words: str, x: float, y: float, *, on_left: bool) -> svg.Element:
    away = -_SENSOR[0] - 6.0 if on_left else _SENSOR[0] + 6.0
    baseline = y - _SENSOR[1] - 1.0
    return style.text(words, x + away, baseline, size=_SIZE, anchor="end" if on_left else "start")


def _outside(words: str, x: float, y: float, radius: float, angle_deg: float) -> svg.Element:
    """Write outside the teeth, away from the wheel."""
    angle = math.radians(angle_deg)
    right, down = -math.sin(angle), -math.cos(angle)
    anchor = "middle" if abs(right) < 0.1 else "end" if right < 0 else "start"
    lower = 10.0 if down > 0.3 else 0.0 if down < -0.3 else 4.0
    return style.text(
        words, x + radius * right, y + radius * down + lower, size=_SIZE, anchor=anchor
    )
