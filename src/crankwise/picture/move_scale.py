"""How far an edge has moved on its way from healthy to too far, drawn for an owner."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from crankwise.language import say
from crankwise.picture import style, svg
from crankwise.picture.layout import text_width

HEIGHT: Final = 92.0
_BAND: Final = 20.0
_BAND_TOP: Final = 39.0
_SIZE: Final = 13.0
_HATCH: Final = 7.0
_ORIGIN: Final = 9.0  # of the healthy place from the left end, so that its mark is whole
_BEYOND: Final = 1.3  # the scale ends this many times too far out


def _plain(value: float, places: int) -> str:
    return f"{value:.{places}f}"


@dataclass(frozen=True, slots=True)
class Move:
    """How far something has moved, and between which limits.

    Attributes
    ----------
    shift_deg, uncertainty_deg : float
        Crank degrees; the sign says which way.
    title : str
        What has moved, in words.
    low_deg, high_deg : float or None
        Between which healthy engines lie; ``None`` where that is not known.
    worn_deg, too_far_deg : float
        Either way: from where wear is looked for, and the code limit.
    write : callable
        Writes a number with so many decimals, as the reader is used to.
    """

    shift_deg: float
    uncertainty_deg: float
    title: str
    low_deg: float | None
    high_deg: float | None
    worn_deg: float
    too_far_deg: float
    write: Callable[[float, int], str] = _plain

    @property
    def healthy_deg(self) -> float | None:
        """How far healthy engines lie the way that this one has moved."""
        if self.low_deg is None or self.high_deg is None:
            return None
        return max(self.high_deg if self.shift_deg >= 0 else -self.low_deg, 0.0)

    def degrees(self, value: float) -> str:
        """Write degrees, with a decimal where there is one."""
        return f"{self.write(value, 0 if abs(value - round(value)) < 0.05 else 1)}°"


def draw(move: Move, left: float, right: float, top: float) -> list[svg.Element]:
    """Draw the way from healthy to too far, and on it this engine's place with its ±.

    The scale begins at the healthy place, whichever way the camshaft has moved.
    """
    size = abs(move.shift_deg)
    end = max(_BEYOND * move.too_far_deg, 1.1 * (size + move.uncertainty_deg))

    def x(deg: float) -> float:
        return left + _ORIGIN + min(max(deg, 0.0), end) / end * (right - left - _ORIGIN)

    y, healthy = top + _BAND_TOP, move.healthy_deg
    parts = [style.text(move.title, left, top + 12.0, size=14.0, bold=True)]
    parts.append(_box(left, right, y, fill="#ffffff"))
    parts += _hatched(x(move.too_far_deg), right, y)
    if healthy is not None:
        parts.append(_box(left, x(healthy), y, fill="#cfd5e0"))
    parts.append(_tick(x(move.too_far_deg), y, width=2.8))
    if _shows_worn(move):
        parts.append(_tick(x(move.worn_deg), y, width=1.4))
    parts += _place(x(size), x(size - move.uncertainty_deg), x(size + move.uncertainty_deg), y)
    parts.append(_own(x(size), left, right, y - 7.0))
    return [*parts, *_words(move, x, left, y + _BAND + 20.0)]


def in_words(move: Move) -> str:
    """Say what the scale shows, for readers who can't see it."""
    said = [f"{move.title}: {move.degrees(abs(move.shift_deg))}."]
    if move.healthy_deg is not None:
        said.append(say("Healthy engines lie within {deg}.", deg=move.degrees(move.healthy_deg)))
    if _shows_worn(move):
        said.append(say("From {deg} on we look for wear.", deg=move.degrees(move.worn_deg)))
    said.append(say("{deg} is too far.", deg=move.degrees(move.too_far_deg)))
    return " ".join(said)


def _shows_worn(move: Move) -> bool:
    """Whether wear is looked for from a place of its own, outside what is healthy."""
    return move.worn_deg < move.too_far_deg and move.worn_deg > (move.healthy_deg or 0.0)


def _words(move: Move, x: Callable[[float], float], left: float, y: float) -> list[svg.Element]:
    """Name the zones below the band: healthy at its end, the limits at their marks."""
    parts, taken = [], left
    if move.healthy_deg is not None:
        words = say("healthy: up to {deg}", deg=move.degrees(move.healthy_deg))
        parts.append(style.text(words, left, y, size=_SIZE))
        taken = left + text_width(words, size=_SIZE) + 14.0
    if _shows_worn(move):
        words = say("look for wear: from {deg}", deg=move.degrees(move.worn_deg))
        half = text_width(words, size=_SIZE) / 2
        middle = max(x(move.worn_deg), taken + half)
        parts.append(style.text(words, middle, y, size=_SIZE, anchor="middle"))
        taken = middle + half + 14.0
    words = say("too far: {deg}", deg=move.degrees(move.too_far_deg))
    half = text_width(words, size=_SIZE) / 2
    middle = max(x(move.too_far_deg), taken + half)
    return [*parts, style.text(words, middle, y, size=_SIZE, anchor="middle")]


def _own(x: float, left: float, right: float, y: float) -> svg.Element:
    words = say("your engine")
    half = text_width(words, size=_SIZE) / 2
    middle = min(max(x, left + half), right - half)
    return style.text(words, middle, y, size=_SIZE, anchor="middle")


def _tick(x: float, y: float, *, width: float) -> svg.Element:
    return style.line(x, y - 4.0, x, y + _BAND + 5.0, colour=style.INK, width=width)


def _place(x: float, low: float, high: float, y: float) -> list[svg.Element]:
    """Draw this engine's place as a pointer on its ± bar: no shape that a verdict has."""
    middle = y + _BAND / 2
    tips = ((-7.5, -12.0), (7.5, -12.0), (0.0, 5.0))
    points = " ".join(f"{svg.short(x + dx)},{svg.short(middle + dy)}" for dx, dy in tips)
    return [
        style.line(low, middle, high, middle, colour=style.INK, width=4.0),
        svg.element("polygon", points=points, fill=style.INK, stroke="#ffffff", stroke_width=1.5),
    ]


def _box(left: float, right: float, y: float, *, fill: str) -> svg.Element:
    return svg.element(
        "rect", x=left, y=y, width=right - left, height=_BAND, fill=fill,
        stroke=style.FAINT_INK, stroke_width=1.0,
    )  # fmt: skip


def _hatched(left: float, right: float, y: float) -> list[svg.Element]:
    """Draw strokes across a zone, which a black-and-white printer keeps."""
    parts = []
    start = left - _BAND
    while start < right:
        # A stroke runs up to the right; it is cut at both ends of the zone.
        begin, end = max(start, left), min(start + _BAND, right)
        if begin < end:
            foot = y + _BAND
            parts.append(
                style.line(
                    begin, foot - (begin - start), end, foot - (end - start),
                    colour=style.FAINT_INK, width=1.0,
                )
            )  # fmt: skip
        start += _HATCH
    return parts
