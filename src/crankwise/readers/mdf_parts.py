"""The blocks of an MDF 4 file, looked over before asammdf follows their links.

Layout from ASAM MDF 4.1, chapter 5. asammdf believes links, counts and lengths: circles of links
never end, and its fast code reads beyond records that are too short. Here they are held against
the file. Blocks that only describe are passed over.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import IO

from crankwise.errors import UnreadableError
from crankwise.readers.contract import Source
from crankwise.readers.limits import check_growth, check_parts

_HEAD = struct.Struct("<4s4xQQ")
_FIRST = 64
_DATA = (b"##DT", b"##SD", b"##RD", b"##DV", b"##DI")
_REFERRED_TO = (b"##CG", b"##CN", b"##AT")
"""A channel's data may be those of another group, or a file kept inside."""

_LISTS = (b"##DL", b"##HL", b"##LD")
_DEFLATES_AT_MOST = 1100
_MOST_BITS_OF_A_NUMBER = 64
_NUMBERS = range(6)
_VARIABLE_LENGTH = 1


def check_blocks(source: Source) -> None:
    """Hold links, counts and lengths against the file.

    Raises
    ------
    ValueError
        One is wrong.
    UnreadableError
        Another version, a recording that was not finished, or far too much unpacked.
    """
    with source.path.open("rb") as file:
        head = file.read(_FIRST)
        if any(head[60:64]):  # what the program that recorded it did not come to
            raise UnreadableError(
                f"{source.name}: the recording was not finished. Open it in the program that "
                "recorded it, and save it anew"
            )
        version = int.from_bytes(head[28:30], "little")
        if not 400 <= version < 500:
            raise UnreadableError(
                f"{source.name}: MDF of version {version / 100:.2f}; versions 4.00 to 4.99 are "
                "read. Export it anew as MDF 4"
            )
        _Walk(file, source).groups()


class _Walk:
    """One look at all groups, their channels and their data."""

    def __init__(self, file: IO[bytes], source: Source) -> None:
        self._file, self._source = file, source
        self._size = source.path.stat().st_size
        self._seen: set[int] = set()
        self._grown = 0

    def groups(self) -> None:
        """Look at every data group."""
        first, _ = self._block(_FIRST, b"##HD")
        self._size_of_links(first, 6)
        for links, rest in self._chain(first[0], b"##DG"):
            self._size_of_links(links, 4)
            id_bytes = rest[0] if rest else 0
            if id_bytes not in (0, 1, 2, 4, 8):
                raise ValueError("an impossible length of record numbers")
            data_bytes = self._data(links[2])
            groups = list(self._chain(links[1], b"##CG"))
            for group in groups:
                self._group(*group, id_bytes=id_bytes, data_bytes=data_bytes)

    def _group(
        self, links: tuple[int, ...], rest: bytes, *, id_bytes: int, data_bytes: int
    ) -> None:
        """Hold the records of a channel group against the data, and channels against the record."""
        self._size_of_links(links, 6)
        _, cycles, flags, _, record_bytes, invalid_bytes = struct.unpack_from("<QQHHxxxxII", rest)
        is_variable = bool(flags & _VARIABLE_LENGTH)
        length = record_bytes + invalid_bytes + id_bytes
        if not is_variable and max(cycles, data_bytes > 0) * max(length, 1) > data_bytes:
            raise ValueError("more records are stated than there are")
        self._channels(links[1], record_bytes, depth=0)

    def _channels(self, first: int, record_bytes: int, *, depth: int) -> None:
        check_parts(0, depth=depth)
        for links, rest in self._chain(first, b"##CN"):
            self._size_of_links(links, 8)
            kind, bit_offset, offset, bits = struct.unpack_from("<xxBBII", rest)
            if offset + (bit_offset + bits + 7) // 8 > record_bytes:
                raise ValueError("a channel reaches beyond its record")
            if kind in _NUMBERS and bits > _MOST_BITS_OF_A_NUMBER:
                raise ValueError("a number has too many bits")
            if links[1] and self._name(links[1]) == b"##CN":
                self._channels(links[1], record_bytes, depth=depth + 1)
            self._data(links[5])

    def _data(self, place: int) -> int:
        """Bytes that all data blocks from this one on unpack to."""
        total = 0
        waiting = [place] if place else []
        while waiting:
            place = waiting.pop()
            name = self._name(place)
            if name in _REFERRED_TO:
                continue
            links, rest = self._block(place, name)
            if name == b"##DZ":
                stated, packed = struct.unpack_from("<QQ", rest, 8)
                if packed > len(rest) - 24 or stated > _DEFLATES_AT_MOST * packed:
                    raise ValueError("a packed block states a wrong length")
                total += stated
            elif name in _DATA:
                total += len(rest)
            elif name in _LISTS:
                waiting += [link for link in links if link]
            else:
                raise ValueError("the data are no data")
        self._grown += total
        check_growth(self._source.name, unpacked_bytes=self._grown, packed_bytes=self._size)
        return total

    def _chain(self, place: int, name: bytes) -> Iterator[tuple[tuple[int, ...], bytes]]:
        """Blocks of which each links to the next with its first link."""
        while place:
            links, rest = self._block(place, name)
            yield links, rest
            place = links[0] if links else 0

    def _name(self, place: int) -> bytes:
        self._file.seek(place)
        return self._file.read(4)

    def _block(self, place: int, name: bytes) -> tuple[tuple[int, ...], bytes]:
        """Links and content of a block that nothing else has led to."""
        if place in self._seen or place + _HEAD.size > self._size:
            raise ValueError("a link leads in a circle or nowhere")
        self._seen.add(place)
        check_parts(len(self._seen))
        self._file.seek(place)
        found, length, count = _HEAD.unpack(self._file.read(_HEAD.size))
        begin = _HEAD.size + 8 * count
        if found != name or length < begin or place + length > self._size:
            raise ValueError("a block is not what its link says, or longer than the file")
        links = struct.unpack(f"<{count}Q", self._file.read(8 * count))
        return links, self._file.read(length - begin)

    @staticmethod
    def _size_of_links(links: tuple[int, ...], least: int) -> None:
        if len(links) < least:
            raise ValueError("a block has too few links")
