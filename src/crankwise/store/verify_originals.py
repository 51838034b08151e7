"""Check originals: each against its digest, and if asked what measuring it again gives."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from crankwise import document
from crankwise.errors import CrankwiseError
from crankwise.model.kept import KeptMeasurement, KeptRecording, Problem
from crankwise.model.measurement import Measurement
from crankwise.store.database import Database
from crankwise.store.originals import Originals, copy_out, digest_of
from crankwise.store.recordings import kept_recordings, measured, measurements_by_recording
from crankwise.store.tables import OriginalRow

SAME_DEG: Final = 1e-6
"""Angles that differ by less are the same: what rounding does on another processor."""

_ADD: Final = "restore it from a backup, or add the file again"
_AT_A_TIME: Final = 200


def original_problems(
    database: Database, originals: Originals | None, tell: Callable[[str, float], None]
) -> Iterator[Problem]:
    """Originals that are missing or damaged, and files that no row speaks of."""
    with database.read() as session:
        kept = _kept(session)
    if originals is None:
        if kept:
            yield Problem(
                "original",
                "originals can't be checked: the store does not say where they are; set "
                "CRANKWISE_ORIGINALS",
            )
        return
    for number, sha256 in enumerate(kept):
        tell("checking originals", number / len(kept))
        recording = kept[sha256]
        why = _wrong(originals, recording)
        if why and _is_still_kept(database, sha256):
            yield Problem("original", f"{why}; {_ADD}")
    yield from _unaccounted(database, originals)


def _kept(session: Session) -> dict[str, KeptRecording]:
    digests = session.scalars(select(OriginalRow.sha256).order_by(OriginalRow.sha256)).all()
    kept: dict[str, KeptRecording] = {}
    for first in range(0, len(digests), _AT_A_TIME):
        kept |= kept_recordings(session, digests[first : first + _AT_A_TIME])
    return {sha256: kept[sha256] for sha256 in digests if sha256 in kept}


def _wrong(originals: Originals, recording: KeptRecording) -> str:
    """What is wrong with an original; empty if nothing is."""
    name, short = recording.name, recording.sha256[:12]
    try:
        with originals.open(recording.sha256) as file:
            found = digest_of(file)
            size_bytes = file.tell()
    except FileNotFoundError:
        return f"the original of {name!r} ({short}) is missing"
    except OSError as error:
        return f"the original of {name!r} ({short}) can't be read ({error.strerror or error})"
    if found != recording.sha256:
        return f"the original of {name!r} ({short}) is damaged"
    if size_bytes != recording.size_bytes:
        return f"the original of {name!r} ({short}) has another size than its row says"
    return ""


def _is_still_kept(database: Database, sha256: str) -> bool:
    """Whether it was not deleted on purpose meanwhile."""
    with database.read() as session:
        return session.get(OriginalRow, sha256) is not None


def _unaccounted(database: Database, originals: Originals) -> Iterator[Problem]:
    """Files that no row speaks of.

    An original is written before its row, so one of no recording is what a write left that was cut
    off. Of a recording that is known, the row was there and is gone.
    """
    for place, sha256 in originals.listing():
        if sha256 is None:
            yield Problem("note", f"{place} is left by a write that was cut off; it may be deleted")
            continue
        with database.read() as session:
            if session.get(OriginalRow, sha256) is not None:
                continue
            recording = kept_recordings(session, [sha256]).get(sha256)
        if recording is None:
            yield Problem(
                "note", f"{place} is of no recording here: add it as a recording, or delete it"
            )
        elif recording.deleted is not None:
            yield Problem(
                "note",
                f"{place} is of {recording.name!r}, which was deleted; it may be deleted too",
            )
        else:
            yield Problem(
                "row",
                f"the original of {recording.name!r} ({sha256[:12]}) is here, but its row is gone; "
                "add the file again",
            )


def measured_again(
    database: Database, originals: Originals, tell: Callable[[str, float], None]
) -> Iterator[Problem]:
    """Newest measurements that measuring the original again does not give.

    Only one of this version of the method can be held against it; of another a note tells.
    """
    with database.read() as session:
        kept = _kept(session)
        of_each = measurements_by_recording(session, list(kept))
        newest = {sha256: of_each[sha256][-1] for sha256 in kept if of_each[sha256]}
    for number, (sha256, before) in enumerate(newest.items()):
        tell("measuring again", number / len(newest))
        problem = _compared(originals, kept[sha256], before)
        if problem is not None:
            yield problem


def _compared(
    originals: Originals, recording: KeptRecording, before: KeptMeasurement
) -> Problem | None:
    """Hold a measurement against what measuring its original gives."""
    named = f"measurement {before.id} of {recording.name!r}"
    with TemporaryDirectory(prefix="crankwise-") as folder:
        path = Path(folder) / Path(recording.name).name
        try:
            copy_out(originals, recording.sha256, path)
            found = measured(path, before.settings, None)
        except OSError:
            return None  # missing, which was told before
        except CrankwiseError as error:
            return Problem("measurement", f"{named} can't be made again: {error}")
    now = document.loads(document.dumps(found), name=recording.name)
    if now.method != before.method:
        return Problem(
            "note",
            f"{named} was made by method {before.method}, this program has method {now.method}: "
            "not compared",
        )
    why = _difference(before.measurement, now)
    return Problem("measurement", f"{named} {why}; measure it again") if why else None


def _difference(kept: Measurement, now: Measurement) -> str:
    was, found = kept.recording, now.recording
    for what, before, after in (
        ("another recording", was.sha256, found.sha256),
        ("another duration", was.duration_s, found.duration_s),
        ("another sampling interval", was.interval_s, found.interval_s),
        ("other channels", was.channels, found.channels),
        ("another crank wheel", kept.crank.wheel, now.crank.wheel),
        ("other cam edges", _edges(kept), _edges(now)),
    ):
        if before != after:
            return f"has {what} than measuring it again gives"
    off_deg = max(
        (abs(one - other) for one, other in zip(_angles(kept), _angles(now), strict=True)),
        default=0.0,
    )
    return f"differs by {off_deg:.2g}° from measuring it again" if off_deg > SAME_DEG else ""


def _edges(measurement: Measurement) -> list[tuple[str, str, str]]:
    return [
        (cam.channel, cam.role, edge.edge) for cam in measurement.cams for edge in cam.edges
    ]  # fmt: skip


def _angles(measurement: Measurement) -> list[float]:
    return [edge.angle_deg for cam in measurement.cams for edge in cam.edges]
