"""The digest of a file, worked out while the file is read."""

from __future__ import annotations

import hashlib
import math
import threading
from pathlib import Path

_BLOCK_BYTES = 1 << 20
_AHEAD_BYTES = 1 << 28


class Digest:
    """SHA-256 of a file in a thread of its own; call it for the result, which it waits for.

    It begins at once and may be ahead of whoever reads the file. Once it is told how far the reader
    is, it keeps near: a file larger than memory then comes from the disk only once.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._digest = ""
        self._failure: OSError | None = None
        self._limit_bytes = math.inf
        self._may_go_on = threading.Condition()
        self._thread = threading.Thread(target=self._work, name="sha256", daemon=True)
        self._thread.start()

    def reader_is_at(self, place_bytes: float) -> None:
        """Keep near to a reader that has read so much of the file."""
        self._go_on_to(place_bytes + _AHEAD_BYTES)

    def __call__(self) -> str:
        """Wait for the digest, in hexadecimal digits.

        Raises
        ------
        OSError
            The file can't be read.
        """
        self._go_on_to(math.inf)
        self._thread.join()
        if self._failure is not None:
            raise self._failure
        return self._digest

    def _go_on_to(self, limit_bytes: float) -> None:
        with self._may_go_on:
            self._limit_bytes = limit_bytes
            self._may_go_on.notify()

    def _work(self) -> None:
        sha256 = hashlib.sha256()
        block = memoryview(bytearray(_BLOCK_BYTES))
        place = 0
        try:
            with self._path.open("rb", buffering=0) as file:
                while count := file.readinto(block):
                    sha256.update(block[:count])
                    place += count
                    if place > self._limit_bytes:
                        self._wait_before(place)
        except OSError as error:
            self._failure = error
        self._digest = sha256.hexdigest()

    def _wait_before(self, place_bytes: int) -> None:
        with self._may_go_on:
            self._may_go_on.wait_for(lambda: place_bytes <= self._limit_bytes)
