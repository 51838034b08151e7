"""Long work beside the pages: measuring, comparing, filling a store; told as it goes on."""

from __future__ import annotations

import asyncio
import logging
import secrets
import threading
from collections.abc import AsyncIterator, Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass, replace
from typing import Final, Literal

from crankwise.errors import CrankwiseError
from crankwise.language import say, told

Progress = Callable[[str, float], None]
Job = Callable[[Progress], str]
"""What is to be done: told where to report, returns the address of the page that shows it."""

State = Literal["waiting", "running", "done", "failed"]

_AT_ONCE: Final = 2
_MOST_KEPT: Final = 200
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Work:
    """One piece of work as it stands.

    Attributes
    ----------
    id : str
    title : str
        What is worked on, such as the file's name.
    about : str
        Where it belongs, such as ``visit 12``.
    uploads : tuple of str
        Uploads that it is about; those still there after it failed wait for another try.
    state : {"waiting", "running", "done", "failed"}
    step : str
        What is being done, in words; once done, what came of it.
    share : float
        Done, 0 to 1.
    goes_to : str
        Once done: address of the page that shows the result.
    error : str
        Once failed: one line that says what is wrong and what to do.
    version : int
        Counts up with every change.
    """

    id: str
    title: str
    about: str = ""
    uploads: tuple[str, ...] = ()
    state: State = "waiting"
    step: str = ""
    share: float = 0.0
    goes_to: str = ""
    error: str = ""
    version: int = 0

    @property
    def is_over(self) -> bool:
        """Whether nothing will change any more."""
        return self.state in {"done", "failed"}


def _outlived(failed: Work, later: Sequence[Work]) -> bool:
    return any(work.state == "done" or work.title == failed.title for work in later)


@dataclass(frozen=True, slots=True)
class _Listener:
    """Whoever follows a piece of work, and the loop to wake it in."""

    loop: asyncio.AbstractEventLoop
    changed: asyncio.Event


class Works:
    """All pieces of work of this server; two run at a time."""

    def __init__(self) -> None:
        self._works: dict[str, Work] = {}
        self._listeners: dict[str, set[_Listener]] = {}
        self._lock = threading.Lock()
        self._pool = ThreadPoolExecutor(max_workers=_AT_ONCE, thread_name_prefix="work")

    def start(self, title: str, job: Job, *, about: str = "", uploads: Sequence[str] = ()) -> Work:
        """Queue a piece of work and return it."""
        work = Work(secrets.token_urlsafe(9), title, about, tuple(uploads))
        with self._lock:
            self._works[work.id] = work
            self._forget_old()
        # What the work says of itself is in the language of whoever began it.
        self._pool.submit(copy_context().run, self._run, work.id, job)
        return work

    def get(self, identifier: str) -> Work | None:
        """Return a piece of work as it stands, if it is known."""
        with self._lock:
            return self._works.get(identifier)

    def about(self, place: str) -> tuple[Work, ...]:
        """Return the work that belongs to a place and isn't done: it goes on, or it failed.

        A failure is left out once later work there was done, or the same was tried again.
        """
        with self._lock:
            mine = [work for work in self._works.values() if work.about == place]
        return tuple(
            work
            for number, work in enumerate(mine, start=1)
            if not work.is_over or (work.state == "failed" and not _outlived(work, mine[number:]))
        )

    async def follow(self, identifier: str, *, seen: int = -1) -> AsyncIterator[Work]:
        """Yield a piece of work now and after every change until it is over.

        Changes come from threads; whoever follows waits in its own event loop and holds none up.

        Parameters
        ----------
        identifier : str
        seen : int
            Version that is known already and not told again, unless the work is over.
        """
        changed = asyncio.Event()
        listener = _Listener(asyncio.get_running_loop(), changed)
        with self._lock:
            self._listeners.setdefault(identifier, set()).add(listener)
        try:
            while (work := self.get(identifier)) is not None:
                if work.version > seen or work.is_over:
                    yield work
                    seen = work.version
                if work.is_over:
                    return
                await changed.wait()
                changed.clear()
        finally:
            self._leave(identifier, listener)

    def close(self) -> None:
        """Wait for what is running, drop what is waiting."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _run(self, identifier: str, job: Job) -> None:
        def tell(step: str, share: float) -> None:
            self._set(identifier, state="running", step=step, share=share)

        tell("", 0.0)
        try:
            goes_to = job(tell)
        except CrankwiseError as error:
            self._set(identifier, state="failed", error=told(str(error)))
        except Exception:  # noqa: BLE001  whatever it is
            # A defect of ours: the technician gets a line, the log the rest.
            _log.exception("work failed")
            words = say(
                "Something went wrong inside Crankwise. Nothing was lost; the log says more."
            )
            self._set(identifier, state="failed", error=words)
        else:
            self._set(identifier, state="done", share=1.0, goes_to=goes_to)

    def _set(self, identifier: str, **values: object) -> None:
        with self._lock:
            work = self._works[identifier]
            changed = replace(work, **values, version=work.version + 1)  # type: ignore[arg-type]
            self._works[identifier] = changed
            for listener in self._listeners.get(identifier, ()):
                if not listener.loop.is_closed():  # as it is while the server ends
                    listener.loop.call_soon_threadsafe(listener.changed.set)

    def _leave(self, identifier: str, listener: _Listener) -> None:
        with self._lock:
            there = self._listeners[identifier]
            there.discard(listener)
            if not there:
                del self._listeners[identifier]

    def _forget_old(self) -> None:
        over = [key for key, work in self._works.items() if work.is_over]
        for key in over[: max(0, len(self._works) - _MOST_KEPT)]:
            del self._works[key]
