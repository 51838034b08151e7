"""Where known-goods lie in their pattern becomes rows that SQL can sum; what a watch has seen."""

from __future__ import annotations

import json
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

_AT_A_TIME = 500


def upgrade() -> None:
    """Create the tables, and move into them what stood with each known-good as JSON."""
    cams = op.create_table(
        "known_good_cam",
        _cam(),
        _known_good(),
        sa.Column("shift_deg", sa.Float(), nullable=False),
        sa.Column("standard_deg", sa.Float(), nullable=False),
        sqlite_with_rowid=False,
    )
    edges = op.create_table(
        "known_good_edge",
        _cam(),
        sa.Column("number", sa.Integer(), primary_key=True),
        sa.Column("difference_deg", sa.Float(), primary_key=True),
        _known_good(),
        sqlite_with_rowid=False,
    )
    _move(cams, edges)
    with op.batch_alter_table("known_good") as batch:
        batch.drop_column("against_first")
    _watched()


def _cam() -> sa.Column[int]:
    return sa.Column("cam_id", sa.Integer(), sa.ForeignKey("pattern_cam.id"), primary_key=True)


def _known_good() -> sa.Column[str]:
    return sa.Column(
        "known_good_id", sa.String(16), sa.ForeignKey("known_good.id"), primary_key=True
    )


def _move(cams: sa.Table, edges: sa.Table) -> None:
    connection = op.get_bind()
    asked = sa.text("SELECT id, pattern_id FROM pattern_cam ORDER BY id")
    cams_of: dict[int, list[int]] = {}
    for cam_id, pattern_id in connection.execute(asked):
        cams_of.setdefault(pattern_id, []).append(cam_id)
    asked = sa.text(
        "SELECT id, pattern_id, against_first FROM known_good WHERE retired_at IS NULL ORDER BY id"
    )
    known_goods = connection.execute(asked).all()
    for start in range(0, len(known_goods), _AT_A_TIME):
        cam_rows: list[dict[str, Any]] = []
        edge_rows: list[dict[str, Any]] = []
        for name, pattern_id, text in known_goods[start : start + _AT_A_TIME]:
            for cam_id, (shift, standard, off) in zip(
                cams_of[pattern_id], json.loads(text), strict=True
            ):
                own = {"cam_id": cam_id, "known_good_id": name}
                cam_rows.append(own | {"shift_deg": shift, "standard_deg": standard})
                edge_rows += [
                    own | {"number": number, "difference_deg": value}
                    for number, value in enumerate(off)
                ]
        connection.execute(sa.insert(cams), cam_rows)
        connection.execute(sa.insert(edges), edge_rows)


def _watched() -> None:
    op.create_table(
        "watched",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("folder", sa.Text(), nullable=False),
        sa.Column("path", sa.Text(), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("changed_ns", sa.BigInteger(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=True),
        sa.Column("outcome", sa.String(20), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("visit_id", sa.Integer(), sa.ForeignKey("visit.id"), nullable=True),
        sa.Column("measurement_id", sa.Integer(), sa.ForeignKey("measurement.id"), nullable=True),
        sa.Column("comparison", sa.LargeBinary(), nullable=True),
    )
    op.create_index("ix_watched_place", "watched", ["folder", "path"])
    op.create_index("ix_watched_sha256", "watched", ["sha256"])
