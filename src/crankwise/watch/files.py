"""What lies in a folder, and whether another program still writes to it."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path
from typing import Final

from crankwise.model.seen import FileState

_TEMPORARY: Final = (".tmp", ".temp", ".part", ".partial", ".crdownload", ".filepart", ".swp")
"""Endings of files that a program moves to their name when they are whole."""


def listing(folder: Path) -> dict[str, FileState] | None:
    """Return every file by its path within the folder; ``None`` while there is no such folder.

    Hidden and temporary files are passed over, and so is what can't be looked at, or has a name
    that is no text and so can't be kept.
    """
    if not folder.is_dir():
        return None
    found: dict[str, FileState] = {}
    for place, folders, names in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in names:
            if _is_passed_over(name):
                continue
            path = (Path(place) / name).relative_to(folder).as_posix()
            state = state_of(folder, path)
            if state is not None:
                found[path] = state
    return found


def state_of(folder: Path, path: str) -> FileState | None:
    """Return how a file stands now; ``None`` if it is gone or is no plain file."""
    try:
        told = (folder / path).stat()
    except OSError:
        return None
    if not Path(folder / path).is_file():
        return None
    return FileState(path, told.st_size, told.st_mtime_ns)


def _is_passed_over(name: str) -> bool:
    is_text = not any("\ud800" <= char <= "\udfff" for char in name)
    return not is_text or name.startswith((".", "~")) or name.lower().endswith(_TEMPORARY)


def is_closed(path: Path) -> bool | None:
    """Tell whether no program has a file open for writing; ``None`` where the system can't tell.

    Linux grants a read lease only on a file that nobody has open for writing (fcntl(2), "Leases").
    It is given back at once.

    Raises
    ------
    PermissionError
        The file can't be opened; on Windows that is how a file being written shows.
    """
    with path.open("rb") as file:
        if sys.platform != "linux":
            return None
        import fcntl  # noqa: PLC0415  there is none elsewhere

        try:
            # Who wants to write meanwhile makes the system send a signal; this one does nothing.
            fcntl.fcntl(file, fcntl.F_SETSIG, signal.SIGURG)
            fcntl.fcntl(file, fcntl.F_SETLEASE, fcntl.F_RDLCK)
            fcntl.fcntl(file, fcntl.F_SETLEASE, fcntl.F_UNLCK)
        except BlockingIOError:
            return False
        except OSError:
            return None  # a network share, or somebody else's file
        return True
