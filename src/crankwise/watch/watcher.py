"""The watch itself: looks, waits until files are complete, takes one after the other."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from contextvars import copy_context
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self

from crankwise.document import at_home
from crankwise.errors import CrankwiseError
from crankwise.watch.changes import Bell
from crankwise.watch.files import listing
from crankwise.watch.settling import Settled, Settling
from crankwise.watch.taking import Gone, NotYet, Taking

if TYPE_CHECKING:
    from crankwise.model.seen import FileState, Seen
    from crankwise.store import Store

SETTLE_S: Final = 0.5
SETTLE_ON_SHARE_S: Final = 4.0
"""A share's client may hold sizes and times back for up to three seconds (nfs(5), ``acregmin``)."""

_LOOK_S: Final = 5.0
_TICK_S: Final = 0.05
_PAUSE_S: Final = 10.0
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Manner:
    """How a folder is watched.

    Attributes
    ----------
    family : str or None
        Engine family whose known-goods are compared with; ``None``: those that fit.
    polls : bool
        Look for changes instead of waiting for notices, which network shares don't send.
    settle_s : float or None
        How long a file must stand still where the system can't tell that it is closed; ``None``:
        half a second, on a share four.
    """

    family: str | None = None
    polls: bool = False
    settle_s: float | None = None

    @property
    def stillness_s(self) -> float:
        """How long a file must stand still."""
        if self.settle_s is not None:
            return self.settle_s
        return SETTLE_ON_SHARE_S if self.polls else SETTLE_S


class Watcher:
    """Watches a folder in a thread of its own.

    Parameters
    ----------
    store : Store
        Must stay open until the watch is closed.
    folder : Path
        May come and go.
    tell : callable
        Told of every file, in the watch's thread.
    warn : callable
        Told in one line when the store can't be used for the moment; it is tried again.
    manner : Manner

    Raises
    ------
    MissingPackageError
        A package is not installed.
    """

    def __init__(
        self,
        store: Store,
        folder: Path,
        *,
        tell: Callable[[Seen], None],
        warn: Callable[[str], None] = _log.warning,
        manner: Manner = Manner(),
    ) -> None:
        self._folder = at_home(folder).absolute()
        self._store = store
        self._tell = tell
        self._warn = warn
        self._bell = Bell(self._folder, polls=manner.polls)
        self._taking = Taking(store, self._folder, family=manner.family)
        self._settling = Settling(self._folder, settle_s=manner.stillness_s, clock=time.monotonic)
        self._done: dict[str, FileState] = {}
        self._stop = threading.Event()
        # What it tells of is told in the language of whoever began it.
        self._thread = threading.Thread(
            target=copy_context().run, args=(self._watch,), name="watch", daemon=True
        )

    @property
    def folder(self) -> Path:
        """The folder that is watched, absolute."""
        return self._folder

    def start(self) -> None:
        """Begin to watch."""
        self._bell.start()
        self._thread.start()

    def wait(self) -> None:
        """Wait until the watch is closed, or until Ctrl-C interrupts."""
        while self._thread.is_alive():
            self._thread.join(_LOOK_S)  # now and then, as waiting without end can't be interrupted

    def take_all(self) -> None:
        """Take what is there, in the caller's thread, and come back when nothing is left."""
        self._remember()
        self._look(is_new=False)
        while len(self._settling) and not self._stop.is_set():
            if not self._take_next():
                self._stop.wait(_TICK_S)

    def close(self) -> None:
        """End the watch; a file that is being taken is finished first."""
        self._stop.set()
        self._bell.close()
        if self._thread.is_alive():
            self._thread.join()

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _watch(self) -> None:
        _import_early()
        self._remember()
        self._look(is_new=False)
        looked = time.monotonic()
        while not self._stop.is_set():
            took = self._take_next()
            rung = self._bell.wait(0.0 if took else _TICK_S if len(self._settling) else _LOOK_S)
            if rung or time.monotonic() - looked >= _LOOK_S:
                self._look(is_new=True)
                looked = time.monotonic()

    def _remember(self) -> None:
        while not self._stop.is_set():
            try:
                self._done = self._store.watched.states(str(self._folder))
            except CrankwiseError as error:
                self._pause(error)
            else:
                return

    def _look(self, *, is_new: bool) -> None:
        """Expect every file that is not done as it stands now."""
        found = listing(self._folder)
        for path, file in (found or {}).items():
            if self._done.get(path) != file:
                self._settling.expect(file, is_new=is_new)

    def _take_next(self) -> bool:
        settled = self._settling.next()
        if settled is None:
            return False
        try:
            self._take(settled)
        except CrankwiseError as error:
            self._pause(error)
        except Exception:  # noqa: BLE001  a defect of ours must not end the watch
            _log.exception("taking %s failed", settled.file.path)
            self._warn(
                f"{settled.file.path}: something went wrong inside Crankwise; the file is passed "
                "over, please report it"
            )
            self._finish(settled.file)
        return True

    def _take(self, settled: Settled) -> None:
        file = settled.file
        try:
            seen = self._taking.take(file, is_sure=settled.is_sure)
        except NotYet:
            self._settling.doubt(file)
            return
        except Gone:
            self._settling.forget(file.path)
            return
        self._finish(file)
        if seen is not None:
            self._tell(seen)

    def _finish(self, file: FileState) -> None:
        self._settling.forget(file.path)
        self._done[file.path] = file

    def _pause(self, error: CrankwiseError) -> None:
        """Say that the store can't be used, and try again in a while."""
        self._warn(f"{error}; it is tried again every {_PAUSE_S:.0f} s")
        self._stop.wait(_PAUSE_S)


def _import_early() -> None:
    """Import what only the first file needs, so that it is not shown later than the others."""
    from crankwise.pipeline import comparing  # noqa: F401, PLC0415
    from crankwise.readers.dispatch import installed  # noqa: PLC0415

    installed()
