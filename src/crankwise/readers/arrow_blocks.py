"""The packed buffers of an Arrow file, looked over before polars makes room for them.

Layout from the Arrow Columnar Format, "IPC File Format" and "Compression", and from the FlatBuffers
binary format. Where a packed buffer states an absurd length, polars ends the whole process.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import IO

from crankwise.readers.contract import Source
from crankwise.readers.limits import check_growth, check_parts

_TAIL_BYTES = 10
_DICTIONARY, _RECORDS = 2, 3
_FOOTER_DICTIONARIES, _FOOTER_RECORDS = 2, 3
_MESSAGE_KIND, _MESSAGE_HEADER = 1, 2
_RECORDS_BUFFERS, _RECORDS_PACKING = 2, 3
_DICTIONARY_RECORDS = 1
_MOST_HEADER_BYTES = 1 << 24
_NOT_PACKED = -1


def check_blocks(source: Source) -> None:
    """Hold the lengths that packed buffers state against the file.

    Raises
    ------
    UnreadableError
        They unpack to far too much.
    ValueError, struct.error
        A block is not where it is said to be.
    """
    size = source.path.stat().st_size
    grown = 0
    with source.path.open("rb") as file:
        for count, (place, head_bytes, body_bytes) in enumerate(_blocks(file, size), start=1):
            check_parts(count)
            if not 0 <= place <= place + head_bytes + body_bytes <= size:
                raise ValueError("a block is outside the file")
            for length in _unpacked_lengths(file, place, head_bytes, body_bytes):
                grown += length
                check_growth(source.name, unpacked_bytes=grown, packed_bytes=size)


def _blocks(file: IO[bytes], size: int) -> Iterator[tuple[int, int, int]]:
    """Place, length of the header and of the body of every block that the footer lists."""
    file.seek(size - _TAIL_BYTES)
    length = int.from_bytes(file.read(4), "little")
    if length > min(size, _MOST_HEADER_BYTES):
        raise ValueError("the footer is longer than the file")
    file.seek(size - _TAIL_BYTES - length)
    footer = _Table.root(file.read(length))
    for field in (_FOOTER_DICTIONARIES, _FOOTER_RECORDS):
        for entry in footer.entries(field, 24):
            yield struct.unpack("<qi4xq", entry)


def _unpacked_lengths(
    file: IO[bytes], place: int, head_bytes: int, body_bytes: int
) -> Iterator[int]:
    """Lengths that the packed buffers of a block state."""
    if head_bytes > _MOST_HEADER_BYTES:
        raise ValueError("a header is too long")
    file.seek(place)
    head = file.read(head_bytes)
    begin = 8 if head.startswith(b"\xff\xff\xff\xff") else 4
    message = _Table.root(head[begin:])
    kind = message.byte(_MESSAGE_KIND)
    records = message.table(_MESSAGE_HEADER)
    if kind == _DICTIONARY and records is not None:
        records = records.table(_DICTIONARY_RECORDS)
    if kind not in (_DICTIONARY, _RECORDS) or records is None:
        return
    if records.table(_RECORDS_PACKING) is None:
        return
    for entry in records.entries(_RECORDS_BUFFERS, 16):
        offset, length = struct.unpack("<qq", entry)
        if not 0 <= offset <= offset + length <= body_bytes:
            raise ValueError("a buffer is outside its block")
        if length:
            file.seek(place + head_bytes + offset)
            (stated,) = struct.unpack("<q", file.read(8))
            if stated < _NOT_PACKED:
                raise ValueError("a packed buffer has a negative length")
            yield length if stated == _NOT_PACKED else stated


class _Table:
    """A FlatBuffers table: its fields are found through its list of offsets."""

    def __init__(self, content: bytes, place: int) -> None:
        self._content, self._place = content, place
        self._list = place - self._number("<i", place)

    @classmethod
    def root(cls, content: bytes) -> _Table:
        """The table that a buffer begins with."""
        return cls(content, int(struct.unpack_from("<I", content)[0]))

    def _number(self, form: str, place: int) -> int:
        if place < 0:
            raise ValueError("an offset leads before the beginning")
        return int(struct.unpack_from(form, self._content, place)[0])

    def _field(self, index: int) -> int:
        """Place of a field; 0 if it is left out."""
        at = 4 + 2 * index
        if at >= self._number("<H", self._list):
            return 0
        offset = self._number("<H", self._list + at)
        return self._place + offset if offset else 0

    def byte(self, index: int) -> int:
        """A field of one byte."""
        place = self._field(index)
        return self._number("<B", place) if place else 0

    def table(self, index: int) -> _Table | None:
        """A field that is a table."""
        place = self._field(index)
        return _Table(self._content, place + self._number("<I", place)) if place else None

    def entries(self, index: int, size: int) -> Iterator[bytes]:
        """Entries of a list of structures of so many bytes."""
        place = self._field(index)
        if not place:
            return
        place += self._number("<I", place)
        count = self._number("<I", place)
        if place + 4 + count * size > len(self._content):
            raise ValueError("a list is longer than what holds it")
        for number in range(count):
            begin = place + 4 + number * size
            yield self._content[begin : begin + size]
