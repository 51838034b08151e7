"""Begin a vehicle's file."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from crankwise.errors import UsageError
from crankwise.workshop.finding import jobs_of_vehicle

if TYPE_CHECKING:
    from crankwise.model.job import JobFile, VehicleDetails, Visit
    from crankwise.store import Store


def open_job(
    store: Store,
    vehicle: str,
    *,
    family: str | None,
    title: str,
    workshop: str | None,
    details: VehicleDetails,
) -> JobFile:
    """Begin the file of a vehicle that has none.

    Raises
    ------
    UsageError
        There is a job of a vehicle of this name, or the name is a number, by which jobs go.
    """
    if vehicle.isdigit():
        raise UsageError(f"{vehicle!r} would be taken for the number of a job: add a word to it")
    there = jobs_of_vehicle(store, vehicle)
    if there:
        label, number = there[0].vehicle.label, there[0].job.id
        raise UsageError(f"{label} has a job already, number {number}: add a visit to it")
    if workshop is not None:
        store.jobs.add_workshop(workshop)
    added = store.jobs.add_vehicle(vehicle, workshop=workshop, family=family, details=details)
    return store.jobs.file(store.jobs.open(added.id, title=title).id)


def name_family(store: Store, file: JobFile, family: str) -> None:
    """Say of which engine family a known vehicle is, where nobody said so yet.

    Raises
    ------
    UsageError
        It is of another family.
    """
    known = file.vehicle.family
    if known is None:
        store.jobs.name_family(file.vehicle.id, family)
    elif known.casefold() != family.strip().casefold():
        raise UsageError(
            f"{file.vehicle.label} is a {known}, not a {family.strip()}: look which vehicle it is"
        )


def mileage_doubt(file: JobFile, visit: Visit) -> str | None:
    """Say that a visit's mileage runs back against another visit's, or nothing.

    Visits in another unit say nothing.
    """
    if visit.mileage is None:
        return None
    for other in (one.visit for one in file.visits):
        if other.mileage is None or other.mileage_unit != visit.mileage_unit:
            continue
        days, way = (other.date, visit.date), visit.mileage - other.mileage
        if other.id != visit.id and (
            (days[0] < days[1] and way < 0.0) or (days[0] > days[1] and way > 0.0)
        ):
            return (
                f"{visit.mileage:,.0f} {visit.mileage_unit} does not fit {other.mileage:,.0f} "
                f"{other.mileage_unit} on {other.date}: check it, and add the visit again if it "
                "is wrong."
            )
    return None


def today() -> str:
    """Return the day as the clock on the wall has it, ISO 8601."""
    return datetime.now(tz=UTC).astimezone().date().isoformat()
