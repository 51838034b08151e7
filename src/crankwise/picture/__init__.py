"""Pictures as SVG, drawn by the package itself, and as PNG.

Those of a vehicle's history, of a family's known-goods, of an engine and of a wheel are imported
from ``history_view``, ``population_view``, ``engine_view`` and ``wheel_view``: a table on the
terminal, which takes its words from here, need not wait for them.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from crankwise.document import recordings_of, write_whole
from crankwise.errors import UsageError
from crankwise.picture.angle_view import angle_view
from crankwise.picture.comparison_view import comparison_view
from crankwise.picture.dark import on_dark
from crankwise.picture.raster import png

if TYPE_CHECKING:
    import os
    from collections.abc import Callable, Collection

    from crankwise.model.comparison import Comparison
    from crankwise.model.measurement import CrankMeasurement, Measurement

__all__ = [
    "angle_view",
    "comparison_view",
    "on_dark",
    "png",
    "save_comparison_picture",
    "save_picture",
]


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
    _save(path, lambda: angle_view(measurement), keep_sha256=recordings_of(measurement))


def save_comparison_picture(
    comparison: Comparison, path: str | os.PathLike[str], *, crank: CrankMeasurement
) -> None:
    """Draw the subject over its known-good into a file; ``crank`` is the subject's.

    Raises
    ------
    UsageError, MissingPackageError
        As for :func:`save_picture`.
    """
    _save(
        path,
        lambda: comparison_view(comparison, crank=crank),
        keep_sha256=recordings_of(comparison),
    )


def _save(
    path: str | os.PathLike[str], draw: Callable[[], str], *, keep_sha256: Collection[str]
) -> None:
    suffix = Path(path).suffix.lower()
    if suffix not in (".svg", ".png"):
        raise UsageError(f"{path}: end the name of a picture in .svg or .png")
    drawn = draw()
    data = drawn.encode() if suffix == ".svg" else png(drawn)
    write_whole(path, data, keep_sha256=keep_sha256)
