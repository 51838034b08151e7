"""Arrays of 16-bit numbers written and read row by row, in ``.npy`` files.

Neither side holds more than the rows at hand. Reading asks the file for just these: a mapped file
would be read page by page, which takes many times as long.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
from numpy.lib import format as npy

from crankwise.levels.scale import Steps

_TYPE: Final = np.dtype(np.int16)


class RowWriter:
    """Appends rows to a file; whole once it is closed.

    NumPy pads the header so that the number of rows may grow in place.
    """

    def __init__(self, path: Path, *, row_shape: tuple[int, ...] = ()) -> None:
        self._shape = row_shape
        self._rows = 0
        self._file = path.open("wb")
        self._write_header()

    def append(self, rows: Steps) -> None:
        """Write rows."""
        self._file.write(np.ascontiguousarray(rows).data)
        self._rows += len(rows)

    def close(self) -> int:
        """Finish the file and return how many rows there are."""
        self._file.seek(0)
        self._write_header()
        self._file.close()
        return self._rows

    def _write_header(self) -> None:
        described = {
            "descr": npy.dtype_to_descr(_TYPE),
            "fortran_order": False,
            "shape": (self._rows, *self._shape),
        }
        npy.write_array_header_1_0(self._file, described)


class RowReader:
    """Reads rows from a file that :class:`RowWriter` wrote."""

    def __init__(self, path: Path) -> None:
        self._path = path
        with path.open("rb") as file:
            npy.read_magic(file)
            shape, _, _ = npy.read_array_header_1_0(file)
            self._data = file.tell()
        self._rows, self._row_shape = int(shape[0]), tuple(shape[1:])
        self._row_items = int(np.prod(self._row_shape, dtype=np.int64))

    def __len__(self) -> int:
        return self._rows

    def rows(self, begin: int, end: int) -> Steps:
        """Return the rows from ``begin`` up to, not including, ``end``; fewer at the file's end."""
        begin, end = max(begin, 0), min(end, self._rows)
        flat = np.fromfile(
            self._path,
            dtype=_TYPE,
            count=max(end - begin, 0) * self._row_items,
            offset=self._data + begin * self._row_items * _TYPE.itemsize,
        )
        return flat.reshape(-1, *self._row_shape)
