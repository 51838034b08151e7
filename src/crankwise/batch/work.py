"""One recording: fetched, measured, compared, and turned into rows; this runs in the workers.

Nothing that a recording can do comes out as an error: what fails is a row as well.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import Any, Final, Literal

from crankwise.batch.plan import Plan
from crankwise.batch.sources import Source, filesystem_of
from crankwise.errors import CrankwiseError, NotMeasurableError, UnreadableError, UsageError
from crankwise.model.comparison import CamShift, Comparison
from crankwise.model.measurement import CamEdge, CamMeasurement, Measurement

Kind = Literal["unreachable", "unreadable", "not-measurable", "not-comparable", "killed", "defect"]
REMEMBERED: Final[frozenset[str]] = frozenset({"unreadable", "not-measurable", "not-comparable"})
"""Failures that the same bytes give every time; the others are tried again the next time."""

_CODES: Final[dict[Kind, int]] = {
    "unreachable": 3, "unreadable": 3, "not-measurable": 4, "not-comparable": 4, "killed": 1,
    "defect": 1,
}  # fmt: skip
_CHUNK: Final = 1 << 20


@dataclass(frozen=True, slots=True)
class EdgeRow:
    """One cam edge of one recording: the columns of the table of results.

    Attributes
    ----------
    path, size_bytes, changed, plan : str, int, str, str
        The recording, how it stood, and what was done to it.
    sha256, channel, role, edge, angle_deg, uncertainty_deg, teeth, scatter_deg, count, rejected
        Of the edge, as in the measurement document.
    cycles, wheel, timing_edge, speed_rpm, duration_s
        Of its cam, of the crank and of the recording.
    compared_as : str or None
        Role of the cam in the known-good that it lies over.
    shift_deg, shift_uncertainty_deg : float or None
        Of its cam against the known-goods, crank degrees; the uncertainty is expanded, 95 %.
    verdict, verdict_words : str or None
        On the engine.
    findings : str
        Codes of what the check of the recording found, with blanks between.
    """

    path: str
    role: str
    edge: str
    angle_deg: float
    uncertainty_deg: float
    teeth: str
    scatter_deg: float
    count: int
    rejected: int
    channel: str
    cycles: int
    wheel: str
    timing_edge: str
    speed_rpm: float
    duration_s: float
    compared_as: str | None
    shift_deg: float | None
    shift_uncertainty_deg: float | None
    verdict: str | None
    verdict_words: str | None
    findings: str
    sha256: str
    size_bytes: int | None
    changed: str
    plan: str


@dataclass(frozen=True, slots=True)
class FailureRow:
    """One recording that failed: the columns of the table of failures.

    ``exit_code`` is that of ``crankwise measure`` or ``compare`` in this case.
    """

    path: str
    kind: Kind
    exit_code: int
    message: str
    size_bytes: int | None
    changed: str
    plan: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one recording: rows of edges, a failure, or both where only comparing failed."""

    source: Source
    edges: tuple[EdgeRow, ...] = ()
    failure: FailureRow | None = None

    def rows(self) -> Iterator[dict[str, Any]]:
        """Every row as plain values."""
        yield from (asdict(row) for row in self.edges)
        if self.failure is not None:
            yield asdict(self.failure)


def measure_all(sources: Sequence[Source], plan: Plan) -> list[Outcome]:
    """Measure some recordings, one after the other."""
    return [measure_one(source, plan) for source in sources]


def measure_one(source: Source, plan: Plan) -> Outcome:
    """Measure one recording, and compare it if the plan says with what."""
    try:
        with _fetched(source) as path:
            measurement = _measured(path, plan)
    except (UnreadableError, UsageError) as error:
        return failed(source, plan, "unreadable", str(error))
    except NotMeasurableError as error:
        return failed(source, plan, "not-measurable", str(error))
    except _UnreachableError as error:
        return failed(source, plan, "unreachable", str(error))
    except MemoryError:
        words = "there is not enough memory for this recording: measure it on another computer"
        return failed(source, plan, "killed", words)
    except Exception as error:  # noqa: BLE001  one recording must not stop the others
        return failed(source, plan, "defect", _defect(error))
    return _compared(source, plan, measurement)


def failed(source: Source, plan: Plan, kind: Kind, message: str) -> Outcome:
    """Return the outcome of a recording that failed."""
    failure = FailureRow(
        source.path, kind, _CODES[kind], message, source.size_bytes, source.changed, plan.digest
    )
    return Outcome(source, failure=failure)


class _UnreachableError(Exception):
    """The bytes could not be had; says why."""


def _measured(path: Path, plan: Plan) -> Measurement:
    from crankwise import document, pipeline, readers  # noqa: PLC0415  workers import what they use

    if document.looks_like_document(path):
        raise UnreadableError(f"{path.name}: this is a saved document, not a recording")
    recording = readers.read(path, interval_s=plan.interval_s)
    measurement = pipeline.measure(recording, crank=plan.crank, cams=plan.cams)
    if not any(cam.edges for cam in measurement.cams):
        told = [item.text for item in measurement.findings if item.level != "note"]
        raise NotMeasurableError(f"{path.name}: {told[0] if told else 'no cam was recorded'}")
    return measurement


def _compared(source: Source, plan: Plan, measurement: Measurement) -> Outcome:
    if not plan.known_goods:
        return Outcome(source, _rows(source, plan, measurement, None))
    from crankwise import pipeline  # noqa: PLC0415  workers import what they use

    try:
        comparison = pipeline.compare(
            measurement,
            _others(plan, measurement),
            engine=plan.engine,
            policy=plan.policy,
            service_limit_deg=plan.service_limit_deg,
        )
    except CrankwiseError as error:
        failure = failed(source, plan, "not-comparable", str(error)).failure
    except Exception as error:  # noqa: BLE001  one recording must not stop the others
        failure = failed(source, plan, "defect", _defect(error)).failure
    else:
        return Outcome(source, _rows(source, plan, measurement, comparison))
    return Outcome(source, _rows(source, plan, measurement, None), failure)


def _others(plan: Plan, measurement: Measurement) -> tuple[Measurement, ...]:
    """Known-goods but the recording itself, which could only agree.

    Raises
    ------
    NotMeasurableError
        There is no other.
    """
    sha256 = measurement.recording.sha256
    others = tuple(one for one in plan.known_goods if one.recording.sha256 != sha256)
    if not others:
        raise NotMeasurableError(
            f"{measurement.recording.name} is the only known-good itself: there is nothing to "
            "compare it with"
        )
    return others


def _rows(
    source: Source, plan: Plan, measurement: Measurement, comparison: Comparison | None
) -> tuple[EdgeRow, ...]:
    shifts = {cam.subject_channel: cam for cam in comparison.cams} if comparison else {}
    return tuple(
        _row(source, plan, measurement, cam, edge, shifts.get(cam.channel), comparison)
        for cam in measurement.cams
        for edge in cam.edges
    )


def _row(  # noqa: PLR0917  everything that a row tells of
    source: Source,
    plan: Plan,
    measurement: Measurement,
    cam: CamMeasurement,
    edge: CamEdge,
    shift: CamShift | None,
    comparison: Comparison | None,
) -> EdgeRow:
    crank, info = measurement.crank, measurement.recording
    return EdgeRow(
        path=source.path,
        role=cam.role,
        edge=edge.edge,
        angle_deg=edge.angle_deg,
        uncertainty_deg=edge.uncertainty_deg,
        teeth=edge.teeth,
        scatter_deg=edge.scatter_deg,
        count=edge.count,
        rejected=edge.rejected,
        channel=cam.channel,
        cycles=cam.cycles,
        wheel=crank.wheel,
        timing_edge=crank.timing_edge,
        speed_rpm=crank.speed_rpm.mean,
        duration_s=info.duration_s,
        compared_as=shift.role if shift else None,
        shift_deg=shift.shift_deg if shift else None,
        shift_uncertainty_deg=shift.uncertainty_deg if shift else None,
        verdict=comparison.verdict.level if comparison else None,
        verdict_words=comparison.verdict.summary if comparison else None,
        findings=" ".join(dict.fromkeys(item.code for item in measurement.findings)),
        sha256=info.sha256,
        size_bytes=source.size_bytes,
        changed=source.changed,
        plan=plan.digest,
    )


@contextmanager
def _fetched(source: Source) -> Iterator[Path]:
    """Lend the recording as a file: where it lies, or as a copy under its own name."""
    if source.size_bytes is None:
        raise _UnreachableError(f"{source.path}: no such file. Check the name and the folder")
    if "://" not in source.path:
        yield Path(source.path)
        return
    with tempfile.TemporaryDirectory(prefix="crankwise-") as folder:
        path = Path(folder) / PurePosixPath(source.path).name
        try:
            files, place = filesystem_of(source.path)
            with files.open(place, "rb") as remote, path.open("wb") as local:
                shutil.copyfileobj(remote, local, _CHUNK)
        except Exception as error:
            # Each kind of store has failures of its own.
            words = " ".join(str(error).split()) or type(error).__name__
            raise _UnreachableError(f"{source.path} can't be fetched ({words})") from error
        yield path


def _defect(error: Exception) -> str:
    return (
        f"something went wrong inside Crankwise ({type(error).__name__}: {error}); please report "
        "it with this recording"
    )
