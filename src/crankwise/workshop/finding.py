"""Find a job and a visit by what a person types."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from crankwise.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from crankwise.model.job import JobFile, VisitFile
    from crankwise.store import Store


def find_job(store: Store, wanted: str) -> JobFile:
    """Return the job of a vehicle's name, else the job of that number.

    Parameters
    ----------
    store : Store
    wanted : str
        Name of the vehicle, in capitals or not, or number of the job.

    Raises
    ------
    UsageError
        There is none, or the vehicle has several jobs and the name can't tell them apart.
    """
    name = wanted.strip()
    found = jobs_of_vehicle(store, name)
    if len(found) > 1:
        numbers = ", ".join(str(file.job.id) for file in found)
        raise UsageError(f"{name} has several jobs: give the number, one of {numbers}")
    if found:
        return found[0]
    if name.isascii() and name.isdigit():
        return store.jobs.file(int(name))
    raise UsageError(
        f"there is no job for {name!r}: see crankwise job list, or begin one with crankwise job new"
    )


def jobs_of_vehicle(store: Store, name: str) -> tuple[JobFile, ...]:
    """Return every job of the vehicle of this name."""
    return tuple(
        file
        for vehicle in store.jobs.vehicles(search=name)
        if vehicle.label.casefold() == name.casefold()
        for file in store.jobs.list(vehicle_id=vehicle.id)
    )


def find_visit(file: JobFile, number: int | None) -> VisitFile:
    """Return a visit by its number, counted from 1 as shown; the newest if none is given.

    Raises
    ------
    UsageError
        The job has no visit yet, or none of that number.
    """
    name = file.vehicle.label
    if not file.visits:
        raise UsageError(f"{name} has no visit yet: add one with crankwise job visit add")
    if number is None:
        return file.visits[-1]
    if not 1 <= number <= len(file.visits):
        raise UsageError(f"{name} has no visit {number}: its visits are 1 to {len(file.visits)}")
    return file.visits[number - 1]


def by_vehicle(files: Iterable[JobFile]) -> list[JobFile]:
    """Order jobs as one looks for them: by the vehicle's name, numbers in it by their size."""

    def key(file: JobFile) -> tuple[list[tuple[bool, int, str]], int]:
        parts = re.findall(r"\d+|\D+", file.vehicle.label.casefold())
        numbers = [
            (not part.isdecimal(), int(part) if part.isdecimal() else 0, part) for part in parts
        ]
        return numbers, file.job.id

    return sorted(files, key=key)
