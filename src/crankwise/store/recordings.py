"""Recordings: their originals, their measurements, and measuring again."""

from __future__ import annotations

import io
import os
import tempfile
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import IO

from sqlalchemy import Select, delete, select
from sqlalchemy.orm import Session

from crankwise import __version__, document
from crankwise.document.names import clean_name
from crankwise.errors import CrankwiseError, NotFoundError, UnreadableError, UsageError
from crankwise.model.kept import (
    Deletion,
    KeptMeasurement,
    KeptRecording,
    MeasureSettings,
    Remeasured,
)
from crankwise.model.measurement import Measurement
from crankwise.store import codec
from crankwise.store.changes import remeasured
from crankwise.store.database import Database
from crankwise.store.finding import by_start, insert_missing
from crankwise.store.originals import Originals, copy_out
from crankwise.store.tables import DeletionRow, MeasurementRow, OriginalRow, RecordingRow

Progress = Callable[[str, float], None]


class Recordings:
    """Recordings by their digest (a beginning of six digits or more will do)."""

    def __init__(
        self, database: Database, originals: Originals | None, levels_folder: Path
    ) -> None:
        self._database = database
        self._originals = originals
        self._levels_folder = levels_folder

    def add(
        self, source: str | os.PathLike[str] | bytes, *, name: str | None = None
    ) -> KeptRecording:
        """Keep an original byte for byte; the same bytes again change nothing.

        Parameters
        ----------
        source : path or bytes
        name : str, optional
            File name; must be given with bytes.

        Raises
        ------
        UsageError
            The file can't be opened, or the store can't be written.
        """
        with _opened(source) as file:
            given = name or (None if isinstance(source, bytes) else Path(source).name)
            if not given:
                raise UsageError("bytes of a recording need a file name with them")
            # What the system could not read of a name can't be kept.
            given = given.encode("utf-8", "replace").decode()
            sha256, size = self._place().put(file)
        now = datetime.now(UTC)
        with self._database.write() as session:
            know(session, sha256, given, now)
            insert_missing(
                session, OriginalRow, {"sha256": sha256, "size_bytes": size, "added_at": now}
            )
        return self.get(sha256)

    def get(self, sha256: str) -> KeptRecording:
        """Return a recording; raises NotFoundError where there is none."""
        with self._database.read() as session:
            return kept_recording(session, _recording(session, sha256))

    def list(self) -> tuple[KeptRecording, ...]:
        """Return all recordings, the newest last."""
        asked = _with_originals().order_by(RecordingRow.added_at, RecordingRow.sha256)
        with self._database.read() as session:
            deletions = _deletions(session)
            return tuple(
                _kept(row, original, deletions.get(row.sha256))
                for row, original in session.execute(asked)
            )

    def delete(self, sha256: str, *, why: str) -> Deletion:
        """Delete an original for good, with its levels, and record that; its measurements stay.

        Raises
        ------
        UsageError
            There is no such recording, its original is not here, or no reason was given.
        """
        if not why.strip():
            raise UsageError("say why the original is deleted: it is recorded in its place")
        now = datetime.now(UTC)
        with self._database.write() as session:
            row = _recording(session, sha256)
            gone = session.execute(delete(OriginalRow).where(OriginalRow.sha256 == row.sha256))
            if not gone.rowcount:  # type: ignore[attr-defined]  # of every DELETE
                raise UsageError(f"the original of {row.name} is not kept here")
            session.add(DeletionRow(kind="original", subject=row.sha256, why=why, deleted_at=now))
            found = row.sha256
        # Recorded first: a crash in between leaves a file that verifying finds, not a lost one.
        self._place().delete(found)
        _delete_levels(self._levels_folder, found)
        return Deletion("original", found, why, now)

    @contextmanager
    def original(self, sha256: str) -> Iterator[Path]:
        """Lend a copy of an original under its own file name; it goes afterwards.

        What this system does not take in a name, or another would not, is replaced.

        Raises
        ------
        UsageError
            There is no such recording, or its original was deleted or never kept here.
        UnreadableError
            The original is missing where it should be.
        """
        recording = self.get(sha256)
        if not recording.is_kept:
            raise UsageError(f"the original of {recording.name} {where_is(recording)}")
        with tempfile.TemporaryDirectory(prefix="crankwise-") as folder:
            path = Path(folder) / clean_name(recording.name)
            try:
                copy_out(self._place(), recording.sha256, path)
            except FileNotFoundError as error:
                raise UnreadableError(
                    f"the original of {recording.name} ({recording.sha256[:12]}) is missing; put "
                    "the file back by adding it again"
                ) from error
            yield path

    def measure(
        self,
        sha256: str,
        *,
        settings: MeasureSettings | None = None,
        progress: Progress | None = None,
    ) -> KeptMeasurement:
        """Measure a kept original and keep the result.

        Raises
        ------
        UsageError, UnreadableError, NotMeasurableError
            As for reading and measuring.
        """
        settings = settings or MeasureSettings()
        with self.original(sha256) as path:
            measurement = measured(path, settings, progress)
        kept_as = replace(measurement.recording, name=self.get(sha256).name)
        return self.add_measurement(replace(measurement, recording=kept_as), settings=settings)

    def add_measurement(
        self, measurement: Measurement, *, settings: MeasureSettings | None = None
    ) -> KeptMeasurement:
        """Keep a measurement beside the earlier ones; the newest one again changes nothing."""
        exact = document.loads(document.dumps(measurement), name=measurement.recording.name)
        text = codec.dump(exact)
        values = {
            "recording_sha256": exact.recording.sha256,
            "method": exact.method,
            "program": __version__,
            "measured_at": datetime.now(UTC),
            "settings": codec.dump(settings or MeasureSettings()),
            "document": text,
            "document_sha256": codec.digest(text),
        }
        with self._database.write() as session:
            know(session, exact.recording.sha256, exact.recording.name, datetime.now(UTC))
            row = session.scalars(
                select(MeasurementRow)
                .where(MeasurementRow.recording_sha256 == exact.recording.sha256)
                .order_by(MeasurementRow.id.desc())
                .limit(1)
            ).first()
            if row is None or row.document_sha256 != values["document_sha256"]:
                row = MeasurementRow(**values)
                session.add(row)
                session.flush()
            return kept_measurement(row)

    def measurements(self, sha256: str) -> tuple[KeptMeasurement, ...]:
        """Return all measurements of a recording, the oldest first."""
        with self._database.read() as session:
            return measurements_of(session, _recording(session, sha256).sha256)

    def latest(self, sha256: str) -> KeptMeasurement | None:
        """Return the newest measurement of a recording."""
        found = self.measurements(sha256)
        return found[-1] if found else None

    def measurement(self, number: int) -> KeptMeasurement:
        """Return a measurement by its number; raises NotFoundError where there is none."""
        with self._database.read() as session:
            row = session.get(MeasurementRow, number)
            if row is None:
                raise NotFoundError(f"there is no measurement {number} in this store")
            return kept_measurement(row)

    def remeasure(
        self, shas: Sequence[str] | None = None, *, progress: Progress | None = None
    ) -> tuple[Remeasured, ...]:
        """Measure kept originals again as they were measured before, and keep both results.

        Parameters
        ----------
        shas : sequence of str, optional
            Which ones; all that are kept here if not given.
        progress : callable, optional
            Called with the file's name and the share done (0 to 1).

        Returns
        -------
        tuple of Remeasured
            What changed; a recording that can't be measured any more says why and stops nothing.
        """
        if shas is None:
            chosen = [recording for recording in self.list() if recording.is_kept]
        else:
            chosen = [self.get(sha) for sha in shas]
        done: list[Remeasured] = []
        for number, recording in enumerate(chosen):
            if progress is not None:
                progress(recording.name, number / len(chosen))
            before = self.latest(recording.sha256)
            settings = before.settings if before else MeasureSettings()
            try:
                after = self.measure(recording.sha256, settings=settings)
            except CrankwiseError as error:
                done.append(Remeasured(recording, before, None, failed=str(error)))
            else:
                done.append(remeasured(recording, before, after))
        return tuple(done)

    def _place(self) -> Originals:
        if self._originals is None:
            raise UsageError(
                f"{self._database.where} does not say where originals are kept: set "
                "CRANKWISE_ORIGINALS to a folder or an fsspec URL, or add ?originals= to the URL"
            )
        return self._originals


def know(session: Session, sha256: str, name: str, now: datetime) -> None:
    """Make sure that a recording has a row."""
    insert_missing(session, RecordingRow, {"sha256": sha256, "name": name, "added_at": now})


def kept_recording(session: Session, row: RecordingRow) -> KeptRecording:
    """A recording's row as the model knows it."""
    return kept_recordings(session, [row.sha256])[row.sha256]


def kept_recordings(session: Session, digests: Collection[str]) -> dict[str, KeptRecording]:
    """Several recordings by their digest."""
    asked = _with_originals().where(RecordingRow.sha256.in_(digests))
    rows = session.execute(asked).all()
    gone = [row.sha256 for row, original in rows if original is None]
    deletions = _deletions(session, gone) if gone else {}
    return {row.sha256: _kept(row, original, deletions.get(row.sha256)) for row, original in rows}


def _kept(
    row: RecordingRow, original: OriginalRow | None, deleted: Deletion | None
) -> KeptRecording:
    if original is None:
        return KeptRecording(row.sha256, row.name, None, row.added_at, deleted)
    return KeptRecording(row.sha256, row.name, original.size_bytes, row.added_at)


def _with_originals() -> Select[RecordingRow, OriginalRow]:
    return select(RecordingRow, OriginalRow).outerjoin(
        OriginalRow, OriginalRow.sha256 == RecordingRow.sha256
    )


def _deletions(session: Session, digests: Collection[str] | None = None) -> dict[str, Deletion]:
    """The last deletion of each original that was deleted, or of some."""
    asked = select(DeletionRow).where(DeletionRow.kind == "original").order_by(DeletionRow.id)
    if digests is not None:
        asked = asked.where(DeletionRow.subject.in_(digests))
    return {
        row.subject: Deletion("original", row.subject, row.why, row.deleted_at)
        for row in session.scalars(asked)
    }


def kept_measurement(row: MeasurementRow) -> KeptMeasurement:
    """A measurement's row as the model knows it."""
    return KeptMeasurement(
        id=row.id,
        recording_sha256=row.recording_sha256,
        method=row.method,
        program=row.program,
        measured_at=row.measured_at,
        settings=codec.load(row.settings, MeasureSettings),
        measurement=codec.load_document(row.document, Measurement),
    )


def measurements_of(session: Session, sha256: str) -> tuple[KeptMeasurement, ...]:
    """All measurements of a recording, the oldest first."""
    return tuple(measurements_by_recording(session, [sha256])[sha256])


def measurements_by_recording(
    session: Session, digests: Collection[str]
) -> defaultdict[str, list[KeptMeasurement]]:
    """All measurements of several recordings, the oldest first."""
    rows = session.scalars(
        select(MeasurementRow)
        .where(MeasurementRow.recording_sha256.in_(digests))
        .order_by(MeasurementRow.id)
    )
    found: defaultdict[str, list[KeptMeasurement]] = defaultdict(list)
    for row in rows:
        found[row.recording_sha256].append(kept_measurement(row))
    return found


def _recording(session: Session, sha256: str) -> RecordingRow:
    return by_start(session, RecordingRow, RecordingRow.sha256, sha256, fewest=6, noun="recording")


@contextmanager
def _opened(source: str | os.PathLike[str] | bytes) -> Iterator[IO[bytes]]:
    if isinstance(source, bytes):
        yield io.BytesIO(source)
        return
    try:
        file = Path(source).open("rb")  # noqa: SIM115  closed below
    except OSError as error:
        raise UsageError(f"{source}: it can't be opened ({error.strerror})") from error
    with file:
        yield file


def where_is(recording: KeptRecording) -> str:
    """Say what became of an original that isn't here."""
    if recording.deleted is None:
        return "was never kept here: add the file"
    day = recording.deleted.deleted_at.date().isoformat()
    return f"was deleted on {day} ({recording.deleted.why})"


def _delete_levels(folder: Path, sha256: str) -> None:
    from crankwise.levels import LevelsCache  # noqa: PLC0415  listing needs no numerics

    LevelsCache(folder).delete(sha256)


def measured(path: Path, settings: MeasureSettings, progress: Progress | None) -> Measurement:
    """Measure a file as it was stated.

    Raises
    ------
    UsageError, UnreadableError, NotMeasurableError
        As for reading and measuring.
    """
    from crankwise.readers.measuring import (  # noqa: PLC0415  listing needs no numerics
        measure_file,
    )

    return measure_file(
        path,
        interval_s=settings.interval_s,
        crank=settings.crank,
        cams=settings.cams,
        progress=progress,
    )
