"""Recordings by name, folder, pattern or URL, and how each stands."""

from __future__ import annotations

import glob
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import takewhile
from pathlib import Path
from typing import Any, Final

from crankwise.document import at_home
from crankwise.errors import MissingPackageError, UsageError

_STATES: Final = ("ETag", "etag", "mtime", "LastModified", "last_modified", "created")
"""What a store tells of a file's state, the surest first."""

_DOCUMENT: Final = ".json"


@dataclass(frozen=True, slots=True)
class Source:
    """One recording.

    Attributes
    ----------
    path : str
        Absolute path or URL.
    size_bytes : int or None
        ``None`` where there is no such file.
    changed : str
        What tells that it has not changed: time of its last change, or the store's tag.
    """

    path: str
    size_bytes: int | None
    changed: str


@dataclass(frozen=True, slots=True)
class Found:
    """Recordings in the order of their paths, and how many saved documents were passed over."""

    sources: tuple[Source, ...]
    documents: int


def find_sources(names: Iterable[str]) -> Found:
    """Find every recording that is meant.

    Parameters
    ----------
    names : iterable of str
        Files, folders with all in them, patterns such as ``2024/**/*.csv``, or URLs that fsspec
        knows of any of these, such as ``s3://bucket/recordings``. Hidden files are passed over,
        and so are ``.json``: saved measurements and the like are no recordings.

    Raises
    ------
    UsageError
        There is none, or a URL of no kind known.
    MissingPackageError
        A URL needs a package that is not installed.
    """
    given = list(names)
    found: dict[str, Source] = {}
    documents: set[str] = set()
    for name in given:
        for source in _remote(name) if "://" in name else _local(name):
            if source.path.lower().endswith(_DOCUMENT):
                documents.add(source.path)
            else:
                found[source.path] = source
    if not found:
        said = ", ".join(given)
        raise UsageError(
            f"{said}: there {'are only saved documents' if documents else 'is no recording'}; name "
            "files, folders or patterns like '*.csv'"
        )
    return Found(tuple(found[path] for path in sorted(found)), len(documents))


def shown_names(paths: Iterable[str]) -> dict[str, str]:
    """Return what each recording is called: its path below the folder that all have in common.

    >>> shown_names(["/a/b/van-1/1.csv", "/a/b/van-2/1.csv"])
    {'/a/b/van-1/1.csv': 'van-1/1.csv', '/a/b/van-2/1.csv': 'van-2/1.csv'}
    """
    parted = {path: path.replace(os.sep, "/").split("/") for path in paths}
    levels = zip(*(parts[:-1] for parts in parted.values()), strict=False)
    common = sum(1 for _ in takewhile(lambda level: len(set(level)) == 1, levels))
    return {path: "/".join(parts[common:]) for path, parts in parted.items()}


def _local(name: str) -> Iterator[Source]:
    path = at_home(name)
    if path.is_dir():
        yield from _below(path)
    elif not path.exists() and glob.has_magic(name):
        # Path.glob takes no absolute pattern.
        for match in glob.iglob(str(path), recursive=True):  # noqa: PTH207
            if not Path(match).is_dir():
                yield _source_of(Path(match))
    else:
        yield _source_of(path)


def _below(folder: Path) -> Iterator[Source]:
    for place, folders, names in os.walk(folder):
        folders[:] = [one for one in folders if not one.startswith(".")]
        for name in names:
            if not name.startswith("."):
                yield _source_of(Path(place) / name)


def _source_of(path: Path) -> Source:
    absolute = str(path.absolute())
    text = absolute.encode("utf-8", "replace").decode()
    if text != absolute:  # a name that no table can hold: told as one that isn't there
        return Source(text, None, "")
    try:
        told = path.stat()
    except OSError:
        return Source(absolute, None, "")
    return Source(absolute, told.st_size, str(told.st_mtime_ns))


def _remote(url: str) -> Iterator[Source]:
    files, root = filesystem_of(url)
    try:
        if glob.has_magic(url):
            listed = files.glob(root, detail=True)
        elif files.isdir(root):
            listed = files.find(root, detail=True)
        elif files.exists(root):
            listed = {root: files.info(root)}
        else:
            yield Source(url, None, "")
            return
    except Exception as error:
        # Each kind of store has failures of its own.
        words = " ".join(str(error).split()) or type(error).__name__
        raise UsageError(f"{url} can't be listed ({words}): check address and rights") from error
    for place, told in listed.items():
        is_hidden = any(part.startswith(".") for part in str(place).split("/"))
        if told.get("type") != "directory" and not is_hidden:
            yield Source(files.unstrip_protocol(place), told.get("size"), _state(told))


def filesystem_of(url: str) -> tuple[Any, str]:
    """Return the store behind a URL and the place in it.

    Raises
    ------
    UsageError, MissingPackageError
        It is of no kind known, or its package is not installed.
    """
    import fsspec  # noqa: PLC0415  files of this computer need none of it

    try:
        files, root = fsspec.core.url_to_fs(url)
    except ImportError as error:
        raise MissingPackageError(
            f"{url}: {error}; install that package beside Crankwise"
        ) from error
    except ValueError as error:
        raise UsageError(f"{url}: no place for recordings is known by that ({error})") from error
    return files, str(root)


def _state(told: Mapping[str, Any]) -> str:
    return next((str(told[key]) for key in _STATES if told.get(key)), "")
