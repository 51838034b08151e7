"""The first schema: recordings, the known-good shelf, jobs.

Names of constraints follow the convention of the models, which Alembic applies here too.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Create all tables."""
    _names()
    _recordings()
    _vehicles()
    _shelf()
    _visits()
    _deletions()


def _key() -> sa.Column[Any]:
    return sa.Column("id", sa.Integer(), primary_key=True)


def _digest(name: str, *more: sa.ForeignKey, primary_key: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.String(64), *more, nullable=False, primary_key=primary_key)


def _text(name: str, *, length: int | None = None, nullable: bool = False) -> sa.Column[Any]:
    kind = sa.Text() if length is None else sa.String(length)
    return sa.Column(name, kind, nullable=nullable)


def _number(name: str, *, nullable: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.Float(), nullable=nullable)


def _count(name: str) -> sa.Column[Any]:
    return sa.Column(name, sa.Integer(), nullable=False)


def _time(name: str, *, nullable: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=nullable)


def _packed(name: str) -> sa.Column[Any]:
    return sa.Column(name, sa.LargeBinary(), nullable=False)


def _refers(name: str, table: str, *, nullable: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.Integer(), sa.ForeignKey(f"{table}.id"), nullable=nullable)


def _index(table: str, *columns: str) -> None:
    op.create_index(f"ix_{table}_{'_'.join(columns)}", table, list(columns))


def _names() -> None:
    for table in ("workshop", "family"):
        op.create_table(
            table, _key(), _text("name"), _text("name_key"), sa.UniqueConstraint("name_key")
        )


def _recordings() -> None:
    op.create_table(
        "recording", _digest("sha256", primary_key=True), _text("name"), _time("added_at")
    )
    op.create_table(
        "original",
        _digest("sha256", sa.ForeignKey("recording.sha256"), primary_key=True),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        _time("added_at"),
    )
    op.create_table(
        "measurement",
        _key(),
        _digest("recording_sha256", sa.ForeignKey("recording.sha256")),
        _text("method"),
        _text("program"),
        _time("measured_at"),
        _text("settings"),
        _packed("document"),
        _digest("document_sha256"),
        sa.UniqueConstraint("recording_sha256", "document_sha256"),
    )


def _vehicles() -> None:
    op.create_table(
        "vehicle",
        _key(),
        _refers("workshop_id", "workshop", nullable=True),
        _refers("family_id", "family", nullable=True),
        _text("label"),
        _time("added_at"),
    )
    op.create_table(
        "vehicle_details",
        _key(),
        _refers("vehicle_id", "vehicle"),
        _text("vin", nullable=True),
        _text("plate", nullable=True),
        _text("customer", nullable=True),
        _time("recorded_at"),
    )
    _index("vehicle_details", "vehicle_id")


def _shelf() -> None:
    op.create_table(
        "pattern",
        _key(),
        _refers("family_id", "family"),
        _text("first_id", length=16),
        _text("wheel"),
        _count("cams"),
    )
    _index("pattern", "family_id")
    op.create_table(
        "pattern_cam",
        _key(),
        _refers("pattern_id", "pattern"),
        _text("role", length=20),
        _count("teeth_per_rev"),
        _count("edge_count"),
        _number("widest_deg"),
        _number("narrowest_deg"),
        _text("edges"),
    )
    _index("pattern_cam", "pattern_id")
    op.create_index(
        "ix_pattern_cam_search", "pattern_cam", ["teeth_per_rev", "edge_count", "widest_deg"]
    )
    _known_goods()


def _known_goods() -> None:
    op.create_table(
        "known_good",
        sa.Column("id", sa.String(16), primary_key=True),
        _refers("family_id", "family"),
        _refers("pattern_id", "pattern"),
        _digest("recording_sha256"),
        _text("wheel"),
        _text("edge_counts"),
        _text("provenance"),
        _text("grade"),
        _time("added_at"),
        _packed("document"),
        _digest("content_sha256"),
        _text("against_first"),
        _refers("vehicle_id", "vehicle", nullable=True),
        _time("retired_at", nullable=True),
        _text("retired_why", nullable=True),
    )
    _index("known_good", "family_id")
    _index("known_good", "pattern_id")
    op.create_index("ix_known_good_recording", "known_good", ["recording_sha256", "family_id"])
    on_shelf = sa.text("retired_at IS NULL")
    op.create_index(
        "uq_known_good_on_shelf",
        "known_good",
        ["family_id", "recording_sha256"],
        unique=True,
        sqlite_where=on_shelf,
        postgresql_where=on_shelf,
    )


def _visits() -> None:
    op.create_table(
        "job", _key(), _refers("vehicle_id", "vehicle"), _text("title"), _time("opened_at")
    )
    _index("job", "vehicle_id")
    op.create_table(
        "visit",
        _key(),
        _refers("job_id", "job"),
        _text("date", length=10),
        _number("mileage", nullable=True),
        _text("mileage_unit", length=5, nullable=True),
        _time("recorded_at"),
    )
    _index("visit", "job_id")
    op.create_table(
        "visit_recording",
        _key(),
        _refers("visit_id", "visit"),
        _digest("recording_sha256", sa.ForeignKey("recording.sha256")),
        _text("purpose", length=20),
        _time("recorded_at"),
        sa.UniqueConstraint("visit_id", "recording_sha256", "purpose"),
    )
    _index("visit_recording", "recording_sha256")
    op.create_table(
        "comparison",
        _key(),
        _refers("visit_id", "visit"),
        _refers("measurement_id", "measurement", nullable=True),
        _text("known_good_ids"),
        _time("compared_at"),
        _packed("document"),
    )
    _index("comparison", "visit_id")
    op.create_table(
        "fact",
        _key(),
        _refers("job_id", "job"),
        _refers("visit_id", "visit", nullable=True),
        _text("kind", length=20),
        _text("body"),
        _time("recorded_at"),
        _refers("replaces", "fact", nullable=True),
    )
    _index("fact", "job_id")


def _deletions() -> None:
    op.create_table(
        "deletion",
        _key(),
        _text("kind", length=20),
        _text("subject"),
        _text("why"),
        _time("deleted_at"),
    )
    op.create_index("ix_deletion_subject", "deletion", ["kind", "subject"])
