"""A job's rows put together as the model knows them."""

from __future__ import annotations

import json

from sqlalchemy import select
from sqlalchemy.orm import Session

from crankwise.model.comparison import Comparison
from crankwise.model.job import (
    Job,
    JobFile,
    KeptComparison,
    KeptFact,
    MileageUnit,
    Purpose,
    Vehicle,
    VehicleDetails,
    Visit,
    VisitFile,
    VisitRecording,
)
from crankwise.store import codec
from crankwise.store.facts import in_force, kept_fact
from crankwise.store.recordings import kept_recording, measurements_of
from crankwise.store.tables import (
    ComparisonRow,
    DetailsRow,
    FactRow,
    FamilyRow,
    JobRow,
    KnownGoodRow,
    RecordingRow,
    VehicleRow,
    VisitRecordingRow,
    VisitRow,
    WorkshopRow,
)


def vehicle_of(session: Session, row: VehicleRow) -> Vehicle:
    """A vehicle with its newest details."""
    details = session.scalars(
        select(DetailsRow)
        .where(DetailsRow.vehicle_id == row.id)
        .order_by(DetailsRow.id.desc())
        .limit(1)
    ).first()
    workshop = row.workshop_id and session.get_one(WorkshopRow, row.workshop_id).name
    family = row.family_id and session.get_one(FamilyRow, row.family_id).name
    return Vehicle(
        id=row.id,
        label=row.label,
        workshop=workshop or None,
        family=family or None,
        details=(
            VehicleDetails(details.vin, details.plate, details.customer)
            if details
            else VehicleDetails()
        ),
        added_at=row.added_at,
    )


def job_of(row: JobRow) -> Job:
    """A job's row as the model knows it."""
    return Job(row.id, row.vehicle_id, row.title, row.opened_at)


def visit_of(row: VisitRow) -> Visit:
    """A visit's row as the model knows it."""
    unit: MileageUnit | None = None
    if row.mileage_unit is not None:
        unit = "miles" if row.mileage_unit == "miles" else "km"
    return Visit(row.id, row.job_id, row.date, row.mileage, unit, row.recorded_at)


def visit_recording(session: Session, row: VisitRecordingRow) -> VisitRecording:
    """A recording of a visit as the model knows it."""
    recording = kept_recording(session, session.get_one(RecordingRow, row.recording_sha256))
    purpose: Purpose = codec.load(json.dumps(row.purpose), Purpose)  # type: ignore[arg-type]  # a Literal
    return VisitRecording(row.id, row.visit_id, recording, purpose, row.recorded_at)


def kept_comparison(row: ComparisonRow) -> KeptComparison:
    """A comparison's row as the model knows it."""
    return KeptComparison(
        id=row.id,
        visit_id=row.visit_id,
        measurement_id=row.measurement_id,
        known_good_ids=tuple(json.loads(row.known_good_ids)),
        compared_at=row.compared_at,
        comparison=codec.load(row.document, Comparison),
    )


def job_file(session: Session, row: JobRow) -> JobFile:
    """A job with all that belongs to it; visits in order of their date."""
    visits = session.scalars(
        select(VisitRow).where(VisitRow.job_id == row.id).order_by(VisitRow.date, VisitRow.id)
    ).all()
    facts = in_force(
        kept_fact(fact)
        for fact in session.scalars(
            select(FactRow).where(FactRow.job_id == row.id).order_by(FactRow.id)
        )
    )
    files = tuple(_visit_file(session, visit, facts) for visit in visits)
    digests = {item.recording.sha256 for file in files for item in file.recordings}
    known_goods = session.scalars(
        select(KnownGoodRow.id)
        .where(KnownGoodRow.recording_sha256.in_(digests))
        .order_by(KnownGoodRow.added_at, KnownGoodRow.id)
    )
    return JobFile(
        job=job_of(row),
        vehicle=vehicle_of(session, session.get_one(VehicleRow, row.vehicle_id)),
        visits=files,
        facts=tuple(fact for fact in facts if fact.visit_id is None),
        known_goods=tuple(known_goods),
    )


def _visit_file(session: Session, row: VisitRow, facts: tuple[KeptFact, ...]) -> VisitFile:
    recordings = tuple(
        visit_recording(session, recorded)
        for recorded in session.scalars(
            select(VisitRecordingRow)
            .where(VisitRecordingRow.visit_id == row.id)
            .order_by(VisitRecordingRow.id)
        )
    )
    digests = dict.fromkeys(item.recording.sha256 for item in recordings)
    comparisons = session.scalars(
        select(ComparisonRow).where(ComparisonRow.visit_id == row.id).order_by(ComparisonRow.id)
    )
    return VisitFile(
        visit=visit_of(row),
        recordings=recordings,
        measurements=tuple(
            measurement for digest in digests for measurement in measurements_of(session, digest)
        ),
        comparisons=tuple(kept_comparison(comparison) for comparison in comparisons),
        facts=tuple(fact for fact in facts if fact.visit_id == row.id),
    )
