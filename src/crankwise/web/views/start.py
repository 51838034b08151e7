"""What the start page shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from crankwise.store import job_state
from crankwise.workshop.finding import by_vehicle

if TYPE_CHECKING:
    from crankwise.model.comparison import Level
    from crankwise.model.job import JobFile, JobState, Visit
    from crankwise.store import Store


@dataclass(frozen=True, slots=True)
class VehicleRow:
    """One vehicle: its job, its last visit and verdict, and what comes next."""

    job_id: int
    label: str
    family: str | None
    last_visit: Visit | None
    level: Level | None
    summary: str
    state: JobState


@dataclass(frozen=True, slots=True)
class StartView:
    """The start page: ``search`` is what was looked for."""

    vehicles: tuple[VehicleRow, ...]
    search: str


def start_view(store: Store, *, search: str) -> StartView:
    """Return every vehicle, the one seen last first."""
    files = by_vehicle(store.jobs.list(search=search or None))
    rows = [_row(file) for file in files]
    rows.sort(key=lambda row: row.last_visit.date if row.last_visit else "", reverse=True)
    return StartView(vehicles=tuple(rows), search=search)


def _row(file: JobFile) -> VehicleRow:
    visit = file.visits[-1] if file.visits else None
    compared = [item for v in file.visits for item in v.comparisons]
    verdict = compared[-1].comparison.verdict if compared else None
    return VehicleRow(
        job_id=file.job.id,
        label=file.vehicle.label,
        family=file.vehicle.family,
        last_visit=visit.visit if visit else None,
        level=verdict.level if verdict else None,
        summary=verdict.summary if verdict else "",
        state=job_state(file),
    )
