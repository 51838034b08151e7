"""Workshops, vehicles, jobs and visits: facts are added, and nothing is ever changed."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import get_args

from sqlalchemy import delete, func, or_, select
from sqlalchemy.orm import Session

from crankwise import document
from crankwise.errors import UsageError
from crankwise.model.comparison import Comparison
from crankwise.model.job import (
    Fact,
    Job,
    JobFile,
    KeptComparison,
    KeptFact,
    MileageUnit,
    Purpose,
    Vehicle,
    VehicleDetails,
    Visit,
    VisitRecording,
    Workshop,
)
from crankwise.model.kept import Deletion
from crankwise.store import codec
from crankwise.store.database import Database
from crankwise.store.facts import kept_fact, kind_of
from crankwise.store.files import (
    job_file,
    job_files,
    job_of,
    kept_comparison,
    vehicle_of,
    vehicles_of,
    visit_of,
    visit_recording,
)
from crankwise.store.finding import by_start, find_named, insert_missing, named, numbered
from crankwise.store.searching import is_meant, matching
from crankwise.store.tables import (
    ComparisonRow,
    DeletionRow,
    DetailsRow,
    FactRow,
    FamilyRow,
    JobRow,
    KnownGoodRow,
    MeasurementRow,
    RecordingRow,
    VehicleRow,
    VisitRecordingRow,
    VisitRow,
    WorkshopRow,
)


class Jobs:
    """Vehicles with their jobs and visits."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add_workshop(self, name: str) -> Workshop:
        """Add a workshop; the same name again is the same workshop."""
        with self._database.write() as session:
            row = named(session, WorkshopRow, name, "workshop")
            return Workshop(row.id, row.name)

    def workshops(self) -> tuple[Workshop, ...]:
        """Return all workshops by name."""
        with self._database.read() as session:
            rows = session.scalars(select(WorkshopRow).order_by(WorkshopRow.name_key))
            return tuple(Workshop(row.id, row.name) for row in rows)

    def add_vehicle(
        self,
        label: str,
        *,
        workshop: str | None = None,
        family: str | None = None,
        details: VehicleDetails | None = None,
    ) -> Vehicle:
        """Add a vehicle.

        Parameters
        ----------
        label : str
            What the workshop calls it.
        workshop : str, optional
            Name of a workshop, which must be known.
        family : str, optional
            Engine family; one that is not known yet is made.
        details : VehicleDetails, optional

        Raises
        ------
        UsageError
            The label is empty, or there is no such workshop.
        """
        if not label.strip():
            raise UsageError("the vehicle needs a name, such as 'van 3'")
        now = datetime.now(UTC)
        with self._database.write() as session:
            row = VehicleRow(label=label.strip(), added_at=now)
            if workshop is not None:
                row.workshop_id = _workshop(session, workshop).id
            if family is not None:
                row.family_id = named(session, FamilyRow, family, "engine family").id
            session.add(row)
            session.flush()
            if details is not None and details != VehicleDetails():
                session.add(_details_row(row.id, details, now))
                session.flush()
            return vehicle_of(session, row)

    def vehicle(self, vehicle_id: int) -> Vehicle:
        """Return a vehicle; raises NotFoundError where there is none."""
        with self._database.read() as session:
            return vehicle_of(session, numbered(session, VehicleRow, vehicle_id, "vehicle"))

    def vehicles(self, *, search: str | None = None) -> tuple[Vehicle, ...]:
        """Return vehicles, all or those whose name, VIN, plate or customer holds a text."""
        with self._database.read() as session:
            rows = session.scalars(select(VehicleRow).order_by(VehicleRow.id)).all()
            found = vehicles_of(session, rows).values()
            return tuple(vehicle for vehicle in found if is_meant(vehicle, search))

    def update_vehicle(self, vehicle_id: int, details: VehicleDetails) -> Vehicle:
        """Record new details; they count from now on, the earlier ones stay recorded."""
        with self._database.write() as session:
            row = numbered(session, VehicleRow, vehicle_id, "vehicle")
            session.add(_details_row(row.id, details, datetime.now(UTC)))
            session.flush()
            return vehicle_of(session, row)

    def name_family(self, vehicle_id: int, family: str) -> Vehicle:
        """Say of which engine family a vehicle is; one that is not known yet is made.

        Raises
        ------
        UsageError
            The vehicle has a family already.
        """
        with self._database.write() as session:
            row = numbered(session, VehicleRow, vehicle_id, "vehicle")
            if row.family_id is not None:
                raise UsageError(f"the engine family of {row.label} is known already")
            row.family_id = named(session, FamilyRow, family, "engine family").id
            session.flush()
            return vehicle_of(session, row)

    def forget_details(self, vehicle_id: int, *, why: str) -> Deletion:
        """Delete VIN, plate and customer of a vehicle, past ones too, and record that."""
        if not why.strip():
            raise UsageError("say why the details are deleted: it is recorded in their place")
        now = datetime.now(UTC)
        with self._database.write() as session:
            row = numbered(session, VehicleRow, vehicle_id, "vehicle")
            session.execute(delete(DetailsRow).where(DetailsRow.vehicle_id == row.id))
            session.add(
                DeletionRow(kind="details", subject=str(row.id), why=why.strip(), deleted_at=now)
            )
            return Deletion("details", str(row.id), why.strip(), now)

    def open(self, vehicle_id: int, *, title: str = "") -> Job:
        """Open a job on a vehicle."""
        with self._database.write() as session:
            vehicle = numbered(session, VehicleRow, vehicle_id, "vehicle")
            row = JobRow(vehicle_id=vehicle.id, title=title.strip(), opened_at=datetime.now(UTC))
            session.add(row)
            session.flush()
            return job_of(row)

    def add_visit(
        self,
        job_id: int,
        *,
        date: str,
        mileage: float | None = None,
        mileage_unit: MileageUnit | None = None,
    ) -> Visit:
        """Add a visit.

        Raises
        ------
        UsageError
            There is no such job, the date is none, or the mileage lacks its unit.
        """
        _check_visit(date, mileage, mileage_unit)
        with self._database.write() as session:
            job = numbered(session, JobRow, job_id, "job")
            row = VisitRow(
                job_id=job.id,
                date=date,
                mileage=mileage,
                mileage_unit=mileage_unit if mileage is not None else None,
                recorded_at=datetime.now(UTC),
            )
            session.add(row)
            session.flush()
            return visit_of(row)

    def add_recording(self, visit_id: int, sha256: str, *, purpose: Purpose) -> VisitRecording:
        """Say that a recording was made on a visit, and what for; again changes nothing.

        One recording can't show the engine before and after a repair: named as made after it,
        it is no longer one of before, and the other way round.
        """
        if purpose not in get_args(Purpose):
            raise UsageError(f"{purpose!r} is no purpose: {', '.join(get_args(Purpose))}")
        with self._database.write() as session:
            visit = numbered(session, VisitRow, visit_id, "visit")
            known = by_start(
                session, RecordingRow, RecordingRow.sha256, sha256, fewest=6, noun="recording"
            )
            row = VisitRecordingRow
            session.execute(
                delete(row).where(
                    row.visit_id == visit.id,
                    row.recording_sha256 == known.sha256,
                    (row.purpose == "after-repair") != (purpose == "after-repair"),
                )
            )
            values = {
                "visit_id": visit.id,
                "recording_sha256": known.sha256,
                "purpose": purpose,
                "recorded_at": datetime.now(UTC),
            }
            insert_missing(session, row, values)
            kept = session.scalars(
                select(row).where(
                    row.visit_id == visit.id,
                    row.recording_sha256 == known.sha256,
                    row.purpose == purpose,
                )
            ).one()
            return visit_recording(session, kept)

    def places_of(self, sha256: str) -> tuple[tuple[int, str], ...]:
        """Return the visits that a recording is kept with, and what it was made for."""
        row = VisitRecordingRow
        with self._database.read() as session:
            found = session.scalars(
                select(row).where(row.recording_sha256 == sha256).order_by(row.id)
            )
            return tuple((one.visit_id, one.purpose) for one in found)

    def add_fact(
        self, fact: Fact, *, job_id: int, visit_id: int | None = None, replaces: int | None = None
    ) -> KeptFact:
        """Add a fact to a visit, or to the job as a whole.

        Parameters
        ----------
        fact : Fact
        job_id : int
        visit_id : int, optional
            A visit of this job.
        replaces : int, optional
            The fact of this job that was wrong; it stays recorded.

        Raises
        ------
        UsageError
            No such job, visit or fact.
        """
        with self._database.write() as session:
            job = numbered(session, JobRow, job_id, "job")
            if visit_id is not None:
                _of_job(numbered(session, VisitRow, visit_id, "visit"), job.id, "visit")
            if replaces is not None:
                _of_job(numbered(session, FactRow, replaces, "fact"), job.id, "fact")
            row = FactRow(
                job_id=job.id,
                visit_id=visit_id,
                kind=kind_of(fact),
                body=codec.dump(fact),
                recorded_at=datetime.now(UTC),
                replaces=replaces,
            )
            session.add(row)
            session.flush()
            return kept_fact(row)

    def add_comparison(
        self,
        visit_id: int,
        comparison: Comparison,
        *,
        measurement_id: int | None = None,
        known_good_ids: Sequence[str] = (),
    ) -> KeptComparison:
        """Keep a comparison with the visit it was made on.

        Raises
        ------
        UsageError
            No such visit, measurement or known-good.
        """
        exact = document.loads_comparison(document.dumps(comparison), name="comparison")
        with self._database.write() as session:
            visit = numbered(session, VisitRow, visit_id, "visit")
            if measurement_id is not None:
                numbered(session, MeasurementRow, measurement_id, "measurement")
            ids = [
                by_start(
                    session, KnownGoodRow, KnownGoodRow.id, one, fewest=4, noun="known-good"
                ).id
                for one in known_good_ids
            ]
            row = ComparisonRow(
                visit_id=visit.id,
                measurement_id=measurement_id,
                known_good_ids=json.dumps(ids),
                compared_at=datetime.now(UTC),
                document=codec.dump(exact),
            )
            session.add(row)
            session.flush()
            return kept_comparison(row)

    def file(self, job_id: int) -> JobFile:
        """Return a job with all that belongs to it; raises NotFoundError where there is none."""
        with self._database.read() as session:
            return job_file(session, numbered(session, JobRow, job_id, "job"))

    def file_of_visit(self, visit_id: int) -> JobFile:
        """Return the job that a visit belongs to; raises NotFoundError without such a visit."""
        with self._database.read() as session:
            visit = numbered(session, VisitRow, visit_id, "visit")
            return job_file(session, session.get_one(JobRow, visit.job_id))

    def seen_last(self, *, search: str | None = None) -> tuple[int, ...]:
        """Return the numbers of jobs, the one seen last first.

        Parameters
        ----------
        search : str, optional
            Held by the title, or by the vehicle's name, VIN, plate or customer.
        """
        last = func.coalesce(func.max(VisitRow.date), "")
        asked = (
            select(JobRow)
            .outerjoin(VisitRow, VisitRow.job_id == JobRow.id)
            .group_by(JobRow.id)
            .order_by(last.desc(), JobRow.id.desc())
        )
        with self._database.read() as session:
            return tuple(row.id for row in matching(session, session.scalars(asked).all(), search))

    def visit(self, visit_id: int) -> Visit:
        """Return a visit; raises NotFoundError where there is none."""
        with self._database.read() as session:
            return visit_of(numbered(session, VisitRow, visit_id, "visit"))

    def comparison(self, comparison_id: int) -> KeptComparison:
        """Return a comparison; raises NotFoundError where there is none."""
        with self._database.read() as session:
            return kept_comparison(numbered(session, ComparisonRow, comparison_id, "comparison"))

    def list(
        self, *, vehicle_id: int | None = None, search: str | None = None
    ) -> tuple[JobFile, ...]:
        """Return jobs, the newest first.

        Parameters
        ----------
        vehicle_id : int, optional
        search : str, optional
            Held by the title, or by the vehicle's name, VIN, plate or customer.
        """
        asked = select(JobRow).order_by(JobRow.id.desc())
        if vehicle_id is not None:
            asked = asked.where(JobRow.vehicle_id == vehicle_id)
        with self._database.read() as session:
            rows = matching(session, session.scalars(asked).all(), search)
            return tuple(job_files(session, rows))

    def deletions(self) -> tuple[Deletion, ...]:
        """Return the record of everything that was deleted, the oldest first."""
        with self._database.read() as session:
            rows = session.scalars(
                select(DeletionRow)
                .where(or_(DeletionRow.kind == "original", DeletionRow.kind == "details"))
                .order_by(DeletionRow.id)
            )
            return tuple(
                Deletion(
                    "original" if row.kind == "original" else "details",
                    row.subject,
                    row.why,
                    row.deleted_at,
                )
                for row in rows
            )


def _workshop(session: Session, name: str) -> WorkshopRow:
    found = find_named(session, WorkshopRow, name)
    if found is None:
        names = session.scalars(select(WorkshopRow.name).order_by(WorkshopRow.name)).all()
        known = f"; there is: {', '.join(names)}" if names else ""
        raise UsageError(f"there is no workshop {name!r} in this store{known}")
    return found


def _details_row(vehicle_id: int, details: VehicleDetails, now: datetime) -> DetailsRow:
    return DetailsRow(
        vehicle_id=vehicle_id,
        vin=details.vin,
        plate=details.plate,
        customer=details.customer,
        recorded_at=now,
    )


def _check_visit(day: str, mileage: float | None, unit: str | None) -> None:
    try:
        date.fromisoformat(day)
    except ValueError:
        raise UsageError(f"{day!r} is no date: write it as 2026-03-01") from None
    if len(day) != len("2026-03-01"):
        raise UsageError(f"{day!r} is no date: write it as 2026-03-01")
    if mileage is None:
        return
    if not math.isfinite(mileage) or mileage < 0:
        raise UsageError(f"the mileage is {mileage:g}: give one of 0 or above")
    if unit not in get_args(MileageUnit):
        raise UsageError(f"the mileage of {mileage:g} needs its unit: km or miles")


def _of_job(row: VisitRow | FactRow, job_id: int, noun: str) -> None:
    if row.job_id != job_id:
        raise UsageError(f"{noun} {row.id} belongs to job {row.job_id}, not to job {job_id}")
