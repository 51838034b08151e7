"""Numbers for scripts of a page, packed as bytes.

The layout, all numbers little-endian: four bytes ``CWL1``; the length of the head in bytes, as an
unsigned 32-bit number; the head, a JSON object padded with spaces so that what follows begins at a
multiple of eight; then the arrays, each padded with zeros to a multiple of eight. The head's
``arrays`` lists them: ``[name, kind, count, offset]``, with ``kind`` one of ``f32``, ``f64``,
``i16``, ``i32``, ``u8`` and ``offset`` counted in bytes from the end of the head.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import numpy.typing as npt

_MAGIC: Final = b"CWL1"
_ALIGNED: Final = 8
_KINDS: Final = {
    np.dtype("<f4"): "f32", np.dtype("<f8"): "f64", np.dtype("<i2"): "i16",
    np.dtype("<i4"): "i32", np.dtype("u1"): "u8", np.dtype("?"): "u8",
}  # fmt: skip


def packed(head: Mapping[str, object], arrays: Mapping[str, npt.NDArray[Any]]) -> bytes:
    """Pack a head and arrays; an array of several rows goes row by row."""
    listed: list[list[object]] = []
    parts: list[bytes] = []
    offset = 0
    for name, array in arrays.items():
        kind = _KINDS[array.dtype.newbyteorder("<")]
        data = np.ascontiguousarray(array, dtype=array.dtype.newbyteorder("<")).tobytes()
        listed.append([name, kind, array.size, offset])
        parts.append(_padded(data, b"\0"))
        offset += len(parts[-1])
    text = json.dumps({**head, "arrays": listed}, allow_nan=False, separators=(",", ":"))
    before = len(_MAGIC) + 4
    body = text.encode().ljust(-(-(before + len(text.encode())) // _ALIGNED) * _ALIGNED - before)
    return b"".join((_MAGIC, len(body).to_bytes(4, "little"), body, *parts))


def _padded(data: bytes, filler: bytes) -> bytes:
    return data.ljust(-(-len(data) // _ALIGNED) * _ALIGNED, filler)
