"""The heaps of an HDF5 file that hold texts, looked over before its library reads them.

Layout from the HDF5 File Format Specification 3.0, III.E "Global Heap". On a heap whose objects
state a size of nothing the library goes round for ever.
"""

from __future__ import annotations

import mmap
import struct

from crankwise.readers.contract import Source

_MARK = b"GCOL\x01\0\0\0"
_HEAD_BYTES = 16
_OBJECT = struct.Struct("<HHxxxxQ")


def check_heaps(source: Source) -> None:
    """Hold the objects of every heap against its size.

    Raises
    ------
    ValueError
        One has no size, or reaches beyond its heap.
    """
    with (
        source.path.open("rb") as file,
        mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content,
    ):
        place = content.find(_MARK)
        while place >= 0:
            _check_heap(content, place)
            place = content.find(_MARK, place + _HEAD_BYTES)


def _check_heap(content: mmap.mmap, place: int) -> None:
    size = int.from_bytes(content[place + 8 : place + _HEAD_BYTES], "little")
    end = place + size
    if end > len(content):
        raise ValueError("a heap is longer than the file")
    place += _HEAD_BYTES
    while place + _OBJECT.size <= end:
        number, _, length = _OBJECT.unpack_from(content, place)
        # What is free counts its own head, and ends the heap.
        taken = _OBJECT.size + length + -length % 8 if number else length
        if taken < _OBJECT.size or place + taken > end:
            raise ValueError("a heap is torn")
        place += taken
