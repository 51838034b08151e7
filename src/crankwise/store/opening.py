"""Find and open a store: a folder, a SQLite file, or a PostgreSQL database."""

from __future__ import annotations

import os
from importlib.util import find_spec
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit
from urllib.request import url2pathname

from platformdirs import user_data_path
from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from crankwise.document import at_home
from crankwise.document.files import make_folder
from crankwise.errors import MissingPackageError, UsageError
from crankwise.store.backup import DATABASE, ORIGINALS
from crankwise.store.database import Database
from crankwise.store.failures import in_words
from crankwise.store.migrate import bring_forward
from crankwise.store.originals import FolderOriginals, Originals, RemoteOriginals
from crankwise.store.store import Store

STORE_VARIABLE: Final = "CRANKWISE_STORE"
ORIGINALS_VARIABLE: Final = "CRANKWISE_ORIGINALS"


def open_store(where: str | os.PathLike[str] | None = None) -> Store:
    """Open a store, create it where there is none, and bring it to the newest schema.

    Parameters
    ----------
    where : str or path, optional
        A folder, or a URL: ``sqlite:///file``, ``postgresql://user@host/name``. Originals go into
        the folder or beside the file; a URL may name another place (folder or fsspec URL) by
        ``?originals=``, as may ``CRANKWISE_ORIGINALS``. Without ``where`` the variable
        ``CRANKWISE_STORE`` counts, else the user's data folder.

    Raises
    ------
    UsageError
        It can't be reached or written.
    UnreadableError
        It is damaged, of a newer version, or no store.
    """
    place = os.fspath(where) if where is not None else os.environ.get(STORE_VARIABLE, "")
    url, originals = _places(place)
    if url.get_backend_name() == "sqlite":
        name = str(url.database)
        with in_words(name):
            make_folder(Path(name).parent)
    else:
        name = url.render_as_string(hide_password=True)
    database = Database(url, where=name)
    try:
        bring_forward(database)
    except BaseException:
        database.close()
        raise
    return Store(database, _originals(originals))


def has_store(where: str | os.PathLike[str] | None = None) -> bool:
    """Whether a store is there already; one in a database server is taken to be.

    Parameters
    ----------
    where : str or path, optional
        As for :func:`open_store`.

    Raises
    ------
    UsageError, MissingPackageError
        The place is none that a store can be in.
    """
    place = os.fspath(where) if where is not None else os.environ.get(STORE_VARIABLE, "")
    url, _ = _places(place)
    return url.get_backend_name() != "sqlite" or Path(str(url.database)).is_file()


def _places(place: str) -> tuple[URL, str]:
    """Database and place of the originals."""
    elsewhere = os.environ.get(ORIGINALS_VARIABLE, "")
    if "://" not in place:
        folder = at_home(place) if place else user_data_path("crankwise", appauthor=False)
        folder = folder.absolute()
        with in_words(str(folder)):
            is_file = folder.is_file()
        if is_file:
            raise UsageError(f"{place} is a file: give the folder of a store, or sqlite:///{place}")
        url = URL.create("sqlite", database=str(folder / DATABASE))
        return url, elsewhere or str(folder / ORIGINALS)
    url = _url(place)
    named = url.query.get(ORIGINALS, "")
    elsewhere = (named if isinstance(named, str) else named[-1]) or elsewhere
    url = url.difference_update_query([ORIGINALS])
    if url.get_backend_name() == "sqlite":
        if not url.database or url.database == ":memory:":
            raise UsageError(f"{place}: name the file, such as sqlite:///shelf/crankwise.sqlite")
        path = at_home(url.database).absolute()
        return url.set(database=str(path)), elsewhere or str(path.parent / ORIGINALS)
    return url, elsewhere


def _url(place: str) -> URL:
    try:
        url = make_url(place)
    except (ArgumentError, ValueError):  # the latter for a port that is no number
        raise UsageError(
            "the store's URL can't be read: write postgresql://user@host/name or sqlite:///file"
        ) from None
    kind = url.get_backend_name()
    if kind == "sqlite":
        return url.set(drivername="sqlite")
    if kind not in {"postgresql", "postgres"}:
        raise UsageError(
            f"a store can't be kept in {kind}: give a folder, sqlite:///file or "
            "postgresql://user@host/name"
        )
    if find_spec("psycopg") is None:
        raise MissingPackageError(
            "a store in PostgreSQL needs the package psycopg: install crankwise[postgres]"
        )
    return url.set(drivername="postgresql+psycopg")


def _originals(place: str) -> Originals | None:
    if not place:
        return None
    if place.startswith("file://"):
        place = url2pathname(urlsplit(place).path)
    return RemoteOriginals(place) if "://" in place else FolderOriginals(at_home(place))
