"""Result files: written whole or not at all, and never over a recording."""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Final

from crankwise.errors import UsageError

_FIRST_BYTES = 64
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_CANT_FLUSH: Final = {errno.EINVAL, errno.ENOTSUP, errno.EACCES, errno.EPERM, errno.EBADF}
"""Why some systems flush no folder: network shares, and folders that may not be listed."""


def write_whole(path: str | os.PathLike[str], data: bytes, *, keep_sha256: Collection[str]) -> None:
    """Write a result file in one step, never over a recording it came from.

    Parameters
    ----------
    path : path
        Where to; an existing result is replaced.
    data : bytes
        The whole content.
    keep_sha256 : collection of str
        Digests of the recordings, which are told by their content, whatever their names.

    Raises
    ------
    UsageError
        The place can't be written, or holds one of the recordings.
    """
    target = Path(path)
    try:
        if target.is_file() and sha256_of(target) in keep_sha256:
            raise UsageError(f"{path} is a recording itself: choose another name for the result")
        if target.exists() and not target.is_file() and not target.is_dir():
            target.write_bytes(data)  # a pipe or a terminal: nothing to replace
        else:
            with whole_file(target.resolve()) as file:
                file.write(data)
    except OSError as error:
        raise UsageError(
            f"{path} can't be written ({error.strerror}): choose another place with -o"
        ) from error


def looks_like_document(path: str | os.PathLike[str]) -> bool:
    """Whether a file begins as a saved document does; False where it can't be opened."""
    try:
        with Path(path).open("rb") as file:
            begins = file.read(_FIRST_BYTES)
    except OSError:
        return False
    return begins.removeprefix(_BYTE_ORDER_MARK).lstrip().startswith(b"{")


def sha256_of(path: Path) -> str:
    """Digest of a file's bytes, as hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def at_home(place: str | os.PathLike[str]) -> Path:
    """Read a path as people write it, ``~`` for a home folder.

    Raises
    ------
    UsageError
        It names the home of somebody who is not there.
    """
    try:
        return Path(place).expanduser()
    except RuntimeError:
        raise UsageError(
            f"{os.fspath(place)}: there is no such home folder, write the whole path"
        ) from None


@contextmanager
def whole_file(target: Path) -> Iterator[IO[bytes]]:
    """Open a file that takes the place of the target in one step once the block has ended well.

    It is written beside the target, as names of one folder can be swapped at once, and both the
    file and its name are on the disk afterwards. A block that fails leaves the target as it was.

    Raises
    ------
    OSError
        The place can't be written.
    """
    # Not longer than any name can be, however long the target's is.
    beside = target.with_name(f".{secrets.token_hex(8)}")
    try:
        with beside.open("xb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        beside.replace(target)
        flush_folder(target.parent)
    finally:
        beside.unlink(missing_ok=True)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it that are missing, so that they outlive a power cut.

    Raises
    ------
    OSError
        The place can't be written.
    """
    missing = [one for one in (folder, *folder.parents) if not one.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    for one in missing:
        flush_folder(one.parent)


def flush_folder(folder: Path) -> None:
    """Make a new name in a folder outlive a power cut, where the system can."""
    if os.name != "posix":
        return
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError as error:
        if error.errno in _CANT_FLUSH:
            return
        raise
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in _CANT_FLUSH:
            raise
    finally:
        os.close(handle)
