"""Find a job and a visit by what a person types."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.errors import UsageError

if TYPE_CHECKING:
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
        for file in store.jobs.list(search=name)
        if file.vehicle.label.casefold() == name.casefold()
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
