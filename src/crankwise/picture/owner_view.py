"""The picture for an owner: one camshaft over a healthy engine's, and how far is too far.

Few words, large, and nothing that needs colour. The upper part stands on one scale of crank
degrees: the teeth of the crank's wheel, below them the healthy engine's signal and this one's, and
how far the marked edge has moved. The lower part lays that way out from healthy to too far.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.language import say
from crankwise.picture import furniture, move_scale, style, svg
from crankwise.picture.crank_lane import counted_teeth
from crankwise.picture.lane import Flank, level_points
from crankwise.picture.layout import Axis, text_width
from crankwise.picture.panels import beyond_gap_deg
from crankwise.units import CYCLE_DEG, REVOLUTION_DEG

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.model.comparison import CamShift, EdgeShift
    from crankwise.picture.crank_lane import CrankWheel
    from crankwise.picture.move_scale import Move

WIDTH: Final = 720.0
_LEFT: Final = 1.0
_RIGHT: Final = WIDTH - 1.0
_SIZE: Final = 14.0  # of the words
_TOOTH_TOP: Final = 34.0
_TOOTH_FOOT: Final = 56.0
_RIM: Final = 65.0  # lower end of the wheel
_HEALTHY_Y: Final = 102.0  # low level of the healthy engine's signal
_OWN_Y: Final = 142.0
_LEVEL: Final = 24.0  # height between low and high
_ARROW_Y: Final = 158.0
_AMOUNT_Y: Final = 183.0
_SCALE_Y: Final = 206.0
_AROUND_PITCHES: Final = 3.0  # shown on either side of the marked edge
_AROUND_DEG: Final = (15.0, 30.0)  # but no less and no more than this
_WITH_GAP_DEG: Final = 40.0  # an edge this close to a gap is shown with it
_LEAST_ARROW: Final = 14.0  # pixels; a shorter way is told by the two lines alone
_BOLD: Final = 1.14  # bold letters are wider by this


@dataclass(frozen=True, slots=True)
class OwnerPicture:
    """What is shown.

    Attributes
    ----------
    cam : CamShift
    crank : CrankWheel
    amount : str
        How far it has moved, in words with the uncertainty.
    tooth : str
        What a tooth is, in words: ``1 tooth = 6°``.
    move : Move
        How far is too far, of this camshaft or of what the verdict rests on.
    """

    cam: CamShift
    crank: CrankWheel
    amount: str
    tooth: str
    move: Move


def owner_view(picture: OwnerPicture) -> str:
    """Draw one camshaft for an owner.

    Returns
    -------
    str
        A complete SVG file, self-contained, on a light background; of a cam without edges there
        is only the scale of how far is too far.
    """
    edge = marked_edge(picture.cam, picture.crank)
    top, parts = 0.0, []
    if edge is not None:
        axis = _window(picture, edge)
        parts = [*_wheel(picture, axis), *_lanes(picture.cam, edge, axis)]
        parts += _moved(picture, edge, axis)
        top = _SCALE_Y
    scale = move_scale.draw(picture.move, _LEFT, _RIGHT, top)
    height = top + move_scale.HEIGHT
    return svg.document(
        *furniture.sheet([*parts, *scale], width=WIDTH, height=height),
        width=WIDTH,
        height=height,
        title=say("Your engine over a healthy one"),
        text=f"{picture.amount}. {picture.tooth}. {move_scale.in_words(picture.move)}",
    )


def marked_edge(cam: CamShift, crank: CrankWheel) -> EdgeShift | None:
    """Return the edge to mark: the one nearest to a gap, where a technician counts."""
    gap_deg = crank.intervals_deg[-1] if crank.has_gap else 0.0
    return min(
        cam.edges,
        key=lambda edge: min(
            beyond_gap_deg(edge.known_good_deg, zero, gap_deg) for zero in (0.0, REVOLUTION_DEG)
        ),
        default=None,
    )


def _window(picture: OwnerPicture, edge: EdgeShift) -> Axis:
    """Stretch that holds the marked edge, before and after, and the gap where it is near."""
    crank, healthy = picture.crank, edge.known_good_deg
    own = healthy + picture.cam.shift_deg
    least, most = _AROUND_DEG
    around = min(max(_AROUND_PITCHES * crank.pitch_deg, least), most)
    low, high = min(healthy, own) - around, max(healthy, own) + around
    for begin, end in _gaps(crank):
        if begin - _WITH_GAP_DEG < healthy < end + _WITH_GAP_DEG:
            low = min(low, begin - 1.2 * crank.pitch_deg)
            high = max(high, end + 1.2 * crank.pitch_deg)
    return Axis(low, high, _LEFT, _RIGHT)


def _gaps(crank: CrankWheel) -> Iterator[tuple[float, float]]:
    """Yield the last tooth before and the first after each gap that a window may hold."""
    if crank.has_gap:
        for end in (0.0, REVOLUTION_DEG, CYCLE_DEG):
            yield end - crank.intervals_deg[-1], end


def _wheel(picture: OwnerPicture, axis: Axis) -> list[svg.Element]:
    """Draw the teeth of the crank's wheel, its gap, and what one tooth is."""
    wide = 0.5 * picture.crank.pitch_deg * axis.px_per_deg
    parts = [
        _filled(max(axis.x(tooth.angle_deg) - wide, axis.left), axis.x(tooth.angle_deg), _TOOTH_TOP)
        for tooth in counted_teeth(picture.crank, axis)
    ]
    parts.append(_filled(axis.left, axis.right, _TOOTH_FOOT))
    parts.append(style.text(say("Teeth of the crankshaft's wheel"), axis.left, 16.0, size=_SIZE))
    for begin, end in _gaps(picture.crank):
        # A tooth is drawn up to its timing edge, so the opening begins there.
        x, words = axis.x((begin + end - 0.5 * picture.crank.pitch_deg) / 2), say("gap")
        half = text_width(words, size=_SIZE) / 2
        if axis.holds(x - half) and axis.holds(x + half):
            parts.append(style.text(words, x, _TOOTH_FOOT - 7.0, size=_SIZE, anchor="middle"))
    return [*parts, *_one_tooth(picture, axis)]


def _filled(left: float, right: float, top: float) -> svg.Element:
    return svg.element(
        "rect", x=left, y=top, width=right - left, height=_RIM - top, fill=style.CRANK
    )


def _one_tooth(picture: OwnerPicture, axis: Axis) -> list[svg.Element]:
    """Measure one tooth at the right end: from one to the next."""
    pitch = picture.crank.pitch_deg
    teeth = [tooth.angle_deg for tooth in counted_teeth(picture.crank, axis)]
    pairs = [
        (one, other)
        for one, other in itertools.pairwise(teeth)
        if abs(other - one - pitch) < 0.5 * pitch
    ]
    if not pairs:
        return []
    left, right = (axis.x(angle) for angle in pairs[-1])
    y = _TOOTH_TOP - 8.0
    ends = [style.line(x, y - 5.0, x, y + 5.0, colour=style.INK, width=1.4) for x in (left, right)]
    words = style.text(picture.tooth, right, y - 10.0, size=_SIZE, anchor="end", bold=True)
    return [*ends, style.line(left, y, right, y, colour=style.INK, width=1.4), words]


def _lanes(cam: CamShift, marked: EdgeShift, axis: Axis) -> list[svg.Element]:
    """Draw the healthy engine's signal and this one's, moved by what its cam has moved."""
    healthy, own = (
        [Flank(edge.known_good_deg + moved, edge.edge == "rising") for edge in cam.edges]
        for moved in (0.0, cam.shift_deg)
    )
    then = axis.x(marked.known_good_deg)
    now = axis.x(marked.known_good_deg + cam.shift_deg)
    foot = _ARROW_Y + 7.0
    return [
        style.polyline([(then, _RIM), (then, foot)], colour=style.INK, width=1.2, dashes="2 3"),
        style.line(now, _OWN_Y, now, foot, colour=style.INK, width=1.2),
        style.polyline(
            level_points(healthy, axis, high=_HEALTHY_Y - _LEVEL, low=_HEALTHY_Y),
            colour=style.known_good_colour(cam.role), width=3.0, dashes="7 4",
        ),
        style.polyline(
            level_points(own, axis, high=_OWN_Y - _LEVEL, low=_OWN_Y),
            colour=style.role_colour(cam.role), width=3.6,
        ),
        *_named(say("Healthy engine"), axis, _HEALTHY_Y),
        *_named(say("Your engine"), axis, _OWN_Y, bold=True),
    ]  # fmt: skip


def _named(words: str, axis: Axis, y: float, *, bold: bool = False) -> list[svg.Element]:
    """Name a lane at its left end, on white where a line would cross the words."""
    width = text_width(words, size=_SIZE) * (_BOLD if bold else 1.0)
    back = svg.element(
        "rect", x=axis.left, y=y - _LEVEL + 3.0, width=width + 8.0, height=_LEVEL - 6.0,
        fill="#ffffff",
    )  # fmt: skip
    return [back, style.text(words, axis.left, y - 0.5 * _LEVEL + 5.0, size=_SIZE, bold=bold)]


def _moved(picture: OwnerPicture, edge: EdgeShift, axis: Axis) -> list[svg.Element]:
    """Draw the way from the healthy place to this engine's, and say how far it is."""
    start = axis.x(edge.known_good_deg)
    end = axis.x(edge.known_good_deg + picture.cam.shift_deg)
    parts = []
    if abs(end - start) >= _LEAST_ARROW:
        back = -8.0 if end > start else 8.0
        tip, foot = svg.short(end), svg.short(end + back)
        upper, lower, y = (svg.short(_ARROW_Y + d) for d in (-4.5, 4.5, 0.0))
        parts = [
            style.line(start, _ARROW_Y, end + back, _ARROW_Y, colour=style.INK, width=2.2),
            svg.element(
                "polygon", points=f"{tip},{y} {foot},{upper} {foot},{lower}", fill=style.INK
            ),
        ]
    words = picture.amount
    half = text_width(words, size=18.0) * _BOLD / 2
    middle = min(max((start + end) / 2, axis.left + half), axis.right - half)
    return [*parts, style.text(words, middle, _AMOUNT_Y, size=18.0, anchor="middle", bold=True)]
