"""HDF5: vectors, tables and compound tables, with units and intervals in attributes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import prod
from pathlib import Path
from typing import Any

import numpy as np

from crankwise.errors import UnreadableError
from crankwise.model.recording import Recording
from crankwise.readers.arrays import (
    Collected,
    Index,
    NamedArray,
    is_column_names,
    is_signal_shape,
    to_table,
    to_tables,
)
from crankwise.readers.contract import CERTAIN, NOT_MINE, ReadOptions, Source
from crankwise.readers.foreign import damaged_unless_read, optional
from crankwise.readers.hdf5_look import look_first
from crankwise.readers.limits import MOST_CHANNELS, check_growth, check_parts
from crankwise.readers.stated import notes_from_metadata
from crankwise.readers.table import Table, to_recording

_SIGNATURE = b"\x89HDF\r\n\x1a\n"
_REMEDY = "write an attribute 'interval_s' or a dataset 'time' with its unit"
_MOST_CHUNK_BYTES, _MOST_NOTE_BYTES = 1 << 28, 1 << 20
_UNIT_NAMES = ("units", "unit", "Units", "Unit", "unit_string")


class Hdf5Reader:
    """HDF5 files of any plain layout; needs the package h5py."""

    name = "HDF5"
    suffixes = (".h5", ".hdf5", ".hdf", ".he5")

    def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002 - content decides
        """Look for the signature, at the places the format allows for it."""
        places = (0, 512, 1024, 2048, 4096, 8192)
        found = any(head[place : place + 8] == _SIGNATURE for place in places)
        # A MATLAB 7.3 file is HDF5 behind a block of text; its own reader knows it better.
        return CERTAIN if found and not head.startswith(b"MATLAB") else NOT_MINE

    def read(self, source: Source, options: ReadOptions) -> Recording:
        """Read the datasets."""
        h5py = optional("h5py", extra="formats", source=source)
        with damaged_unless_read(source, self.name):
            look_first(source)
        with damaged_unless_read(source, self.name), h5py.File(source.path, "r") as file:
            table = to_table(_collect(file, h5py, source), source, reader=self.name, remedy=_REMEDY)
        return to_recording(table, source, options)

    def parts(self, source: Source, options: ReadOptions) -> Iterator[Table]:
        """Read the datasets range by range."""
        h5py = optional("h5py", extra="formats", source=source)
        with damaged_unless_read(source, self.name):
            look_first(source)
        with damaged_unless_read(source, self.name), h5py.File(source.path, "r") as file:
            collected = _collect(file, h5py, source)
            yield from to_tables(collected, source, options, reader=self.name, remedy=_REMEDY)


def _collect(file: Any, h5py: Any, source: Source) -> Collected:
    """Walk through the file, and gather datasets and the attributes that say something."""
    arrays: list[NamedArray] = []
    notes = notes_from_metadata(_single(file))
    names: list[str] = []
    for name, item in parts_of(file):
        path = tuple(name.split("/"))
        notes.extend(notes_from_metadata(_single(item)))
        if not isinstance(item, h5py.Dataset) or item.shape is None:
            continue
        check_dataset(item, source)
        if item.dtype.names:
            arrays.extend(
                NamedArray((*path, field), item.shape, _field(item, field))
                for field in item.dtype.names
                if is_signal_shape(item.shape, item.dtype[field].kind)
            )
        elif item.dtype.kind in "fiub" and item.size == 1:
            notes.extend(notes_from_metadata({path[-1]: np.asarray(item[()]).reshape(-1)[0]}))
        elif is_signal_shape(item.shape, item.dtype.kind):
            arrays.append(
                NamedArray(path, item.shape, item.__getitem__, _unit(item), _columns(item))
            )
        elif is_column_names(path[-1]) and item.size <= MOST_CHANNELS:
            names.extend(_text(text) for text in np.asarray(item[()]).reshape(-1))
    root_names = _columns(file)
    return Collected(arrays, notes, root_names or tuple(names))


def parts_of(file: Any) -> list[tuple[str, Any]]:
    """Groups and datasets by their names; links to other places or files are not followed.

    Raises
    ------
    ValueError
        There are far too many.
    """
    found: list[tuple[str, Any]] = []

    def visit(name: str, item: Any) -> None:
        found.append((name, item))
        check_parts(len(found), depth=name.count("/"))

    file.visititems(visit)
    return found


def check_dataset(item: Any, source: Source) -> None:
    """Refuse a dataset whose numbers are elsewhere, or far more than the file can hold.

    Raises
    ------
    UnreadableError
        Naming it, or the size.
    ValueError
        What would be unpacked in one piece is too large.
    """
    if item.external or item.is_virtual:
        raise UnreadableError(
            f"{source.name}: '{item.name}' keeps its numbers in another file, which is not opened. "
            "Save all of it in one file"
        )
    packed_bytes = source.path.stat().st_size
    check_growth(source.name, unpacked_bytes=item.nbytes, packed_bytes=packed_bytes)
    if item.chunks and prod(item.chunks) * item.dtype.itemsize > _MOST_CHUNK_BYTES:
        raise ValueError("a chunk is far too large")


def _field(item: Any, name: str) -> Callable[[Index], Any]:
    """Read parts of one field of a compound dataset."""
    return lambda index: item.fields(name)[index]


def _unit(item: Any) -> str | None:
    """Return the unit in a dataset's attributes."""
    stated = dict(_attributes(item))
    units = (_text(stated[name]).strip() for name in _UNIT_NAMES if name in stated)
    return next(units, None) or None


def _columns(item: Any) -> tuple[str, ...]:
    """Names of columns in an item's attributes; a text may list them between commas."""
    for name, value in _attributes(item):
        if is_column_names(name):
            values = np.asarray(value).reshape(-1)
            if len(values) == 1:
                return tuple(part.strip() for part in _text(values[0]).split(","))
            return tuple(_text(text) for text in values)
    return ()


def _single(item: Any) -> dict[str, Any]:
    """Single values among an item's attributes, out of arrays of length one too."""
    return {
        name: np.asarray(value).reshape(-1)[0]
        for name, value in _attributes(item)
        if np.asarray(value).size == 1
    }


def _attributes(item: Any) -> Iterator[tuple[str, Any]]:
    """Attributes of a size that says something; h5py would make room for any."""
    for name in item.attrs:
        if item.attrs.get_id(name).get_storage_size() <= _MOST_NOTE_BYTES:
            yield name, item.attrs[name]


def _text(value: Any) -> str:
    return value.decode(errors="replace") if isinstance(value, bytes) else str(value)
