"""Run the migrations on the connection that the store gives."""

from __future__ import annotations

from alembic import context

from crankwise.store.tables import Base


def run() -> None:
    """Run them in the transaction that is open already."""
    context.configure(
        connection=context.config.attributes["connection"],
        target_metadata=Base.metadata,
        render_as_batch=True,
        transactional_ddl=True,
    )
    context.run_migrations()


if __name__ == "env_py":  # as Alembic calls it
    run()
