"""The parts of a MATLAB 5 file, looked over before SciPy makes room for what they state.

Layout from the MathWorks documentation "MAT-File Format", chapter 1. SciPy makes as many cells as
the dimensions say and goes into cells in cells without end; here both are held against the bytes
that are there. Numbers themselves are passed over.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from math import prod
from typing import IO, Protocol

from crankwise.readers.contract import Source
from crankwise.readers.limits import check_growth, check_parts

_HEADER_BYTES = 128
_BLOCK = 1 << 16
_MATRIX, _COMPRESSED = 14, 15
_NUMBERS = frozenset((*range(1, 8), 9, 12, 13))
_TEXTS = _NUMBERS | {16, 17, 18}
_KINDS = _TEXTS | {_MATRIX}
"""Kinds of elements; SciPy looks others up where there is nothing."""

_CELL, _STRUCT, _OBJECT, _CHAR, _SPARSE, _FUNCTION, _OPAQUE = 1, 2, 3, 4, 5, 16, 17
_TAG_OF_FLAGS, _COMPLEX = (6, 8), 0x0800
_LONGEST_NAMES = 1 << 20


def check_parts_of(source: Source) -> None:
    """Hold the stated sizes of all variables against the bytes that are there.

    Raises
    ------
    ValueError
        A size is wrong.
    UnreadableError
        It unpacks to far more than its size.
    """
    size = source.path.stat().st_size
    with source.path.open("rb") as file:
        head = file.read(_HEADER_BYTES)
        order = "<" if head[126:128] == b"IM" else ">"
        seen = _Seen(source.name, size, order)
        while file.tell() < size:
            kind, count, small = _tag(file.read(8), order)
            if small is not None or not count or file.tell() + count > size:
                raise ValueError("a variable is longer than the file")
            following = file.tell() + count
            if kind == _COMPRESSED:
                inner = _Bytes(_unpacked(file, count, seen))
                kind, count, _ = _tag(inner.take(8), order)
                _check_matrix(_Part(inner, count), kind, seen, depth=0)
            else:
                _check_matrix(_Part(_Bytes(_blocks(file, count)), count), kind, seen, depth=0)
            file.seek(following)


class _Seen:
    """What all parts have in common: how many there were, and how far they grew."""

    def __init__(self, name: str, size: int, order: str) -> None:
        self.order = order
        self._name, self._size = name, size
        self._parts = self._grown = 0

    def one_more(self, depth: int) -> None:
        """Count a part."""
        self._parts += 1
        check_parts(self._parts, depth=depth)

    def grow(self, count: int) -> None:
        """Count unpacked bytes."""
        self._grown += count
        check_growth(self._name, unpacked_bytes=self._grown, packed_bytes=self._size)


def _tag(head: bytes, order: str) -> tuple[int, int, bytes | None]:
    """Kind and length of an element, and its bytes if they stand in the tag itself."""
    if len(head) < 8:
        raise ValueError("cut short")
    kind, count = struct.unpack(f"{order}II", head)
    if kind >> 16:
        return kind & 0xFFFF, kind >> 16, head[4 : 4 + min(kind >> 16, 4)]
    return kind, count, None


def _blocks(file: IO[bytes], count: int) -> Iterator[bytes]:
    while count and (block := file.read(min(count, _BLOCK))):
        count -= len(block)
        yield block


def _unpacked(file: IO[bytes], count: int, seen: _Seen) -> Iterator[bytes]:
    unpacker = zlib.decompressobj()
    for block in _blocks(file, count):
        rest = block
        while rest and not unpacker.eof:
            content = unpacker.decompress(rest, 1 << 20)
            rest = unpacker.unconsumed_tail
            seen.grow(len(content))
            yield content


class _Readable(Protocol):
    """Something that bytes come out of."""

    def take(self, count: int) -> bytes:
        """Next so many bytes."""

    def skip(self, count: int) -> None:
        """Pass over so many bytes."""


class _Bytes:
    """Blocks of bytes as one stream; memory holds one block."""

    def __init__(self, blocks: Iterator[bytes]) -> None:
        self._blocks = blocks
        self._rest = memoryview(b"")

    def _more(self) -> None:
        block = next(self._blocks, None)
        if block is None:
            raise ValueError("cut short")
        self._rest = memoryview(block)

    def take(self, count: int) -> bytes:
        """Next so many bytes."""
        taken = bytearray()
        while len(taken) < count:
            if not self._rest:
                self._more()
            part = self._rest[: count - len(taken)]
            self._rest = self._rest[len(part) :]
            taken += part
        return bytes(taken)

    def skip(self, count: int) -> None:
        """Pass over so many bytes."""
        while count > len(self._rest):
            count -= len(self._rest)
            self._more()
        self._rest = self._rest[count:]


class _Part:
    """A stretch of a stream that ends where its tag says."""

    def __init__(self, stream: _Readable, size: int) -> None:
        self._stream = stream
        self.left = size

    def take(self, count: int) -> bytes:
        """Next so many bytes."""
        self._use(count)
        return self._stream.take(count)

    def skip(self, count: int) -> None:
        """Pass over so many bytes."""
        self._use(count)
        self._stream.skip(count)

    def _use(self, count: int) -> None:
        if count > self.left:
            raise ValueError("a part is longer than what holds it")
        self.left -= count

    def element(self, order: str, *, most: int = _LONGEST_NAMES) -> bytes:
        """Bytes of the next small element."""
        kind, count, small = _tag(self.take(8), order)
        if kind not in _KINDS or count > most:
            raise ValueError("a name is too long, or not one")
        if small is not None:
            return small
        content = self.take(count)
        self.skip(min(-count % 8, self.left))
        return content


def _check_matrix(part: _Part, kind: int, seen: _Seen, *, depth: int) -> None:
    """Hold the dimensions of an array, and of those inside it, against its bytes."""
    seen.one_more(depth)
    if kind != _MATRIX:
        raise ValueError("a part is no array")
    if not part.left:  # an empty cell
        return
    order = seen.order
    if struct.unpack(f"{order}II", part.take(8)) != _TAG_OF_FLAGS:  # SciPy passes over this tag
        raise ValueError("an array has no class")
    (flags,) = struct.unpack(f"{order}I4x", part.take(8))
    class_of, is_complex = flags & 0xFF, bool(flags & _COMPLEX)
    if class_of == _OPAQUE:
        _check_rest(part, seen, _KINDS, depth=depth)
        return
    count = _check_sides(part, class_of, order)
    if class_of in (_CELL, _STRUCT, _OBJECT):
        _check_inner(part, count, seen, depth=depth)
        return
    if class_of not in (_SPARSE, _FUNCTION) and count > part.left:
        raise ValueError("an array has more numbers than bytes")
    allowed = {_CHAR: _TEXTS, _FUNCTION: _KINDS}.get(class_of, _NUMBERS)
    found = _check_rest(part, seen, allowed, depth=depth)
    least = 0 if class_of == _FUNCTION else (3 if class_of == _SPARSE else 1) + is_complex
    if found < least:
        raise ValueError("an array has no numbers")


def _check_sides(part: _Part, class_of: int, order: str) -> int:
    """Read dimensions and names; return how many numbers, or arrays, they say there are."""
    packed = part.element(order, most=4 * 32)
    sides = struct.unpack(f"{order}{len(packed) // 4}i", packed)
    part.element(order)  # its name
    if len(sides) < 2 or any(side < 0 for side in sides):
        raise ValueError("an array has too few sides, or a negative one")
    count = int(prod(sides))
    if class_of == _OBJECT:
        part.element(order)  # name of its class
    if class_of in (_STRUCT, _OBJECT):
        (length,) = struct.unpack(f"{order}I", part.element(order, most=4))
        names = part.element(order)
        if not 0 < length <= 1 << 16:
            raise ValueError("names of fields have no length")
        count *= len(names) // length
    return count


def _check_rest(part: _Part, seen: _Seen, allowed: frozenset[int], *, depth: int) -> int:
    """Look at the tags of whatever follows in an array, and return how many there are."""
    found = 0
    while part.left:
        kind, size, small = _tag(part.take(8), seen.order)
        if kind not in allowed or (small is None and size > part.left):
            raise ValueError("a part is not one, or longer than what holds it")
        found += 1
        if small is not None:
            continue
        inner = _Part(part, size)
        if kind == _MATRIX:
            _check_matrix(inner, kind, seen, depth=depth + 1)
        inner.skip(inner.left)
        part.skip(min(-size % 8, part.left))
    return found


def _check_inner(part: _Part, count: int, seen: _Seen, *, depth: int) -> None:
    if 8 * count > part.left:
        raise ValueError("more cells than bytes")
    for _ in range(count):
        kind, size, small = _tag(part.take(8), seen.order)
        if small is not None or size > part.left:
            raise ValueError("a part is longer than what holds it")
        inner = _Part(part, size)
        _check_matrix(inner, kind, seen, depth=depth + 1)
        inner.skip(inner.left)
        part.skip(min(-size % 8, part.left))
