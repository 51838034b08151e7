"""The drawing of all chains and belts of an engine, with its notes at both sides."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.language import say
from crankwise.model.engine import CRANK
from crankwise.picture import drive_parts, style, svg
from crankwise.picture.callouts import Callout, Margins, draw_callouts, needed_height
from crankwise.picture.drive_layout import place_drives, place_geared, placed_circles
from crankwise.picture.drive_parts import Paper
from crankwise.picture.engine_words import (
    phaser_words,
    shaft_name,
    span_name,
    span_words,
    sprocket_words,
)
from crankwise.picture.key import SIGN, Entry, key
from crankwise.picture.layout import wrapped
from crankwise.picture.loop import Circle
from crankwise.picture.panels import WIDTH
from crankwise.picture.scale import round_steps

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from crankwise.model.engine import Engine, Sprocket
    from crankwise.picture.drive_layout import PlacedDrive

_MARGINS: Final = Margins(left=300.0, right=WIDTH - 300.0, width=278.0)
_BESIDE: Final = 56.0  # from the notes to the drawing
_TALLEST: Final = 560.0
_MOST_PX_PER_MM: Final = 1.5
_AROUND: Final = 30.0  # room above and below the drawing
_ROOM: Final = WIDTH - 32.0
_LINE: Final = 15.0


def draw_drives(engine: Engine, y: float) -> tuple[list[svg.Element], float]:
    """Draw every drive from ``y`` on; return the elements and the lower end."""
    placed = place_drives(engine)
    if not placed:
        words = say("No chain or belt is described.")
        return [style.text(words, 16.0, y + 16.0, size=12.0, bold=True)], y + 30.0
    geared = place_geared(placed)
    left, right, low, high = _bounds([*placed_circles(placed), *(cam.circle for cam in geared)])
    width = _MARGINS.right - _MARGINS.left - 2 * _BESIDE
    scale = min(width / (right - left), _TALLEST / (high - low), _MOST_PX_PER_MM)
    paper = Paper(scale, 0j)
    notes_height = needed_height(list(_callouts(engine, placed, paper)), _MARGINS)
    height = max(scale * (high - low), notes_height - 2 * _AROUND)
    middle = complex((left + right) / 2, (low + high) / 2)
    centre = complex(WIDTH / 2, y + _AROUND + height / 2)
    paper = Paper(scale, centre - scale * middle.conjugate())
    bottom = y + height + 2 * _AROUND
    notes = list(_callouts(engine, placed, paper))
    scale_bar, end = _scale_bar(placed, scale, bottom + 8.0)
    parts = [
        *_drawing(engine, placed, paper),
        *draw_callouts(notes, _MARGINS, top=y, bottom=bottom),
        *scale_bar,
    ]
    signs, bottom = key(list(_entries(placed)), end + 24.0, left=16.0, right=WIDTH - 16.0)
    return [*parts, *signs], bottom


def _bounds(circles: Sequence[Circle]) -> tuple[float, float, float, float]:
    return (
        min(circle.centre.real - circle.radius for circle in circles),
        max(circle.centre.real + circle.radius for circle in circles),
        min(circle.centre.imag - circle.radius for circle in circles),
        max(circle.centre.imag + circle.radius for circle in circles),
    )


def _sprockets(placed: Sequence[PlacedDrive], paper: Paper) -> list[tuple[Sprocket, Circle]]:
    """Every sprocket with its circle on paper, the largest first so that none is hidden."""
    found = [
        (sprocket, paper.circle(circle))
        for drive in placed
        for sprocket, circle in zip(drive.drive.sprockets, drive.circles, strict=True)
    ]
    return sorted(found, key=lambda item: -item[1].radius)


def _drawing(engine: Engine, placed: Sequence[PlacedDrive], paper: Paper) -> Iterator[svg.Element]:
    """Sprockets with what stands in them, blades, and the chains over all."""
    sprockets = _sprockets(placed, paper)
    shafts = [sprocket.shaft for sprocket, _ in sprockets]
    for cam in place_geared(placed):
        yield from drive_parts.draw_geared(cam.role, paper.circle(cam.circle))
    for sprocket, circle in sprockets:
        yield from drive_parts.draw_sprocket(sprocket, circle)
        phaser = drive_parts.phaser_of(engine, sprocket)
        if phaser is not None:
            yield from drive_parts.draw_phaser(phaser, circle)
        if sprocket.teeth and shafts.count(sprocket.shaft) == 1 and circle.radius > 16.0:
            yield style.text(
                str(sprocket.teeth), circle.centre.real, circle.centre.imag + 17.0, size=11.0,
                anchor="middle",
            )  # fmt: skip
    for drive in placed:
        for span in range(len(drive.drive.spans)):
            yield from drive_parts.draw_blade(drive, span, paper)
    for drive in placed:
        yield from drive_parts.draw_chain(drive, paper)
        yield from drive_parts.draw_motion(drive, paper)
    crank = [circle for sprocket, circle in sprockets if sprocket.shaft == CRANK]
    if crank:
        yield from drive_parts.draw_turning(crank[0])


def _callouts(engine: Engine, placed: Sequence[PlacedDrive], paper: Paper) -> Iterator[Callout]:
    """A note for each shaft, and for each strand of which something is known."""
    seen: set[str] = set()
    for sprocket, circle in _sprockets(placed, paper):
        if sprocket.shaft not in seen:
            seen.add(sprocket.shaft)
            colour, _ = drive_parts.sprocket_look(sprocket)
            yield Callout(
                circle.centre, circle.radius, shaft_name(sprocket.shaft, engine), colour,
                tuple(sprocket_words(engine, sprocket.shaft)),
            )  # fmt: skip
    for cam in place_geared(placed):
        circle = paper.circle(cam.circle)
        words = (say("geared to {shaft}", shaft=shaft_name(cam.shaft, engine)),
                 *phaser_words(engine, cam.role))  # fmt: skip
        name, colour = shaft_name(cam.role, engine), style.role_colour(cam.role)
        yield Callout(circle.centre, circle.radius, name, colour, words)
    for drive in placed:
        for index, span in enumerate(drive.drive.spans):
            name = span_name(span)
            if name or drive.drive.span_length_mm(index) is not None:
                said = span_words(drive.drive, index, is_only=len(placed) == 1)
                yield Callout(
                    drive_parts.note_point(drive, index, paper, middle_x=WIDTH / 2), 4.0,
                    name or drive.drive.span_name(index), style.INK, (", ".join(said),),
                )  # fmt: skip


def _scale_bar(
    placed: Sequence[PlacedDrive], px_per_mm: float, y: float
) -> tuple[list[svg.Element], float]:
    """Draw a bar of round length, or say that sizes are by eye; return also the lower end."""
    if all(drive.is_scaled for drive in placed):
        length = round_steps(0.0, 150.0 / px_per_mm, most=2)[1]
        x, end = 16.0, 16.0 + length * px_per_mm
        ends = [style.line(at, y - 8.0, at, y, colour=style.INK, width=1.2) for at in (x, end)]
        bar = style.line(x, y - 4.0, end, y - 4.0, colour=style.INK, width=1.2)
        return [*ends, bar, style.text(say("{length} mm", length=f"{length:g}"), end + 8.0, y)], y
    said = [say("Not to scale: what the file does not give is drawn by eye.")]
    said += [
        say("{drive}: no chain of the lengths given closes around these sprockets.",
            drive=drive.drive.name)
        for drive in placed
        if drive.is_contradictory
    ]  # fmt: skip
    lines = [words for sentence in said for words in wrapped(sentence, size=12.0, width=_ROOM)]
    parts = [
        style.text(words, 16.0, y + _LINE * number, bold=True) for number, words in enumerate(lines)
    ]
    return parts, y + _LINE * (len(lines) - 1)


def _entries(placed: Sequence[PlacedDrive]) -> Iterator[Entry]:
    kinds = {drive.drive.kind for drive in placed}
    is_chain = "chain" in kinds
    if any(drive.drive.path_known for drive in placed):
        yield Entry(
            say("tight strand, and which way it moves"), _strand("tight", is_chain=is_chain)
        )
        yield Entry(say("slack strand"), _strand("slack", is_chain=is_chain))
    if not all(drive.drive.path_known for drive in placed):
        yield Entry(say("not known which strand is tight"), _strand("unknown", is_chain=is_chain))
    if len(kinds) > 1:
        yield Entry(say("unbroken: belt"), _strand("unknown", is_chain=False))
    spans = [span for drive in placed for span in drive.drive.spans]
    if any(span.guide and not span.tensioner for span in spans):
        yield Entry(say("guide"), _blade)
    if any(span.tensioner for span in spans):
        yield Entry(say("tensioner"), _tensioner)
    yield Entry(say("Seen as if the crank turned clockwise."))


def _strand(kind: str, *, is_chain: bool) -> Callable[[float, float], list[svg.Element]]:
    def draw(x: float, y: float) -> list[svg.Element]:
        dashes = drive_parts.links(drive_parts.WIDTHS[kind]) if is_chain else ""
        line = style.polyline(
            [(x, y), (x + SIGN, y)], colour=style.INK, width=drive_parts.WIDTHS[kind], dashes=dashes
        )
        if kind != "tight":
            return [line]
        return [line, style.arrow_head(x + SIGN / 2 - 6.5, y, way_deg=180.0, size=13.0)]

    return draw


def _blade(x: float, y: float) -> list[svg.Element]:
    return drive_parts.blade(complex(x + SIGN / 2, y), -1j, SIGN / 2, is_tensioner=False)


def _tensioner(x: float, y: float) -> list[svg.Element]:
    return drive_parts.blade(complex(x + SIGN / 2, y + 6.0), -1j, SIGN / 2, is_tensioner=True)
