"""One database, SQLite or PostgreSQL, and its transactions."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import URL, Engine, create_engine, event
from sqlalchemy.engine import Connection
from sqlalchemy.orm import Session

from crankwise.store.failures import BUSY_S, in_words

_WRITES = "crankwise_writes"


class Database:
    """Transactions on one database; what fails is told in words.

    Parameters
    ----------
    url : URL
        Of SQLAlchemy, with the driver.
    where : str
        What errors call it.
    checks_references : bool
        Whether SQLite holds references between rows; off only while tables are rebuilt.
    """

    def __init__(self, url: URL, *, where: str, checks_references: bool = True) -> None:
        self.url = url
        self.where = where
        self.engine = _engine(url, checks_references=checks_references)
        self._writing = self.engine.execution_options(**{_WRITES: True})

    @property
    def is_sqlite(self) -> bool:
        """Whether it is a SQLite file."""
        return self.url.get_backend_name() == "sqlite"

    @contextmanager
    def read(self) -> Iterator[Session]:
        """Open a session that sees one state of the database."""
        with in_words(self.where), Session(self.engine) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """Open a session whose writes are kept together or not at all.

        SQLite lets one write at a time: the turn is taken at the beginning, as a reader that
        turns writer halfway can't wait for another.
        """
        with in_words(self.where), Session(self._writing) as session, session.begin():
            yield session

    @contextmanager
    def write_raw(self) -> Iterator[Connection]:
        """Open a bare connection in one writing transaction, for migrations."""
        with in_words(self.where), self._writing.begin() as connection:
            yield connection

    def close(self) -> None:
        """Let go of all connections."""
        self.engine.dispose()


def _engine(url: URL, *, checks_references: bool) -> Engine:
    if url.get_backend_name() != "sqlite":
        return create_engine(url, pool_pre_ping=True)
    engine = create_engine(url, connect_args={"timeout": BUSY_S, "check_same_thread": False})

    @event.listens_for(engine, "connect")
    def prepare(connection: sqlite3.Connection, _record: Any) -> None:
        connection.isolation_level = None  # transactions begin below, not in the driver
        connection.execute(f"PRAGMA foreign_keys={'ON' if checks_references else 'OFF'}")
        # With WAL the default would lose the last commits when the power goes.
        connection.execute("PRAGMA synchronous=FULL")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(_WRITES, False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine
