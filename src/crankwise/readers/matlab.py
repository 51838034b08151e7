"""MATLAB files: version 5 to 7 by SciPy, version 7.3 as the HDF5 it is."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.model.recording import Recording
from crankwise.readers.arrays import (
    Collected,
    NamedArray,
    is_column_names,
    is_signal_shape,
    to_table,
)
from crankwise.readers.contract import CERTAIN, NOT_MINE, ReadOptions, Source
from crankwise.readers.foreign import damaged_unless_read, optional
from crankwise.readers.hdf5 import check_dataset, parts_of
from crankwise.readers.hdf5_look import look_first
from crankwise.readers.matlab_parts import check_parts_of
from crankwise.readers.stated import notes_from_metadata
from crankwise.readers.table import to_recording

_TEXT_5 = b"MATLAB 5.0 MAT-file"
_TEXT_73 = b"MATLAB 7.3 MAT-file"


class MatlabReader:
    """``.mat`` files: vectors, matrices and structures with them."""

    name = "MATLAB"
    suffixes = (".mat",)

    def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002 - content decides
        """Look for the text that begins these files."""
        return CERTAIN if head.startswith((_TEXT_5, _TEXT_73)) else NOT_MINE

    def read(self, source: Source, options: ReadOptions) -> Recording:
        """Read the variables by name."""
        with source.path.open("rb") as file:
            is_73 = file.read(len(_TEXT_73)) == _TEXT_73
        with damaged_unless_read(source, "MATLAB"):
            collected = _collect_73(source) if is_73 else _collect_5(source)
        table = to_table(
            collected,
            source,
            reader=self.name,
            remedy="save a variable 'time_s' or 'interval_s' beside the channels",
            settings={"version": "7.3" if is_73 else "5"},
        )
        return to_recording(table, source, options)


def _collect_5(source: Source) -> Collected:
    from scipy.io import loadmat  # noqa: PLC0415 - heavy, only needed once reading begins

    check_parts_of(source)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of names that stand twice: the last counts
        variables = loadmat(source.path, squeeze_me=True, struct_as_record=True)
    found = Collected()
    single: dict[str, Any] = {}
    names: tuple[str, ...] = ()
    for path, value in _flatten((), variables):
        if is_signal_shape(value.shape, value.dtype.kind):
            found.arrays.append(NamedArray(path, value.shape, value.__getitem__))
        elif value.size == 1 and value.dtype.kind in "fiuU":
            single[path[-1]] = value.reshape(-1)[0]
        elif value.dtype.kind in "UO" and is_column_names(path[-1]):
            names = tuple(str(text).strip() for text in value.reshape(-1))
    return Collected(found.arrays, notes_from_metadata(single), names)


def _flatten(
    path: tuple[str, ...], variables: Mapping[str, Any]
) -> Iterator[tuple[tuple[str, ...], npt.NDArray[Any]]]:
    """Walk through variables and the fields of structures."""
    for name, value in variables.items():
        if name.startswith("__"):
            continue
        array = np.asarray(value)
        if array.dtype.names:
            if array.size == 1:
                record = array.reshape(-1)[0]
                fields = {field: record[field] for field in array.dtype.names}
                yield from _flatten((*path, name), fields)
            continue
        yield (*path, name), array


def _collect_73(source: Source) -> Collected:
    h5py = optional("h5py", extra="formats", source=source)
    arrays: list[NamedArray] = []
    single: dict[str, Any] = {}
    look_first(source)
    with h5py.File(source.path, "r") as file:
        for name, item in parts_of(file):
            path = tuple(name.split("/"))
            if path[0].startswith("#") or not isinstance(item, h5py.Dataset):
                continue
            kind = item.attrs.get("MATLAB_class", b"double")
            is_number = item.dtype.kind in "fiub" and kind not in (
                b"char",
                b"cell",
                b"function_handle",
            )
            if is_number and item.size == 1:
                single[path[-1]] = item[()].reshape(-1)[0]
            elif is_number and is_signal_shape(item.shape, item.dtype.kind):
                check_dataset(item, source)
                values = item[()]
                arrays.append(NamedArray(path, values.shape, values.__getitem__))
    return Collected(arrays, notes_from_metadata(single))
