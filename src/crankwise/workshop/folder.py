"""Take in a folder of old recordings: what each is of is read from its folder and its name."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from crankwise import document
from crankwise.errors import CrankwiseError, UsageError
from crankwise.model.job import VehicleDetails
from crankwise.workshop.finding import jobs_of_vehicle
from crankwise.workshop.opening import open_job
from crankwise.workshop.recording import keep_recording

if TYPE_CHECKING:
    from collections.abc import Callable

    from crankwise.model.job import JobFile, VisitFile
    from crankwise.store import Store

_DATE: Final = re.compile(r"(?<!\d)((?:19|20)\d\d)[-_.]?(\d\d)[-_.]?(\d\d)(?!\d)")
_MILEAGE: Final = re.compile(
    r"(?<![\d.,])(\d{1,3}(?:[,.]\d{3})+|\d{1,7})[ _-]?(km|miles?|mi)(?![a-z])", re.IGNORECASE
)
_EDGES: Final = " _-.,;"


@dataclass(frozen=True, slots=True)
class Told:
    """What a file's folder and name tell of it; None where they are silent."""

    vehicle: str | None
    date: str | None
    mileage: float | None
    unit: Literal["km", "miles"] | None

    @property
    def lacks(self) -> list[str]:
        """What is missing for a visit."""
        pairs = (
            (self.vehicle, "no vehicle"),
            (self.date, "no date"),
            (self.mileage, "no mileage with its unit"),
        )
        return [words for value, words in pairs if value is None]


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of one file: kept with a ``visit``, only ``kept``, or ``refused``, and why."""

    name: str
    outcome: Literal["visit", "kept", "refused"]
    text: str
    sha256: str | None = None


def import_recordings(
    store: Store,
    folder: Path,
    *,
    family: str | None = None,
    progress: Callable[[float], None] | None = None,
) -> tuple[Taken, ...]:
    """Measure and keep every recording of a folder; taking it in twice changes nothing.

    Parameters
    ----------
    store : Store
    folder : Path
        With any folders in it; hidden files are passed over.
    family : str, optional
        Engine family of vehicles that have no job yet.
    progress : callable, optional
        Told the share done (0 to 1).

    Raises
    ------
    UsageError
        It is no folder.
    """
    if not folder.is_dir():
        raise UsageError(f"{folder} is no folder: name the folder that the recordings are in")
    files = sorted(
        path
        for path in folder.rglob("*")
        if path.is_file() and not any(p.startswith(".") for p in path.relative_to(folder).parts)
    )
    taken = []
    for number, path in enumerate(files):
        if progress is not None:
            progress(number / len(files))
        taken.append(_take(store, path, path.relative_to(folder), family))
    return tuple(taken)


def told_by(name: Path) -> Told:
    """Read vehicle, date and mileage from a path within the folder.

    The folder that the file lies in names the vehicle, else the words before date and mileage.

    Examples
    --------
    >>> told_by(Path("van-3/2024-04-09 20,000 miles.csv"))
    Told(vehicle='van-3', date='2024-04-09', mileage=20000.0, unit='miles')
    >>> told_by(Path("van-3_2024-04-09.csv")).lacks
    ['no mileage with its unit']
    """
    stem = name.stem
    dated = _DATE.search(stem)
    blanked = stem if dated is None else stem.replace(dated[0], " " * len(dated[0]), 1)
    driven = _MILEAGE.search(blanked)  # a date's digits are no mileage
    day = _day(dated)
    first = min((match.start() for match in (dated, driven) if match), default=len(stem))
    vehicle = name.parent.name or stem[:first].strip(_EDGES)
    if driven is None:
        return Told(vehicle or None, day, None, None)
    unit: Literal["km", "miles"] = "km" if driven[2].lower() == "km" else "miles"
    return Told(vehicle or None, day, float(re.sub(r"\D", "", driven[1])), unit)


def _day(match: re.Match[str] | None) -> str | None:
    if match is None:
        return None
    try:
        return date(*(int(part) for part in match.groups())).isoformat()
    except ValueError:
        return None


def _take(store: Store, path: Path, name: Path, family: str | None) -> Taken:
    shown = name.as_posix()
    if document.looks_like_document(path):
        return Taken(shown, "refused", "a saved document, not a recording")
    try:
        kept = keep_recording(store, path)
    except CrankwiseError as error:
        return Taken(shown, "refused", str(error))
    told = told_by(name)
    measured = kept.measurement
    words = f"wheel {measured.crank.wheel}, cams {', '.join(cam.role for cam in measured.cams)}"
    if told.vehicle is None or told.date is None or told.mileage is None or told.unit is None:
        text = f"{words}; its name says {' and '.join(told.lacks)}"
        return Taken(shown, "kept", text, kept.recording_sha256)
    try:
        text = _with_visit(store, told, kept.recording_sha256, family)
    except CrankwiseError as error:
        return Taken(shown, "kept", f"{words}; {error}", kept.recording_sha256)
    return Taken(shown, "visit", f"{words}; {text}", kept.recording_sha256)


def _with_visit(store: Store, told: Told, sha256: str, family: str | None) -> str:
    put = put_with_visit(store, told, sha256, family=family)
    return put.words + (" (there already)" if put.was_there else "")


@dataclass(frozen=True, slots=True)
class Put:
    """Where a recording was put: the job, the visit, whether it was there before, in words."""

    file: JobFile
    visit: VisitFile
    was_there: bool
    words: str


def put_with_visit(store: Store, told: Told, sha256: str, *, family: str | None) -> Put:
    """Put a kept recording with the visit that its name tells of, which is begun if need be.

    Parameters
    ----------
    store : Store
    told : Told
        Lacks nothing.
    sha256 : str
    family : str, optional
        Engine family of a vehicle that has no job yet.

    Raises
    ------
    UsageError
        The vehicle has several jobs, or what is told makes no visit.
    """
    assert told.vehicle and told.date and told.mileage is not None and told.unit  # noqa: S101, PT018
    file = _job_of(store, told.vehicle, family)
    visit = _same_visit(file, told)
    if visit is None:
        added = store.jobs.add_visit(
            file.job.id, date=told.date, mileage=told.mileage, mileage_unit=told.unit
        )
        visit_id, was_there = added.id, False
    else:
        visit_id = visit.visit.id
        was_there = sha256 in {item.recording.sha256 for item in visit.recordings}
    if not was_there:
        store.jobs.add_recording(visit_id, sha256, purpose="diagnosis")
    file = store.jobs.file(file.job.id)
    words = f"{file.vehicle.label}, {told.date}, {told.mileage:,.0f} {told.unit}"
    return Put(file, next(one for one in file.visits if one.visit.id == visit_id), was_there, words)


def _job_of(store: Store, vehicle: str, family: str | None) -> JobFile:
    found = jobs_of_vehicle(store, vehicle)
    if len(found) > 1:
        raise UsageError(f"{vehicle} has several jobs: add it with crankwise job record")
    if found:
        return found[0]
    return open_job(
        store, vehicle, family=family, title="", workshop=None, details=VehicleDetails()
    )


def _same_visit(file: JobFile, told: Told) -> VisitFile | None:
    for visit in file.visits:
        at = visit.visit
        if (at.date, at.mileage, at.mileage_unit) == (told.date, told.mileage, told.unit):
            return visit
    return None
