"""Parquet and Arrow IPC tables, by polars."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from os import SEEK_END
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding
from crankwise.model.recording import Recording
from crankwise.readers.arrow_blocks import check_blocks
from crankwise.readers.contract import CERTAIN, NOT_MINE, ReadOptions, Source
from crankwise.readers.foreign import damaged_unless_read, without_native_messages
from crankwise.readers.frames import to_array
from crankwise.readers.labels import Label, find_time, parse_label
from crankwise.readers.limits import check_channels, check_growth
from crankwise.readers.parquet_pages import check_pages
from crankwise.readers.stated import interval_from_notes, notes_from_metadata
from crankwise.readers.table import Table, to_recording

if TYPE_CHECKING:
    import polars as pl

_PARQUET = b"PAR1"
_IPC = b"ARROW1"
_CHUNK_BYTES, _VALUE_BYTES = 1 << 24, 8


class ArrowReader:
    """Columns of numbers; the sampling interval may stand in Parquet's key-value metadata."""

    name = "Parquet or Arrow"
    suffixes = (".parquet", ".pq", ".arrow", ".feather", ".ipc")

    def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002 - content decides
        """Look for the signatures."""
        return CERTAIN if head.startswith((_PARQUET, _IPC)) else NOT_MINE

    def read(self, source: Source, options: ReadOptions) -> Recording:
        """Read all columns of numbers."""
        file = _File.opened(source)
        frame = file.frame(0, None)
        options.progress(0.9)
        return to_recording(file.table(frame), source, options)

    def parts(self, source: Source, options: ReadOptions) -> Iterator[Table]:
        """Read all columns of numbers range by range."""
        file = _File.opened(source)
        row_bytes = _VALUE_BYTES * max(file.width, 1)
        rows = max((options.chunk_bytes or _CHUNK_BYTES) // row_bytes, 1)
        for first in range(0, file.height, rows):
            yield file.table(file.frame(first, rows))
            options.progress(min(first + rows, file.height) / file.height)


@dataclass(frozen=True, slots=True, eq=False)
class _File:
    """A table in a file: not read yet, but for what is written about it.

    ``beginnings`` are the first dates of columns of dates.
    """

    source: Source
    lazy: pl.LazyFrame
    metadata: Mapping[str, Any]
    width: int
    height: int
    beginnings: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def opened(cls, source: Source) -> _File:
        """Look for all there is to know before its columns are read."""
        import polars as pl  # noqa: PLC0415 - heavy, only needed once reading begins

        with _in_our_words(source):
            with source.path.open("rb") as file:
                magic = file.read(6)
                file.seek(-6, SEEK_END)
                tail = file.read(6)
            is_parquet = magic.startswith(_PARQUET)
            if not tail.endswith(_PARQUET if is_parquet else _IPC):
                raise ValueError("the end is missing")
            (check_pages if is_parquet else check_blocks)(source)
            metadata = pl.read_parquet_metadata(source.path) if is_parquet else {}
            lazy = pl.scan_parquet(source.path) if is_parquet else pl.scan_ipc(source.path)
            kinds = lazy.collect_schema().dtypes()
            check_channels(source.name, len(kinds))
            height = int(lazy.select(pl.len()).collect().item())
            row_bytes = sum(1 if kind == pl.Boolean else _VALUE_BYTES for kind in kinds)
            packed_bytes = source.path.stat().st_size
            check_growth(source.name, unpacked_bytes=height * row_bytes, packed_bytes=packed_bytes)
            return cls(source, lazy, metadata, len(kinds), height)

    def frame(self, first: int, rows: int | None) -> pl.DataFrame:
        """Rows from one on, or all of them."""
        with _in_our_words(self.source):
            return self.lazy.slice(first, rows).collect()

    def table(self, frame: pl.DataFrame) -> Table:
        """Columns of numbers out of the frame, which is empty afterwards."""
        labels, columns, unused = _columns(frame, self.beginnings)
        if not columns:
            raise UnreadableError(
                f"{self.source.name}: no columns of numbers. Write one column for each channel"
            )
        time = find_time(labels)
        if time is not None:
            columns[time] = columns[time].astype(np.float64, copy=False)
        interval_s, findings = interval_from_notes(notes_from_metadata(self.metadata))
        if unused:
            names = ", ".join(f"'{name}'" for name in unused[:6])
            text = f"Not numbers and left aside: {names}."
            findings += (Finding("columns-unused", "note", text),)
        return Table(
            reader=ArrowReader.name,
            labels=tuple(labels),
            columns=tuple(columns),
            time=time,
            interval_s=interval_s,
            place=lambda row: f"{self.source.name}: row {row + 1}",
            remedy="write 'interval_s' into the file's metadata or a column 'time_s'",
            findings=findings,
        )


@contextmanager
def _in_our_words(source: Source) -> Iterator[None]:
    """Report what polars raises; a panic of its is no Exception, so nobody else would catch it."""
    import polars as pl  # noqa: PLC0415

    with damaged_unless_read(source, ArrowReader.name):
        try:
            with without_native_messages():
                yield
        except pl.exceptions.PanicException as error:
            raise ValueError("the parts don't fit together") from error


def _columns(
    frame: pl.DataFrame, beginnings: dict[str, Any]
) -> tuple[list[Label], list[npt.NDArray[Any]], list[str]]:
    """Take the columns out of the frame: labels, arrays, and names of those without numbers."""
    import polars as pl  # noqa: PLC0415

    labels, columns, unused = [], [], []
    for name in frame.columns:
        # Each is freed once copied to one piece, which keeps the peak of memory low.
        series = frame.drop_in_place(name)
        label = parse_label(series.name)
        if series.dtype.is_temporal():
            if isinstance(series.dtype, pl.Datetime):
                series = series - beginnings.setdefault(name, series.head(1))
            values = _seconds(series)
            label = Label(label.name, "s")
        elif series.dtype.is_numeric() or isinstance(series.dtype, pl.Boolean):
            values = to_array(series)
        else:
            values = None
        if values is None:
            unused.append(series.name)
            continue
        labels.append(label)
        columns.append(values)
    return labels, columns, unused


def _seconds(series: pl.Series) -> npt.NDArray[Any] | None:
    """Bring durations to seconds."""
    import polars as pl  # noqa: PLC0415

    if not isinstance(series.dtype, pl.Duration):
        return None
    return series.dt.total_nanoseconds().to_numpy() / 1e9
