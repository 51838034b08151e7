"""Notes beside the drawing of the drives: one for each shaft, and for strands that are known."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.language import say
from crankwise.picture import drive_parts, style
from crankwise.picture.callouts import Callout
from crankwise.picture.engine_words import (
    phaser_words,
    shaft_name,
    span_ends,
    span_name,
    span_words,
    sprocket_words,
)
from crankwise.picture.panels import WIDTH

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.picture.drive_drawing import Drawing


def notes_of(drawing: Drawing) -> list[Callout]:
    """Every note that a drawing has."""
    return [*_of_shafts(drawing), *_of_geared(drawing), *_of_strands(drawing)]


def _of_shafts(drawing: Drawing) -> Iterator[Callout]:
    """A note at the largest sprocket of each shaft."""
    seen: set[str] = set()
    for sprocket, circle in drawing.sprockets():
        if sprocket.shaft not in seen:
            seen.add(sprocket.shaft)
            colour, _ = drive_parts.sprocket_look(sprocket)
            words = tuple(sprocket_words(drawing.engine, sprocket.shaft))
            name = shaft_name(sprocket.shaft, drawing.engine)
            yield Callout(circle.centre, circle.radius, name, colour, words)


def _of_geared(drawing: Drawing) -> Iterator[Callout]:
    for cam in drawing.geared:
        circle, engine = drawing.paper.circle(cam.circle), drawing.engine
        beside = say("geared to {shaft}", shaft=shaft_name(cam.shaft, engine))
        words = (beside, *phaser_words(engine, cam.role))
        name, colour = shaft_name(cam.role, engine), style.role_colour(cam.role)
        yield Callout(circle.centre, circle.radius, name, colour, words)


def _of_strands(drawing: Drawing) -> Iterator[Callout]:
    is_only = len(drawing.drives) == 1
    for placed in drawing.drives:
        drive = placed.drive
        for index, span in enumerate(drive.spans):
            name = span_name(span)
            if name or drive.span_length_mm(index) is not None:
                words = ", ".join(span_words(drive, index, is_only=is_only))
                at, via = drive_parts.note_place(placed, index, drawing.paper, middle_x=WIDTH / 2)
                called = name or span_ends(drive, index)
                yield Callout(at, 4.0, called, style.INK, (words,), via)
