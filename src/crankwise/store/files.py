"""A job's rows put together as the model knows them."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Final

from sqlalchemy import func, select
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
from crankwise.model.kept import KeptRecording
from crankwise.store import codec
from crankwise.store.facts import in_force, kept_fact
from crankwise.store.recordings import kept_recordings, measurements_by_recording
from crankwise.store.tables import (
    ComparisonRow,
    DetailsRow,
    FactRow,
    FamilyRow,
    JobRow,
    KnownGoodRow,
    VehicleRow,
    VisitRecordingRow,
    VisitRow,
    WorkshopRow,
)

_AT_ONCE: Final = 200
"""Jobs put together at a time; a database takes some thousand values in one query."""


def vehicle_of(session: Session, row: VehicleRow) -> Vehicle:
    """A vehicle with its newest details."""
    return vehicles_of(session, [row])[row.id]


def vehicles_of(session: Session, rows: Sequence[VehicleRow]) -> dict[int, Vehicle]:
    """Several vehicles by their number, each with its newest details."""
    newest = (
        select(func.max(DetailsRow.id))
        .where(DetailsRow.vehicle_id.in_([row.id for row in rows]))
        .group_by(DetailsRow.vehicle_id)
    )
    details = {
        row.vehicle_id: VehicleDetails(row.vin, row.plate, row.customer)
        for row in session.scalars(select(DetailsRow).where(DetailsRow.id.in_(newest)))
    }
    workshops = _names(session, WorkshopRow, {row.workshop_id for row in rows})
    families = _names(session, FamilyRow, {row.family_id for row in rows})
    return {
        row.id: Vehicle(
            id=row.id,
            label=row.label,
            workshop=workshops.get(row.workshop_id),
            family=families.get(row.family_id),
            details=details.get(row.id, VehicleDetails()),
            added_at=row.added_at,
        )
        for row in rows
    }


def _names(
    session: Session, kind: type[WorkshopRow | FamilyRow], ids: Collection[int | None]
) -> dict[int | None, str]:
    """Names of workshops or families by their number."""
    known = [one for one in ids if one is not None]
    if not known:
        return {}
    rows = session.execute(select(kind.id, kind.name).where(kind.id.in_(known)))
    return {row.id: row.name for row in rows}


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
    kept = kept_recordings(session, [row.recording_sha256])
    return _visit_recording(row, kept)


def _visit_recording(row: VisitRecordingRow, kept: Mapping[str, KeptRecording]) -> VisitRecording:
    purpose: Purpose = codec.load(json.dumps(row.purpose), Purpose)  # type: ignore[arg-type]  # a Literal
    return VisitRecording(
        row.id, row.visit_id, kept[row.recording_sha256], purpose, row.recorded_at
    )


def kept_comparison(row: ComparisonRow) -> KeptComparison:
    """A comparison's row as the model knows it."""
    return KeptComparison(
        id=row.id,
        visit_id=row.visit_id,
        measurement_id=row.measurement_id,
        known_good_ids=tuple(json.loads(row.known_good_ids)),
        compared_at=row.compared_at,
        comparison=codec.load_document(row.document, Comparison),
    )


def job_file(session: Session, row: JobRow) -> JobFile:
    """A job with all that belongs to it; visits in order of their date."""
    return job_files(session, [row])[0]


def job_files(session: Session, rows: Sequence[JobRow]) -> list[JobFile]:
    """Several jobs in the order given; a handful of queries for some hundred of them."""
    found: list[JobFile] = []
    for first in range(0, len(rows), _AT_ONCE):
        part = rows[first : first + _AT_ONCE]
        found.extend(_job_files(session, part))
    return found


def _job_files(session: Session, rows: Sequence[JobRow]) -> Iterator[JobFile]:
    vehicles = vehicles_of(
        session,
        session.scalars(
            select(VehicleRow).where(VehicleRow.id.in_([row.vehicle_id for row in rows]))
        ).all(),
    )
    ids = [row.id for row in rows]
    facts = _facts(session, ids)
    visits = _visits(session, ids, facts)
    known_goods = _known_goods(session, [file for some in visits.values() for file in some])
    for row in rows:
        digests = {item.recording.sha256 for file in visits[row.id] for item in file.recordings}
        yield JobFile(
            job=job_of(row),
            vehicle=vehicles[row.vehicle_id],
            visits=tuple(visits[row.id]),
            facts=tuple(fact for fact in facts[row.id] if fact.visit_id is None),
            known_goods=tuple(name for name, digest in known_goods if digest in digests),
        )


def _facts(session: Session, job_ids: Sequence[int]) -> dict[int, tuple[KeptFact, ...]]:
    """Facts in force of each job."""
    all_of_them: defaultdict[int, list[KeptFact]] = defaultdict(list)
    rows = select(FactRow).where(FactRow.job_id.in_(job_ids)).order_by(FactRow.id)
    for row in session.scalars(rows):
        all_of_them[row.job_id].append(kept_fact(row))
    return {job_id: in_force(all_of_them[job_id]) for job_id in job_ids}


def _visits(
    session: Session, job_ids: Sequence[int], facts: Mapping[int, tuple[KeptFact, ...]]
) -> defaultdict[int, list[VisitFile]]:
    """Visits of each job in order of their date, with all that belongs to them."""
    rows = session.scalars(
        select(VisitRow).where(VisitRow.job_id.in_(job_ids)).order_by(VisitRow.date, VisitRow.id)
    ).all()
    ids = [row.id for row in rows]
    recordings = _recordings(session, ids)
    comparisons: defaultdict[int, list[KeptComparison]] = defaultdict(list)
    asked = select(ComparisonRow).where(ComparisonRow.visit_id.in_(ids)).order_by(ComparisonRow.id)
    for row in session.scalars(asked):
        comparisons[row.visit_id].append(kept_comparison(row))
    digests = {item.recording.sha256 for items in recordings.values() for item in items}
    measured = measurements_by_recording(session, digests)
    found: defaultdict[int, list[VisitFile]] = defaultdict(list)
    for visit in rows:
        made_here = recordings[visit.id]
        own = dict.fromkeys(item.recording.sha256 for item in made_here)
        found[visit.job_id].append(
            VisitFile(
                visit=visit_of(visit),
                recordings=tuple(made_here),
                measurements=tuple(kept for digest in own for kept in measured[digest]),
                comparisons=tuple(comparisons[visit.id]),
                facts=tuple(fact for fact in facts[visit.job_id] if fact.visit_id == visit.id),
            )
        )
    return found


def _recordings(
    session: Session, visit_ids: Sequence[int]
) -> defaultdict[int, list[VisitRecording]]:
    """Recordings made on each visit."""
    rows = session.scalars(
        select(VisitRecordingRow)
        .where(VisitRecordingRow.visit_id.in_(visit_ids))
        .order_by(VisitRecordingRow.id)
    ).all()
    kept = kept_recordings(session, {row.recording_sha256 for row in rows})
    found: defaultdict[int, list[VisitRecording]] = defaultdict(list)
    for row in rows:
        found[row.visit_id].append(_visit_recording(row, kept))
    return found


def _known_goods(session: Session, files: Iterable[VisitFile]) -> list[tuple[str, str]]:
    """Known-goods made from recordings of some visits, the oldest first: id and recording."""
    digests = {item.recording.sha256 for file in files for item in file.recordings}
    rows = session.execute(
        select(KnownGoodRow.id, KnownGoodRow.recording_sha256)
        .where(KnownGoodRow.recording_sha256.in_(digests))
        .order_by(KnownGoodRow.added_at, KnownGoodRow.id)
    )
    return [(row.id, row.recording_sha256) for row in rows]
