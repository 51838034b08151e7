"""A chain or belt around its sprockets: straight strands that touch them, and arcs on them.

Plane geometry with complex numbers, x to the right and y upwards. The strands are the outer common
tangents of neighbouring circles.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.comparison.numeric import increasing_root

if TYPE_CHECKING:
    from collections.abc import Sequence

_WHOLE: Final = 2.0 * math.pi


@dataclass(frozen=True, slots=True)
class Circle:
    """A pitch circle."""

    centre: complex
    radius: float

    def point(self, angle: float) -> complex:
        """Point at an angle, counted in radians from the right, against the clock."""
        return self.centre + cmath.rect(self.radius, angle)


@dataclass(frozen=True, slots=True)
class Strand:
    """A free strand from where it leaves one circle to where it meets the next."""

    start: complex
    end: complex

    @property
    def middle(self) -> complex:
        """Point half-way along."""
        return (self.start + self.end) / 2.0

    @property
    def outward(self) -> complex:
        """Unit vector across the strand, away from the inside of the loop."""
        way = self.end - self.start
        return -1j * way / abs(way)

    def distance(self, point: complex) -> float:
        """Distance of a point from the strand."""
        way = self.end - self.start
        share = ((point - self.start) * way.conjugate()).real / abs(way) ** 2
        return abs(point - self.start - min(max(share, 0.0), 1.0) * way)


@dataclass(frozen=True, slots=True)
class Arc:
    """The part of a circle that the chain lies on, from an angle on against the clock, radians."""

    circle: Circle
    start: float
    sweep: float

    @property
    def end(self) -> float:
        """Angle at which the chain leaves the circle."""
        return self.start + self.sweep


@dataclass(frozen=True, slots=True)
class Loop:
    """A closed chain; ``strands[i]`` leads from ``arcs[i]`` to the next."""

    arcs: tuple[Arc, ...]
    strands: tuple[Strand, ...]

    @property
    def is_plain(self) -> bool:
        """Whether the chain goes round once with every circle inside it."""
        return math.isclose(sum(arc.sweep for arc in self.arcs), _WHOLE, abs_tol=1e-6)


def loop_around(circles: Sequence[Circle]) -> Loop:
    """Lay a chain around circles that are listed against the clock.

    Raises
    ------
    ValueError
        A circle lies within its neighbour, so that they have no common tangent.
    """
    following = [*circles[1:], circles[0]]
    normals: list[float] = []
    for one, other in zip(circles, following, strict=True):
        way = other.centre - one.centre
        difference = one.radius - other.radius
        if abs(way) <= abs(difference):
            raise ValueError("one circle lies within the other")
        normals.append(cmath.phase(way) - math.acos(difference / abs(way)))
    strands = tuple(
        Strand(one.point(normal), other.point(normal))
        for one, other, normal in zip(circles, following, normals, strict=True)
    )
    arcs = tuple(
        Arc(circle, before, (normal - before) % _WHOLE)
        for circle, normal, before in zip(circles, normals, [normals[-1], *normals], strict=False)
    )
    return Loop(arcs, strands)


def centre_distance(strand: float, one: float, other: float) -> float:
    """Distance of two centres from the free strand between their circles and the two radii."""
    return math.hypot(strand, one - other)


def polygon(sides: Sequence[float]) -> list[complex] | None:
    """Corners of the polygon with these sides whose corners lie on one circle.

    Against the clock, the first corner at 0. Three sides have no other polygon; of all that more
    sides allow, this one encloses the most. None where one side is as long as all others together.

    >>> corners = polygon([3.0, 4.0, 5.0])
    >>> [round(abs(corner), 6) for corner in corners]
    [0.0, 3.0, 5.0]
    """
    longest = max(sides)
    others = sum(sides) - longest
    if others <= longest * (1.0 + 1e-9):
        return None
    smallest = longest / 2.0

    def half_turns(radius: float, *, centre_inside: bool) -> float:
        angles = [math.asin(min(side / (2.0 * radius), 1.0)) for side in sides]
        rest = sum(angles) - max(angles)
        return rest + max(angles) - math.pi if centre_inside else rest - max(angles)

    is_inside = half_turns(smallest, centre_inside=True) >= 0.0
    sign = -1.0 if is_inside else 1.0
    radius = smallest * math.exp(increasing_root(
        lambda size: sign * half_turns(smallest * math.exp(size), centre_inside=is_inside),
        start=0.0, step=0.5,
    ))  # fmt: skip
    return _corners(sides, radius, centre_inside=is_inside)


def _corners(sides: Sequence[float], radius: float, *, centre_inside: bool) -> list[complex]:
    place, corners = 0.0, [complex(radius)]
    for side in sides[:-1]:
        angle = 2.0 * math.asin(min(side / (2.0 * radius), 1.0))
        is_behind = side == max(sides) and not centre_inside
        place += _WHOLE - angle if is_behind else angle
        corners.append(cmath.rect(radius, place))
    return [corner - corners[0] for corner in corners]
