"""Measure recordings and keep them, original and result together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.model.kept import MeasureSettings
from crankwise.readers.measuring import measure_file

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from crankwise.model.job import JobFile, Purpose, VisitFile
    from crankwise.model.kept import KeptMeasurement
    from crankwise.store import Store


def keep_recording(
    store: Store,
    path: Path,
    *,
    crank: str | None = None,
    cams: Mapping[str, str] | None = None,
    interval_s: float | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> KeptMeasurement:
    """Read and measure a recording, then keep the file and the measurement.

    What can't be read or measured is not kept.

    Raises
    ------
    UnreadableError
        It is no recording.
    NotMeasurableError
        Crank degrees can't be taken from it.
    """
    measurement = measure_file(
        path, interval_s=interval_s, crank=crank, cams=cams, progress=progress
    )
    store.recordings.add(path)
    settings = MeasureSettings(
        crank=crank, cams=dict(cams) if cams else None, interval_s=interval_s
    )
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
    progress: Callable[[str, float], None] | None = None,
) -> KeptMeasurement:
    """Measure a recording made at a visit, and keep both with it.

    Raises
    ------
    UnreadableError, NotMeasurableError
        As for :func:`keep_recording`.
    """
    kept = keep_recording(
        store, path, crank=crank, cams=cams, interval_s=interval_s, progress=progress
    )
    store.jobs.add_recording(visit.visit.id, kept.recording_sha256, purpose=purpose)
    return kept


def recordings_of(file: JobFile) -> list[str]:
    """Digests of every recording of a job, in the order of its visits."""
    return [recording.recording.sha256 for visit in file.visits for recording in visit.recordings]
