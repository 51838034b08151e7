"""Put known-goods on the shelf: from a file, or from a visit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from crankwise import document
from crankwise.errors import NotMeasurableError, UsageError
from crankwise.model.measurement import Provenance
from crankwise.workshop.recording import keep_recording
from crankwise.workshop.series import newest_measured

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from crankwise.model.job import JobFile, VisitFile
    from crankwise.model.kept import KeptMeasurement
    from crankwise.model.shelf import Grade, KnownGood
    from crankwise.store import Store

_MOVED: Final = {"drifting", "worn", "out-of-time"}


def shelve_file(
    store: Store,
    path: Path,
    *,
    family: str,
    provenance: Provenance,
    grade: Grade,
    crank: str | None = None,
    cams: Mapping[str, str] | None = None,
    interval_s: float | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> KnownGood:
    """Add a recording, which is measured and kept as well, or a saved measurement.

    Raises
    ------
    UsageError
        Channels are named, but the file is a measurement.
    """
    if document.looks_like_document(path):
        if crank is not None or cams or interval_s is not None:
            raise UsageError(
                f"{path} is a saved measurement: --crank, --cam and --interval are for recordings"
            )
        return store.shelf.add(
            document.load(path), family=family, provenance=provenance, grade=grade
        )
    kept = keep_recording(
        store, path, crank=crank, cams=cams, interval_s=interval_s, progress=progress
    )
    return store.shelf.add(
        kept.measurement,
        family=family,
        provenance=provenance,
        grade=grade,
    )


def shelve_visit(
    store: Store,
    file: JobFile,
    visit: VisitFile,
    *,
    family: str | None,
    grade: Grade,
    conditions: str | None = None,
    measured_by: str | None = None,
    despite_verdict: bool = False,
) -> KnownGood:
    """Add the newest measurement of a visit; mileage and day are the visit's.

    Raises
    ------
    UsageError
        The engine family is not known, or nothing was measured at this visit.
    NotMeasurableError
        The verdict says that this engine has moved, and ``despite_verdict`` is not set.
    """
    name = family or file.vehicle.family
    if not name:
        raise UsageError(f"the engine family of {file.vehicle.label} is not known: name it")
    kept = newest_measured(file, visit).kept
    if not despite_verdict:
        _refuse_moved(visit, kept)
    provenance = Provenance(
        engine_family=name,
        mileage=visit.visit.mileage,
        mileage_unit=visit.visit.mileage_unit,
        date=visit.visit.date,
        conditions=conditions,
        measured_by=measured_by,
    )
    return store.shelf.add(
        kept.measurement,
        family=name,
        provenance=provenance,
        grade=grade,
        vehicle_id=file.vehicle.id,
    )


def _refuse_moved(visit: VisitFile, kept: KeptMeasurement) -> None:
    """Keep an engine that has moved off the shelf, where it would spoil every later verdict."""
    verdicts = [
        item.comparison.verdict.level
        for item in visit.comparisons
        if item.comparison.subject.sha256 == kept.recording_sha256
    ]
    if verdicts and verdicts[-1] in _MOVED:
        raise NotMeasurableError(
            f"the verdict on {kept.measurement.recording.name} is {verdicts[-1]}, and a known-good "
            "is a healthy engine; if it is one all the same, say so with --despite-verdict"
        )


def of_family(store: Store, family: str) -> tuple[KnownGood, ...]:
    """Return the known-goods of a family that are in use.

    Raises
    ------
    UsageError
        There is none; names the families that there are.
    """
    found = store.shelf.of_family(family)
    if not found:
        names = [item.name for item in store.shelf.families() if item.known_goods > item.retired]
        there = f"there is {', '.join(names)}" if names else "the shelf is empty"
        raise UsageError(
            f"no known-good of {family!r} is on the shelf ({there}): add one, or import "
            "another workshop's"
        )
    return found
