"""What a workshop keeps about itself; and a recording may come back to an earlier measurement.

The constraint that allowed each measurement once made that impossible.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Create the table, and lift the constraint."""
    op.create_table(
        "shop",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=True),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_index("ix_shop_kind", "shop", ["kind", "name"])
    name = "uq_measurement_recording_sha256"
    with op.batch_alter_table(
        "measurement", naming_convention={"uq": "uq_%(table_name)s_%(column_0_N_name)s"}
    ) as batch:
        batch.drop_constraint(f"{name}_document_sha256", type_="unique")
        batch.create_index("ix_measurement_recording_sha256", ["recording_sha256"])
