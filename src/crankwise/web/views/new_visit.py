"""What the form of a new visit shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from crankwise.errors import NotFoundError
from crankwise.workshop.opening import today

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from crankwise.model.job import JobFile
    from crankwise.web.desk import Desk


@dataclass(frozen=True, slots=True)
class NewVisitView:
    """The form: ``file`` of a known vehicle, ``uploads`` as id and name, names to choose from."""

    file: JobFile | None
    uploads: tuple[tuple[str, str], ...]
    date: str
    labels: tuple[str, ...]
    families: tuple[str, ...]


def new_visit_view(desk: Desk, *, job_id: int, uploads: Sequence[str]) -> NewVisitView:
    """Gather what the form offers; raises UsageError where there is no such job."""
    store = desk.store
    known = {item.name for item in store.shelf.families()}
    known |= {engine.family for engine in store.shop.engines().values()}
    return NewVisitView(
        file=store.jobs.file(job_id) if job_id else None,
        uploads=tuple(_still_here(desk, uploads)),
        date=today(),
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
