"""Check a store: every original against its digest, every row against what it stands for."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import LargeBinary, select, text, type_coerce
from sqlalchemy.orm import Session

from crankwise.errors import UnreadableError
from crankwise.model.kept import Problem, VerifyReport
from crankwise.model.measurement import Measurement
from crankwise.model.shelf import KnownGood
from crankwise.store import codec, portable
from crankwise.store.database import Database
from crankwise.store.originals import Originals, digest_of
from crankwise.store.tables import KnownGoodRow, MeasurementRow, OriginalRow, RecordingRow
from crankwise.store.types import unpacked

_STREAM = {"yield_per": 200}
_BACK = "go back to a backup, or measure it again"


def verify(database: Database, originals: Originals | None) -> VerifyReport:
    """Check everything; nothing is changed.

    Returns
    -------
    VerifyReport
        Originals that are missing, damaged, or not accounted for; documents that were altered;
        what the database itself finds wrong.
    """
    with database.read() as session:
        problems = list(_database_problems(session, is_sqlite=database.is_sqlite))
        asked = (
            select(OriginalRow.sha256, RecordingRow.name)
            .join(RecordingRow, RecordingRow.sha256 == OriginalRow.sha256)
            .order_by(OriginalRow.sha256)
        )
        kept = {row.sha256: row.name for row in session.execute(asked)}
        measurements, wrong = _measurements(session)
        problems += wrong
        known_goods, wrong = _known_goods(session)
        problems += wrong
    if originals is None and kept:
        problems.append(
            Problem("original", "originals can't be checked: the store does not say where they are")
        )
    elif originals is not None:
        problems += _original_problems(originals, kept)
    return VerifyReport(len(kept), measurements, known_goods, tuple(problems))


def _database_problems(session: Session, *, is_sqlite: bool) -> Iterator[Problem]:
    if not is_sqlite:
        return
    for (said,) in session.execute(text("PRAGMA integrity_check(5)")):
        if said != "ok":
            yield Problem("database", f"the database file is damaged ({said}); use a backup")
    for row in session.execute(text("PRAGMA foreign_key_check")):
        yield Problem("database", f"a row of {row[0]} points to nothing in {row[2]}")


def _original_problems(originals: Originals, kept: dict[str, str]) -> Iterator[Problem]:
    for sha256, name in kept.items():
        try:
            with originals.open(sha256) as file:
                found = digest_of(file)
        except FileNotFoundError:
            yield Problem(
                "original", f"the original of {name} ({sha256[:12]}) is missing; add the file again"
            )
            continue
        except OSError as error:
            yield Problem(
                "original", f"the original of {name} ({sha256[:12]}) can't be read ({error})"
            )
            continue
        if found != sha256:
            yield Problem(
                "original",
                f"the original of {name} ({sha256[:12]}) is damaged; add the file again",
            )
    for place, digest in originals.listing():
        if digest not in kept:
            why = "left by a write that was cut off" if digest is None else "of no recording here"
            yield Problem("stray", f"{place} is {why}; it may be deleted, or added again")


def _measurements(session: Session) -> tuple[int, list[Problem]]:
    row = MeasurementRow
    document = type_coerce(row.document, LargeBinary)  # unpacked below, as it may be damaged
    asked = select(row.id, row.recording_sha256, row.document_sha256, document).order_by(row.id)
    count, problems = 0, []
    for number, recording, digest, packed in session.execute(asked.execution_options(**_STREAM)):
        count += 1
        try:
            text = unpacked(bytes(packed))
            same = codec.digest(text) == digest
            same = same and codec.load(text, Measurement).recording.sha256 == recording
        except (UnreadableError, ValueError):
            same = False
        if not same:
            problems.append(Problem("measurement", f"measurement {number} was altered; {_BACK}"))
    return count, problems


def _known_goods(session: Session) -> tuple[int, list[Problem]]:
    row = KnownGoodRow
    document = type_coerce(row.document, LargeBinary)
    asked = select(row.id, row.recording_sha256, document).order_by(row.id)
    count, problems = 0, []
    for identifier, recording, packed in session.execute(asked.execution_options(**_STREAM)):
        count += 1
        try:
            known_good = codec.load(unpacked(bytes(packed)), KnownGood)
            same = known_good.measurement.recording.sha256 == recording
            same = same and known_good.id == identifier and portable.is_untouched(known_good)
        except (UnreadableError, ValueError):
            same = False
        if not same:
            problems.append(Problem("known-good", f"known-good {identifier} was altered; {_BACK}"))
    return count, problems
