"""A value that changes whenever anything in the store does: what was made from it can be kept."""

from __future__ import annotations

from sqlalchemy import Select, func, select

from crankwise.store.database import Database
from crankwise.store.tables import (
    ComparisonRow,
    DeletionRow,
    DetailsRow,
    FactRow,
    JobRow,
    KnownGoodRow,
    MeasurementRow,
    ShopRow,
    VehicleRow,
    VisitRecordingRow,
    VisitRow,
)

Stamp = tuple[object, ...]

# Rows are only ever added, so the highest number tells of every change; of the shelf, whose names
# are digests and where a retirement changes a row, the counts do.
_NUMBERED = (
    ComparisonRow, DeletionRow, DetailsRow, FactRow, JobRow, MeasurementRow, ShopRow, VehicleRow,
    VisitRecordingRow, VisitRow,
)  # fmt: skip


def _question() -> Select[tuple[object, ...]]:
    highest = [select(func.max(row.id)).scalar_subquery() for row in _NUMBERED]
    shelf = (
        select(func.count()).select_from(KnownGoodRow).scalar_subquery(),
        select(func.count(KnownGoodRow.retired_at)).scalar_subquery(),
    )
    return select(*highest, *shelf)


_QUESTION = _question()


def stamp_of(database: Database) -> Stamp:
    """Return the stamp of a store as it is now."""
    with database.read() as session:
        return tuple(session.execute(_QUESTION).one())
