"""The wheels of an engine that the sensors look at: the crank's, and each cam's as far as known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import style, svg
from crankwise.picture.engine_words import cam_wheel_words
from crankwise.picture.layout import wrapped
from crankwise.picture.wheel_parts import AROUND, plain_wheel, toothed_wheel
from crankwise.picture.wheel_view import wheel_words
from crankwise.roles.naming import cam_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from crankwise.model.engine import Engine
    from crankwise.model.wheel import Wheel

_CRANK_RADIUS: Final = 88.0
_CRANK_MIDDLE: Final = 190.0
_CRANK_ROOM: Final = 304.0
_RADIUS: Final = 40.0
_BESIDE: Final = 388.0  # left end of the others, beside the crank wheel
_STEP: Final = 208.0
_RIGHT: Final = 1224.0
_WORDS: Final = 192.0
_LINE: Final = 14.0


@dataclass(frozen=True, slots=True)
class _Plain:
    """A wheel of which at most the number of teeth is known."""

    name: str
    teeth: int | None
    colour: str
    is_open: bool
    words: list[str]


def draw_wheels(engine: Engine, wheel: Wheel | None, y: float) -> tuple[list[svg.Element], float]:
    """Draw the crank wheel and each cam's from ``y`` on; return the elements and the lower end."""
    heading = style.text(say("Wheels"), 16.0, y + 22.0, size=14.0, bold=True)
    y += 34.0
    if not (engine.crank_wheel or any(cam.wheel or cam.wheel_teeth for cam in engine.cams)):
        words = say("Nothing is known of the wheels that the sensors look at.")
        return [heading, style.text(words, 16.0, y + 12.0)], y + 30.0
    plain = list(_plain(engine, wheel))
    if wheel is None:
        drawn, bottom = _in_rows(plain, 16.0, y)
        return [heading, *drawn], bottom + 16.0
    crank, bottom = _crank(wheel, engine.tdc_after_zero_deg, y)
    drawn, end = _in_rows(plain, _BESIDE, y + AROUND)
    return [heading, *crank, *drawn], max(bottom, end) + 16.0


def _plain(engine: Engine, wheel: Wheel | None) -> Iterator[_Plain]:
    if wheel is None:
        name = engine.crank_wheel
        yield _Plain(
            say("crank, {wheel}", wheel=name) if name else say("crank"), None, style.CRANK, False,
            [say("not in the wheel catalogue") if name else say("wheel not named")],
        )  # fmt: skip
    for cam in engine.cams:
        yield _Plain(
            told(cam_name(cam.role)), cam.wheel_teeth, style.role_colour(cam.role),
            style.has_open_markers(cam.role), cam_wheel_words(cam),
        )  # fmt: skip


def _crank(
    wheel: Wheel, tdc_after_zero_deg: float | None, y: float
) -> tuple[list[svg.Element], float]:
    middle = y + AROUND + _CRANK_RADIUS
    drawn = toothed_wheel(
        wheel, _CRANK_MIDDLE, middle, _CRANK_RADIUS, tdc_after_zero_deg=tdc_after_zero_deg
    )
    name = say("crank, {wheel}", wheel=wheel.name)
    below, bottom = _written(
        name, wheel_words(wheel), 16.0, middle + _CRANK_RADIUS + 34.0, style.CRANK,
        width=_CRANK_ROOM,
    )  # fmt: skip
    return [*drawn, *below], bottom


def _in_rows(wheels: Sequence[_Plain], left: float, y: float) -> tuple[list[svg.Element], float]:
    """Draw wheels side by side in as many rows as it takes; return also the lower end."""
    in_a_row = int((_RIGHT - left) / _STEP)
    parts: list[svg.Element] = []
    for start in range(0, len(wheels), in_a_row):
        ends = [y]
        for number, wheel in enumerate(wheels[start : start + in_a_row]):
            drawn, end = _one(wheel, left + number * _STEP, y)
            parts += drawn
            ends.append(end)
        y = max(ends) + 10.0
    return parts, y


def _one(wheel: _Plain, x: float, y: float) -> tuple[list[svg.Element], float]:
    drawn = plain_wheel(
        x + _RADIUS, y + _RADIUS, _RADIUS, teeth=wheel.teeth, colour=wheel.colour,
        is_open=wheel.is_open,
    )  # fmt: skip
    below, end = _written(
        wheel.name, wheel.words, x, y + 2 * _RADIUS + 20.0, wheel.colour, width=_WORDS
    )
    return [*drawn, *below], end


def _written(
    name: str, sentences: Sequence[str], x: float, y: float, colour: str, *, width: float
) -> tuple[list[svg.Element], float]:
    """Write a name and what there is to say below a wheel; return also the lower end."""
    parts = []
    for words in wrapped(name, size=13.0 * 1.15, width=width):
        parts.append(style.text(words, x, y, size=13.0, colour=colour, bold=True))
        y += _LINE + 1.0
    for sentence in sentences:
        for words in wrapped(sentence, size=10.0, width=width):
            parts.append(style.text(words, x, y, size=10.0, colour=style.FAINT_INK))
            y += _LINE
    return parts, y
