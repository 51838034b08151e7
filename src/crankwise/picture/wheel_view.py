"""One crank wheel: its teeth and gap, and how they are counted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import furniture, style, svg
from crankwise.picture.layout import fitted, wrapped
from crankwise.picture.wheel_parts import AROUND, toothed_wheel

if TYPE_CHECKING:
    from crankwise.model.wheel import Wheel

WIDTH: Final = 380.0
_RADIUS: Final = 90.0
_ROOM: Final = WIDTH - 32.0
_LINE: Final = 15.0


def wheel_view(wheel: Wheel, *, tdc_after_zero_deg: float | None = None) -> str:
    """Draw a crank wheel as an SVG picture.

    Parameters
    ----------
    wheel : Wheel
    tdc_after_zero_deg : float, optional
        Top dead centre of cylinder 1 after the zero, crank degrees.

    Returns
    -------
    str
        A complete SVG file, self-contained, on a light background.
    """
    name = style.text(fitted(wheel.name, size=18.0, width=_ROOM / 1.15), 16.0, 30.0, size=18.0,
                      bold=True)  # fmt: skip
    y = 44.0 + AROUND + _RADIUS
    drawn = toothed_wheel(wheel, WIDTH / 2, y, _RADIUS, tdc_after_zero_deg=tdc_after_zero_deg)
    parts, y = [name, *drawn], y + _RADIUS + 34.0
    words = wheel_words(wheel)
    where = [say("Found in: {engines}.", engines=told(wheel.found_in))] if wheel.found_in else []
    for sentence in (*words, *where):
        for line in wrapped(sentence, size=11.0, width=_ROOM):
            y += _LINE
            parts.append(style.text(line, 16.0, y))
    return svg.document(
        *furniture.sheet(parts, width=WIDTH, height=y + 16.0),
        width=WIDTH,
        height=y + 16.0,
        title=say("Crank wheel {name}", name=wheel.name),
        text=" ".join(words),
    )


def wheel_words(wheel: Wheel) -> list[str]:
    """Say how many teeth there are and where the zero is."""
    pitch = told(f"{wheel.pitch_deg:.4g}")
    words = [say("{count} teeth, {pitch}° apart.", count=wheel.teeth_per_rev, pitch=pitch)]
    if wheel.has_gap:
        gap = told(f"{wheel.intervals_deg[-1]:.4g}")
        words.append(
            say("The gap is {gap}° wide; 0° is the timing edge of the first tooth after it.",
                gap=gap)
        )  # fmt: skip
    else:
        words.append(
            say("There is no gap; 0° is the timing edge of the tooth chosen to count from.")
        )
    words.append(say("Seen as if the crank turned clockwise."))
    return words
