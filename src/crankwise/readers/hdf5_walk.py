"""Walk through an HDF5 file as its reader does; run as a script in a process of its own.

See :mod:`crankwise.readers.hdf5_look`.
"""

from __future__ import annotations

import sys
from typing import Any

_MOST_NOTE_BYTES, _MOST_TEXTS = 1 << 20, 1 << 16


def walk(path: str) -> None:
    """Read every attribute, and every dataset that holds no numbers."""
    import h5py  # noqa: PLC0415  an optional package

    def look(_name: str, item: Any) -> None:
        for key in item.attrs:
            if item.attrs.get_id(key).get_storage_size() <= _MOST_NOTE_BYTES:
                item.attrs[key]
        if (
            isinstance(item, h5py.Dataset)
            and item.dtype.kind not in "fiub"
            and item.size <= _MOST_TEXTS
        ):
            item[()]

    with h5py.File(path, "r") as file:
        look("", file)
        file.visititems(look)


if __name__ == "__main__":
    walk(sys.argv[1])
