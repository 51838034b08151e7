"""From named arrays, as HDF5, MATLAB and NumPy files hold them, to a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from math import prod
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding
from crankwise.readers.contract import ReadOptions, Source
from crankwise.readers.labels import (
    BLANK_WORDS,
    COLUMN_WORDS,
    Label,
    find_time,
    normal,
    parse_label,
)
from crankwise.readers.stated import Note, interval_from_notes
from crankwise.readers.table import Setting, Table

Index = tuple[slice, ...]
_CHUNK_BYTES = 1 << 24
_VALUE_BYTES = 8


@dataclass(frozen=True, slots=True, eq=False)
class NamedArray:
    """An array in a file, not read yet.

    Attributes
    ----------
    path : tuple of str
        Names of the groups it is in, and its own.
    shape : tuple of int
        Its size; vectors may have further axes of length 1.
    load : callable
        Reads a part of it, given slices along its axes.
    unit : str or None
        Unit written beside it.
    columns : tuple of str
        Names of its columns, if it is a table and they are written beside it.
    """

    path: tuple[str, ...]
    shape: tuple[int, ...]
    load: Callable[[Index], npt.NDArray[Any]]
    unit: str | None = None
    columns: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Column:
    """A column; ``load`` reads a range of its rows."""

    label: Label
    path: tuple[str, ...]
    length: int
    load: Callable[[slice], npt.NDArray[Any]]


@dataclass(frozen=True, slots=True)
class Collected:
    """Everything of interest in a file.

    Attributes
    ----------
    arrays : list of NamedArray
        Numeric arrays with at least two values.
    notes : list of Note
        Named single values.
    column_names : tuple of str
        Names for the columns of a lone table, where an array of texts gives them.
    """

    arrays: list[NamedArray] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    column_names: tuple[str, ...] = ()


def is_column_names(name: str) -> bool:
    """Whether a name says that an array or attribute holds the names of columns."""
    return normal(name.replace("_", " ")) in COLUMN_WORDS


def to_table(
    collected: Collected,
    source: Source,
    *,
    reader: str,
    remedy: str,
    settings: Mapping[str, Setting] | None = None,
) -> Table:
    """Choose the arrays that are one recording, and read them.

    Arrays of one length belong together. Where lengths differ, the length that most arrays have
    is taken, the longest of equals, and the others are named in a finding.

    Parameters
    ----------
    collected : Collected
        What the file holds.
    source : Source
        For messages.
    reader : str
        Name of the reader, for the history.
    remedy : str
        How to state the sampling interval in this format, for messages.
    settings : Mapping, optional
        Facts for the history.

    Raises
    ------
    UnreadableError
        If no array is a signal.
    """
    chosen = _choose(collected, source)
    return chosen.table(slice(None), source, reader=reader, remedy=remedy, settings=settings or {})


def to_tables(
    collected: Collected,
    source: Source,
    options: ReadOptions,
    *,
    reader: str,
    remedy: str,
    settings: Mapping[str, Setting] | None = None,
) -> Iterator[Table]:
    """Choose as :func:`to_table` does, and read a range of rows after the other."""
    chosen = _choose(collected, source)
    row_bytes = _VALUE_BYTES * len(chosen.columns)
    rows = max((options.chunk_bytes or _CHUNK_BYTES) // row_bytes, 1)
    length = chosen.columns[0].length
    for first in range(0, length, rows):
        part = slice(first, min(first + rows, length))
        yield chosen.table(part, source, reader=reader, remedy=remedy, settings=settings or {})
        options.progress(part.stop / length)


@dataclass(frozen=True, slots=True, eq=False)
class _Chosen:
    """The arrays that are one recording."""

    columns: list[_Column]
    time: int | None
    interval_s: float | None
    findings: tuple[Finding, ...]

    def table(
        self,
        rows: slice,
        source: Source,
        *,
        reader: str,
        remedy: str,
        settings: Mapping[str, Setting],
    ) -> Table:
        arrays = [column.load(rows).reshape(-1) for column in self.columns]
        if self.time is not None:
            arrays[self.time] = arrays[self.time].astype(np.float64, copy=False)
        return Table(
            reader=reader,
            labels=tuple(column.label for column in self.columns),
            columns=tuple(arrays),
            time=self.time,
            interval_s=self.interval_s,
            place=lambda row: f"{source.name}: sample {row + 1}",
            remedy=remedy,
            fallback="channel",
            findings=self.findings,
            settings=settings,
        )


def _choose(collected: Collected, source: Source) -> _Chosen:
    columns = _named(list(_columns(collected)))
    if not columns:
        raise UnreadableError(
            f"{source.name}: no arrays of numbers inside. "
            "Save each channel as an array, and the time or the sampling interval beside them"
        )
    counts = Counter(column.length for column in columns)
    length = max(counts, key=lambda size: (counts[size] > 1, counts[size], size))
    chosen = [column for column in columns if column.length == length]
    others = [column for column in columns if column.length != length]
    interval_s, findings = interval_from_notes(collected.notes)
    if others:
        names = ", ".join(f"'{column.label.name}'" for column in others[:6])
        text = f"Of another length than the channels and left aside: {names}."
        findings += (Finding("arrays-unused", "note", text),)
    return _Chosen(chosen, find_time([column.label for column in chosen]), interval_s, findings)


def _columns(collected: Collected) -> Iterable[_Column]:
    """Take vectors as they are, and tables apart along their shorter axis."""
    for array in collected.arrays:
        sides = [side for side in array.shape if side != 1]
        label = parse_label(array.path[-1])
        label = Label(label.name, array.unit or label.unit)
        if len(sides) == 1:
            yield _Column(label, array.path, sides[0], _rows_of(array, along=sides[0]))
        elif len(sides) == 2:
            yield from _table_columns(array, sides, array.columns or collected.column_names)


def _table_columns(
    array: NamedArray, sides: Sequence[int], names: Sequence[str]
) -> Iterable[_Column]:
    """Columns of a two-dimensional array; as many as it has names, else the shorter side."""
    rows, width = sides
    is_turned = len(names) == rows if rows != width and len(names) in sides else rows < width
    if is_turned:
        rows, width = width, rows
    read = _rows_of(array, along=rows)
    known: dict[tuple[Any, Any], npt.NDArray[Any]] = {}

    def load(index: int, part: slice) -> npt.NDArray[Any]:
        # All columns are asked for one range of rows before the next one.
        if (part.start, part.stop) not in known:
            known.clear()
            values = read(part).reshape((-1, sides[1]) if not is_turned else (sides[0], -1))
            known[part.start, part.stop] = values.T if is_turned else values
        return known[part.start, part.stop][:, index]

    for index in range(width):
        label = parse_label(names[index]) if len(names) == width else Label("", array.unit)
        path = (*array.path, label.name or f"channel {index + 1}")
        yield _Column(label, path, rows, partial(load, index))


def _rows_of(array: NamedArray, *, along: int) -> Callable[[slice], npt.NDArray[Any]]:
    """Read ranges along the axis of this length, and all of the others."""
    axis = array.shape.index(along)

    def load(rows: slice) -> npt.NDArray[Any]:
        index = [slice(None)] * len(array.shape)
        index[axis] = rows
        return np.asarray(array.load(tuple(index)))

    return load


def _named(columns: list[_Column]) -> list[_Column]:
    """Name a column by its group where its own name says nothing or stands twice."""
    counts = Counter(column.label.name for column in columns)
    result = []
    for column in columns:
        name = column.label.name
        says_nothing = normal(name) in BLANK_WORDS or (
            counts[name] > 1 and not column.label.is_time
        )
        if len(column.path) > 1 and name and says_nothing:
            group = parse_label(column.path[-2])
            is_blank = normal(name) in BLANK_WORDS
            full = group.name if is_blank else f"{group.name} {name}"
            label = Label(full, column.label.unit or (group.unit if is_blank else None))
            result.append(replace(column, label=label))
        else:
            result.append(column)
    return result


def is_signal_shape(shape: tuple[int, ...], kind: str) -> bool:
    """Whether an array of this shape and dtype kind can be signals: numbers, more than one."""
    return kind in "fiub" and prod(shape) > 1 and sum(side != 1 for side in shape) <= 2
