"""Run the migrations on the connection that the store gives."""

from __future__ import annotations

from alembic import context

from crankwise.store.tables import Base

connection = context.config.attributes["connection"]
if connection.dialect.name == "sqlite":
    # A table is altered by copying and swapping it; references are checked when all is in place.
    connection.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
context.configure(
    connection=connection,
    target_metadata=Base.metadata,
    render_as_batch=True,
    transactional_ddl=True,
)
context.run_migrations()
