"""Notes at the side of a drawing, with lines to what they are about."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.picture import style, svg
from crankwise.picture.layout import stacked, wrapped

if TYPE_CHECKING:
    from collections.abc import Sequence

_SIZE: Final = 12.0
_SMALL: Final = 10.0
_LINE: Final = 13.0
_BETWEEN: Final = 11.0
_ELBOW: Final = 12.0  # length of the level end of a line
_BOLD: Final = 1.15  # bold letters are wider
_SWAPS: Final = 200


@dataclass(frozen=True, slots=True)
class Callout:
    """A note: what it is about, its name, and what else there is to say.

    Attributes
    ----------
    middle : complex
        Middle of what it is about, pixels, y downwards.
    radius : float
        Its size: the line ends so far from the middle.
    name, colour : str
    words : tuple of str
    via : complex or None
        A place beside it that the line passes on its way.
    """

    middle: complex
    radius: float
    name: str
    colour: str
    words: tuple[str, ...]
    via: complex | None = None

    @property
    def gate(self) -> complex:
        """Where the line heads for first."""
        return self.middle if self.via is None else self.via

    def lines(self, width: float) -> list[tuple[str, bool]]:
        """Lines of text that fit, each with whether it belongs to the name."""
        name = wrapped(self.name, size=_SIZE * _BOLD, width=width)
        rest = [line for words in self.words for line in wrapped(words, size=_SMALL, width=width)]
        return [*((line, True) for line in name), *((line, False) for line in rest)]

    def height(self, width: float) -> float:
        """Room the note takes, with the space to the next one."""
        return _LINE * len(self.lines(width)) + _BETWEEN


@dataclass(frozen=True, slots=True)
class Margins:
    """Room for notes: ends of the left and of the right one towards the drawing, and the width."""

    left: float
    right: float
    width: float


def columns(
    callouts: Sequence[Callout], margins: Margins
) -> tuple[tuple[Callout, ...], tuple[Callout, ...]]:
    """Share notes out to the nearer side, and then even the two sides out."""
    middle = (margins.left + margins.right) / 2
    by_place = sorted(callouts, key=lambda note: note.middle.real)
    count = sum(note.middle.real < middle for note in by_place)

    def excess(on_left: int) -> float:
        heights = [note.height(margins.width) for note in by_place]
        return abs(sum(heights[:on_left]) - sum(heights[on_left:]))

    while (
        count > 0 and excess(count - 1) < excess(count) and _is_near(by_place[count - 1], margins)
    ):
        count -= 1
    while (
        count < len(by_place)
        and excess(count + 1) < excess(count)
        and _is_near(by_place[count], margins)
    ):
        count += 1
    return tuple(by_place[:count]), tuple(by_place[count:])


def _is_near(note: Callout, margins: Margins) -> bool:
    """Whether a note may as well stand on the other side."""
    middle, half = (margins.left + margins.right) / 2, (margins.right - margins.left) / 2
    return abs(note.middle.real - middle) < 0.25 * half


def needed_height(callouts: Sequence[Callout], margins: Margins) -> float:
    """Room that the taller side needs."""
    sides = columns(callouts, margins)
    return max(sum(note.height(margins.width) for note in side) for side in sides)


def draw_callouts(
    callouts: Sequence[Callout], margins: Margins, *, top: float, bottom: float
) -> list[svg.Element]:
    """Draw the notes of both sides and the lines to what they are about."""
    left, right = columns(callouts, margins)
    return [
        *_side(left, margins.left, margins.width, (top, bottom), on_left=True),
        *_side(right, margins.right, margins.width, (top, bottom), on_left=False),
    ]


def _side(
    notes: Sequence[Callout],
    x: float,
    width: float,
    room: tuple[float, float],
    *,
    on_left: bool,
) -> list[svg.Element]:
    ordered = _untangled(sorted(notes, key=lambda note: note.gate.imag), x, width, room)
    tops = _tops(ordered, width, room)
    parts: list[svg.Element] = []
    for note, top in zip(ordered, tops, strict=True):
        parts += _leader(note, x, top, on_left=on_left)
    for note, top in zip(ordered, tops, strict=True):
        parts += _note(note, x, top, width, on_left=on_left)
    return parts


def _tops(notes: Sequence[Callout], width: float, room: tuple[float, float]) -> list[float]:
    heights = [note.height(width) for note in notes]
    wanted = [note.gate.imag - _LINE / 2 for note in notes]
    return stacked(wanted, heights, top=room[0], bottom=room[1])


def _untangled(
    notes: list[Callout], x: float, width: float, room: tuple[float, float]
) -> list[Callout]:
    """Swap neighbours whose lines would cross, until none do."""
    for _ in range(_SWAPS):
        ends = [complex(x, top + _LINE / 2) for top in _tops(notes, width, room)]
        crossing = next(
            (
                index
                for index in range(len(notes) - 1)
                if _cross(
                    (ends[index], notes[index].gate), (ends[index + 1], notes[index + 1].gate)
                )
            ),
            None,
        )
        if crossing is None:
            break
        notes[crossing : crossing + 2] = notes[crossing + 1], notes[crossing]
    return notes


def _cross(one: tuple[complex, complex], other: tuple[complex, complex]) -> bool:
    """Whether two straight lines cross."""
    return (
        _turn(*one, other[0]) * _turn(*one, other[1]) < 0
        and _turn(*other, one[0]) * _turn(*other, one[1]) < 0
    )


def _turn(start: complex, end: complex, point: complex) -> float:
    return ((end - start).conjugate() * (point - start)).imag


def _leader(note: Callout, x: float, top: float, *, on_left: bool) -> list[svg.Element]:
    """Draw a line from a note to the edge of what it is about, on a strip of paper."""
    start = complex(x + (6.0 if on_left else -6.0), top + _LINE / 2)
    elbow = start + (_ELBOW if on_left else -_ELBOW)
    stops = [start, elbow] if note.via is None else [start, elbow, note.via]
    way = note.middle - stops[-1]
    end = note.middle - note.radius * way / abs(way)
    points = [(stop.real, stop.imag) for stop in (*stops, end)]
    return [
        style.polyline(points, colour="#ffffff", width=2.2),
        style.polyline(points, colour=style.FAINT_INK, width=0.9),
        svg.element("circle", cx=end.real, cy=end.imag, r=1.8, fill=style.FAINT_INK),
    ]


def _note(note: Callout, x: float, top: float, width: float, *, on_left: bool) -> list[svg.Element]:
    anchor = "end" if on_left else "start"
    parts = []
    for number, (words, is_name) in enumerate(note.lines(width)):
        baseline = top + _LINE * number + 10.5
        size, colour = (_SIZE, note.colour) if is_name else (_SMALL, style.FAINT_INK)
        parts.append(
            style.text(words, x, baseline, size=size, colour=colour, anchor=anchor, bold=is_name)
        )
    return parts
