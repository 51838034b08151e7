"""Colours by role, text and markers: the small change of every picture."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from crankwise.language import told
from crankwise.picture import svg
from crankwise.picture.boxes import text_box
from crankwise.picture.layout import fitted

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

FONT: Final = "'DejaVu Sans', Verdana, sans-serif"
INK: Final = "#1d2433"
FAINT_INK: Final = "#5a6375"
GAP_SHADE: Final = "#e9ecf2"
CRANK: Final = "#44516b"
INTAKE: Final = "#0b7f7c"
EXHAUST: Final = "#b8502f"
OTHER: Final = "#7a4a86"
_NAME_ROOM: Final = 135.0
_LIGHTER: Final = 0.45  # share of white in the known-good's colour


def role_colour(role: str) -> str:
    """Colour of a role, whatever its bank.

    >>> role_colour("exhaust-2") == EXHAUST
    True
    """
    named = {"crank": CRANK, "intake": INTAKE, "exhaust": EXHAUST}
    return named.get(role.partition("-")[0], OTHER)


def known_good_colour(role: str) -> str:
    """Lighter colour of the same hue, for the known-good.

    >>> known_good_colour("intake")
    '#79b9b7'
    """
    return lighter(role_colour(role))


def lighter(colour: str) -> str:
    """Lighter colour of the same hue.

    >>> lighter("#000000")
    '#737373'
    """
    parts = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return "#" + "".join(f"{round(part + (255 - part) * _LIGHTER):02x}" for part in parts)


def has_open_markers(role: str) -> bool:
    """Whether a role is on the second bank, which has open markers."""
    return role.endswith("-2") and not role.startswith("cam-")


def text(
    words: str,
    x: float,
    y: float,
    *,
    size: float = 11.0,
    colour: str = INK,
    anchor: str = "start",
    bold: bool = False,
    turned: bool = False,
) -> svg.Element:
    """Set one line of text; ``turned`` text reads upwards from (x, y)."""
    extra = {"font_weight": "bold"} if bold else {}
    if turned:
        extra["transform"] = f"rotate(-90 {svg.short(x)} {svg.short(y)})"
    return svg.element(
        "text", words, x=x, y=y, font_size=size, fill=colour, text_anchor=anchor, **extra
    )


def backed(words: svg.Element) -> list[svg.Element]:
    """Put a strip of paper behind a line of upright text, so that no line runs through it."""
    found = dict(words.attributes)
    box = text_box(
        "".join(map(str, words.children)), float(found["x"]), float(found["y"]),
        size=float(found["font-size"]), anchor=found["text-anchor"],
    )  # fmt: skip
    strip = svg.element(
        "rect", x=box.left - 2.0, y=box.top - 2.0, width=box.right - box.left + 4.0,
        height=box.bottom - box.top + 2.0, fill="#ffffff",
    )  # fmt: skip
    return [strip, words]


def line(
    x1: float, y1: float, x2: float, y2: float, *, colour: str, width: float = 1.0
) -> svg.Element:
    """Draw a straight line."""
    return svg.element("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=colour, stroke_width=width)


def marker(x: float, y: float, *, rising: bool, colour: str, is_open: bool) -> svg.Element:
    """Draw a triangle that points the way the signal goes."""
    tip, foot = (-5.5, 4.5) if rising else (5.5, -4.5)
    corners = ((0.0, tip), (-5.0, foot), (5.0, foot))
    points = " ".join(f"{svg.short(x + dx)},{svg.short(y + dy)}" for dx, dy in corners)
    fill = "#ffffff" if is_open else colour
    return svg.element(
        "polygon",
        points=points,
        fill=fill,
        stroke=colour,
        stroke_width=1.6,
        stroke_linejoin="round",
    )


def polyline(
    points: Iterable[tuple[float, float]], *, colour: str, width: float, dashes: str = ""
) -> svg.Element:
    """Draw a line through points, dashed by a pattern such as ``5 3`` if one is given."""
    placed = " ".join(f"{svg.short(x)},{svg.short(y)}" for x, y in points)
    extra = {"stroke_dasharray": dashes} if dashes else {}
    return svg.element(
        "polyline", points=placed, fill="none", stroke=colour, stroke_width=width, **extra
    )


def lane_name(role: str, remarks: Sequence[str], y: float) -> list[svg.Element]:
    """Name a lane at the left: its role and, below it, the remarks that are not empty."""
    colour = role_colour(role)
    lines = [text(told(role), 16.0, y, size=13.0, colour=colour, bold=True)]
    for index, words in enumerate(filter(None, remarks)):
        shown = fitted(words, size=10.0, width=_NAME_ROOM)
        lines.append(text(shown, 16.0, y + 14.0 * (index + 1), size=10.0, colour=FAINT_INK))
    return lines


def arrow_head(x: float, y: float, *, way_deg: float, size: float = 8.0) -> svg.Element:
    """Draw the head of an arrow whose tip is at (x, y); the way is counted from the right up."""
    way = math.radians(way_deg)
    corners = ((0.0, 0.0), (-size, 0.42 * size), (-size, -0.42 * size))
    points = " ".join(
        f"{svg.short(x + dx * math.cos(way) + dy * math.sin(way))},"
        f"{svg.short(y - dx * math.sin(way) + dy * math.cos(way))}"
        for dx, dy in corners
    )
    return svg.element("polygon", points=points, fill=INK)
