"""Originals byte for byte, named by their SHA-256: ``ab/cd/abcd…``, in a folder or any fsspec URL.

An original is written beside its place and moved there when it is whole, so what stands under its
name is the original. It is never altered.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import IO, Any, Protocol

from crankwise.document.files import flush_folder, make_folder
from crankwise.errors import MissingPackageError, UsageError
from crankwise.store.failures import in_words

_CHUNK = 1 << 20
_INCOMING = "incoming"
_DAY_S = 86_400.0
_DIGITS = frozenset("0123456789abcdef")


class Originals(Protocol):
    """Where originals are kept."""

    def put(self, source: IO[bytes]) -> tuple[str, int]:
        """Keep all that can be read; returns digest and size in bytes."""

    def open(self, sha256: str) -> IO[bytes]:
        """Open an original for reading; raises FileNotFoundError."""

    def delete(self, sha256: str) -> None:
        """Delete an original, if it is there."""

    def listing(self) -> Iterator[tuple[str, str | None]]:
        """Every file by its place, with the digest it is named by; ``None`` for a stray one."""


def copy_out(originals: Originals, sha256: str, target: Path) -> None:
    """Copy an original into a file."""
    with originals.open(sha256) as source, target.open("wb") as file:
        shutil.copyfileobj(source, file, _CHUNK)


def digest_of(file: IO[bytes]) -> str:
    """SHA-256 of all that can be read, in hexadecimal."""
    digest = hashlib.sha256()
    while chunk := file.read(_CHUNK):
        digest.update(chunk)
    return digest.hexdigest()


class FolderOriginals:
    """Originals in a folder of this computer."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def put(self, source: IO[bytes]) -> tuple[str, int]:
        """Keep all that can be read, safe from a power cut when this returns."""
        incoming = self.root / _INCOMING
        with in_words(str(self.root)):
            make_folder(incoming)
            _forget_old(incoming)
            beside = incoming / secrets.token_hex(8)
            try:
                sha256, size = _write(source, beside)
                target = self._path(sha256)
                if self._is_there(target, sha256):
                    return sha256, size
                target.parent.mkdir(parents=True, exist_ok=True)
                beside.chmod(0o444)
                beside.replace(target)
                for folder in (target.parent, target.parent.parent, self.root, self.root.parent):
                    flush_folder(folder)  # another program may have made it just now
            finally:
                beside.unlink(missing_ok=True)
        return sha256, size

    def open(self, sha256: str) -> IO[bytes]:
        """Open an original for reading; raises FileNotFoundError."""
        return self._path(sha256).open("rb")

    def delete(self, sha256: str) -> None:
        """Delete an original, if it is there."""
        with in_words(str(self.root)):
            path = self._path(sha256)
            if path.exists():
                path.chmod(0o644)  # else some systems keep it
                path.unlink()

    def listing(self) -> Iterator[tuple[str, str | None]]:
        """Every file by its place, with the digest it is named by; ``None`` for a stray one."""
        for folder, _, names in os.walk(self.root):
            for name in sorted(names):
                path = Path(folder) / name
                place = path.relative_to(self.root).as_posix()
                yield place, name if place == _key(name) else None

    def _path(self, sha256: str) -> Path:
        return self.root / _key(sha256)

    @staticmethod
    def _is_there(target: Path, sha256: str) -> bool:
        if not target.exists():
            return False
        with target.open("rb") as file:
            return digest_of(file) == sha256  # a damaged one is replaced


class RemoteOriginals:
    """Originals behind an fsspec URL such as ``s3://bucket/originals``."""

    def __init__(self, url: str) -> None:
        self.url = url
        self._files, self._root = _filesystem(url)

    def put(self, source: IO[bytes]) -> tuple[str, int]:
        """Keep all that can be read."""
        beside = f"{self._root}/{_INCOMING}/{secrets.token_hex(8)}"
        digest, size = hashlib.sha256(), 0
        with in_words(self.url):
            self._files.makedirs(f"{self._root}/{_INCOMING}", exist_ok=True)
            with self._files.open(beside, "wb") as file:
                while chunk := source.read(_CHUNK):
                    digest.update(chunk)
                    size += len(chunk)
                    file.write(chunk)
            sha256 = digest.hexdigest()
            target = self._place(sha256)
            if self._is_there(target, sha256):
                self._files.rm(beside)
            else:
                self._files.makedirs(target.rpartition("/")[0], exist_ok=True)
                self._files.mv(beside, target)
        return sha256, size

    def open(self, sha256: str) -> IO[bytes]:
        """Open an original for reading; raises FileNotFoundError."""
        file: IO[bytes] = self._files.open(self._place(sha256), "rb")
        return file

    def delete(self, sha256: str) -> None:
        """Delete an original, if it is there."""
        with in_words(self.url):
            if self._files.exists(self._place(sha256)):
                self._files.rm(self._place(sha256))

    def listing(self) -> Iterator[tuple[str, str | None]]:
        """Every file by its place, with the digest it is named by; ``None`` for a stray one."""
        if not self._files.exists(self._root):
            return
        for path in sorted(self._files.find(self._root)):
            place = path.removeprefix(self._root).lstrip("/")
            name = place.rpartition("/")[2]
            yield place, name if place == _key(name) else None

    def _place(self, sha256: str) -> str:
        return f"{self._root}/{_key(sha256)}"

    def _is_there(self, target: str, sha256: str) -> bool:
        if not self._files.exists(target):
            return False
        with self._files.open(target, "rb") as file:
            return digest_of(file) == sha256


def _key(sha256: str) -> str:
    is_digest = len(sha256) == 64 and _DIGITS.issuperset(sha256)
    return f"{sha256[:2]}/{sha256[2:4]}/{sha256}" if is_digest else ""


def _filesystem(url: str) -> tuple[Any, str]:
    import fsspec  # noqa: PLC0415  a folder needs none of it

    try:
        files, root = fsspec.core.url_to_fs(url)
    except ImportError as error:
        raise MissingPackageError(
            f"{url}: {error}; install that package beside Crankwise"
        ) from error
    except ValueError as error:
        raise UsageError(f"{url}: no place for originals is known by that ({error})") from error
    return files, str(root).rstrip("/")


def _forget_old(incoming: Path) -> None:
    """Delete what writes that were cut off left there more than a day ago."""
    for path in incoming.iterdir():
        with suppress(FileNotFoundError):  # another program clears up as well
            if time.time() - path.stat().st_mtime > _DAY_S:
                path.unlink()


def _write(source: IO[bytes], target: Path) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    with target.open("xb") as file:
        while chunk := source.read(_CHUNK):
            digest.update(chunk)
            size += len(chunk)
            file.write(chunk)
        file.flush()
        os.fsync(file.fileno())
    return digest.hexdigest(), size
