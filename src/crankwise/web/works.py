"""Long work beside the pages: measuring, comparing, filling a store; told as it goes on."""

from __future__ import annotations

import logging
import secrets
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Final, Literal

from crankwise.errors import CrankwiseError

Progress = Callable[[str, float], None]
Job = Callable[[Progress], str]
"""What is to be done: told where to report, returns the address of the page that shows it."""

State = Literal["waiting", "running", "done", "failed"]

_AT_ONCE: Final = 2
_MOST_KEPT: Final = 200
_NUDGE_S: Final = 10.0
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
    state : {"waiting", "running", "done", "failed"}
    step : str
        What is being done, in words.
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


class Works:
    """All pieces of work of this server; two run at a time."""

    def __init__(self) -> None:
        self._works: dict[str, Work] = {}
        self._changed = threading.Condition()
        self._pool = ThreadPoolExecutor(max_workers=_AT_ONCE, thread_name_prefix="work")

    def start(self, title: str, job: Job, *, about: str = "") -> Work:
        """Queue a piece of work and return it."""
        work = Work(id=secrets.token_urlsafe(9), title=title, about=about)
        with self._changed:
            self._works[work.id] = work
            self._forget_old()
        self._pool.submit(self._run, work.id, job)
        return work

    def get(self, identifier: str) -> Work | None:
        """Return a piece of work as it stands, if it is known."""
        with self._changed:
            return self._works.get(identifier)

    def about(self, place: str) -> tuple[Work, ...]:
        """Return the work that belongs to a place and isn't done: it goes on, or it failed."""
        with self._changed:
            return tuple(
                work
                for work in self._works.values()
                if work.about == place and work.state != "done"
            )

    def follow(self, identifier: str) -> Iterator[Work]:
        """Yield a piece of work now and after every change until it is over.

        Every ten seconds without a change it is yielded again, so that a connection stays open.
        """
        seen = -1
        while True:
            with self._changed:
                work = self._works.get(identifier)
                if work is not None and work.version == seen:
                    self._changed.wait(timeout=_NUDGE_S)
                    work = self._works.get(identifier)
            if work is None:
                return
            yield work
            if work.is_over:
                return
            seen = work.version

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
            self._set(identifier, state="failed", error=str(error))
        except Exception:
            # A defect of ours: the technician gets a line, the log the rest.
            _log.exception("work failed")
            words = "something went wrong inside Crankwise; nothing was lost, the log says more"
            self._set(identifier, state="failed", error=words)
        else:
            self._set(identifier, state="done", share=1.0, goes_to=goes_to)

    def _set(self, identifier: str, **values: object) -> None:
        with self._changed:
            work = self._works[identifier]
            changed = replace(work, **values, version=work.version + 1)  # type: ignore[arg-type]
            self._works[identifier] = changed
            self._changed.notify_all()

    def _forget_old(self) -> None:
        over = [key for key, work in self._works.items() if work.is_over]
        for key in over[: max(0, len(self._works) - _MOST_KEPT)]:
            del self._works[key]
