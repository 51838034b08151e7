"""Order in a vehicle's file: what was measured at a visit, and with which chain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.errors import UsageError
from crankwise.model.job import Purpose, Repair

if TYPE_CHECKING:
    from crankwise.model.job import JobFile, VisitFile
    from crankwise.model.kept import KeptMeasurement

AFTER_REPAIR: Final[Purpose] = "after-repair"


@dataclass(frozen=True, slots=True)
class Measured:
    """One recording of a visit with its newest measurement.

    ``chain`` is how many times the chain had been replaced before it was recorded.
    """

    kept: KeptMeasurement
    purpose: Purpose
    chain: int


def measured_of(file: JobFile, visit: VisitFile) -> list[Measured]:
    """Return what was measured at a visit, in the order in which it was recorded."""
    newest = {kept.recording_sha256: kept for kept in visit.measurements}
    return [
        Measured(newest[item.recording.sha256], item.purpose, _chain(file, visit, item.purpose))
        for item in visit.recordings
        if item.recording.sha256 in newest
    ]


def newest_measured(file: JobFile, visit: VisitFile, *, sha256: str | None = None) -> Measured:
    """Return what was measured last at a visit, or of one recording of it.

    Raises
    ------
    UsageError
        Nothing was.
    """
    measured = [
        one
        for one in measured_of(file, visit)
        if sha256 is None or one.kept.recording_sha256 == sha256
    ]
    if not measured:
        raise UsageError(
            f"nothing was measured at the visit of {visit.visit.date}: add a recording to it"
        )
    return measured[-1]


def chain_of_recording(file: JobFile, sha256: str) -> int | None:
    """Return how many times the chain had been replaced when this was recorded.

    ``None`` if the recording isn't one of this job's.
    """
    for visit in file.visits:
        for recording in visit.recordings:
            if recording.recording.sha256 == sha256:
                return _chain(file, visit, recording.purpose)
    return None


def _chain(file: JobFile, visit: VisitFile, purpose: Purpose) -> int:
    place = file.visits.index(visit)
    earlier = sum(_chains_fitted(other) for other in file.visits[:place])
    return earlier + (_chains_fitted(visit) if purpose == AFTER_REPAIR else 0)


def _chains_fitted(visit: VisitFile) -> int:
    return sum(isinstance(kept.fact, Repair) and kept.fact.chain_replaced for kept in visit.facts)
