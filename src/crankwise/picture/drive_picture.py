"""The drawing of all chains and belts of an engine, with its notes at both sides."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from crankwise.language import say
from crankwise.model.engine import CRANK
from crankwise.picture import drive_parts, style, svg
from crankwise.picture.callouts import Margins, draw_callouts, needed_height
from crankwise.picture.drive_drawing import Drawing, Paper
from crankwise.picture.drive_key import drive_key
from crankwise.picture.drive_layout import place_drives, place_geared
from crankwise.picture.drive_notes import notes_of
from crankwise.picture.panels import WIDTH

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.model.engine import Engine

_MARGINS: Final = Margins(left=300.0, right=WIDTH - 300.0, width=278.0)
_BESIDE: Final = 56.0  # from the notes to the drawing
_TALLEST: Final = 560.0
_MOST_PX_PER_MM: Final = 1.5
_BY_EYE_PX_PER_MM: Final = 1.1  # at most, where there is little to show
_AROUND: Final = 30.0  # room above and below the drawing
_LEAST_COUNT: Final = 16.0  # radius of a sprocket that has room for its number of teeth


def draw_drives(engine: Engine, y: float) -> tuple[list[svg.Element], float]:
    """Draw every drive from ``y`` on; return the elements and the lower end."""
    placed = place_drives(engine)
    if not placed:
        words = say("No chain or belt is described.")
        return [style.text(words, 16.0, y + 16.0, size=12.0, bold=True)], y + 30.0
    drawing = _fitted(Drawing(engine, placed, place_geared(placed), Paper(1.0, 0j)))
    low, high = drawing.bounds
    tall = (high - low).imag * drawing.paper.px_per_mm
    height = max(tall + 2 * _AROUND, needed_height(notes_of(drawing), _MARGINS))
    drawing = _lowered(drawing, y + height / 2)
    signs, end = drive_key(drawing, y + height + 8.0)
    notes = draw_callouts(notes_of(drawing), _MARGINS, top=y, bottom=y + height)
    return [*_elements(drawing), *notes, *signs], end


def _fitted(drawing: Drawing) -> Drawing:
    """Choose the scale, and put the drawing in the middle between the notes."""
    low, high = drawing.bounds
    size, middle = high - low, (low + high) / 2
    room = _MARGINS.right - _MARGINS.left - 2 * _BESIDE
    most = _MOST_PX_PER_MM if drawing.is_scaled else _BY_EYE_PX_PER_MM
    scale = min(room / size.real, _TALLEST / size.imag, most)
    return replace(drawing, paper=Paper(scale, WIDTH / 2 - scale * middle.conjugate()))


def _lowered(drawing: Drawing, by: float) -> Drawing:
    paper = drawing.paper
    return replace(drawing, paper=replace(paper, origin=paper.origin + 1j * by))


def _elements(drawing: Drawing) -> Iterator[svg.Element]:
    """Sprockets with what stands in them, blades, and the chains over all."""
    paper, sprockets = drawing.paper, drawing.sprockets()
    for cam in drawing.geared:
        yield from drive_parts.draw_geared(cam.role, paper.circle(cam.circle))
    shafts = [sprocket.shaft for sprocket, _ in sprockets]
    for sprocket, circle in sprockets:
        yield from drive_parts.draw_sprocket(sprocket, circle)
        phaser = drive_parts.phaser_of(drawing.engine, sprocket)
        if phaser is not None:
            yield from drive_parts.draw_phaser(phaser, circle)
        if sprocket.teeth and shafts.count(sprocket.shaft) == 1 and circle.radius > _LEAST_COUNT:
            x, y = circle.centre.real, circle.centre.imag + 17.0
            yield style.text(str(sprocket.teeth), x, y, size=11.0, anchor="middle")
    for placed in drawing.drives:
        for span in range(len(placed.drive.spans)):
            yield from drive_parts.draw_blade(placed, span, paper)
    for placed in drawing.drives:
        yield from drive_parts.draw_chain(placed, paper)
        yield from drive_parts.draw_motion(placed, paper)
    crank = [circle for sprocket, circle in sprockets if sprocket.shaft == CRANK]
    if crank:
        yield from drive_parts.draw_turning(crank[0])
