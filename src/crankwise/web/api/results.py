"""Recordings and what was measured and compared, as the documents that the command line writes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import Path
from fastapi.responses import Response

from crankwise import document
from crankwise.model.comparison import Comparison
from crankwise.model.kept import KeptRecording
from crankwise.model.measurement import Measurement
from crankwise.web.api.answers import Number, Sha256, api_router
from crankwise.web.desk import AtDesk

router = api_router(tag="results")


@dataclass(frozen=True, slots=True)
class RecordingAnswer:
    """A recording, and the numbers of its measurements, the oldest first."""

    recording: KeptRecording
    measurements: tuple[int, ...]


@router.get("/recordings/{sha256}")
def show_recording(desk: AtDesk, sha256: Annotated[Sha256, Path()]) -> RecordingAnswer:
    """Show what is kept of a recording."""
    recording = desk.store.recordings.get(sha256)
    measured = desk.store.recordings.measurements(sha256)
    return RecordingAnswer(recording, tuple(kept.id for kept in measured))


@router.get("/measurements/{measurement_id}", response_model=Measurement)
def show_measurement(desk: AtDesk, measurement_id: Number) -> Response:
    """Show a measurement (format ``crankwise.measurement/1``)."""
    kept = desk.store.recordings.measurement(measurement_id)
    return _document(kept.measurement)


@router.get("/comparisons/{comparison_id}", response_model=Comparison)
def show_comparison(desk: AtDesk, comparison_id: Number) -> Response:
    """Show a comparison (format ``crankwise.comparison/1``)."""
    kept = desk.store.jobs.comparison(comparison_id)
    return _document(kept.comparison)


def _document(result: Measurement | Comparison) -> Response:
    """The very document that is saved to a file."""
    return Response(document.dumps(result), media_type="application/json")
