"""Measure recordings and keep them, original and result together."""

from __future__ import annotations

import hashlib
from contextlib import suppress
from typing import TYPE_CHECKING

from crankwise import pipeline, readers
from crankwise.errors import UsageError
from crankwise.model.kept import MeasureSettings
from crankwise.workshop.levelling import key_of_kept

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path

    from crankwise.levels import LevelsCache
    from crankwise.model.job import JobFile, Purpose, VisitFile
    from crankwise.model.kept import KeptMeasurement
    from crankwise.model.measurement import Measurement
    from crankwise.store import Store


def keep_recording(
    store: Store,
    path: Path,
    *,
    crank: str | None = None,
    cams: Mapping[str, str] | None = None,
    interval_s: float | None = None,
    levels: LevelsCache | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> KeptMeasurement:
    """Read and measure a recording, then keep the file and the measurement.

    What can't be read or measured is not kept. With ``levels`` those are built as well, so that
    screens show the recording at once.

    Raises
    ------
    UnreadableError
        It is no recording.
    NotMeasurableError
        Crank degrees can't be taken from it.
    """
    tell = progress or (lambda _step, _share: None)
    read = readers.read(
        path, interval_s=interval_s, progress=lambda share: tell("reading the file", share / 2)
    )
    traced = pipeline.measure_traced(
        read, crank=crank, cams=cams, progress=lambda step, share: tell(step, 0.5 + share / 4)
    )
    settings = MeasureSettings(
        crank=crank, cams=dict(cams) if cams else None, interval_s=interval_s
    )
    kept = keep_measured(store, path, traced.measurement, settings=settings)
    if levels is not None:
        # Without them the measurement is as good; they are tried again when a screen asks.
        with suppress(UsageError):
            levels.build(
                key_of_kept(kept),
                read,
                traced.trace,
                progress=lambda step, share: tell(step, 0.75 + share / 4),
            )
    tell("done", 1.0)
    return kept


def keep_measured(
    store: Store, path: Path, measurement: Measurement, *, settings: MeasureSettings
) -> KeptMeasurement:
    """Keep a recording that was measured, the file and the measurement."""
    store.recordings.add(path)
    return store.recordings.add_measurement(measurement, settings=settings)


def record_visit(
    store: Store,
    visit: VisitFile,
    path: Path,
    *,
    purpose: Purpose,
    crank: str | None = None,
    cams: Mapping[str, str] | None = None,
    interval_s: float | None = None,
    levels: LevelsCache | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> KeptMeasurement:
    """Measure a recording made at a visit, and keep both with it.

    Raises
    ------
    UnreadableError, NotMeasurableError
        As for :func:`keep_recording`.
    """
    kept = keep_recording(
        store,
        path,
        crank=crank,
        cams=cams,
        interval_s=interval_s,
        levels=levels,
        progress=progress,
    )
    store.jobs.add_recording(visit.visit.id, kept.recording_sha256, purpose=purpose)
    return kept


def digest_of(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def kept_elsewhere(
    store: Store, places: Iterable[tuple[int, str]], *, besides: int
) -> tuple[str, ...]:
    """Say of each other visit that the same recording is kept with, whose it is.

    Parameters
    ----------
    store : Store
    places : iterable of (int, str)
        Visits that the recording is kept with, and what it was made for.
    besides : int
        The visit it is meant for.
    """
    words = []
    for visit_id in dict.fromkeys(visit for visit, _ in places if visit != besides):
        label = store.jobs.file_of_visit(visit_id).vehicle.label
        day = store.jobs.visit(visit_id).date
        words.append(
            f"This very recording is kept with {label}, visit of {day}, as well: check that it is "
            "the right file."
        )
    return tuple(words)


def recordings_of(file: JobFile) -> list[str]:
    """Digests of every recording of a job, in the order of its visits."""
    return [recording.recording.sha256 for visit in file.visits for recording in visit.recordings]
