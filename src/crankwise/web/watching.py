"""The watched folder of this server, and the pages that wait for what comes in."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from crankwise.document import at_home
from crankwise.store import Store
from crankwise.watch import Manner, Watcher

if TYPE_CHECKING:
    from crankwise.model.seen import Seen

_LOOK_S: Final = 1.0


@dataclass(frozen=True, slots=True)
class Bell:
    """Rings for one page, in the loop that the page is sent in."""

    loop: asyncio.AbstractEventLoop
    rung: asyncio.Event

    async def wait(self) -> None:
        """Wait until it rings, or until it is time to look anyhow; it is silent again after."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self.rung.wait(), timeout=_LOOK_S)
        self.rung.clear()


class Watching:
    """Tells pages when something was seen; watches by itself where it is given a folder.

    A watch of another process that uses the same store is noticed as well, within a second.

    Attributes
    ----------
    folder : Path or None
        What this server watches.
    trouble : str
        Why the store could not be used when it was tried last; empty again with the next file.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder
        self.trouble = ""
        self._bells: set[Bell] = set()
        self._lock = threading.Lock()

    def tell(self, _seen: Seen) -> None:
        """Wake the pages that wait; called by the watch, in its thread."""
        self.trouble = ""
        with self._lock:
            for bell in self._bells:
                if not bell.loop.is_closed():  # as it is while the server ends
                    bell.loop.call_soon_threadsafe(bell.rung.set)

    def warn(self, words: str) -> None:
        """Remember what the watch can't do; called by the watch, in its thread."""
        self.trouble = words

    @contextmanager
    def listening(self) -> Iterator[Bell]:
        """Give a page a bell of its own, which rings when something was seen."""
        bell = Bell(asyncio.get_running_loop(), asyncio.Event())
        with self._lock:
            self._bells.add(bell)
        try:
            yield bell
        finally:
            with self._lock:
                self._bells.discard(bell)


@contextmanager
def open_watching(store: Store, folder: str | None, *, polls: bool) -> Iterator[Watching]:
    """Watch a folder, if there is one, until the server ends."""
    if folder is None:
        yield Watching()
        return
    watching = Watching(at_home(folder).absolute())
    watcher = Watcher(
        store, Path(folder), tell=watching.tell, warn=watching.warn, manner=Manner(polls=polls)
    )
    with watcher:
        yield watching
