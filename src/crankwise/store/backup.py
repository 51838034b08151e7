"""Copy a store while it is in use: its database as it is at one moment, then its originals."""

from __future__ import annotations

import secrets
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Final

from crankwise.document.files import flush_folder
from crankwise.errors import UsageError
from crankwise.model.kept import Backup
from crankwise.store.database import Database
from crankwise.store.failures import BUSY_S, in_words
from crankwise.store.originals import FolderOriginals, Originals

DATABASE: Final = "crankwise.sqlite"
ORIGINALS: Final = "originals"
"""What file and folder are called in the folder of a store."""


def back_up(
    database: Database,
    originals: Originals | None,
    folder: Path,
    *,
    progress: Callable[[float], None] | None = None,
) -> Backup:
    """Copy a store on SQLite into a new folder, which is a store itself.

    The database is copied first. An original is on the disk before its row is, so every original
    that the copy speaks of is there to be copied afterwards, whoever adds more meanwhile.

    Parameters
    ----------
    database : Database
    originals : Originals or None
    folder : Path
        Whole or not there at all when this ends.
    progress : callable, optional
        Told the share of the originals that is copied (0 to 1).

    Raises
    ------
    UsageError
        There is something in that place, it can't be written, or the store is in PostgreSQL.
    """
    if not database.is_sqlite:
        raise UsageError(
            f"{database.where}: back up a database server with pg_dump, then copy the originals"
        )
    target = folder.absolute()
    if target.exists():
        raise UsageError(f"{folder} is there already: name a folder that is not there yet")
    if not target.parent.is_dir():
        raise UsageError(f"{folder}: the folder it is to lie in does not exist; make it first")
    beside = target.with_name(f".{secrets.token_hex(8)}")
    with in_words(str(folder)):
        try:
            beside.mkdir()
            copy_database(Path(database.where), beside / DATABASE)
            done = _copy_originals(beside, originals, folder, progress or (lambda _share: None))
            beside.rename(target)
            flush_folder(target.parent)
        finally:
            shutil.rmtree(beside, ignore_errors=True)
    return done


def copy_database(path: Path, target: Path) -> None:
    """Copy a SQLite file as it is at one moment, whole or not at all, while others write to it.

    The copy is one file without a log beside it (SQLite's documentation, "Online Backup API").

    Raises
    ------
    sqlite3.Error, OSError
        It can't be read, or the copy can't be written.
    """
    beside = target.with_name(f".{secrets.token_hex(8)}")
    try:
        with (
            closing(sqlite3.connect(path, timeout=BUSY_S)) as source,
            closing(sqlite3.connect(beside)) as copy,
        ):
            source.backup(copy)
        with closing(sqlite3.connect(beside)) as copy:
            copy.execute("PRAGMA journal_mode=DELETE")
        beside.replace(target)
        flush_folder(target.parent)
    finally:
        for ending in ("", "-journal", "-wal", "-shm"):
            beside.with_name(f"{beside.name}{ending}").unlink(missing_ok=True)


def _copy_originals(
    beside: Path, originals: Originals | None, folder: Path, progress: Callable[[float], None]
) -> Backup:
    with closing(sqlite3.connect(beside / DATABASE)) as copy:
        kept = copy.execute(
            "SELECT original.sha256, recording.name FROM original JOIN recording USING (sha256) "
            "ORDER BY original.sha256"
        ).fetchall()
    place = FolderOriginals(beside / ORIGINALS)
    missing: list[str] = []
    for number, (sha256, name) in enumerate(kept):
        progress(number / len(kept))
        if not _is_copied(originals, place, sha256):
            missing.append(f"{name} ({sha256[:12]})")
    shutil.rmtree(place.root / "incoming", ignore_errors=True)
    return Backup(folder, len(kept) - len(missing), tuple(missing))


def _is_copied(originals: Originals | None, place: FolderOriginals, sha256: str) -> bool:
    """Copy one original; False where it is missing or damaged, which verifying tells about."""
    if originals is None:
        return False
    try:
        with originals.open(sha256) as file:
            found, _ = place.put(file)
    except FileNotFoundError:
        return False
    if found != sha256:
        place.delete(found)
    return found == sha256
