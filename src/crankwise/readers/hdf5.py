"""HDF5: vectors, tables and compound tables, with units and intervals in attributes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

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
from crankwise.readers.stated import notes_from_metadata
from crankwise.readers.table import Table, to_recording

_SIGNATURE = b"\x89HDF\r\n\x1a\n"
_REMEDY = "write an attribute 'interval_s' or a dataset 'time' with its unit"
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
        with damaged_unless_read(source, self.name), h5py.File(source.path, "r") as file:
            table = to_table(_collect(file, h5py), source, reader=self.name, remedy=_REMEDY)
        return to_recording(table, source, options)

    def parts(self, source: Source, options: ReadOptions) -> Iterator[Table]:
        """Read the datasets range by range."""
        h5py = optional("h5py", extra="formats", source=source)
        with damaged_unless_read(source, self.name), h5py.File(source.path, "r") as file:
            collected = _collect(file, h5py)
            yield from to_tables(collected, source, options, reader=self.name, remedy=_REMEDY)


def _collect(file: Any, h5py: Any) -> Collected:
    """Walk through the file, and gather datasets and the attributes that say something."""
    arrays: list[NamedArray] = []
    notes = notes_from_metadata(_single(file.attrs))
    names: list[str] = []

    def visit(name: str, item: Any) -> None:
        path = tuple(name.split("/"))
        notes.extend(notes_from_metadata(_single(item.attrs)))
        if not isinstance(item, h5py.Dataset):
            return
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
        elif is_column_names(path[-1]):
            names.extend(_text(text) for text in np.asarray(item[()]).reshape(-1))

    file.visititems(visit)
    root_names = _columns(file)
    return Collected(arrays, notes, root_names or tuple(names))


def _field(item: Any, name: str) -> Callable[[Index], Any]:
    """Read parts of one field of a compound dataset."""
    return lambda index: item.fields(name)[index]


def _unit(item: Any) -> str | None:
    """Return the unit in a dataset's attributes."""
    for name in _UNIT_NAMES:
        if name in item.attrs:
            return _text(item.attrs[name]).strip() or None
    return None


def _columns(item: Any) -> tuple[str, ...]:
    """Names of columns in an item's attributes; a text may list them between commas."""
    for name, value in item.attrs.items():
        if is_column_names(name):
            values = np.asarray(value).reshape(-1)
            if len(values) == 1:
                return tuple(part.strip() for part in _text(values[0]).split(","))
            return tuple(_text(text) for text in values)
    return ()


def _single(metadata: Mapping[str, Any]) -> dict[str, Any]:
    """Keep single values, out of arrays of length one too."""
    return {
        name: np.asarray(value).reshape(-1)[0]
        for name, value in metadata.items()
        if np.asarray(value).size == 1
    }


def _text(value: Any) -> str:
    return value.decode(errors="replace") if isinstance(value, bytes) else str(value)
