"""What goes wrong below the store, as one line that says what to do."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError

from crankwise.errors import CrankwiseError, UnreadableError, UsageError

BUSY_S = 30.0
"""How long a writer waits for another one."""

_FULL = "the disk is full: free some space and do it again; nothing was half written"
_READ_ONLY = "it can't be written to: check the rights on its folder, or choose another --store"
# SQLSTATE codes: PostgreSQL documentation, appendix A.
_POSTGRES = {
    "53100": _FULL,
    "53200": "the database is out of memory: try again later",
    "53300": "the database takes no more connections: try again later",
    "25006": _READ_ONLY,
    "42501": "your user has no right to do this there: ask whoever looks after the database",
    "40P01": "two programs waited for each other: do it again",
    "55P03": "another program holds it: do it again when that has finished",
}


@contextmanager
def in_words(where: str) -> Iterator[None]:
    """Turn failures of database and disk into errors in words; ``where`` names the store.

    Raises
    ------
    UsageError
        Disk full, read-only, locked, not reachable.
    UnreadableError
        Damaged, or not a store.
    """
    try:
        yield
    except DBAPIError as error:
        known = _database_error(error)
        if known is None:
            raise
        raise _named(where, known) from error
    except sqlite3.Error as error:
        known = _sqlite_error(error)
        if known is None:
            raise
        raise _named(where, known) from error
    except OSError as error:
        raise _named(where, _file_error(error)) from error


def _named(where: str, error: CrankwiseError) -> CrankwiseError:
    return type(error)(f"{where}: {error}")


def _database_error(error: DBAPIError) -> CrankwiseError | None:
    cause = error.orig
    if isinstance(cause, sqlite3.Error):
        return _sqlite_error(cause)
    state = getattr(cause, "sqlstate", None)
    if state in _POSTGRES:
        return UsageError(_POSTGRES[state])
    if state is None or state.startswith(("08", "28", "3D", "57P")):
        detail = " ".join(str(cause).split())
        return UsageError(f"the database can't be reached or went away ({detail}): check the URL")
    return None


def _sqlite_error(error: sqlite3.Error) -> CrankwiseError | None:
    exact = getattr(error, "sqlite_errorcode", 0)
    code = exact & 0xFF
    # The second is for want of room too, for the index of the log.
    if code == sqlite3.SQLITE_FULL or exact == sqlite3.SQLITE_IOERR_SHMSIZE:
        return UsageError(_FULL)
    if code in {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM}:
        return UsageError(_READ_ONLY)
    if code in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return UsageError(
            f"another program has been writing to it for {BUSY_S:.0f} s: do it again when that "
            "has finished"
        )
    if code == sqlite3.SQLITE_IOERR:
        return UsageError("the disk fails to read or write: check it, and verify the store")
    if code in {sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT}:
        return UnreadableError(
            "the database file is damaged or is no store: move it away, and what begins with its "
            "name, then restore a backup"
        )
    return None


def _file_error(error: OSError) -> CrankwiseError:
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return UsageError(_FULL)
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return UsageError(_READ_ONLY)
    named = f" {error.filename}" if error.filename else ""
    return UsageError(f"the file{named} can't be used ({error.strerror or error}): check the place")
