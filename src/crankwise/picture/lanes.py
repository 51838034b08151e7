"""The lanes of the angle view: the crank with its counted teeth, and a lane for each cam."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.picture import style, svg
from crankwise.picture.layout import (
    Axis,
    fitted,
    label_rows,
    spread,
    text_width,
    thinning,
)
from crankwise.picture.words import angle_words
from crankwise.units import CYCLE_DEG, REVOLUTION_DEG

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.model.measurement import CamEdge, CamMeasurement, CrankMeasurement

_LABEL: Final = 11.0  # font size of labels
_NAME_ROOM: Final = 135.0
_TOOTH: Final = 22.0  # height of a tooth
CRANK_LANE_HEIGHT: Final = 18.0 + _TOOTH + 22.0
_LEVEL: Final = 26.0  # height between low and high
_ROW: Final = 30.0  # height of a label of two lines
_LABELS_FROM: Final = 10.0 + _LEVEL + 5.0  # from the top of a lane
_MOST_ROWS: Final = 4
_TURNED_APART: Final = 13.0


@dataclass(frozen=True, slots=True)
class Tooth:
    """A crank tooth as drawn: its angle on the axis and how it is counted."""

    angle_deg: float
    number: int
    after: bool


def counted_teeth(crank: CrankMeasurement, axis: Axis) -> Iterator[Tooth]:
    """Teeth in view, numbered outward from the nearer gap, or onward where there is none."""
    count = crank.teeth_per_rev
    half = (count + 1) // 2 if crank.has_gap else count
    for cycle in range(int(axis.from_deg // REVOLUTION_DEG), 3):
        angle_deg = cycle * REVOLUTION_DEG
        for index, step_deg in enumerate(crank.intervals_deg):
            if axis.from_deg <= angle_deg <= axis.to_deg:
                after = index < half
                yield Tooth(angle_deg, index + 1 if after else count - index, after)
            angle_deg += step_deg


def crank_lane(
    crank: CrankMeasurement, axis: Axis, top: float, *, names: bool
) -> list[svg.Element]:
    """Draw the timing edges as strokes, the longer the ones that carry a number."""
    foot = top + 18.0 + _TOOTH
    every = thinning(crank.pitch_deg * axis.px_per_deg, room=24.0)
    thick = min(max(0.3 * crank.pitch_deg * axis.px_per_deg, 1.0), 4.0)
    parts = [style.line(axis.left, foot, axis.right, foot, colour=style.CRANK)]
    for tooth in counted_teeth(crank, axis):
        x = axis.x(tooth.angle_deg)
        numbered = tooth.number % every == 0 or tooth.number == 1
        head = foot - _TOOTH * (1.0 if numbered else 0.7)
        parts.append(style.line(x, foot, x, head, colour=style.CRANK, width=thick))
        if numbered:
            parts.append(style.text(str(tooth.number), x, foot + 12.0, size=9.5, anchor="middle"))
    if names:
        parts += _names("crank", crank.channel, crank.wheel, top + 24.0)
    return parts


def gaps(crank: CrankMeasurement, axis: Axis, top: float, bottom: float) -> list[svg.Element]:
    """Shade each gap through all lanes and say on which side teeth are counted how."""
    if not crank.has_gap:
        return []
    parts = []
    for turn in range(4):
        end_deg = turn * REVOLUTION_DEG
        start_deg = end_deg - crank.intervals_deg[-1]
        low, high = max(start_deg, axis.from_deg), min(end_deg, axis.to_deg)
        if low > high:
            continue
        if low < high:
            x, width = axis.x(low), axis.x(high) - axis.x(low)
            parts.append(
                svg.element(
                    "rect", x=x, y=top, width=width, height=bottom - top, fill=style.GAP_SHADE
                )
            )
            if width >= text_width("gap", size=10.0):
                parts.append(style.text("gap", x + width / 2, top + 11.0, size=10, anchor="middle"))
        parts += _counting(axis, start_deg, end_deg, top + 11.0)
    return parts


def _counting(axis: Axis, start_deg: float, end_deg: float, y: float) -> list[svg.Element]:
    """Words beside the gap: which way teeth are counted, where there is room for them."""
    parts = []
    before, after = "← teeth before the gap", "teeth after the gap →"
    room = text_width(before, size=10.0) + 6.0
    if axis.x(start_deg) - room >= axis.left:
        x = axis.x(start_deg) - 6.0
        parts.append(style.text(before, x, y, size=10.0, colour=style.FAINT_INK, anchor="end"))
    if axis.x(end_deg) + room <= axis.right:
        x = axis.x(end_deg) + 6.0
        parts.append(style.text(after, x, y, size=10.0, colour=style.FAINT_INK))
    return parts


def cam_lane_height(cam: CamMeasurement, axis: Axis) -> float:
    """Height a cam needs on this stretch, with its labels."""
    return _LABELS_FROM + max(_label_block(_in_view(cam, axis), axis).height, 14.0)


def cam_lane(cam: CamMeasurement, axis: Axis, top: float, *, names: bool) -> list[svg.Element]:
    """Draw one cam: level pattern, scatter bands, markers with ± bars, labels."""
    high, low = top + 10.0, top + 10.0 + _LEVEL
    seen = _in_view(cam, axis)
    parts = [_pattern(cam, seen, axis, high=high, low=low)]
    for x, edge in seen:
        parts += _edge_mark(edge, x, axis, cam.role, high=high, low=low)
    parts += _labels(seen, axis, top + _LABELS_FROM, style.role_colour(cam.role))
    if names:
        moving = "moves while recorded" if cam.moving_deg > 0 else ""
        parts += _names(cam.role, cam.channel, moving, top + 18.0)
    return parts


def _names(role: str, channel: str, more: str, y: float) -> list[svg.Element]:
    colour = style.role_colour(role)
    lines = [style.text(role, 16.0, y, size=13.0, colour=colour, bold=True)]
    for index, words in enumerate(part for part in (channel, more) if part and part != role):
        shown = fitted(words, size=10.0, width=_NAME_ROOM)
        lines.append(
            style.text(shown, 16.0, y + 14.0 * (index + 1), size=10.0, colour=style.FAINT_INK)
        )
    return lines


def _in_view(cam: CamMeasurement, axis: Axis) -> list[tuple[float, CamEdge]]:
    """Edges on this stretch with their pixel positions, left to right."""
    placed = ((axis.unwrapped(edge.angle_deg), edge) for edge in cam.edges)
    seen = [(axis.x(angle), edge) for angle, edge in placed if angle is not None]
    return sorted(seen, key=lambda item: item[0])


def _pattern(
    cam: CamMeasurement, seen: list[tuple[float, CamEdge]], axis: Axis, *, high: float, low: float
) -> svg.Element:
    """Level over the angle, from the direction of each edge."""

    def level(edge: CamEdge) -> float:
        return high if edge.edge == "rising" else low

    colour = style.role_colour(cam.role)
    if not cam.edges:
        return style.text("no edge measured", axis.left, low, colour=style.FAINT_INK)
    # Going back from the left end, the first edge met sets the level that is held until now.
    behind = min(cam.edges, key=lambda e: (axis.from_deg - e.angle_deg) % CYCLE_DEG or CYCLE_DEG)
    path = [(axis.left, level(behind))]
    for x, edge in seen:
        path += [(x, path[-1][1]), (x, level(edge))]
    path.append((axis.right, path[-1][1]))
    points = " ".join(f"{svg.short(x)},{svg.short(y)}" for x, y in path)
    return svg.element("polyline", points=points, fill="none", stroke=colour, stroke_width=1.8)


def _edge_mark(
    edge: CamEdge, x: float, axis: Axis, role: str, *, high: float, low: float
) -> list[svg.Element]:
    colour, middle = style.role_colour(role), (high + low) / 2
    half = max(2.0 * edge.scatter_deg * axis.px_per_deg, 0.6)
    reach = edge.uncertainty_deg * axis.px_per_deg
    band = svg.element(
        "rect", x=x - half, y=high - 6, width=2 * half, height=low - high + 12, fill=colour,
        fill_opacity=0.28,
    )  # fmt: skip
    is_open = style.has_open_markers(role)
    mark = style.marker(x, middle, rising=edge.edge == "rising", colour=colour, is_open=is_open)
    if reach < 1.0:
        return [band, mark]
    bar = style.line(x - reach, high - 6, x + reach, high - 6, colour=style.INK, width=2.0)
    return [band, bar, mark]


@dataclass(frozen=True, slots=True)
class _LabelBlock:
    """How the labels of a lane are set: ``rows`` for two-line labels, None if upright."""

    words: tuple[tuple[str, str], ...]
    rows: tuple[int, ...] | None
    height: float


def _label_block(seen: list[tuple[float, CamEdge]], axis: Axis) -> _LabelBlock:
    """Set two-line labels in rows; where they would pile up, set them upright on one line."""
    words = tuple((angle_words(e.angle_deg, e.uncertainty_deg), e.teeth) for _, e in seen)
    widths = [max(text_width(line, size=_LABEL) for line in pair) + 12.0 for pair in words]
    rows = tuple(label_rows([x for x, _ in seen], widths))
    if max(rows, default=0) < _MOST_ROWS:
        return _LabelBlock(words, rows, (max(rows, default=-1) + 1) * _ROW)
    if len(seen) * _TURNED_APART > axis.right - axis.left:
        return _LabelBlock((), None, 20.0)
    longest = max(text_width(", ".join(pair), size=_LABEL) for pair in words)
    return _LabelBlock(words, None, longest + 20.0)


def _labels(
    seen: list[tuple[float, CamEdge]], axis: Axis, top: float, colour: str
) -> list[svg.Element]:
    """Draw the labels and the lines from the edges to them."""
    block = _label_block(seen, axis)
    xs = [x for x, _ in seen]
    if block.rows is None:
        return _upright_labels(xs, block, axis, top, colour)
    parts = []
    for x, row, (angle, teeth) in zip(xs, block.rows, block.words, strict=True):
        y = top + row * _ROW
        parts += [
            style.line(x, top - 5.0, x, y + 24.0, colour=colour, width=0.8),
            style.text(angle, x + 4.0, y + 11.0, size=_LABEL),
            style.text(teeth, x + 4.0, y + 24.0, size=_LABEL, colour=style.FAINT_INK),
        ]
    return parts


def _upright_labels(
    xs: list[float], block: _LabelBlock, axis: Axis, top: float, colour: str
) -> list[svg.Element]:
    if not block.words:
        told = f"{len(xs)} edges, too many to write here: the table has every one"
        return [style.text(told, axis.left, top + 14.0, colour=style.FAINT_INK)]
    parts = []
    places = spread(xs, apart=_TURNED_APART, left=axis.left, right=axis.right)
    for x, place, pair in zip(xs, places, block.words, strict=True):
        parts += [
            style.line(x, top - 5.0, place, top + 10.0, colour=colour, width=0.8),
            style.text(
                ", ".join(pair), place + 4.0, top + block.height - 6.0, size=_LABEL, turned=True
            ),
        ]
    return parts
