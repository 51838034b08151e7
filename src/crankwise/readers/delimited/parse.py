"""Rows of numbers into arrays: fast on clean chunks, careful on the others."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from crankwise.readers.delimited.careful import parse_carefully
from crankwise.readers.delimited.dialect import NO_SEPARATOR, WHITESPACE, Dialect
from crankwise.readers.delimited.tail import cut_incomplete
from crankwise.readers.delimited.text import Chunk

if TYPE_CHECKING:
    import polars as pl


@dataclass(frozen=True, slots=True)
class Layout:
    """Which cells of a row to read, and as what.

    Attributes
    ----------
    dialect : Dialect
        How rows are written.
    columns : tuple of int
        Indices of the cells to read, ascending.
    names : tuple of str
        What each of them is called in messages.
    time : int or None
        Index of the cell with the time, which is read in double precision.
    file : str
        File name for messages.
    """

    dialect: Dialect
    columns: tuple[int, ...]
    names: tuple[str, ...]
    time: int | None
    file: str


class Columns:
    """Arrays that grow as chunks come in; sized from the first one to be copied rarely."""

    def __init__(self, layout: Layout, *, total_bytes: int) -> None:
        self._total_bytes = total_bytes
        self._seen_bytes = 0
        self._rows = 0
        self._arrays: list[npt.NDArray[Any]] = [
            np.empty(0, np.float64 if index == layout.time else np.float32)
            for index in layout.columns
        ]

    def append(self, columns: Sequence[npt.NDArray[Any]], *, chunk_bytes: int) -> None:
        """Copy a chunk's columns behind the others."""
        self._seen_bytes += chunk_bytes
        end = self._rows + len(columns[0])
        if end > len(self._arrays[0]):
            share = min(self._seen_bytes / self._total_bytes, 1.0) if self._total_bytes else 1.0
            size = end if share >= 1.0 else int(end / share * 1.02) + 1024
            self._arrays = [_longer(array, self._rows, size) for array in self._arrays]
        for array, column in zip(self._arrays, columns, strict=True):
            array[self._rows : end] = column
        self._rows = end

    def finish(self) -> tuple[npt.NDArray[Any], ...]:
        """Return the arrays, cut to the rows written."""
        return tuple(array[: self._rows] for array in self._arrays)


def _longer(array: npt.NDArray[Any], rows: int, size: int) -> npt.NDArray[Any]:
    """Copy to a longer array; pages beyond the rows written cost nothing until used."""
    longer = np.empty(size, array.dtype)
    longer[:rows] = array[:rows]
    return longer


@dataclass(frozen=True, slots=True, eq=False)
class Parsed:
    """What came out of rows.

    Attributes
    ----------
    columns : tuple of np.ndarray [shape=(n,)]
        float64 for the time, float32 for the others; NaN where a cell is blank.
    incomplete_line : int or None
        Line number of a last row that was cut short and left out.
    careful_chunks : int
        Chunks up to here that needed the careful way.
    """

    columns: tuple[npt.NDArray[Any], ...]
    incomplete_line: int | None
    careful_chunks: int


def parse(chunks: Iterable[Chunk], layout: Layout, *, first_line: int, total_bytes: int) -> Parsed:
    """Read all chunks into one array for each column of the layout.

    Parameters
    ----------
    chunks : iterable of Chunk
        Whole lines without header.
    layout : Layout
        What to read.
    first_line : int
        Line number of the first one, from 1.
    total_bytes : int
        Size of the file, to size the arrays.

    Raises
    ------
    UnreadableError
        If a cell is no number or a row has too many cells.
    """
    columns = Columns(layout, total_bytes=total_bytes)
    last = None
    for last, chunk_bytes in parse_each(chunks, layout, first_line=first_line):
        columns.append(last.columns, chunk_bytes=chunk_bytes)
    return Parsed(
        columns.finish(),
        last.incomplete_line if last is not None else None,
        last.careful_chunks if last is not None else 0,
    )


def parse_each(
    chunks: Iterable[Chunk], layout: Layout, *, first_line: int
) -> Iterator[tuple[Parsed, int]]:
    """Read one chunk after the other; with each comes its size in bytes.

    Rows in which every cell is blank are left out. Parameters and errors are those of
    :func:`parse`.
    """
    line, careful_chunks = first_line, 0
    for data, is_cut, future in _one_ahead(chunks, layout):
        frame = future.result()
        if frame is None:
            careful_chunks += 1
            frame = parse_carefully(data, layout, first_line=line)
        line += frame.height  # a row for each line, blank ones included
        columns = tuple(series.to_numpy() for series in _without_blank_rows(frame).iter_columns())
        yield Parsed(columns, line if is_cut else None, careful_chunks), len(data)


def _one_ahead(
    chunks: Iterable[Chunk], layout: Layout
) -> Iterator[tuple[bytes, bool, Future[pl.DataFrame | None]]]:
    """Start to parse each chunk before the one in front of it is worked up.

    So reading and copying go on beside the parsing. With each chunk's data comes whether an
    incomplete row was left out at its end.
    """
    with ThreadPoolExecutor(max_workers=2) as worker:
        before = None
        for chunk in chunks:
            data, is_cut = chunk.data, False
            if chunk.is_last:
                data, is_cut = cut_incomplete(data, layout.dialect)
            data = normalise(data, layout.dialect)
            current = data, is_cut, worker.submit(_parse_fast, data, layout)
            if before is not None:
                yield before
            before = current
        if before is not None:
            yield before


def normalise(data: bytes, dialect: Dialect) -> bytes:
    """Turn runs of blanks into one, where blanks separate cells; none at the ends of lines."""
    if dialect.separator != WHITESPACE:
        return data
    data = data.replace(b"\t", b" ").replace(b"\r\n", b"\n")
    while b"  " in data:
        data = data.replace(b"  ", b" ")
    return data.replace(b"\n ", b"\n").replace(b" \n", b"\n").strip(b" ")


def csv_separator(dialect: Dialect) -> str:
    """Character that separates cells after :func:`normalise`."""
    return "\x1f" if dialect.separator == NO_SEPARATOR else dialect.separator


def _needs_care(data: bytes, dialect: Dialect) -> bool:
    """Whether the fast way could misread the chunk instead of failing on it.

    It takes ``1.234`` for a number also where the comma is the decimal mark.
    """
    if dialect.decimal == ",":
        return b"." in data or dialect.separator == ","
    return False


def _parse_fast(data: bytes, layout: Layout) -> pl.DataFrame | None:
    """Let polars read the numbers; ``None`` if a cell is not simply a number or blank."""
    import polars as pl  # noqa: PLC0415 - heavy, only needed once reading begins

    if _needs_care(data, layout.dialect):
        return None
    wanted = frozenset(layout.columns)
    schema: dict[str, Any] = {
        str(index): (
            pl.Float64 if index == layout.time else pl.Float32 if index in wanted else pl.String
        )
        for index in range(layout.dialect.cells)
    }
    try:
        return pl.read_csv(
            data,
            has_header=False,
            separator=csv_separator(layout.dialect),
            schema=schema,
            columns=list(layout.columns),
            decimal_comma=layout.dialect.decimal == ",",
            quote_char='"',
        )
    except pl.exceptions.PolarsError:
        return None


def _without_blank_rows(frame: pl.DataFrame) -> pl.DataFrame:
    """Leave out rows in which every cell is blank, as blank lines give."""
    import polars as pl  # noqa: PLC0415

    if all(series.null_count() for series in frame.iter_columns()):
        return frame.filter(~pl.all_horizontal(pl.all().is_null()))
    return frame
