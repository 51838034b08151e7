"""Pictures of a measurement as SVG, drawn by the package itself, and as PNG."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from crankwise.document import write_whole
from crankwise.errors import UsageError
from crankwise.picture.angle_view import angle_view
from crankwise.picture.raster import png

if TYPE_CHECKING:
    import os

    from crankwise.model.measurement import Measurement

__all__ = ["angle_view", "png", "save_picture"]


def save_picture(measurement: Measurement, path: str | os.PathLike[str]) -> None:
    """Draw the angle view into a file; the ending says the format.

    Raises
    ------
    UsageError
        The name ends in neither ``.svg`` nor ``.png``, the place can't be written, or it is the
        recording itself.
    MissingPackageError
        PNG was asked for and the package that renders it is not installed.
    """
    suffix = Path(path).suffix.lower()
    if suffix not in (".svg", ".png"):
        raise UsageError(f"{path}: end the name of a picture in .svg or .png")
    drawn = angle_view(measurement)
    data = drawn.encode() if suffix == ".svg" else png(drawn)
    write_whole(path, data, recording_sha256=measurement.recording.sha256)
