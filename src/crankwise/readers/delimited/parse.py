"""Rows of numbers into arrays: fast on clean chunks, careful on the others."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.readers.delimited.careful import parse_carefully
from crankwise.readers.delimited.dialect import WHITESPACE, Dialect
from crankwise.readers.delimited.fast import SHORT_BYTES, Rows, parse_fast, rows_of
from crankwise.readers.delimited.layout import Layout
from crankwise.readers.delimited.tail import cut_incomplete
from crankwise.readers.delimited.text import Chunk


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
    for last, chunk_bytes in parse_each(
        chunks, layout, first_line=first_line, total_bytes=total_bytes
    ):
        columns.append(last.columns, chunk_bytes=chunk_bytes)
    return Parsed(
        columns.finish(),
        last.incomplete_line if last is not None else None,
        last.careful_chunks if last is not None else 0,
    )


def parse_each(
    chunks: Iterable[Chunk], layout: Layout, *, first_line: int, total_bytes: int
) -> Iterator[tuple[Parsed, int]]:
    """Read one chunk after the other; with each comes its size in bytes.

    Rows in which every cell is blank are left out. Parameters and errors are those of
    :func:`parse`.
    """
    line, careful_chunks = first_line, 0
    for data, is_cut, future in _one_ahead(chunks, layout, is_short=total_bytes <= SHORT_BYTES):
        rows = future.result()
        if rows is None:
            careful_chunks += 1
            rows = rows_of(parse_carefully(data, layout, first_line=line), layout)
        line += rows.lines
        yield Parsed(rows.columns, line if is_cut else None, careful_chunks), len(data)


def _one_ahead(
    chunks: Iterable[Chunk], layout: Layout, *, is_short: bool
) -> Iterator[tuple[bytes, bool, Future[Rows | None]]]:
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
            current = data, is_cut, worker.submit(_parse_quietly, data, layout, is_short=is_short)
            if before is not None:
                yield before
            before = current
        if before is not None:
            yield before


def _parse_quietly(data: bytes, layout: Layout, *, is_short: bool) -> Rows | None:
    """Let numbers beyond single precision become infinite; each thread has to be told so."""
    with np.errstate(over="ignore"):
        return parse_fast(data, layout, is_short=is_short)


def normalise(data: bytes, dialect: Dialect) -> bytes:
    """Turn runs of blanks into one, where blanks separate cells; none at the ends of lines."""
    if dialect.separator != WHITESPACE:
        return data
    data = data.replace(b"\t", b" ").replace(b"\r\n", b"\n")
    while b"  " in data:
        data = data.replace(b"  ", b" ")
    return data.replace(b"\n ", b"\n").replace(b" \n", b"\n").strip(b" ")
