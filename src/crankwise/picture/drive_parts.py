"""How chains, belts, sprockets, guides and tensioners are drawn."""

from __future__ import annotations

import cmath
import math
from typing import TYPE_CHECKING, Final

from crankwise.model.engine import CRANK
from crankwise.picture import style, svg
from crankwise.picture.loop import Circle
from crankwise.picture.wheel_parts import turning_arrow
from crankwise.units import crank_deg_to_cam_deg

if TYPE_CHECKING:
    from crankwise.model.engine import Drive, Engine, Phaser, Sprocket
    from crankwise.picture.drive_drawing import Paper
    from crankwise.picture.drive_layout import PlacedDrive
    from crankwise.picture.loop import Arc, Strand

WIDTHS: Final = {"tight": 5.0, "slack": 2.4, "unknown": 3.4, "on-teeth": 3.0}
"""Width of a chain's line by what is known of the strand, pixels."""
BLADE: Final = 10.0
"""From the middle of a strand to the middle of the blade beside it, pixels."""
_BLADE_LENGTH: Final = 0.46  # of the strand
_BELOW: Final = 4.0  # from the pitch circle down to the body of a sprocket
_TOOTH: Final = 3.4
_PHASER: Final = 0.7  # radius over that of the sprocket
_LEAST_PHASER: Final = 28.0  # radius of a sprocket that has room for a phaser
_UNKNOWN_RANGE_DEG: Final = 40.0  # crank, for the drawing alone
_BLADE_FILL: Final = "#d5dae4"


def strand_kind(drive: Drive, span: int) -> str:
    """``tight``, ``slack``, or ``unknown``."""
    if not drive.path_known:
        return "unknown"
    return "slack" if span == len(drive.sprockets) - 1 else "tight"


def draw_chain(placed: PlacedDrive, paper: Paper) -> list[svg.Element]:
    """Draw the whole chain or belt; the tight strands are the strongest."""
    loop = placed.loop
    arcs = [_arc(placed, arc, paper) for arc in loop.arcs]
    strands = [
        _line(placed, loop.strands[placed.strand_of(span)], paper, strand_kind(placed.drive, span))
        for span in range(len(placed.drive.spans))
    ]
    return [*arcs, *strands]


def _line(placed: PlacedDrive, strand: Strand, paper: Paper, kind: str) -> svg.Element:
    start, end = paper.at(strand.start), paper.at(strand.end)
    return svg.element(
        "path", class_=f"strand {kind}",
        d=f"M{_xy(start)} L{_xy(end)}", **_stroke(placed, WIDTHS[kind]),
    )  # fmt: skip


def _arc(placed: PlacedDrive, arc: Arc, paper: Paper) -> svg.Element:
    start, end = (paper.at(arc.circle.point(angle)) for angle in (arc.start, arc.end))
    r, large = svg.short(arc.circle.radius * paper.px_per_mm), int(arc.sweep > math.pi)
    return svg.element(
        "path", class_="strand on-teeth", d=f"M{_xy(start)} A{r},{r} 0 {large} 0 {_xy(end)}",
        **_stroke(placed, WIDTHS["on-teeth"]),
    )  # fmt: skip


def _stroke(placed: PlacedDrive, width: float) -> dict[str, str | float]:
    """Links for a chain, an unbroken line for a belt."""
    stroke: dict[str, str | float] = {
        "fill": "none", "stroke": style.INK, "stroke_width": width,
    }  # fmt: skip
    if placed.drive.kind == "chain":
        stroke["stroke_dasharray"] = links(width)
    return stroke


def links(width: float) -> str:
    """Dashes that look like the links of a chain of this width."""
    return f"{svg.short(4.0 + 0.3 * width)} 2"


def draw_motion(placed: PlacedDrive, paper: Paper) -> list[svg.Element]:
    """Draw which way each strand moves: against the order, towards the driving sprocket."""
    if not placed.drive.path_known:
        return []
    heads = []
    for strand in placed.loop.strands:
        way = cmath.phase(strand.start - strand.end)
        tip = paper.at(strand.middle + cmath.rect(6.0 / paper.px_per_mm, way))
        heads.append(style.arrow_head(tip.real, tip.imag, way_deg=math.degrees(way), size=13.0))
    return heads


def draw_blade(placed: PlacedDrive, span: int, paper: Paper) -> list[svg.Element]:
    """Draw the guide beside a strand, or the tensioner's blade with its plunger behind."""
    told = placed.drive.spans[span]
    if not (told.guide or told.tensioner):
        return []
    strand = placed.loop.strands[placed.strand_of(span)]
    half = _BLADE_LENGTH / 2 * abs(strand.end - strand.start) * paper.px_per_mm
    return blade(
        blade_middle(placed, span, paper), strand.outward.conjugate(), half,
        is_tensioner=told.tensioner,
    )  # fmt: skip


def blade(middle: complex, out: complex, half: float, *, is_tensioner: bool) -> list[svg.Element]:
    """Draw a blade about its middle on paper; ``out`` points away from the strand."""
    way, fill = out * 1j, "#ffffff" if is_tensioner else _BLADE_FILL
    parts = [
        svg.element(
            "path", d=f"M{_xy(middle - half * way)} L{_xy(middle + half * way)}", fill="none",
            stroke=colour, stroke_width=width, stroke_linecap="round",
        )
        for colour, width in ((style.FAINT_INK, 7.0), (fill, 4.8))
    ]  # fmt: skip
    return [*parts, *(_plunger(middle, out) if is_tensioner else [])]


def blade_middle(placed: PlacedDrive, span: int, paper: Paper) -> complex:
    """Middle of the blade beside a strand, on paper."""
    strand = placed.loop.strands[placed.strand_of(span)]
    return paper.at(strand.middle) + BLADE * strand.outward.conjugate()


def note_place(
    placed: PlacedDrive, span: int, paper: Paper, *, middle_x: float
) -> tuple[complex, complex | None]:
    """Where a note about a strand points to, and past which place its line has to come.

    To the middle of its blade or of the strand. Of a level blade to the outer end; to a level
    strand from outside, so that the line does not run along the chain.
    """
    strand, told = placed.loop.strands[placed.strand_of(span)], placed.drive.spans[span]
    has_blade = bool(told.guide) or told.tensioner
    middle = blade_middle(placed, span, paper) if has_blade else paper.at(strand.middle)
    way = (strand.end - strand.start).conjugate() * paper.px_per_mm
    if abs(way.imag) > 0.5 * abs(way.real):
        return middle, None
    if not has_blade:
        return middle, middle + 2.0 * BLADE * strand.outward.conjugate()
    side = 1.0 if middle.real >= middle_x else -1.0
    ends = [middle + half * _BLADE_LENGTH * way for half in (0.5, -0.5)]
    return max(ends, key=lambda end: side * end.real), None


def _plunger(middle: complex, out: complex) -> list[svg.Element]:
    """Draw the tensioner's plunger, pushing on the blade from outside."""
    head, foot, side = middle + 3.5 * out, middle + 13.0 * out, 4.0j * out
    rod = svg.element(
        "path", d=f"M{_xy(foot)} L{_xy(head)}", fill="none", stroke=style.INK, stroke_width=1.8
    )
    far = foot + 6.0 * out
    corners = " ".join(map(_xy, (foot - side, foot + side, far + side, far - side)))
    body = svg.element(
        "polygon", points=corners, fill="#ffffff", stroke=style.INK, stroke_width=1.2
    )
    angle = math.degrees(cmath.phase((-out).conjugate()))
    return [rod, body, style.arrow_head(head.real, head.imag, way_deg=angle, size=6.5)]


def draw_sprocket(sprocket: Sprocket, circle: Circle) -> list[svg.Element]:
    """Draw a sprocket, its pitch circle in pixels, with its teeth where they are counted."""
    colour, is_open = sprocket_look(sprocket)
    body = circle.radius - _BELOW
    fill = "#ffffff" if is_open else colour
    disc = svg.element(
        "circle", class_="sprocket", cx=circle.centre.real, cy=circle.centre.imag, r=body,
        fill="#ffffff", stroke=colour, stroke_width=1.3,
        **({} if sprocket.teeth else {"stroke_dasharray": "4 3"}),
    )  # fmt: skip
    tint = svg.element(
        "circle", cx=circle.centre.real, cy=circle.centre.imag, r=body, fill=fill, fill_opacity=0.13
    )
    teeth = [] if not sprocket.teeth else [_teeth(circle, sprocket.teeth, colour)]
    hub = svg.element("circle", cx=circle.centre.real, cy=circle.centre.imag, r=2.6, fill=colour)
    return [disc, tint, *teeth, hub]


def draw_geared(role: str, circle: Circle) -> list[svg.Element]:
    """Draw a cam that is turned by gears: a dashed circle, as its teeth are not in the file."""
    colour, is_open = style.role_colour(role), style.has_open_markers(role)
    x, y = circle.centre.real, circle.centre.imag
    return [
        svg.element("circle", cx=x, cy=y, r=circle.radius, fill="#ffffff"),
        svg.element(
            "circle", class_="geared", cx=x, cy=y, r=circle.radius,
            fill="#ffffff" if is_open else colour, fill_opacity=0.13, stroke=colour,
            stroke_width=1.3, stroke_dasharray="4 3",
        ),
        svg.element("circle", cx=x, cy=y, r=2.6, fill=colour),
    ]  # fmt: skip


def sprocket_look(sprocket: Sprocket) -> tuple[str, bool]:
    """Colour of a sprocket, and whether it is left open, as all of bank 2 is."""
    if sprocket.shaft == CRANK:
        return style.CRANK, False
    if not sprocket.cams:
        return style.FAINT_INK, False
    return style.role_colour(sprocket.cams[0]), style.has_open_markers(sprocket.cams[0])


def _teeth(circle: Circle, count: int, colour: str) -> svg.Element:
    """Draw teeth as a ring of strokes between body and pitch circle."""
    radius = circle.radius - _BELOW / 2 + 0.3
    pitch = 2.0 * math.pi * radius / count
    return svg.element(
        "circle", cx=circle.centre.real, cy=circle.centre.imag, r=radius, fill="none",
        stroke=colour, stroke_width=_TOOTH,
        stroke_dasharray=f"{0.45 * pitch:.3f} {0.55 * pitch:.3f}",
    )  # fmt: skip


def draw_phaser(phaser: Phaser, circle: Circle) -> list[svg.Element]:
    """Draw the range of a phaser as an arc over the hub, with a dot where it parks.

    The clockwise end is the early one. Cam degrees, which are what one sees.
    """
    if not phaser.fitted or circle.radius < _LEAST_PHASER:
        return []
    radius = _PHASER * circle.radius
    half = math.radians(crank_deg_to_cam_deg(phaser.authority_deg or _UNKNOWN_RANGE_DEG)) / 2
    late, early = math.pi / 2 + half, math.pi / 2 - half

    def at(angle: float, size: float = radius) -> complex:
        return circle.centre + cmath.rect(size, -angle)

    r = svg.short(radius)
    dashes = {} if phaser.authority_deg else {"stroke_dasharray": "3 2"}
    arc = svg.element(
        "path", d=f"M{_xy(at(late))} A{r},{r} 0 0 1 {_xy(at(early))}", fill="none",
        stroke=style.INK, stroke_width=1.3, **dashes,
    )  # fmt: skip
    stops = [
        svg.element(
            "path", d=f"M{_xy(at(angle, radius - 3.5))} L{_xy(at(angle, radius + 3.5))}",
            fill="none", stroke=style.INK, stroke_width=1.3,
        )
        for angle in (late, early)
    ]  # fmt: skip
    if phaser.parked is None:
        return [arc, *stops]
    place = at({"retarded": late, "middle": math.pi / 2, "advanced": early}[phaser.parked])
    dot = svg.element("circle", cx=place.real, cy=place.imag, r=3.4, fill=style.INK)
    return [arc, *stops, dot]


def draw_turning(circle: Circle) -> list[svg.Element]:
    """Draw below the crank which way it turns in the picture."""
    centre = circle.centre
    return turning_arrow(
        centre.real, centre.imag, circle.radius + 11.0, from_deg=-35.0, to_deg=-145.0
    )


def phaser_of(engine: Engine, sprocket: Sprocket) -> Phaser | None:
    """Phaser of the cam whose own shaft this is."""
    for cam in engine.cams:
        if cam.role == sprocket.shaft:
            return cam.phaser
    return None


def _xy(place: complex) -> str:
    return f"{svg.short(place.real)},{svg.short(place.imag)}"
