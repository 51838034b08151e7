"""An engine as its file describes it: chain or belt path, sprockets, guides, and the wheels.

Sizes and lengths that are in the file are drawn to scale. What is not there is put in by eye, and
the picture says so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import furniture, style, svg
from crankwise.picture.drive_picture import draw_drives
from crankwise.picture.engine_wheels import draw_wheels
from crankwise.picture.engine_words import drive_words, facts, shaft_name, sprocket_words
from crankwise.picture.layout import fitted, wrapped
from crankwise.picture.panels import WIDTH
from crankwise.wheel import catalogue

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crankwise.model.engine import Engine
    from crankwise.model.wheel import Wheel

_ROOM: Final = WIDTH - 32.0
_LINE: Final = 16.0


def engine_view(engine: Engine, *, wheels: Mapping[str, Wheel] | None = None) -> str:
    """Draw an engine as an SVG picture.

    Parameters
    ----------
    engine : Engine
    wheels : Mapping of str to Wheel, optional
        Crank wheels by name; the built-in catalogue if not given.

    Returns
    -------
    str
        A complete SVG file, self-contained, on a light background.
    """
    known = catalogue.load() if wheels is None else wheels
    head, y = _heading(engine)
    drives, y = draw_drives(engine, y)
    drawn_wheels, y = draw_wheels(engine, known.get(engine.crank_wheel), y)
    return svg.document(
        *furniture.sheet([*head, *drives, *drawn_wheels], width=WIDTH, height=y),
        width=WIDTH,
        height=y,
        title=say("Engine {family}", family=told(engine.family)),
        text=_in_words(engine),
    )


def _heading(engine: Engine) -> tuple[list[svg.Element], float]:
    name = fitted(told(engine.family), size=18.0, width=_ROOM / 1.15)
    parts, y = [style.text(name, 16.0, 30.0, size=18.0, bold=True)], 32.0
    said = [facts(engine), *map(drive_words, engine.drives)]
    for sentence in filter(None, said):
        for words in wrapped(sentence, size=12.0, width=_ROOM):
            y += _LINE + 1.0
            parts.append(style.text(words, 16.0, y, size=12.0))
    for words in wrapped(told(engine.notes), size=11.0, width=_ROOM):
        y += _LINE
        parts.append(style.text(words, 16.0, y, size=11.0, colour=style.FAINT_INK))
    return parts, y + 14.0


def _in_words(engine: Engine) -> str:
    """Describe the picture for readers who can't see it."""
    said = [facts(engine), *map(drive_words, engine.drives)]
    shafts = dict.fromkeys(s.shaft for drive in engine.drives for s in drive.sprockets)
    said += [
        f"{shaft_name(shaft, engine)}: {', '.join(sprocket_words(engine, shaft))}"
        for shaft in shafts
    ]
    return " ".join(f"{words}." for words in said if words)
