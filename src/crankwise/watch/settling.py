"""When a file is complete: it has stood still for long enough, and nobody has it open to write.

How long is enough depends on what the system can tell. Where it knows that no program has the file
open for writing, a moment does, so that a program may close and open it once more. Where it can't
tell, stillness has to. A file held open is waited for, though not for ever: some programs keep what
they have saved open until they are closed themselves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from crankwise.model.seen import FileState
from crankwise.watch.files import is_closed, state_of

CLOSED_S: Final = 0.2
HELD_S: Final = 10.0
"""Stillness that is enough for a file that is closed, and for one that is held open."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """A file that is not complete yet.

    Attributes
    ----------
    file : FileState
    still_since : float
        Seconds, on the clock given.
    is_new : bool
        It came while watching; it goes before what lay there already.
    is_doubtful : bool
        It was complete by the rules, but its content says that it goes on.
    """

    file: FileState
    still_since: float
    is_new: bool
    is_doubtful: bool = False


@dataclass(frozen=True, slots=True)
class Settled:
    """A file that is complete; ``is_sure`` if nothing speaks against it any more."""

    file: FileState
    is_sure: bool


class Settling:
    """Files of a folder on their way to being complete.

    Parameters
    ----------
    folder : Path
    settle_s : float
        Stillness that is enough where the system can't tell whether a file is still written.
    clock : callable
        Seconds that never go back.
    """

    def __init__(self, folder: Path, *, settle_s: float, clock: Callable[[], float]) -> None:
        self._folder = folder
        self._settle_s = settle_s
        self._clock = clock
        self._waiting: dict[str, Waiting] = {}

    def __len__(self) -> int:
        return len(self._waiting)

    def expect(self, file: FileState, *, is_new: bool) -> None:
        """Wait for a file, from now on if it has changed."""
        known = self._waiting.get(file.path)
        if known is None:
            self._waiting[file.path] = Waiting(file, self._clock(), is_new)
        elif known.file != file:
            self._waiting[file.path] = Waiting(file, self._clock(), known.is_new)

    def forget(self, path: str) -> None:
        """Wait for a file no longer."""
        self._waiting.pop(path, None)

    def doubt(self, file: FileState) -> None:
        """Wait longer for a file whose content says that it goes on."""
        known = self._waiting.get(file.path)
        if known is None:
            known = Waiting(file, self._clock(), is_new=True)
        self._waiting[file.path] = replace(known, is_doubtful=True)

    def next(self) -> Settled | None:
        """Return the next complete file; what is new first, and of that the oldest."""
        order = sorted(
            self._waiting.values(),
            key=lambda one: (not one.is_new, one.file.changed_ns, one.file.path),
        )
        for one in order:
            now = state_of(self._folder, one.file.path)
            if now is None:
                self.forget(one.file.path)
            elif now != one.file:
                self.expect(now, is_new=one.is_new)
            elif (settled := self._settled(one)) is not None:
                return settled
        return None

    def _settled(self, waiting: Waiting) -> Settled | None:
        still_s = self._clock() - waiting.still_since
        if still_s >= HELD_S:
            return Settled(waiting.file, is_sure=True)
        if still_s < CLOSED_S:
            return None
        try:
            closed = is_closed(self._folder / waiting.file.path)
        except OSError:
            return None  # locked, or gone: looked at again soon
        if closed:
            return Settled(waiting.file, is_sure=True)
        enough = closed is None and still_s >= self._settle_s and not waiting.is_doubtful
        return Settled(waiting.file, is_sure=False) if enough else None
