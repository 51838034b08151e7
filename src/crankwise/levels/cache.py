"""Folders of levels kept within a size: the ones used longest ago go first.

Levels are written beside their place and moved there when they are whole. What is lost is made
again from the original.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import tempfile
import threading
import time
from collections import OrderedDict
from pathlib import Path
from typing import Final

from crankwise.errors import UnreadableError, UsageError
from crankwise.levels import info
from crankwise.levels.building import Progress, build_levels
from crankwise.levels.stored import Levels
from crankwise.model.kept import MeasureSettings
from crankwise.model.recording import Recording
from crankwise.model.trace import Trace

MOST_BYTES: Final = 8_000_000_000
_MOST_OPEN: Final = 8
_BEGUN: Final = "begun-"
_LEFT_BEHIND_S: Final = 24 * 3600.0


def key_of(sha256: str, settings: MeasureSettings, *, method: str) -> str:
    """Name of the levels of a recording as it was measured.

    Parameters
    ----------
    sha256 : str
        Of the recording.
    settings : MeasureSettings
        Other channels make another zero and other cams.
    method : str
        Version of the measuring method.
    """
    stated = [
        info.FORMAT,
        method,
        settings.crank,
        sorted((settings.cams or {}).items()),
        settings.interval_s,
    ]
    return f"{sha256}-{hashlib.sha256(json.dumps(stated).encode()).hexdigest()[:16]}"


class LevelsCache:
    """All levels in one folder."""

    def __init__(self, root: Path, *, most_bytes: int = MOST_BYTES) -> None:
        self._root, self._most_bytes = root, most_bytes
        self._open: OrderedDict[str, Levels] = OrderedDict()
        self._lock = threading.Lock()

    def find(self, key: str) -> Levels | None:
        """Return levels if they are here and whole."""
        folder = self._root / key
        try:
            os.utime(folder / info.NAME)  # used now
        except OSError:
            self._forget(key)
            return None
        with self._lock:
            if key in self._open:
                self._open.move_to_end(key)
                return self._open[key]
        try:
            levels = Levels(folder)
        except UnreadableError:
            shutil.rmtree(folder, ignore_errors=True)
            return None
        with self._lock:
            self._open[key] = levels
            while len(self._open) > _MOST_OPEN:
                self._open.popitem(last=False)
        return levels

    def build(
        self, key: str, recording: Recording, trace: Trace, *, progress: Progress | None = None
    ) -> Levels:
        """Build levels, or take those that somebody else has built meanwhile.

        Raises
        ------
        UsageError
            They can't be written.
        """
        folder = self._root / key
        try:
            self._root.mkdir(parents=True, exist_ok=True)
            self._sweep()
            beside = Path(tempfile.mkdtemp(prefix=_BEGUN, dir=self._root))
            try:
                build_levels(recording, trace, beside, progress=progress)
                _settle(beside, folder)
            finally:
                shutil.rmtree(beside, ignore_errors=True)
            self._trim(key)
            return self.find(key) or Levels(folder)
        except OSError as error:
            raise UsageError(
                f"{self._root}: the picture's data can't be kept there "
                f"({error.strerror or error}): free some space, or check the rights on the folder"
            ) from error

    def delete(self, sha256: str) -> None:
        """Delete everything that was built from a recording."""
        for folder in self._root.glob(f"{sha256}-*"):
            self._forget(folder.name)
            shutil.rmtree(folder, ignore_errors=True)

    def _trim(self, newest: str) -> None:
        """Delete what was used longest ago until the rest is small enough."""
        folders = [path for path in self._root.iterdir() if (path / info.NAME).is_file()]
        sizes = {path: _size(path) for path in folders}
        total = sum(sizes.values())
        for path in sorted(folders, key=lambda folder: (folder / info.NAME).stat().st_mtime):
            if total <= self._most_bytes:
                return
            if path.name != newest:
                self._forget(path.name)
                shutil.rmtree(path, ignore_errors=True)  # what is in use elsewhere stays for now
                total -= sizes[path]

    def _sweep(self) -> None:
        """Delete what a crash left half built."""
        for path in self._root.glob(f"{_BEGUN}*"):
            with contextlib.suppress(OSError):
                if time.time() - path.stat().st_mtime > _LEFT_BEHIND_S:
                    shutil.rmtree(path, ignore_errors=True)

    def _forget(self, key: str) -> None:
        with self._lock:
            self._open.pop(key, None)


def _settle(beside: Path, folder: Path) -> None:
    """Move a whole folder to its place, unless another one has come there first."""
    if (folder / info.NAME).exists():
        return
    shutil.rmtree(folder, ignore_errors=True)  # damaged
    try:
        beside.rename(folder)
    except OSError:
        if not (folder / info.NAME).exists():
            raise


def _size(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.iterdir())
