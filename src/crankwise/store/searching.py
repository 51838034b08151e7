"""Jobs and vehicles found by what is written of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import select

from crankwise.store.files import vehicles_of
from crankwise.store.tables import VehicleRow

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.orm import Session

    from crankwise.model.job import Vehicle
    from crankwise.store.tables import JobRow


def is_meant(vehicle: Vehicle, search: str | None) -> bool:
    """Whether a vehicle's name, VIN, plate or customer holds a text."""
    if search is None:
        return True
    details = vehicle.details
    texts = (vehicle.label, details.vin, details.plate, details.customer)
    wanted = search.casefold()
    return any(wanted in text.casefold() for text in texts if text)


def matching(session: Session, jobs: Sequence[JobRow], search: str | None) -> Sequence[JobRow]:
    """Jobs whose title or vehicle holds a text."""
    if search is None:
        return jobs
    vehicles = vehicles_of(session, session.scalars(select(VehicleRow)).all())
    words = search.casefold()
    return [
        job
        for job in jobs
        if words in job.title.casefold() or is_meant(vehicles[job.vehicle_id], search)
    ]
