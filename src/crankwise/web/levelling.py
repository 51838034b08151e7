"""Levels at hand, and those being made while the screen waits."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.errors import NotFoundError
from crankwise.language import say, told
from crankwise.levels import LevelsCache
from crankwise.store.recordings import where_is
from crankwise.web.works import Work
from crankwise.workshop.levelling import key_of_kept, make_levels

if TYPE_CHECKING:
    from collections.abc import Callable

    from crankwise.levels import Levels
    from crankwise.model.kept import KeptMeasurement
    from crankwise.store import Store
    from crankwise.web.works import Works

_AGAIN_AFTER_S: Final = 10.0
"""What has failed is tried again when it is asked for later than that."""


@dataclass(frozen=True, slots=True)
class _Begun:
    """A build: its work, and when it was begun."""

    work_id: str
    at_s: float


class Levelling:
    """Levels of one server's store.

    Attributes
    ----------
    cache : LevelsCache
    """

    def __init__(self, store: Store, works: Works) -> None:
        self.cache = LevelsCache(store.levels_folder)
        self._store, self._works = store, works
        self._begun: dict[str, _Begun] = {}
        self._lock = threading.Lock()

    def measured(self, sha256: str, measurement_id: int | None) -> KeptMeasurement:
        """Return a measurement of a recording; the newest if no number is given.

        Raises
        ------
        NotFoundError
            There is no such recording, or no such measurement of it.
        """
        found = self._store.recordings.measurements(sha256)
        for kept in reversed(found):
            if measurement_id in (None, kept.id):
                return kept
        raise NotFoundError(say("This recording has no such measurement."))

    def levels(self, kept: KeptMeasurement) -> Levels | Work:
        """Return the levels of a measurement, else the work that makes them or could not."""
        recording = self._store.recordings.get(kept.recording_sha256)
        if not recording.is_kept:
            # Deleted elsewhere, perhaps: what was built from it must not outlive it.
            self.cache.delete(recording.sha256)
            why = told(f"the original of {recording.name} {where_is(recording)}")
            return Work(id="", title=recording.name, state="failed", error=why)
        key = key_of_kept(kept)
        found = self.cache.find(key)
        return found if found is not None else self._work(key, kept)

    def _work(self, key: str, kept: KeptMeasurement) -> Work:
        with self._lock:
            begun = self._begun.get(key)
            work = self._works.get(begun.work_id) if begun else None
            if begun and work and not self._may_begin_again(begun, work):
                return work
            name = kept.measurement.recording.name
            work = self._works.start(name, lambda tell: self._make(kept, tell))
            self._begun[key] = _Begun(work.id, time.monotonic())
            return work

    @staticmethod
    def _may_begin_again(begun: _Begun, work: Work) -> bool:
        if work.state == "failed":
            return time.monotonic() - begun.at_s > _AGAIN_AFTER_S
        return work.state == "done"  # and lost since

    def _make(self, kept: KeptMeasurement, tell: Callable[[str, float], None]) -> str:
        make_levels(
            self._store, self.cache, kept, progress=lambda step, share: tell(told(step), share)
        )
        return ""
