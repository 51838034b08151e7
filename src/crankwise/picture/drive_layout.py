"""Where every sprocket of an engine is drawn, from what its file says.

Seen as if the crank turned clockwise: the driving sprocket pulls the strand on its right, so that
the sprockets, listed along the tight strand, follow each other against the clock. A cam drive goes
up from the crank, the drives of two banks lean apart. Lengths that are given are kept; what is
missing is put in by eye, and then the drive is not to scale.
"""

from __future__ import annotations

import cmath
import itertools
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from crankwise.drive.geometry import pitch_radius_mm
from crankwise.drive.path import CAM_TURNS
from crankwise.model.engine import CRANK
from crankwise.picture.loop import Circle, Loop, centre_distance, loop_around, polygon

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from crankwise.model.engine import Drive, Engine, Sprocket

# By eye, where the file says nothing: usual sizes of passenger car engines (common practice).
_PITCH_MM: Final = {"chain": 8.0, "belt": 9.525}
_CRANK_TEETH: Final = 20
_OTHER_TEETH: Final = 26
_CLOSE: Final = 1.15  # centre distance over the sum of the radii: cams of one bank
_APART: Final = 3.0  # and all others
_LEAN_DEG: Final = 34.0
_STEP_DEG: Final = 5.0
_OFF_CENTRE_MM: Final = 1.0  # a shaft that is farther aside is on one side of the engine
_ROOM: Final = 0.3  # room between two circles, over the radius of the smaller one
_PREFERENCE: Final = 0.2  # millimetres of overlap that weigh as much as a degree of lean


@dataclass(frozen=True, slots=True)
class PlacedDrive:
    """A drive on paper, millimetres, y upwards.

    Attributes
    ----------
    drive : Drive
    circles : tuple of Circle
        Of the sprockets, in the order of the file.
    is_scaled : bool
        Whether sizes and distances come from the file.
    is_mirrored : bool
        Whether the order was turned round, which only an unknown path allows.
    is_contradictory : bool
        Whether all is given, but no chain of these lengths can go round these sprockets.
    """

    drive: Drive
    circles: tuple[Circle, ...]
    is_scaled: bool
    is_mirrored: bool
    is_contradictory: bool

    @property
    def loop(self) -> Loop:
        """The chain; ``strands[i]`` belongs to ``drive.spans[i]``, or is turned round with it."""
        circles = self.circles
        if self.is_mirrored:
            circles = (circles[0], *reversed(circles[1:]))
        return loop_around(circles)

    def strand_of(self, span: int) -> int:
        """Place of a span's strand in the loop."""
        return len(self.circles) - 1 - span if self.is_mirrored else span

    def moved(self, by: complex) -> PlacedDrive:
        """Place the drive elsewhere."""
        circles = tuple(Circle(circle.centre + by, circle.radius) for circle in self.circles)
        return replace(self, circles=circles)

    def turned(self, clockwise_deg: float) -> PlacedDrive:
        """Turn the drive about its driving sprocket."""
        turn, about = cmath.rect(1.0, -math.radians(clockwise_deg)), self.circles[0].centre
        circles = tuple(
            Circle(about + (circle.centre - about) * turn, circle.radius) for circle in self.circles
        )
        return replace(self, circles=circles)


def place_drives(engine: Engine) -> tuple[PlacedDrive, ...]:
    """Place every drive of an engine; the crank stands at 0.

    Drives that hang on nothing that is drawn stand at the right of the others.
    """
    shapes = [_shape(drive) for drive in engine.drives if len(drive.sprockets) > 1]
    centres: dict[str, complex] = {CRANK: 0j}
    placed: list[PlacedDrive] = []
    while shapes:
        ready = next((s for s in shapes if s.drive.sprockets[0].shaft in centres), None)
        if ready is None:
            right = max((c.centre.real + c.radius for p in placed for c in p.circles), default=0.0)
            ready = shapes[0]
            centres[ready.drive.sprockets[0].shaft] = complex(right + 4 * ready.circles[0].radius)
        shaft = ready.drive.sprockets[0].shaft
        group = [shape for shape in shapes if shape.drive.sprockets[0].shaft == shaft]
        shapes = [shape for shape in shapes if shape not in group]
        for shape in _best(engine, group, centres[shaft], placed):
            placed.append(shape)
            for sprocket, circle in zip(shape.drive.sprockets, shape.circles, strict=True):
                centres.setdefault(sprocket.shaft, circle.centre)
    return tuple(placed)


@dataclass(frozen=True, slots=True)
class GearedCam:
    """A cam that another shaft turns by gears, drawn as large as the sprocket there."""

    role: str
    shaft: str
    circle: Circle


def place_geared(placed: Sequence[PlacedDrive]) -> tuple[GearedCam, ...]:
    """Place each cam that is geared to a sprocket's shaft beside it, where most room is."""
    found: dict[str, GearedCam] = {}
    for shape in placed:
        for circle, sprocket in zip(shape.circles, shape.drive.sprockets, strict=True):
            for role in sprocket.cams:
                if role != sprocket.shaft and role not in found:
                    taken = [other for one in placed for other in one.circles]
                    taken += [geared.circle for geared in found.values()]
                    beside = _beside(circle, [c for c in taken if c.centre != circle.centre])
                    found[role] = GearedCam(role, sprocket.shaft, beside)
    return tuple(found.values())


def _beside(circle: Circle, others: Sequence[Circle]) -> Circle:
    """A circle of the same size that touches this one and is clear of the others."""
    candidates = [
        Circle(circle.centre + cmath.rect(2.0 * circle.radius, math.radians(angle)), circle.radius)
        for step in range(0, 91, 15)
        for angle in (step, 180 - step, -step, 180 + step)
    ]
    return min(
        candidates,
        key=lambda one: sum(
            max(one.radius + other.radius - abs(one.centre - other.centre), 0.0) for other in others
        ),
    )


def radius_mm(drive: Drive, sprocket: Sprocket) -> float:
    """Pitch radius of a sprocket, by eye where pitch or teeth are not given."""
    pitch_mm = drive.pitch_mm or _PITCH_MM[drive.kind]
    teeth = sprocket.teeth or _teeth_by_eye(drive, sprocket)
    return pitch_radius_mm(kind=drive.kind, pitch_mm=pitch_mm, teeth=teeth)


def _teeth_by_eye(drive: Drive, sprocket: Sprocket) -> int:
    """Teeth to draw with: a cam on the crank's own drive has twice as many as the crank."""
    first = drive.sprockets[0]
    if first.shaft != CRANK:
        return next((s.teeth for s in drive.sprockets if s.teeth), _OTHER_TEETH)
    cam_teeth = next((s.teeth for s in drive.sprockets[1:] if s.teeth and s.cams), None)
    crank_teeth = first.teeth or round((cam_teeth or CAM_TURNS * _CRANK_TEETH) / CAM_TURNS)
    if sprocket is first:
        return crank_teeth
    return round(CAM_TURNS * crank_teeth) if sprocket.cams else _OTHER_TEETH


def _shape(drive: Drive) -> PlacedDrive:
    """Solve a drive by itself: the driving sprocket at 0, the others above it."""
    radii = [radius_mm(drive, sprocket) for sprocket in drive.sprockets]
    given = _given(drive, radii)
    known = [distance for distance in given if distance is not None]
    has_sizes = drive.pitch_mm is not None and all(s.teeth for s in drive.sprockets)
    is_complete = has_sizes and len(known) == len(given)
    centres = _solved(known, radii) if is_complete else None
    is_scaled = centres is not None
    if centres is None:
        tries = (_by_eye(drive, radii, given), _by_eye(drive, radii, [None] * len(radii)))
        solved = (_solved(distances, radii) for distances in tries)
        centres = next(filter(None, solved), None) or _ring(radii)
    circles = tuple(Circle(c, r) for c, r in zip(_upright(centres), radii, strict=True))
    return PlacedDrive(
        drive, circles, is_scaled=is_scaled, is_mirrored=False,
        is_contradictory=is_complete and not is_scaled,
    )  # fmt: skip


def _given(drive: Drive, radii: Sequence[float]) -> list[float | None]:
    """Distances of neighbouring centres that follow from the lengths of the strands.

    Of two sprockets the tight strand tells; the slack one is longer by what it bends.
    """
    lengths = [drive.span_length_mm(index) for index in range(len(radii))]
    if len(lengths) == 2:
        lengths = [next((length for length in lengths if length is not None), None)] * 2
    following = [*radii[1:], radii[0]]
    return [
        None if length is None else centre_distance(length, one, other)
        for length, one, other in zip(lengths, radii, following, strict=True)
    ]


def _by_eye(drive: Drive, radii: Sequence[float], given: Sequence[float | None]) -> list[float]:
    """Distances of neighbouring centres, those not given by eye and in proportion."""
    usual = [
        (radii[index] + radii[index - len(radii) + 1])
        * (_CLOSE if _is_pair(drive, index) else _APART)
        for index in range(len(radii))
    ]
    known = [(own, plain) for own, plain in zip(given, usual, strict=True) if own is not None]
    share = sum(own for own, _ in known) / sum(plain for _, plain in known) if known else 1.0
    return [plain * share if own is None else own for own, plain in zip(given, usual, strict=True)]


def _is_pair(drive: Drive, index: int) -> bool:
    """Whether a span joins two cams of one bank, which stand side by side."""
    one, other = drive.sprockets[index], drive.sprockets[index - len(drive.sprockets) + 1]
    if not (one.cams and other.cams):
        return False
    banks = [role.rpartition("-")[2] for role in (one.cams[0], other.cams[0])]
    return banks[0] == banks[1] or not all(bank.isdigit() for bank in banks)


def _solved(distances: Sequence[float], radii: Sequence[float]) -> list[complex] | None:
    """Centres at these distances, if a chain can go round the circles there."""
    if len(radii) == 2:
        centres: list[complex] | None = [0j, complex(distances[0])]
    else:
        centres = polygon(distances)
    if centres is None:
        return None
    circles = [Circle(centre, radius) for centre, radius in zip(centres, radii, strict=True)]
    for one, other in itertools.combinations(circles, 2):
        if abs(one.centre - other.centre) < one.radius + other.radius:
            return None
    return centres if loop_around(circles).is_plain else None


def _ring(radii: Sequence[float]) -> list[complex]:
    """Centres evenly on a circle that has room for all."""
    half = math.sin(math.pi / len(radii))
    size = max(radii) * max(1.2 / half, 0.6 / half**2)  # none overlaps, none lies inside the loop
    places = [cmath.rect(size, 2 * math.pi * number / len(radii)) for number in range(len(radii))]
    return [place - places[0] for place in places]


def _upright(centres: Sequence[complex]) -> list[complex]:
    """Turn centres about the first one, until the others are above it on the whole."""
    others = sum(centres[1:]) / (len(centres) - 1)
    turn = 1j * abs(others) / others
    return [centre * turn for centre in centres]


def _best(
    engine: Engine, group: Sequence[PlacedDrive], at: complex, placed: Sequence[PlacedDrive]
) -> list[PlacedDrive]:
    """Lean the drives of one shaft so that they keep clear of each other and of what is there."""
    ordered = sorted(group, key=lambda shape: not _starts_with_intake(shape.drive))
    moved = [shape.moved(at) for shape in ordered]
    wanted = _wanted_leans(moved, at)
    candidates = (
        [_leaning(shape, lean) for shape, lean in zip(moved, leans, strict=True)]
        for leans in _leans(wanted)
    )
    best = min(
        candidates,
        key=lambda shapes: _overlap(shapes, placed)
        + _PREFERENCE * sum(
            abs(_lean_of(shape) - lean) for shape, lean in zip(shapes, wanted, strict=True)
        ),
    )  # fmt: skip
    return sorted(best, key=lambda shape: engine.drives.index(shape.drive))


def _starts_with_intake(drive: Drive) -> bool:
    return any(role.startswith("intake") for role in drive.sprockets[1].cams)


def _wanted_leans(group: Sequence[PlacedDrive], at: complex) -> list[float]:
    """Lean of each drive before others are minded, degrees clockwise from upright.

    Drives of pumps alone hang down, by turns to the right and to the left.
    """
    turning = [shape for shape in group if _turns_cams(shape.drive)]
    downwards = itertools.cycle((120.0, -120.0))
    leans = []
    for shape in group:
        if shape not in turning:
            leans.append(next(downwards))
        elif len(turning) > 1:
            place = turning.index(shape) / (len(turning) - 1)
            leans.append(_LEAN_DEG * (2.0 * place - 1.0))
        elif shape.drive.sprockets[0].cams:
            # Of a chain from cam to cam the intake is on the inside of the vee.
            goes_left = _starts_with_intake(shape.drive) == (at.real > _OFF_CENTRE_MM)
            leans.append(-90.0 if goes_left else 90.0)
        else:
            is_off = abs(at.real) > _OFF_CENTRE_MM
            leans.append(math.copysign(_LEAN_DEG, at.real) if is_off else 0.0)
    return leans


def _turns_cams(drive: Drive) -> bool:
    return not all(sprocket.accessory for sprocket in drive.sprockets[1:])


def _leans(wanted: Sequence[float]) -> Iterator[list[float]]:
    """Leans to try: of one drive all round, of several ever farther apart."""
    steps = int(180.0 / _STEP_DEG)
    if len(wanted) == 1:
        for step in range(-steps, steps):
            yield [wanted[0] + step * _STEP_DEG]
        return
    for step in range(steps // 2):
        yield [lean + math.copysign(step * _STEP_DEG, lean) for lean in wanted]


def _leaning(shape: PlacedDrive, lean_deg: float) -> PlacedDrive:
    """Lean a drive; where its path is not known, turn it so that the intake is inside."""
    turned = shape.turned(lean_deg)
    if shape.drive.path_known or lean_deg == 0.0 or len(shape.circles) != 3:
        return turned
    if _starts_with_intake(shape.drive) == (lean_deg < 0.0):
        return turned
    first, second, third = turned.circles
    axis = cmath.rect(1.0, math.pi / 2 - math.radians(lean_deg))
    flipped = [
        Circle(first.centre + axis**2 * (circle.centre - first.centre).conjugate(), circle.radius)
        for circle in (second, third)
    ]
    return replace(turned, circles=(first, *flipped), is_mirrored=True)


def _lean_of(shape: PlacedDrive) -> float:
    others = [circle.centre for circle in shape.circles[1:]]
    way = sum(others) / len(others) - shape.circles[0].centre
    return 90.0 - math.degrees(cmath.phase(way))


def _overlap(shapes: Sequence[PlacedDrive], placed: Sequence[PlacedDrive]) -> float:
    """Millimetres by which circles of different drives, and strands and circles, overlap."""
    total = 0.0
    pairs = [*itertools.combinations(shapes, 2), *itertools.product(shapes, placed)]
    for one, other in pairs:
        for (a, shaft_a), (b, shaft_b) in itertools.product(_named(one), _named(other)):
            if shaft_a != shaft_b:
                room = a.radius + b.radius + _ROOM * min(a.radius, b.radius)
                total += max(room - abs(a.centre - b.centre), 0.0)
        total += _crossed(one, other) + _crossed(other, one)
    return total


def _named(shape: PlacedDrive) -> list[tuple[Circle, str]]:
    return [
        (circle, sprocket.shaft)
        for circle, sprocket in zip(shape.circles, shape.drive.sprockets, strict=True)
    ]


def _crossed(one: PlacedDrive, other: PlacedDrive) -> float:
    """Millimetres by which the strands of one drive run over circles of another."""
    shafts = {sprocket.shaft for sprocket in one.drive.sprockets}
    return sum(
        max(circle.radius * (1.0 + _ROOM) - strand.distance(circle.centre), 0.0)
        for circle, shaft in _named(other)
        if shaft not in shafts
        for strand in one.loop.strands
    )
