"""Labels of a lane's edges: in rows if they fit, else upright, never one over another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.language import say
from crankwise.picture import style, svg
from crankwise.picture.layout import Axis, label_rows, spread, text_width

if TYPE_CHECKING:
    from collections.abc import Sequence

_SIZE: Final = 11.0  # of the font
_LINE: Final = 13.0  # height of a line
_LEAD: Final = 14.0  # from the pattern to the first upright letter
_MOST_ROWS: Final = 4
_APART: Final = 13.0  # of upright labels


@dataclass(frozen=True, slots=True)
class Block:
    """How the labels on one side of a pattern are set.

    Attributes
    ----------
    places : tuple of float
        Pixel position of each edge, left to right.
    words : tuple of tuple of str
        Lines of each label; empty if there are too many to write.
    rows : tuple of int or None
        Row of each label, counted from the pattern; None if they are upright.
    row_height, height : float
        Height of a row, and of the block.
    """

    places: tuple[float, ...]
    words: tuple[tuple[str, ...], ...]
    rows: tuple[int, ...] | None
    row_height: float
    height: float


def arrange(seen: Sequence[tuple[float, tuple[str, ...]]], axis: Axis) -> Block:
    """Set labels in rows; where they would pile up, set them upright on one line each.

    ``seen`` holds the pixel position and the lines of each label, left to right.
    """
    places = tuple(x for x, _ in seen)
    words = tuple(lines for _, lines in seen)
    widths = [max(text_width(line, size=_SIZE) for line in lines) + 12.0 for lines in words]
    rows = tuple(label_rows(places, widths))
    if max(rows, default=0) < _MOST_ROWS:
        row_height = _LINE * max(map(len, words), default=0) + 4.0
        height = (max(rows, default=-1) + 1) * row_height
        return Block(places, words, rows, row_height, height)
    if len(seen) * _APART > axis.right - axis.left:
        return Block(places, (), None, 0.0, _LEAD + _LINE)
    longest = max(text_width(", ".join(lines), size=_SIZE) for lines in words)
    return Block(places, words, None, 0.0, longest + _LEAD)


def draw(block: Block, axis: Axis, y: float, colour: str, *, above: bool) -> list[svg.Element]:
    """Draw the labels of a block and the lines from the pattern, which ends at ``y``, to them."""
    if block.rows is None:
        return _upright(block, axis, y, colour, above=above)
    parts = []
    for x, row, lines in zip(block.places, block.rows, block.words, strict=True):
        near, far = y + row * block.row_height, y + row * block.row_height + _LINE * len(lines)
        if above:
            near, far = 2 * y - far, 2 * y - near
        parts.append(style.line(x, y, x, near if above else far, colour=colour, width=0.8))
        for index, words in enumerate(lines):
            ink = style.FAINT_INK if index else style.INK
            baseline = near + _LINE * (index + 1) - 2.0
            parts.append(style.text(words, x + 4.0, baseline, size=_SIZE, colour=ink))
    return parts


def _upright(block: Block, axis: Axis, y: float, colour: str, *, above: bool) -> list[svg.Element]:
    away = -1.0 if above else 1.0
    if not block.words:
        words = say(
            "{count} edges, too many to write here: the table has every one",
            count=len(block.places),
        )
        baseline = y - _LINE / 2 if above else y + _LEAD
        return [style.text(words, axis.left, baseline, colour=style.FAINT_INK)]
    parts = []
    places = spread(block.places, apart=_APART, left=axis.left, right=axis.right)
    for x, place, lines in zip(block.places, places, block.words, strict=True):
        start = y + away * _LEAD
        anchor = "start" if above else "end"
        parts += [
            style.line(x, y, place, start - away * 3.0, colour=colour, width=0.8),
            style.text(
                ", ".join(lines), place + 4.0, start, size=_SIZE, anchor=anchor, turned=True
            ),
        ]
    return parts
