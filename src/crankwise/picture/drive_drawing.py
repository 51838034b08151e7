"""The drives of one engine with their place on paper: what all that draw them go by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from crankwise.picture.loop import Circle

if TYPE_CHECKING:
    from crankwise.model.engine import Engine, Sprocket
    from crankwise.picture.drive_layout import GearedCam, PlacedDrive


@dataclass(frozen=True, slots=True)
class Paper:
    """From millimetres, y upwards, to pixels, y downwards."""

    px_per_mm: float
    origin: complex

    def at(self, place: complex) -> complex:
        """Pixel position of a place."""
        return self.origin + self.px_per_mm * place.conjugate()

    def circle(self, circle: Circle) -> Circle:
        """A circle in pixels."""
        return Circle(self.at(circle.centre), circle.radius * self.px_per_mm)


@dataclass(frozen=True, slots=True)
class Drawing:
    """Everything that is drawn of the drives of an engine.

    Attributes
    ----------
    engine : Engine
    drives : tuple of PlacedDrive
        At least one.
    geared : tuple of GearedCam
    paper : Paper
    """

    engine: Engine
    drives: tuple[PlacedDrive, ...]
    geared: tuple[GearedCam, ...]
    paper: Paper

    @property
    def is_scaled(self) -> bool:
        """Whether every size and distance comes from the file."""
        return all(drive.is_scaled for drive in self.drives)

    @property
    def bounds(self) -> tuple[complex, complex]:
        """Lower left and upper right corner around all circles, millimetres."""
        circles = [circle for drive in self.drives for circle in drive.circles]
        circles += [cam.circle for cam in self.geared]
        low = [circle.centre - complex(circle.radius, circle.radius) for circle in circles]
        high = [circle.centre + complex(circle.radius, circle.radius) for circle in circles]
        return (
            complex(min(z.real for z in low), min(z.imag for z in low)),
            complex(max(z.real for z in high), max(z.imag for z in high)),
        )

    def sprockets(self) -> list[tuple[Sprocket, Circle]]:
        """Every sprocket with its circle on paper, the largest first so that none is hidden."""
        found = [
            (sprocket, self.paper.circle(circle))
            for drive in self.drives
            for sprocket, circle in zip(drive.drive.sprockets, drive.circles, strict=True)
        ]
        return sorted(found, key=lambda item: -item[1].radius)
