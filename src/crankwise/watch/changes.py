"""A bell that rings when something changes in a folder, by the system's own notices."""

from __future__ import annotations

import contextlib
import threading
from pathlib import Path
from typing import Any, Final

from crankwise.errors import MissingPackageError

_LOOK_MS: Final = 1000
_AGAIN_S: Final = 1.0


def notices() -> Any:
    """Return what gives notice of changes.

    Raises
    ------
    MissingPackageError
        The package is not installed.
    """
    try:
        from watchfiles import watch  # noqa: PLC0415  not part of the least installation
    except ImportError as error:
        raise MissingPackageError(
            "watching a folder needs the package watchfiles: install crankwise[watch]"
        ) from error
    return watch


class Bell:
    """Rings on changes in a folder; a folder that goes and comes back is listened to again.

    Parameters
    ----------
    folder : Path
    polls : bool
        Look for changes instead of waiting for notices, which network shares don't send.

    Raises
    ------
    MissingPackageError
        The package that listens is not installed.
    """

    def __init__(self, folder: Path, *, polls: bool) -> None:
        self._watch = notices()
        self._folder = folder
        self._polls = polls
        self._rung = threading.Event()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._listen, name="changes", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def wait(self, timeout_s: float) -> bool:
        """Wait for the bell; whether it rang since the last time."""
        rung = self._rung.wait(timeout_s)
        self._rung.clear()
        return rung

    def ring(self) -> None:
        """Ring by hand."""
        self._rung.set()

    def close(self) -> None:
        """Listen no more."""
        self._stop.set()
        self._rung.set()
        if self._thread.is_alive():
            self._thread.join()

    def _listen(self) -> None:
        while not self._stop.is_set():
            # The folder may be gone, or not there yet: it is looked at now and then meanwhile.
            with contextlib.suppress(OSError, RuntimeError):
                self._listen_once()
            self._stop.wait(_AGAIN_S)
            self.ring()

    def _listen_once(self) -> None:
        """Listen until the folder is another one under the same name."""
        place = self._folder.stat().st_ino
        changes_as_they_come = self._watch(
            self._folder, watch_filter=None, debounce=50, step=20, stop_event=self._stop,
            rust_timeout=_LOOK_MS, yield_on_timeout=True, raise_interrupt=False,
            force_polling=self._polls or None, ignore_permission_denied=True,
        )  # fmt: skip
        for changes in changes_as_they_come:
            if changes:
                self.ring()
            elif self._folder.stat().st_ino != place:
                return
