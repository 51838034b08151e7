"""Small files that people hand in: settings, wheels, engines, saved results."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

MOST_TEXT_BYTES = 1_000_000
"""Largest file of settings, wheels or an engine: they have some kilobytes."""


def size_of(path: Path) -> int:
    """Size of an ordinary file.

    A pipe or a device is not to be opened: it might give bytes without end, or none at all.

    Raises
    ------
    OSError
        There is none, or it is something else.
    """
    found = path.stat()
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, "Not an ordinary file", str(path))
    return found.st_size


def bytes_of(path: Path, *, most_bytes: int = MOST_TEXT_BYTES) -> bytes:
    """Bytes of a file that can't be large.

    Raises
    ------
    OSError
        It can't be read, is no ordinary file or is larger than ``most_bytes``.
    """
    if size_of(path) > most_bytes:
        raise OSError(errno.EFBIG, os.strerror(errno.EFBIG), str(path))
    with path.open("rb") as file:
        return file.read(most_bytes)


def text_of(path: Path) -> str:
    """Text of a file of settings, in UTF-8.

    Raises
    ------
    OSError, UnicodeDecodeError
        As :func:`bytes_of`; it is no text.
    """
    text = bytes_of(path).decode("utf-8-sig")
    return text.replace("\r\n", "\n").replace("\r", "\n")
