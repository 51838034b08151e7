"""Vehicles and their files."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query

from crankwise.model.job import KeptFact, MileageUnit, Vehicle, VehicleDetails, Visit
from crankwise.web.api.answers import Asked, Day, KnownGoodId, Mileage, Name, Number, api_router
from crankwise.web.api.facts import FactAsked
from crankwise.web.api.files import JobAnswer, JobRow, job_answer, job_row
from crankwise.web.api.history import HistoryAnswer, history_answer
from crankwise.web.desk import AtDesk
from crankwise.workshop.finding import by_vehicle
from crankwise.workshop.opening import open_job, today

router = api_router(tag="vehicles")


class DetailsAsked(Asked):
    """What is private about a vehicle; it never leaves with an export."""

    vin: Name | None = None
    plate: Name | None = None
    customer: Name | None = None

    def as_details(self) -> VehicleDetails:
        """Return the details as the model knows them."""
        return VehicleDetails(self.vin, self.plate, self.customer)


class JobAsked(DetailsAsked):
    """A vehicle whose file is to begin."""

    vehicle: Name
    family: Name | None = None
    title: Name | None = None
    workshop: Name | None = None


class VisitAsked(Asked):
    """A visit; the day is today's if none is given, the mileage needs its unit."""

    date: Day | None = None
    mileage: Mileage | None = None
    mileage_unit: MileageUnit | None = None


@router.get("/jobs")
def list_jobs(
    desk: AtDesk, search: Annotated[str, Query(max_length=120)] = ""
) -> tuple[JobRow, ...]:
    """List the vehicles' files, all or those whose name, VIN, plate, customer or title holds it."""
    files = by_vehicle(desk.store.jobs.list(search=search.strip() or None))
    return tuple(job_row(file) for file in files)


@router.post("/jobs", status_code=201)
def begin_job(desk: AtDesk, asked: JobAsked) -> JobAnswer:
    """Begin the file of a vehicle that has none."""
    file = open_job(
        desk.store,
        asked.vehicle,
        family=asked.family,
        title=asked.title or "",
        workshop=asked.workshop,
        details=asked.as_details(),
    )
    return job_answer(file)


@router.get("/jobs/{job_id}")
def show_job(desk: AtDesk, job_id: Number) -> JobAnswer:
    """Show a vehicle's file with its visits and facts, and where it stands."""
    return job_answer(desk.store.jobs.file(job_id))


@router.put("/jobs/{job_id}/details")
def change_details(desk: AtDesk, job_id: Number, asked: DetailsAsked) -> Vehicle:
    """Record VIN, plate and customer anew; they count from now on."""
    vehicle_id = desk.store.jobs.file(job_id).vehicle.id
    return desk.store.jobs.update_vehicle(vehicle_id, asked.as_details())


@router.post("/jobs/{job_id}/visits", status_code=201)
def add_visit(desk: AtDesk, job_id: Number, asked: VisitAsked) -> Visit:
    """Begin a visit."""
    return desk.store.jobs.add_visit(
        job_id,
        date=asked.date or today(),
        mileage=asked.mileage,
        mileage_unit=asked.mileage_unit,
    )


@router.post("/jobs/{job_id}/facts", status_code=201)
def add_job_fact(desk: AtDesk, job_id: Number, asked: FactAsked) -> KeptFact:
    """Add a fact to the job as a whole, or put one right."""
    return desk.store.jobs.add_fact(asked.as_fact(), job_id=job_id, replaces=asked.replaces)


@router.get("/jobs/{job_id}/history")
def show_history(
    desk: AtDesk, job_id: Number, known_good: KnownGoodId | None = None
) -> HistoryAnswer:
    """Show each cam and separation over the mileage (format ``crankwise.history/1``)."""
    vehicle = desk.store.jobs.file(job_id).vehicle
    history = desk.store.history(
        vehicle.id,
        known_good_id=known_good,
        policy=desk.store.shop.policy(),
        engine=desk.store.shop.engine_of_family(vehicle.family),
    )
    return history_answer(history)
