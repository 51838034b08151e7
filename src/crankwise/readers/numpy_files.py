"""NumPy's own files: ``.npy`` with one array, ``.npz`` with several by name."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from math import prod
from pathlib import Path
from typing import IO, Any
from warnings import catch_warnings, simplefilter

import numpy as np
import numpy.typing as npt
from numpy.lib import format as npy
from numpy.lib.format import open_memmap

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
from crankwise.readers.foreign import damaged_unless_read
from crankwise.readers.limits import check_growth, check_parts
from crankwise.readers.signals import NotPlainError
from crankwise.readers.stated import notes_from_metadata
from crankwise.readers.table import Table, to_recording

_MAGIC = b"\x93NUMPY"
_REMEDY = "save an array 'time_s' or a number 'interval_s' beside the channels"
_ZIP = b"PK\x03\x04"
_LONGEST_HEADER = 10_000  # as NumPy has it, which reads it first
_DEFLATES_AT_MOST = 1100
"""A little more than the 1032 times that deflate packs zeros (zlib's technical details)."""


class NumpyReader:
    """``.npy`` and ``.npz``; pickled objects inside are never loaded."""

    name = "NumPy"
    suffixes = (".npy", ".npz")

    def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002 - content decides
        """Look for the array signature, in a zip at its first member."""
        if head.startswith(_MAGIC):
            return CERTAIN
        first_name = head[30 : 30 + int.from_bytes(head[26:28], "little")]
        return CERTAIN if head.startswith(_ZIP) and first_name.endswith(b".npy") else NOT_MINE

    def read(self, source: Source, options: ReadOptions) -> Recording:
        """Read the arrays by name."""
        with damaged_unless_read(source, "NumPy"), _quietly():
            collected = _collect(_arrays(source))
        table = to_table(collected, source, reader=self.name, remedy=_REMEDY)
        return to_recording(table, source, options)

    def parts(self, source: Source, options: ReadOptions) -> Iterator[Table]:
        """Read the one array of a ``.npy`` file range by range."""
        with source.path.open("rb") as file:
            if file.read(len(_MAGIC)) != _MAGIC:
                raise NotPlainError
            with damaged_unless_read(source, "NumPy"), _quietly():
                _check_array(file, source.path.stat().st_size)
        with damaged_unless_read(source, "NumPy"):
            collected = _collect({source.path.stem: _mapped(source.path)})
            collected = replace(
                collected, arrays=[_reopened(array, source.path) for array in collected.arrays]
            )
            yield from to_tables(collected, source, options, reader=self.name, remedy=_REMEDY)


def _reopened(array: NamedArray, path: Path) -> NamedArray:
    """Map the file anew for each part: pages of one map would stay in memory until its end."""

    def load(index: Index) -> npt.NDArray[Any]:
        mapped = _mapped(path)
        return np.array((mapped[array.path[-1]] if mapped.dtype.names else mapped)[index])

    return replace(array, load=load)


def _mapped(path: Path) -> npt.NDArray[Any]:
    with _quietly():
        return open_memmap(path, mode="r")


@contextmanager
def _quietly() -> Iterator[None]:
    """Keep what Python and NumPy think of an odd header from the terminal."""
    with catch_warnings():
        simplefilter("ignore")
        yield


def _arrays(source: Source) -> Mapping[str, npt.NDArray[Any]]:
    with source.path.open("rb") as file:  # opened here, since np.load leaks it on damaged files
        size = source.path.stat().st_size
        if file.read(len(_MAGIC)) == _MAGIC:
            _check_array(file, size)
            return {source.path.stem: np.load(file, allow_pickle=False)}
        _check_members(file, source, size)
        loaded = np.load(file, allow_pickle=False)
        return {name: loaded[name] for name in loaded.files}


def _check_members(file: IO[bytes], source: Source, size: int) -> None:
    """Hold the sizes that the members of a zip state against what can be packed."""
    with zipfile.ZipFile(file) as archive:
        members = archive.infolist()
        check_parts(len(members))
        unpacked_bytes = sum(member.file_size for member in members)
        check_growth(source.name, unpacked_bytes=unpacked_bytes, packed_bytes=size)
        if unpacked_bytes > _DEFLATES_AT_MOST * size:
            raise ValueError("more is stated than can be packed")
        for member in members:
            with archive.open(member) as inner:
                if inner.read(len(_MAGIC)) == _MAGIC:
                    _check_array(inner, member.file_size)
    file.seek(0)


def _check_array(file: IO[bytes], size: int) -> None:
    """Hold the shape that an array's header states against the bytes that are there."""
    file.seek(0)
    version = npy.read_magic(file)
    if version != (1, 0) and int.from_bytes(file.read(4), "little") > _LONGEST_HEADER:
        raise ValueError("the header is too long")
    file.seek(len(_MAGIC) + 2)
    read_header = npy.read_array_header_1_0 if version == (1, 0) else npy.read_array_header_2_0
    shape, _, kind = read_header(file)
    if any(side < 0 for side in shape) or prod(shape) * kind.itemsize > size:
        raise ValueError("the array is longer than the file")
    file.seek(0)


def _collect(arrays: Mapping[str, npt.NDArray[Any]]) -> Collected:
    """Sort arrays into signals, single values and names of columns."""
    found: list[NamedArray] = []
    single: dict[str, Any] = {}
    names: tuple[str, ...] = ()
    for name, array in arrays.items():
        if array.dtype.names:
            found += [
                _named(field, array[field])
                for field in array.dtype.names
                if array.dtype[field] != "O"
            ]
        elif is_signal_shape(array.shape, array.dtype.kind):
            found.append(_named(name, array))
        elif array.size == 1:
            single[name] = array.reshape(-1)[0]
        elif array.dtype.kind in "US" and is_column_names(name):
            names = tuple(str(text) for text in array.reshape(-1))
    return Collected(found, notes_from_metadata(single), names)


def _named(name: str, array: npt.NDArray[Any]) -> NamedArray:
    return NamedArray((name,), array.shape, array.__getitem__)
