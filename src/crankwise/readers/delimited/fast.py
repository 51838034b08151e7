"""The fast way through a chunk, for rows of plain numbers."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from crankwise.readers.delimited.layout import Layout

if TYPE_CHECKING:
    import polars as pl

SHORT_BYTES = 1 << 22
"""A file up to this size is read by NumPy before polars is imported."""


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Columns of numbers, and how many lines they came from, blank ones included."""

    columns: tuple[npt.NDArray[Any], ...]
    lines: int


def parse_fast(data: bytes, layout: Layout, *, is_short: bool) -> Rows | None:
    """Read plain numbers; ``None`` if a cell is not simply a number or blank.

    Parameters
    ----------
    data : bytes
        Whole lines, UTF-8, blanks normalised.
    layout : Layout
    is_short : bool
        Whether the whole file is short.
    """
    if _needs_care(data, layout):
        return None
    rows = _by_numpy(data, layout) if is_short else None
    return rows or _by_polars(data, layout)


def rows_of(frame: pl.DataFrame, layout: Layout) -> Rows:
    """Take the columns of a frame; rows in which every cell is blank are left out."""
    import polars as pl  # noqa: PLC0415 - heavy, only needed once reading begins

    lines = frame.height
    if all(series.null_count() for series in frame.iter_columns()):
        frame = frame.filter(~pl.all_horizontal(pl.all().is_null()))
    columns = (
        series.to_numpy().astype(layout.kind(index), copy=False)
        for index, series in zip(layout.columns, frame.iter_columns(), strict=True)
    )
    return Rows(tuple(columns), lines)


def _needs_care(data: bytes, layout: Layout) -> bool:
    """Whether the fast way could misread the chunk instead of failing on it.

    It takes ``1.234`` for a number also where the comma is the decimal mark.
    """
    if data.count(b'"') % 2:  # polars panics at a lone quote
        return True
    if layout.dialect.decimal == ",":
        return b"." in data or layout.dialect.separator == ","
    return False


def _by_numpy(data: bytes, layout: Layout) -> Rows | None:
    """Read cells that are all plain numbers; it leaves out blank lines."""
    if layout.dialect.decimal == "," or b'"' in data or not data.strip():
        return None
    try:
        table = np.loadtxt(
            io.StringIO(data.decode(), newline=None),
            delimiter=layout.separator,
            comments=None,
            ndmin=2,
        )
    except ValueError:
        return None
    if table.shape[1] != layout.dialect.cells:
        return None
    columns = (table[:, index].astype(layout.kind(index)) for index in layout.columns)
    lines = data.count(b"\n") + (not data.endswith(b"\n"))
    return Rows(tuple(columns), lines)


def _by_polars(data: bytes, layout: Layout) -> Rows | None:
    import polars as pl  # noqa: PLC0415 - heavy, only needed once reading begins

    # Single precision comes afterwards: polars takes longer to read it than double.
    wanted = frozenset(layout.columns)
    schema: dict[str, Any] = {
        str(index): pl.Float64 if index in wanted else pl.String
        for index in range(layout.dialect.cells)
    }
    try:
        frame = pl.read_csv(
            data,
            has_header=False,
            separator=layout.separator,
            schema=schema,
            columns=list(layout.columns),
            decimal_comma=layout.dialect.decimal == ",",
            quote_char='"',
        )
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
        return None
    return rows_of(frame, layout)
