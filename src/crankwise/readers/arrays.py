"""From named arrays, as HDF5, MATLAB and NumPy files hold them, to a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import prod
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding
from crankwise.readers.contract import Source
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
        Reads it.
    unit : str or None
        Unit written beside it.
    columns : tuple of str
        Names of its columns, if it is a table and they are written beside it.
    """

    path: tuple[str, ...]
    shape: tuple[int, ...]
    load: Callable[[], npt.NDArray[Any]]
    unit: str | None = None
    columns: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Column:
    label: Label
    path: tuple[str, ...]
    length: int
    load: Callable[[], npt.NDArray[Any]]


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
    labels = tuple(column.label for column in chosen)
    time = find_time(labels)
    arrays = [np.asarray(column.load()).reshape(-1) for column in chosen]
    if time is not None:
        arrays[time] = arrays[time].astype(np.float64, copy=False)
    interval_s, findings = interval_from_notes(collected.notes)
    if others:
        names = ", ".join(f"'{column.label.name}'" for column in others[:6])
        text = f"Of another length than the channels and left aside: {names}."
        findings += (Finding("arrays-unused", "note", text),)
    return Table(
        reader=reader,
        labels=labels,
        columns=tuple(arrays),
        time=time,
        interval_s=interval_s,
        place=lambda row: f"{source.name}: sample {row + 1}",
        remedy=remedy,
        fallback="channel",
        findings=findings,
        settings=settings or {},
    )


def _columns(collected: Collected) -> Iterable[_Column]:
    """Take vectors as they are, and tables apart along their shorter axis."""
    for array in collected.arrays:
        sides = [side for side in array.shape if side != 1]
        label = parse_label(array.path[-1])
        label = Label(label.name, array.unit or label.unit)
        if len(sides) == 1:
            yield _Column(label, array.path, sides[0], array.load)
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
    whole: list[npt.NDArray[Any]] = []

    def load(index: int) -> npt.NDArray[Any]:
        if not whole:
            values = np.asarray(array.load()).reshape(sides)
            whole.append(values.T if is_turned else values)
        return whole[0][:, index]

    for index in range(width):
        label = parse_label(names[index]) if len(names) == width else Label("", array.unit)
        path = (*array.path, label.name or f"channel {index + 1}")
        yield _Column(label, path, rows, lambda index=index: load(index))  # type: ignore[misc]


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
