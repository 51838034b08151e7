"""What the form of a new visit shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from crankwise.errors import NotFoundError
from crankwise.workshop.opening import today

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from crankwise.model.job import JobFile, MileageUnit
    from crankwise.web.desk import Desk


@dataclass(frozen=True, slots=True)
class NewVisitView:
    """The form: ``file`` of a known vehicle, ``uploads`` as id and name, names to choose from.

    ``unit`` is that of the vehicle's last visit, else the workshop's.
    """

    file: JobFile | None
    uploads: tuple[tuple[str, str], ...]
    date: str
    unit: MileageUnit
    labels: tuple[str, ...]
    families: tuple[str, ...]


def new_visit_view(desk: Desk, *, job_id: int, uploads: Sequence[str]) -> NewVisitView:
    """Gather what the form offers; raises UsageError where there is no such job."""
    store = desk.store
    known = {item.name for item in store.shelf.families()}
    known |= {engine.family for engine in store.shop.engines().values()}
    file = store.jobs.file(job_id) if job_id else None
    units = [one.visit.mileage_unit for one in file.visits] if file else []
    known_unit = next((unit for unit in reversed(units) if unit), None)
    return NewVisitView(
        file=file,
        uploads=tuple(_still_here(desk, uploads)),
        date=today(),
        unit=known_unit or store.shop.profile().mileage_unit,
        labels=tuple(vehicle.label for vehicle in store.jobs.vehicles()),
        families=tuple(sorted(known)),
    )


def _still_here(desk: Desk, uploads: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Leave out uploads that are gone, as after a bookmark: they can be dropped again."""
    for identifier in uploads:
        try:
            yield identifier, desk.uploads.get(identifier).name
        except NotFoundError:
            continue
