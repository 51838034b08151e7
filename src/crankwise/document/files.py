"""Result files: written whole or not at all, and never over a recording."""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Collection
from pathlib import Path

from crankwise.errors import UsageError

_FIRST_BYTES = 64
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"


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
            _replace(target.resolve(), data)
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


def _replace(target: Path, data: bytes) -> None:
    """Write beside the target, then swap: both names are in one folder, so it is atomic."""
    # Not longer than any name can be, however long the target's is.
    beside = target.with_name(f".{secrets.token_hex(8)}")
    try:
        with beside.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(target)
    finally:
        beside.unlink(missing_ok=True)
