"""What watches have seen, so that no file is taken twice and every page can show it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, get_args

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from crankwise.model.comparison import Comparison
from crankwise.model.measurement import Measurement
from crankwise.model.seen import FileState, Outcome, Seen
from crankwise.store import codec
from crankwise.store.database import Database
from crankwise.store.finding import numbered
from crankwise.store.tables import MeasurementRow, WatchedRow


class Watched:
    """Files that were seen, by number, place and digest."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(
        self,
        folder: str,
        file: FileState,
        *,
        outcome: Outcome,
        text: str = "",
        sha256: str | None = None,
        measurement_id: int | None = None,
        comparison: Comparison | None = None,
        visit_id: int | None = None,
    ) -> Seen:
        """Keep what became of a file; its number is higher than any before."""
        row = WatchedRow(
            folder=folder,
            path=file.path,
            size_bytes=file.size_bytes,
            changed_ns=file.changed_ns,
            sha256=sha256,
            outcome=outcome,
            text=text,
            seen_at=datetime.now(UTC),
            visit_id=visit_id,
            measurement_id=measurement_id,
            comparison=None if comparison is None else codec.dump(comparison),
        )
        with self._database.write() as session:
            session.add(row)
            session.flush()
            return _seen(session, row)

    def get(self, number: int) -> Seen:
        """Return what became of one file; raises UsageError where there is none of this number."""
        with self._database.read() as session:
            return _seen(session, numbered(session, WatchedRow, number, "watched file"))

    def newest(self, count: int) -> tuple[Seen, ...]:
        """Return the last so many, the newest first."""
        asked = select(WatchedRow).order_by(WatchedRow.id.desc()).limit(count)
        return self._all(asked)

    def after(self, number: int, *, count: int = 100) -> tuple[Seen, ...]:
        """Return what came after a number, the oldest first."""
        asked = select(WatchedRow).where(WatchedRow.id > number).order_by(WatchedRow.id)
        return self._all(asked.limit(count))

    def states(self, folder: str) -> dict[str, FileState]:
        """Return how each file of a folder stood when it was seen last, by its path."""
        row = WatchedRow
        asked = (
            select(row.path, row.size_bytes, row.changed_ns)
            .where(row.folder == folder)
            .order_by(row.id)
        )
        with self._database.read() as session:
            return {path: FileState(path, *state) for path, *state in session.execute(asked)}

    def first_of(self, sha256: str) -> Seen | None:
        """Return what became of these bytes when a watch first measured them."""
        row = WatchedRow
        taken = row.outcome.in_(("compared", "measured"))
        asked = select(row).where(row.sha256 == sha256, taken).order_by(row.id).limit(1)
        found = self._all(asked)
        return found[0] if found else None

    def _all(self, asked: Select[Any]) -> tuple[Seen, ...]:
        with self._database.read() as session:
            return tuple(_seen(session, row) for row in session.scalars(asked))


def _seen(session: Session, row: WatchedRow) -> Seen:
    measured = row.measurement_id and session.get_one(MeasurementRow, row.measurement_id).document
    outcome = next(known for known in get_args(Outcome) if known == row.outcome)
    return Seen(
        id=row.id,
        folder=row.folder,
        file=FileState(row.path, row.size_bytes, row.changed_ns),
        seen_at=row.seen_at,
        outcome=outcome,
        text=row.text,
        sha256=row.sha256,
        measurement=codec.load(measured, Measurement) if measured else None,
        comparison=codec.load(row.comparison, Comparison) if row.comparison else None,
        visit_id=row.visit_id,
    )
