"""What the signs in the drawing of the drives mean, and how large things are."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.model.engine import Phaser
from crankwise.picture import drive_parts, style
from crankwise.picture.key import SIGN, Entry, key
from crankwise.picture.layout import wrapped
from crankwise.picture.loop import Circle
from crankwise.picture.panels import WIDTH
from crankwise.picture.scale import round_steps

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from crankwise.picture import svg
    from crankwise.picture.drive_drawing import Drawing

_LEFT: Final = 16.0
_ROOM: Final = WIDTH - 32.0
_LINE: Final = 15.0
_LONGEST: Final = 150.0  # of the bar of length, pixels
_SAMPLE: Final = Phaser(parked="advanced", authority_deg=120.0)


def drive_key(drawing: Drawing, y: float) -> tuple[list[svg.Element], float]:
    """Draw scale and signs from the baseline ``y`` on; return the elements and the lower end."""
    scale, y = _scale_bar(drawing, y) if drawing.is_scaled else _by_eye(drawing, y)
    signs, bottom = key(list(_entries(drawing)), y + 24.0, left=_LEFT, right=_LEFT + _ROOM)
    return [*scale, *signs], bottom


def _scale_bar(drawing: Drawing, y: float) -> tuple[list[svg.Element], float]:
    """Draw a bar of round length."""
    px_per_mm = drawing.paper.px_per_mm
    length = round_steps(0.0, _LONGEST / px_per_mm, most=3)[1]
    end = _LEFT + length * px_per_mm
    return [
        *(style.line(x, y - 8.0, x, y, colour=style.INK, width=1.2) for x in (_LEFT, end)),
        style.line(_LEFT, y - 4.0, end, y - 4.0, colour=style.INK, width=1.2),
        style.text(say("{length} mm", length=told(f"{length:g}")), end + 8.0, y),
    ], y


def _by_eye(drawing: Drawing, y: float) -> tuple[list[svg.Element], float]:
    """Say that it is not to scale, and where the file contradicts itself."""
    said = [say("Not to scale: what the file does not give is drawn by eye.")]
    said += [
        say("{drive}: no chain of the lengths given closes around these sprockets.",
            drive=told(placed.drive.name))
        for placed in drawing.drives
        if placed.is_contradictory
    ]  # fmt: skip
    lines = [words for sentence in said for words in wrapped(sentence, size=12.0, width=_ROOM)]
    last = y + _LINE * (len(lines) - 1)
    return [
        style.text(words, _LEFT, y + _LINE * number, bold=True)
        for number, words in enumerate(lines)
    ], last


def _entries(drawing: Drawing) -> Iterator[Entry]:
    drives = [placed.drive for placed in drawing.drives]
    kinds = {drive.kind for drive in drives}
    is_chain = "chain" in kinds
    if any(drive.path_known for drive in drives):
        tight, slack = (_strand(kind, is_chain=is_chain) for kind in ("tight", "slack"))
        yield Entry(say("tight strand, and which way it moves"), tight)
        yield Entry(say("slack strand"), slack)
    if not all(drive.path_known for drive in drives):
        yield Entry(say("not known which strand is tight"), _strand("unknown", is_chain=is_chain))
    if len(kinds) > 1:
        yield Entry(say("unbroken: belt"), _strand("unknown", is_chain=False))
    spans = [span for drive in drives for span in drive.spans]
    if any(span.guide and not span.tensioner for span in spans):
        yield Entry(say("guide"), _blade)
    if any(span.tensioner for span in spans):
        yield Entry(say("tensioner"), _tensioner)
    if any(drive_parts.draw_phaser(phaser, circle) for phaser, circle in _phasers(drawing)):
        yield Entry(say("range of a phaser; dot: where it parks"), _phaser)
    yield Entry(say("Seen as if the crank turned clockwise."))


def _phasers(drawing: Drawing) -> Iterator[tuple[Phaser, Circle]]:
    for sprocket, circle in drawing.sprockets():
        phaser = drive_parts.phaser_of(drawing.engine, sprocket)
        if phaser is not None:
            yield phaser, circle


def _strand(kind: str, *, is_chain: bool) -> Callable[[float, float], list[svg.Element]]:
    def draw(x: float, y: float) -> list[svg.Element]:
        width = drive_parts.WIDTHS[kind]
        dashes = drive_parts.links(width) if is_chain else ""
        line = style.polyline([(x, y), (x + SIGN, y)], colour=style.INK, width=width, dashes=dashes)
        if kind != "tight":
            return [line]
        return [line, style.arrow_head(x + SIGN / 2 - 6.5, y, way_deg=180.0, size=13.0)]

    return draw


def _blade(x: float, y: float) -> list[svg.Element]:
    return drive_parts.blade(complex(x + SIGN / 2, y), -1j, SIGN / 2, is_tensioner=False)


def _tensioner(x: float, y: float) -> list[svg.Element]:
    return drive_parts.blade(complex(x + SIGN / 2, y + 6.0), -1j, SIGN / 2, is_tensioner=True)


def _phaser(x: float, y: float) -> list[svg.Element]:
    return drive_parts.draw_phaser(_SAMPLE, Circle(complex(x + SIGN / 2, y + 20.0), 29.0))
