"""Files on their way in: streamed to disk, lent to what reads them, and gone afterwards.

Each upload has a folder of its own under a random id, with one file in it. What the client calls
the file is only a label; cleaned to a single plain name it becomes that file's name, as readers
look at its ending.
"""

from __future__ import annotations

import errno
import re
import secrets
import shutil
import tempfile
import time
from collections.abc import AsyncIterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final

from anyio import to_thread

from crankwise.document.names import clean_name
from crankwise.errors import NotFoundError, UsageError
from crankwise.store import Store

_FOLDER: Final = "uploads"
_PART: Final = ".part"  # no cleaned name begins with a dot
_ID: Final = re.compile(r"[0-9a-f]{32}")
_BLOCK_BYTES: Final = 1 << 18
_DAY_S: Final = 86_400.0


class TooLargeError(Exception):
    """More bytes came than this server takes."""


class DiskFullError(Exception):
    """The disk of the server is full."""


@dataclass(frozen=True, slots=True)
class Upload:
    """A file that came in whole: its id, the name it goes by, and its size."""

    id: str
    name: str
    size_bytes: int


class Uploads:
    """Uploads of one server, in a folder that nobody else reads."""

    def __init__(self, folder: Path, *, most_bytes: int) -> None:
        self.most_bytes = most_bytes
        self._folder = folder
        self._lent: set[str] = set()

    async def receive(self, name: str, chunks: AsyncIterable[bytes]) -> Upload:
        """Write what comes to disk.

        Parameters
        ----------
        name : str
            What the client calls it.
        chunks : async iterable of bytes

        Raises
        ------
        TooLargeError, DiskFullError
            Nothing is left behind, as when the client goes away.
        UsageError
            Nothing came.
        """
        identifier, label = secrets.token_hex(16), clean_name(name)
        folder = self._folder / identifier
        try:
            await to_thread.run_sync(self._make, folder)
            with (folder / _PART).open("xb") as file:
                size = await self._write(file, chunks)
            _refuse_empty(label, size)
            (folder / _PART).rename(folder / label)
        except BaseException as error:
            shutil.rmtree(folder, ignore_errors=True)
            if isinstance(error, OSError) and error.errno in {errno.ENOSPC, errno.EDQUOT}:
                raise DiskFullError from error
            raise
        return Upload(identifier, label, size)

    def get(self, identifier: str) -> Upload:
        """Return an upload; raises NotFoundError where there is none."""
        path = self._path(identifier)
        return Upload(identifier, path.name, path.stat().st_size)

    @contextmanager
    def take(self, identifier: str) -> Iterator[Path]:
        """Lend the file; it goes afterwards, and stays for another try where the block fails.

        Raises
        ------
        NotFoundError, UsageError
            As for :meth:`lend`.
        """
        with self.lend(identifier) as path:
            yield path
            self.remove(identifier)

    @contextmanager
    def lend(self, identifier: str) -> Iterator[Path]:
        """Lend the file, which stays.

        Raises
        ------
        NotFoundError
            There is no such upload, or no more.
        UsageError
            It is lent already.
        """
        path = self._path(identifier)
        if identifier in self._lent:
            raise UsageError(f"{path.name} is being read already: wait for it")
        self._lent.add(identifier)
        try:
            yield path
        finally:
            self._lent.discard(identifier)

    def remove(self, identifier: str) -> None:
        """Delete an upload; raises NotFoundError where there is none."""
        shutil.rmtree(self._path(identifier).parent, ignore_errors=True)

    def forget_old(self) -> None:
        """Delete what has been lying about for more than a day."""
        if not self._folder.is_dir():
            return
        for folder in self._folder.iterdir():
            if _ID.fullmatch(folder.name) and time.time() - folder.stat().st_mtime > _DAY_S:
                shutil.rmtree(folder, ignore_errors=True)

    def _make(self, folder: Path) -> None:
        self.forget_old()
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        folder.mkdir(mode=0o700)

    async def _write(self, file: IO[bytes], chunks: AsyncIterable[bytes]) -> int:
        """Write block by block, beside the event loop; returns the number of bytes."""
        size, block = 0, bytearray()
        async for chunk in chunks:
            size += len(chunk)
            if size > self.most_bytes:
                raise TooLargeError
            block += chunk
            if len(block) >= _BLOCK_BYTES:
                await to_thread.run_sync(file.write, block)
                block.clear()
        await to_thread.run_sync(file.write, block)
        await to_thread.run_sync(file.flush)
        return size

    def _path(self, identifier: str) -> Path:
        """Place of an upload's file; an id that this server would not give is none."""
        if _ID.fullmatch(identifier):
            folder = self._folder / identifier
            for path in folder.glob("[!.]*"):
                return path
        raise NotFoundError("there is no such upload, or not any more: send the file again")


@contextmanager
def open_uploads(store: Store, *, most_bytes: int) -> Iterator[Uploads]:
    """Lend the place for uploads: beside the store, or a folder for now where that is elsewhere."""
    if store.folder is not None:
        uploads = Uploads(store.folder / _FOLDER, most_bytes=most_bytes)
        uploads.forget_old()
        yield uploads
        return
    with tempfile.TemporaryDirectory(prefix="crankwise-uploads-") as folder:
        yield Uploads(Path(folder), most_bytes=most_bytes)


def _refuse_empty(label: str, size: int) -> None:
    if size == 0:
        raise UsageError(f"{label}: the file is empty. Save or copy the recording again")
