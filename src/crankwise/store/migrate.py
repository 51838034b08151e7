"""Bring a database to the newest schema when it is opened, after a backup of a SQLite file."""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing, suppress
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path

from sqlalchemy import inspect, text
from sqlalchemy.engine import Connection

from crankwise.document.files import make_folder
from crankwise.errors import UnreadableError, UsageError
from crankwise.store.backup import ORIGINALS, copy_database
from crankwise.store.database import Database
from crankwise.store.failures import BUSY_S, in_words
from crankwise.store.tables import SCHEMA

_LOCK = 7_206_030  # any number that only this program locks by


def bring_forward(database: Database) -> None:
    """Create what is missing, or migrate an older schema.

    Raises
    ------
    UnreadableError
        Written by a newer version, or a database of something else.
    UsageError
        It can't be written.
    """
    found = _revision(database)
    if found == SCHEMA:
        if database.is_sqlite and not _writes_ahead(database):
            with suppress(UsageError):  # a backup on a disk that is read-only can still be read
                _write_ahead(database)
        return
    if database.is_sqlite:
        _refuse_emptied(database)
        _write_ahead(database)
    # SQLite alters a table by copying and swapping it, which no reference would survive.
    unchecked = Database(database.url, where=database.where, checks_references=False)
    try:
        _migrate(unchecked)
    finally:
        unchecked.close()


def _migrate(database: Database) -> None:
    with database.write_raw() as connection:
        if not database.is_sqlite:
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
        found = _revision_of(connection)  # another program may have been faster
        if found == SCHEMA:
            return
        _refuse_foreign(connection, database.where, found)
        if database.is_sqlite and found is not None:
            _back_up(database, found)  # nobody else writes: the copy is what is brought forward
        _upgrade(connection)
        if database.is_sqlite and connection.exec_driver_sql("PRAGMA foreign_key_check").first():
            raise UnreadableError(
                f"{database.where}: rows point to nothing, so it was left as it was; restore a "
                "backup"
            )


def _revision(database: Database) -> str | None:
    with database.read() as session:
        return _revision_of(session.connection())


def _revision_of(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)


def _refuse_foreign(connection: Connection, where: str, found: str | None) -> None:
    if found is None and inspect(connection).get_table_names():
        raise UnreadableError(
            f"{where}: the database holds tables of something else; give the store one of its own"
        )
    if found is not None and not _is_known(found):
        raise UnreadableError(
            f"{where}: written by a newer Crankwise (schema {found}, this one reads up to "
            f"{SCHEMA}); update Crankwise"
        )


def _is_known(revision: str) -> bool:
    return revision <= SCHEMA  # four digits that count up


def _upgrade(connection: Connection) -> None:
    from alembic import command  # noqa: PLC0415  slow to import, needed once for each schema
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", _folder().replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _folder() -> str:
    return str(resources.files("crankwise.store") / "migrations")


def _refuse_emptied(database: Database) -> None:
    """Refuse to begin a new store in a file that was cut to nothing: its originals are there."""
    path = Path(str(database.url.database))
    if path.exists() and not path.stat().st_size and any((path.parent / ORIGINALS).glob("??/??/*")):
        raise UnreadableError(
            f"{path}: the database file is empty, though there are originals beside it; move it "
            "away and restore a backup"
        )


def _writes_ahead(database: Database) -> bool:
    with database.read() as session:
        return session.execute(text("PRAGMA journal_mode")).scalar() == "wal"


def _write_ahead(database: Database) -> None:
    """Switch to write-ahead logging, once for the file: readers and a writer don't wait.

    Two programs that create one store at the same time get in each other's way here without
    waiting, so waiting is done by hand.
    """
    path = str(database.url.database)
    until = time.monotonic() + BUSY_S
    with in_words(database.where), closing(sqlite3.connect(path, timeout=BUSY_S)) as connection:
        while True:
            try:
                connection.execute("PRAGMA journal_mode=WAL")
            except sqlite3.OperationalError as error:
                if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                    raise
                time.sleep(0.02)
            else:
                return


def _back_up(database: Database, revision: str) -> None:
    """Copy the file as it is now into ``backups/`` beside it."""
    path = Path(str(database.url.database))
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
    target = path.parent / "backups" / f"{path.stem}-schema-{revision}-{stamp}{path.suffix}"
    with in_words(str(target.parent)):
        make_folder(target.parent)
        copy_database(path, target)
