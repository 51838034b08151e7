"""Parquet and Arrow IPC tables, by polars."""

from __future__ import annotations

from os import SEEK_END
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding
from crankwise.model.recording import Recording
from crankwise.readers.contract import CERTAIN, NOT_MINE, ReadOptions, Source
from crankwise.readers.foreign import damaged_unless_read
from crankwise.readers.frames import to_array
from crankwise.readers.labels import Label, find_time, parse_label
from crankwise.readers.stated import interval_from_notes, notes_from_metadata
from crankwise.readers.table import Table, to_recording

if TYPE_CHECKING:
    import polars as pl

_PARQUET = b"PAR1"
_IPC = b"ARROW1"


class ArrowReader:
    """Columns of numbers; the sampling interval may stand in Parquet's key-value metadata."""

    name = "Parquet or Arrow"
    suffixes = (".parquet", ".pq", ".arrow", ".feather", ".ipc")

    def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002 - content decides
        """Look for the signatures."""
        return CERTAIN if head.startswith((_PARQUET, _IPC)) else NOT_MINE

    def read(self, source: Source, options: ReadOptions) -> Recording:
        """Read all columns of numbers."""
        with damaged_unless_read(source, self.name):
            frame, metadata = _read_frame(source.path)
        options.progress(0.9)
        labels, columns, unused = _columns(frame)
        if not columns:
            raise UnreadableError(
                f"{source.name}: no columns of numbers. Write one column for each channel"
            )
        time = find_time(labels)
        if time is not None:
            columns[time] = columns[time].astype(np.float64, copy=False)
        interval_s, findings = interval_from_notes(notes_from_metadata(metadata))
        if unused:
            names = ", ".join(f"'{name}'" for name in unused[:6])
            text = f"Not numbers and left aside: {names}."
            findings += (Finding("columns-unused", "note", text),)
        return to_recording(
            Table(
                reader=self.name,
                labels=tuple(labels),
                columns=tuple(columns),
                time=time,
                interval_s=interval_s,
                place=lambda row: f"{source.name}: row {row + 1}",
                remedy="write 'interval_s' into the file's metadata or a column 'time_s'",
                findings=findings,
            ),
            source,
            options,
        )


def _read_frame(path: Path) -> tuple[pl.DataFrame, dict[str, Any]]:
    """Read all columns, and Parquet's metadata."""
    import polars as pl  # noqa: PLC0415 - heavy, only needed once reading begins

    with path.open("rb") as file:
        magic = file.read(6)
        file.seek(-6, SEEK_END)
        tail = file.read(6)
    is_parquet = magic.startswith(_PARQUET)
    if not tail.endswith(_PARQUET if is_parquet else _IPC):
        raise ValueError("the end is missing")
    try:
        if not is_parquet:
            return pl.read_ipc(path), {}
        metadata = pl.read_parquet_metadata(path)
        return pl.read_parquet(path), dict(metadata)
    except pl.exceptions.PanicException as error:  # no Exception, so nobody else would catch it
        raise ValueError("the parts don't fit together") from error


def _columns(frame: pl.DataFrame) -> tuple[list[Label], list[npt.NDArray[Any]], list[str]]:
    """Take the columns out of the frame: labels, arrays, and names of those without numbers."""
    import polars as pl  # noqa: PLC0415

    labels, columns, unused = [], [], []
    for name in frame.columns:
        # Each is freed once copied to one piece, which keeps the peak of memory low.
        series = frame.drop_in_place(name)
        label = parse_label(series.name)
        if series.dtype.is_temporal():
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
    """Bring durations, and dates with time from the first one on, to seconds."""
    import polars as pl  # noqa: PLC0415

    if isinstance(series.dtype, pl.Datetime):
        series = series - series[0]
    if not isinstance(series.dtype, pl.Duration):
        return None
    return series.dt.total_nanoseconds().to_numpy() / 1e9
