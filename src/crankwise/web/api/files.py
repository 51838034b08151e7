"""A vehicle's file as it is answered: all that belongs to it, long documents by their number."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from crankwise.model.comparison import Level
from crankwise.model.job import (
    Job,
    JobFile,
    JobState,
    KeptFact,
    Vehicle,
    Visit,
    VisitFile,
    VisitRecording,
)
from crankwise.model.kept import MeasureSettings
from crankwise.store import Store, job_state
from crankwise.workshop.judging import why_not_judged


@dataclass(frozen=True, slots=True)
class JobRow:
    """A vehicle's file in a list: ``level`` is the last verdict, ``state`` where it stands."""

    job: Job
    vehicle: Vehicle
    visits: int
    last_visit: Visit | None
    level: Level | None
    state: JobState


@dataclass(frozen=True, slots=True)
class MeasurementRow:
    """A measurement without what was measured, which is at ``/api/measurements/{id}``."""

    id: int
    recording_sha256: str
    method: str
    program: str
    measured_at: datetime
    settings: MeasureSettings


@dataclass(frozen=True, slots=True)
class ComparisonRow:
    """A comparison without its details, which are at ``/api/comparisons/{id}``."""

    id: int
    recording_sha256: str
    measurement_id: int | None
    known_good_ids: tuple[str, ...]
    compared_at: datetime
    level: Level
    summary: str


@dataclass(frozen=True, slots=True)
class VisitAnswer:
    """A visit with all that belongs to it, in the order it was recorded."""

    visit: Visit
    recordings: tuple[VisitRecording, ...]
    measurements: tuple[MeasurementRow, ...]
    comparisons: tuple[ComparisonRow, ...]
    facts: tuple[KeptFact, ...]


@dataclass(frozen=True, slots=True)
class OneVisit:
    """A visit with its vehicle.

    ``not_compared`` says why the newest recording has no comparison, where that is so.
    """

    job: Job
    vehicle: Vehicle
    state: JobState
    file: VisitAnswer
    not_compared: str | None


@dataclass(frozen=True, slots=True)
class JobAnswer:
    """A vehicle's file: ``facts`` are those of the job as a whole."""

    job: Job
    vehicle: Vehicle
    state: JobState
    visits: tuple[VisitAnswer, ...]
    facts: tuple[KeptFact, ...]
    known_goods: tuple[str, ...]


def job_row(file: JobFile) -> JobRow:
    """A file as a line of a list."""
    compared = [kept for visit in file.visits for kept in visit.comparisons]
    return JobRow(
        job=file.job,
        vehicle=file.vehicle,
        visits=len(file.visits),
        last_visit=file.visits[-1].visit if file.visits else None,
        level=compared[-1].comparison.verdict.level if compared else None,
        state=job_state(file),
    )


def job_answer(file: JobFile) -> JobAnswer:
    """A file as a whole."""
    return JobAnswer(
        job=file.job,
        vehicle=file.vehicle,
        state=job_state(file),
        visits=tuple(visit_answer(visit) for visit in file.visits),
        facts=file.facts,
        known_goods=file.known_goods,
    )


def one_visit(store: Store, file: JobFile, visit: VisitFile) -> OneVisit:
    """A visit on its own."""
    return OneVisit(
        job=file.job,
        vehicle=file.vehicle,
        state=job_state(file),
        file=visit_answer(visit),
        not_compared=why_not_judged(store, file, visit),
    )


def visit_answer(visit: VisitFile) -> VisitAnswer:
    """A visit within its file."""
    return VisitAnswer(
        visit=visit.visit,
        recordings=visit.recordings,
        measurements=tuple(
            MeasurementRow(
                kept.id, kept.recording_sha256, kept.method, kept.program, kept.measured_at,
                kept.settings,
            )
            for kept in visit.measurements
        ),
        comparisons=tuple(
            ComparisonRow(
                kept.id, kept.comparison.subject.sha256, kept.measurement_id, kept.known_good_ids,
                kept.compared_at, kept.comparison.verdict.level, kept.comparison.verdict.summary,
            )
            for kept in visit.comparisons
        ),
        facts=visit.facts,
    )  # fmt: skip
