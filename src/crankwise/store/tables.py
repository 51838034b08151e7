"""The tables. Rows are added and never changed, but for a known-good's retirement.

Nothing outside of the store sees these classes; repositories return dataclasses of the model.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import (
    BigInteger,
    Float,
    ForeignKey,
    Index,
    LargeBinary,
    MetaData,
    String,
    Text,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from crankwise.store.types import Packed, UtcTime

SCHEMA = "0003"
"""Newest schema: the last of the migrations."""


class Base(DeclarativeBase):
    """Names of constraints are fixed, so that a migration can speak of them."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {datetime: UtcTime(), str: Text()}  # noqa: RUF012  read by the base


class WorkshopRow(Base):
    """A workshop; ``name_key`` is its name without case and spare spaces."""

    __tablename__ = "workshop"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    name_key: Mapped[str] = mapped_column(unique=True)


class FamilyRow(Base):
    """An engine family."""

    __tablename__ = "family"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    name_key: Mapped[str] = mapped_column(unique=True)


class VehicleRow(Base):
    """A vehicle, without what is private about it."""

    __tablename__ = "vehicle"
    id: Mapped[int] = mapped_column(primary_key=True)
    workshop_id: Mapped[int | None] = mapped_column(ForeignKey("workshop.id"))
    family_id: Mapped[int | None] = mapped_column(ForeignKey("family.id"))
    label: Mapped[str]
    added_at: Mapped[datetime]


class DetailsRow(Base):
    """What is private about a vehicle; the newest row counts."""

    __tablename__ = "vehicle_details"
    id: Mapped[int] = mapped_column(primary_key=True)
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"), index=True)
    vin: Mapped[str | None]
    plate: Mapped[str | None]
    customer: Mapped[str | None]
    recorded_at: Mapped[datetime]


class JobRow(Base):
    """A job."""

    __tablename__ = "job"
    id: Mapped[int] = mapped_column(primary_key=True)
    vehicle_id: Mapped[int] = mapped_column(ForeignKey("vehicle.id"), index=True)
    title: Mapped[str]
    opened_at: Mapped[datetime]


class VisitRow(Base):
    """A visit."""

    __tablename__ = "visit"
    id: Mapped[int] = mapped_column(primary_key=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    date: Mapped[str] = mapped_column(String(10))
    mileage: Mapped[float | None] = mapped_column(Float())
    mileage_unit: Mapped[str | None] = mapped_column(String(5))
    recorded_at: Mapped[datetime]


class RecordingRow(Base):
    """A recording, known by its digest; its original may be here or not."""

    __tablename__ = "recording"
    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    name: Mapped[str]
    added_at: Mapped[datetime]


class OriginalRow(Base):
    """An original that is kept; the row goes when the original is deleted."""

    __tablename__ = "original"
    sha256: Mapped[str] = mapped_column(
        String(64), ForeignKey("recording.sha256"), primary_key=True
    )
    size_bytes: Mapped[int] = mapped_column(BigInteger())
    added_at: Mapped[datetime]


class VisitRecordingRow(Base):
    """A recording made on a visit."""

    __tablename__ = "visit_recording"
    __table_args__ = (UniqueConstraint("visit_id", "recording_sha256", "purpose"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"))
    recording_sha256: Mapped[str] = mapped_column(
        String(64), ForeignKey("recording.sha256"), index=True
    )
    purpose: Mapped[str] = mapped_column(String(20))
    recorded_at: Mapped[datetime]


class MeasurementRow(Base):
    """A measurement; the newest of a recording counts.

    Measuring again gives a new row only where the newest says something else, so that going back to
    an earlier choice of channels makes that the newest once more.
    """

    __tablename__ = "measurement"
    __table_args__ = (Index("ix_measurement_recording_sha256", "recording_sha256"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    recording_sha256: Mapped[str] = mapped_column(String(64), ForeignKey("recording.sha256"))
    method: Mapped[str]
    program: Mapped[str]
    measured_at: Mapped[datetime]
    settings: Mapped[str]
    document: Mapped[str] = mapped_column(Packed())
    document_sha256: Mapped[str] = mapped_column(String(64))


class PatternRow(Base):
    """A pattern within a family: known-goods that lie over its first one.

    ``first_id`` is that known-good. It is no foreign key, as the known-good points here already.
    """

    __tablename__ = "pattern"
    id: Mapped[int] = mapped_column(primary_key=True)
    family_id: Mapped[int] = mapped_column(ForeignKey("family.id"), index=True)
    first_id: Mapped[str] = mapped_column(String(16))
    wheel: Mapped[str]
    cams: Mapped[int]


class PatternCamRow(Base):
    """One cam of a pattern, with what a search by pattern needs.

    ``edges`` is JSON: direction and angle of each edge.
    """

    __tablename__ = "pattern_cam"
    __table_args__ = (
        Index("ix_pattern_cam_search", "teeth_per_rev", "edge_count", "widest_deg"),
    )  # fmt: skip
    id: Mapped[int] = mapped_column(primary_key=True)
    pattern_id: Mapped[int] = mapped_column(ForeignKey("pattern.id"), index=True)
    role: Mapped[str] = mapped_column(String(20))
    teeth_per_rev: Mapped[int]
    edge_count: Mapped[int]
    widest_deg: Mapped[float] = mapped_column(Float())
    narrowest_deg: Mapped[float] = mapped_column(Float())
    edges: Mapped[str]


class KnownGoodRow(Base):
    """A known-good: the portable document, and what is asked for most beside it."""

    __tablename__ = "known_good"
    __table_args__ = (
        Index("ix_known_good_recording", "recording_sha256", "family_id"),
        # One recording counts once in a family, whoever writes at the same time.
        Index(
            "uq_known_good_on_shelf",
            "family_id",
            "recording_sha256",
            unique=True,
            sqlite_where=text("retired_at IS NULL"),
            postgresql_where=text("retired_at IS NULL"),
        ),
    )
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    family_id: Mapped[int] = mapped_column(ForeignKey("family.id"), index=True)
    pattern_id: Mapped[int] = mapped_column(ForeignKey("pattern.id"), index=True)
    recording_sha256: Mapped[str] = mapped_column(String(64))
    wheel: Mapped[str]
    edge_counts: Mapped[str]
    provenance: Mapped[str]
    grade: Mapped[str]
    added_at: Mapped[datetime]
    document: Mapped[str] = mapped_column(Packed())
    content_sha256: Mapped[str] = mapped_column(String(64))
    vehicle_id: Mapped[int | None] = mapped_column(ForeignKey("vehicle.id"))
    retired_at: Mapped[datetime | None]
    retired_why: Mapped[str | None]


class KnownGoodCamRow(Base):
    """One cam of a known-good against that of its pattern's first known-good, crank degrees.

    As for its edges, the row goes when the known-good is retired: it would only be left out.
    """

    __tablename__ = "known_good_cam"
    __table_args__ = ({"sqlite_with_rowid": False},)
    cam_id: Mapped[int] = mapped_column(ForeignKey("pattern_cam.id"), primary_key=True)
    known_good_id: Mapped[str] = mapped_column(
        String(16), ForeignKey("known_good.id"), primary_key=True
    )
    shift_deg: Mapped[float] = mapped_column(Float())
    standard_deg: Mapped[float] = mapped_column(Float())


class KnownGoodEdgeRow(Base):
    """One edge of a known-good against that of its pattern's first known-good, crank degrees.

    ``number`` is the edge's place in ``pattern_cam.edges``. The difference is part of the key, so
    that the edges of millions of known-goods lie in the order in which percentiles are read off.
    """

    __tablename__ = "known_good_edge"
    __table_args__ = ({"sqlite_with_rowid": False},)
    cam_id: Mapped[int] = mapped_column(ForeignKey("pattern_cam.id"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)
    difference_deg: Mapped[float] = mapped_column(Float(), primary_key=True)
    known_good_id: Mapped[str] = mapped_column(
        String(16), ForeignKey("known_good.id"), primary_key=True
    )


class ComparisonRow(Base):
    """A comparison made on a visit."""

    __tablename__ = "comparison"
    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id"), index=True)
    measurement_id: Mapped[int | None] = mapped_column(ForeignKey("measurement.id"))
    known_good_ids: Mapped[str]
    compared_at: Mapped[datetime]
    document: Mapped[str] = mapped_column(Packed())


class FactRow(Base):
    """A fact of a job or a visit: complaint, codes, hook-up, advice, price item, note."""

    __tablename__ = "fact"
    id: Mapped[int] = mapped_column(primary_key=True)
    job_id: Mapped[int] = mapped_column(ForeignKey("job.id"), index=True)
    visit_id: Mapped[int | None] = mapped_column(ForeignKey("visit.id"))
    kind: Mapped[str] = mapped_column(String(20))
    body: Mapped[str]
    recorded_at: Mapped[datetime]
    replaces: Mapped[int | None] = mapped_column(ForeignKey("fact.id"))


class DeletionRow(Base):
    """Something that was deleted on purpose."""

    __tablename__ = "deletion"
    __table_args__ = (Index("ix_deletion_subject", "kind", "subject"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(20))
    subject: Mapped[str]
    why: Mapped[str]
    deleted_at: Mapped[datetime]


class ShopRow(Base):
    """Something that the workshop keeps about itself; the newest row of a kind and name counts.

    No body means that it was taken away.
    """

    __tablename__ = "shop"
    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(20))
    name: Mapped[str]
    body: Mapped[bytes | None] = mapped_column(LargeBinary())
    recorded_at: Mapped[datetime]
    __table_args__ = (Index("ix_shop_kind", "kind", "name"),)


class WatchedRow(Base):
    """What became of one file of a watched folder, as it was at that moment.

    ``folder`` is where the watch was set, ``path`` the place in it. ``comparison`` is the document
    as it was shown; where there is a visit, the visit has its own.
    """

    __tablename__ = "watched"
    __table_args__ = (Index("ix_watched_place", "folder", "path"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    folder: Mapped[str]
    path: Mapped[str]
    size_bytes: Mapped[int] = mapped_column(BigInteger())
    changed_ns: Mapped[int] = mapped_column(BigInteger())
    sha256: Mapped[str | None] = mapped_column(String(64), index=True)
    outcome: Mapped[str] = mapped_column(String(20))
    text: Mapped[str]
    seen_at: Mapped[datetime]
    visit_id: Mapped[int | None] = mapped_column(ForeignKey("visit.id"))
    measurement_id: Mapped[int | None] = mapped_column(ForeignKey("measurement.id"))
    comparison: Mapped[str | None] = mapped_column(Packed())
