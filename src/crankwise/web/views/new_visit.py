"""What the form of a new visit shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from crankwise.errors import NotFoundError, UnreadableError
from crankwise.web import doing
from crankwise.workshop.opening import today

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.model.job import JobFile, MileageUnit
    from crankwise.web.desk import Desk


@dataclass(frozen=True, slots=True)
class NewVisitView:
    """The form: ``file`` of a known vehicle, ``uploads`` as id and name, names to choose from.

    ``refused`` says of each upload that is no recording what it is. ``unit`` is that of the
    vehicle's last visit, else the workshop's.
    """

    file: JobFile | None
    uploads: tuple[tuple[str, str], ...]
    refused: tuple[str, ...]
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
    usable, refused = _told_apart(desk, uploads)
    return NewVisitView(
        file=file,
        uploads=usable,
        refused=refused,
        date=today(),
        unit=known_unit or store.shop.profile().mileage_unit,
        labels=tuple(vehicle.label for vehicle in store.jobs.vehicles()),
        families=tuple(sorted(known)),
    )


def _told_apart(
    desk: Desk, uploads: Sequence[str]
) -> tuple[tuple[tuple[str, str], ...], tuple[str, ...]]:
    """Uploads as id and name, and what to say of those that are certainly no recordings.

    Uploads that are gone, as after a bookmark, are left out: they can be dropped again.
    """
    usable, refused = [], []
    for identifier in uploads:
        try:
            name = desk.uploads.get(identifier).name
            doing.refuse_others(desk, identifier)
        except NotFoundError:
            continue
        except UnreadableError as error:
            refused.append(str(error))
        else:
            usable.append((identifier, name))
    return tuple(usable), tuple(refused)
