"""What every lane below the crank shares: the room it needs and the levels of a pattern."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

from crankwise.units import CYCLE_DEG

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.picture import svg
    from crankwise.picture.layout import Axis

AIR: Final = 10.0
"""Pixels around the pattern of a lane."""


@dataclass(frozen=True, slots=True)
class Room:
    """Room a lane needs above and below its pattern; two stretches share the larger ones."""

    above: float
    pattern: float
    below: float

    @property
    def height(self) -> float:
        """Height of the whole lane."""
        return self.above + self.pattern + self.below + 2 * AIR

    def joined(self, other: Room) -> Room:
        """Room enough for both."""
        return Room(
            max(self.above, other.above),
            max(self.pattern, other.pattern),
            max(self.below, other.below),
        )


class Lane(Protocol):
    """One lane; it is asked for the room it needs on every stretch before it is drawn."""

    def room(self, axis: Axis) -> Room:
        """Room needed on this stretch."""
        ...

    def draw(self, axis: Axis, top: float, room: Room, *, named: bool) -> list[svg.Element]:
        """Draw the lane on this stretch, and its name at the left if it is the first."""
        ...


@dataclass(frozen=True, slots=True)
class Flank:
    """Where a pattern changes its level: an angle of the cycle, and whether it goes up."""

    angle_deg: float
    rising: bool


def level_points(
    flanks: Sequence[Flank], axis: Axis, *, high: float, low: float
) -> list[tuple[float, float]]:
    """Corners of the line of levels over a stretch, from the direction of each flank."""
    # Going back from the left end, the first flank met sets the level that is held until now.
    behind = min(flanks, key=lambda f: (axis.from_deg - f.angle_deg) % CYCLE_DEG or CYCLE_DEG)
    points = [(axis.left, high if behind.rising else low)]
    placed = [(axis.unwrapped(flank.angle_deg), flank.rising) for flank in flanks]
    seen = [(axis.x(angle), rising) for angle, rising in placed if angle is not None]
    for x, rising in sorted(seen):
        points += [(x, points[-1][1]), (x, high if rising else low)]
    points.append((axis.right, points[-1][1]))
    return points
