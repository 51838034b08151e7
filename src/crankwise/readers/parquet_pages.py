"""The pages of a Parquet file, looked over before polars makes room for what they state.

Layout from the Apache Parquet format (``parquet.thrift``) and Thrift's compact protocol. Where a
page states far more values than its column has, polars ends the whole process.
"""

from __future__ import annotations

import io
import struct
from typing import Any

from crankwise.readers.contract import Source
from crankwise.readers.limits import DEEPEST, check_growth, check_parts

_TAIL_BYTES = 8
_PAGE_HEAD_BYTES = 1 << 13
_TRUE, _FALSE, _BYTE, _DOUBLE, _BINARY, _STRUCT = 1, 2, 3, 7, 8, 12
_WHOLE, _LISTS = (4, 5, 6), (9, 10)
_ROW_GROUPS, _COLUMNS, _META = 4, 1, 3
_VALUES, _PACKED_BYTES, _DATA_AT, _DICTIONARY_AT = 5, 7, 9, 11
_UNPACKED, _PACKED, _HEADERS = 2, 3, (5, 7, 8)


def check_pages(source: Source) -> None:
    """Hold the counts and lengths of every page against its column and the file.

    Raises
    ------
    UnreadableError
        They unpack to far too much.
    ValueError
        A page states more values than its column has, or reaches beyond the file.
    """
    size = source.path.stat().st_size
    grown = pages = 0
    with source.path.open("rb") as file:
        file.seek(size - _TAIL_BYTES)
        length = int.from_bytes(file.read(4), "little")
        file.seek(max(size - _TAIL_BYTES - length, 0))
        footer = _structure(io.BytesIO(file.read(length)))
        for group in footer.get(_ROW_GROUPS, []):
            for column in group[_COLUMNS]:
                meta = column[_META]
                starts = [meta[key] for key in (_DATA_AT, _DICTIONARY_AT) if meta.get(key)]
                place = min(starts)
                end = place + meta[_PACKED_BYTES]
                if not 0 <= place <= end <= size:
                    raise ValueError("a column is outside the file")
                while place < end:
                    pages += 1
                    check_parts(pages // 100)
                    file.seek(place)
                    head = io.BytesIO(file.read(_PAGE_HEAD_BYTES))
                    page = _structure(head)
                    values = max(page[key][1] for key in _HEADERS if key in page)
                    if not 0 <= values <= max(meta[_VALUES], 0) or page[_PACKED] < 0:
                        raise ValueError("a page states more values than its column has")
                    grown += page[_UNPACKED] + values // 8  # a bit for each, if it is there
                    check_growth(source.name, unpacked_bytes=grown, packed_bytes=size)
                    place += head.tell() + page[_PACKED]


def _structure(data: io.BytesIO, depth: int = 0) -> dict[int, Any]:
    """Fields of a structure by number, in Thrift's compact protocol."""
    if depth > DEEPEST:
        raise ValueError("too deep")
    fields: dict[int, Any] = {}
    number = 0
    while head := _byte(data):
        number = number + (head >> 4) if head >> 4 else _signed(data)
        kind = head & 15
        fields[number] = kind == _TRUE if kind in (_TRUE, _FALSE) else _value(data, kind, depth)
    return fields


def _value(data: io.BytesIO, kind: int, depth: int) -> Any:
    if kind in _WHOLE:
        return _signed(data)
    if kind == _BINARY:
        return data.read(_varint(data))
    if kind == _STRUCT:
        return _structure(data, depth + 1)
    if kind in (_BYTE, _TRUE, _FALSE):
        return _byte(data)
    if kind == _DOUBLE:
        return struct.unpack("<d", data.read(8))[0]
    if kind in _LISTS:
        head = _byte(data)
        count = head >> 4 if head >> 4 < 15 else _varint(data)
        return [_value(data, head & 15, depth + 1) for _ in range(count)]
    raise ValueError("an unknown kind of field")


def _byte(data: io.BytesIO) -> int:
    taken = data.read(1)
    if not taken:
        raise ValueError("cut short")
    return taken[0]


def _varint(data: io.BytesIO) -> int:
    number = shift = 0
    while True:
        taken = _byte(data)
        number |= (taken & 127) << shift
        shift += 7
        if taken < 128 or shift > 63:
            return number


def _signed(data: io.BytesIO) -> int:
    number = _varint(data)
    return number >> 1 ^ -(number & 1)
