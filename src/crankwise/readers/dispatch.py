"""Find the reader for a file by its content, unpack it if need be, and read it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import replace
from functools import partial
from importlib.metadata import entry_points
from pathlib import Path

import numpy as np

from crankwise.errors import CrankwiseError, UnreadableError, UsageError
from crankwise.model.recording import Recording
from crankwise.readers.container import is_packed, unpack
from crankwise.readers.contract import (
    CERTAIN,
    HEAD_BYTES,
    NOT_MINE,
    PartwiseReader,
    Reader,
    ReadOptions,
    SampleSink,
    Source,
)
from crankwise.readers.digest import Digest
from crankwise.readers.others import what_else
from crankwise.readers.partwise import in_one_go, pass_on
from crankwise.readers.signals import NotPlainError

GROUP = "crankwise.readers"
"""Entry point group that readers register under, the built-in ones included."""

_NESTING = 3


def read(
    path: str | Path,
    *,
    interval_s: float | None = None,
    progress: Callable[[float], None] | None = None,
    readers: Sequence[Reader] | None = None,
) -> Recording:
    """Read a recording, whatever its format; the content decides, not the suffix.

    Parameters
    ----------
    path : str or Path
        The file; it may be packed with gzip or be the only recording in a zip.
    interval_s : float, optional
        Sampling interval in seconds, for files without a time column; wins over one.
    progress : callable, optional
        Called with the fraction read so far, 0 to 1, never decreasing.
    readers : sequence of Reader, optional
        Readers to choose from; all installed ones if not given.

    Raises
    ------
    UnreadableError
        If the file can't be understood; one line with the place and the remedy.
    UsageError
        If ``interval_s`` is not a positive number.
    """
    with _opened(path, interval_s=interval_s, progress=progress, readers=readers) as opened:
        reader, source, options = opened
        recording = reader.read(source, options)
        options.progress(1.0)
    return recording


def stream(
    path: str | Path,
    sink: SampleSink,
    *,
    interval_s: float | None = None,
    progress: Callable[[float], None] | None = None,
    readers: Sequence[Reader] | None = None,
    chunk_bytes: int | None = None,
    sha256: Digest | None = None,
) -> Recording:
    """Read a recording without keeping its samples: they go to a sink as they come.

    Formats that can't be read in parts, and tables that only make sense as a whole, are read whole
    and handed on in one go.

    Parameters
    ----------
    path, interval_s, progress, readers
        As for :func:`read`.
    sink : SampleSink
        Takes the samples; not called for a list of state changes.
    chunk_bytes : int, optional
        About how much of the file is worked up at a time; results don't depend on it.
    sha256 : Digest, optional
        The file's digest, if that was begun already.

    Returns
    -------
    Recording
        What the recording is. A list of state changes comes with them; other channels may hold no
        samples, and channels without any number, which the sink was given, are left out.

    Raises
    ------
    UnreadableError, UsageError
        As for :func:`read`.
    """
    _check_file(Path(path))
    digest = sha256 or Digest(Path(path))
    with _opened(
        path, interval_s=interval_s, progress=progress, readers=readers, sha256=digest
    ) as opened:
        reader, source, options = opened
        recording = None
        if isinstance(reader, PartwiseReader):
            kept = _keeping_near(options, digest, source.path)
            options = replace(kept, chunk_bytes=chunk_bytes)
            with suppress(NotPlainError):
                recording = pass_on(partial(reader.parts, source, options), source, options, sink)
        if recording is None:
            recording = in_one_go(reader.read(source, options), sink)
        options.progress(1.0)
    return recording


def _keeping_near(options: ReadOptions, digest: Digest, path: Path) -> ReadOptions:
    """Tell the digest how far the reader is, with the progress."""
    size = path.stat().st_size

    def tell(fraction: float) -> None:
        digest.reader_is_at(fraction * size)
        options.progress(fraction)

    return replace(options, progress=tell)


@contextmanager
def _opened(
    path: str | Path,
    *,
    interval_s: float | None,
    progress: Callable[[float], None] | None,
    readers: Sequence[Reader] | None,
    sha256: Digest | None = None,
) -> Iterator[tuple[Reader, Source, ReadOptions]]:
    """Choose the reader for a file, and bring what goes wrong meanwhile into our words."""
    if interval_s is not None and not (math.isfinite(interval_s) and interval_s > 0.0):
        raise UsageError(
            f"the sampling interval must be a positive number of seconds, not {interval_s!r}"
        )
    original = Path(path)
    _check_file(original)
    choices = installed() if readers is None else tuple(readers)
    options = ReadOptions(interval_s, _never_back(progress))
    try:
        with ExitStack() as stack:
            source = Source(original, _text(original.name), sha256 or Digest(original))
            source, reader = _choose(source, choices, stack)
            # Damaged files hold absurd numbers; what comes of them is judged by checks.
            with np.errstate(over="ignore", invalid="ignore"):
                yield reader, source, options
    except CrankwiseError:
        raise
    except MemoryError as error:
        raise UnreadableError(f"{original.name}: too large for this computer's memory") from error
    except OSError as error:
        raise UnreadableError(
            f"{original.name}: can't be read ({error.strerror or error}). "
            "Check the file and its drive"
        ) from error


def _text(name: str) -> str:
    """Put question marks for what the system could not read of a name, so that it can be kept."""
    return name.encode("utf-8", "replace").decode()


def installed() -> tuple[Reader, ...]:
    """Return one instance of every reader installed, by entry point; broken ones are left out."""
    found: dict[str, Reader] = {}
    for point in sorted(entry_points(group=GROUP), key=lambda point: point.name):
        try:
            reader = point.load()()
        except (ImportError, AttributeError):
            continue  # an outside plug-in whose own requirements are missing must not stop ours
        found.setdefault(reader.name, reader)
    return tuple(found.values())


def recognise(path: str | Path) -> None:
    """Refuse a file that no reader knows by its beginning; packed ones are not looked into.

    Raises
    ------
    UnreadableError
        As for :func:`read`.
    """
    original = Path(path)
    _check_file(original)
    with original.open("rb") as file:
        head = file.read(HEAD_BYTES)
    choices = installed()
    if not is_packed(head) and all(score(one, head, original) == NOT_MINE for one in choices):
        raise UnreadableError(_not_a_recording(original.name, head, choices))


def available() -> dict[str, tuple[str, ...]]:
    """Names of the formats that can be read, with their usual file name endings."""
    return {reader.name: reader.suffixes for reader in installed()}


def score(reader: Reader, head: bytes, path: Path) -> int:
    """Sniff score, raised a little where the suffix agrees, so that ties follow the name."""
    result = reader.sniff(head, path)
    if result == NOT_MINE:
        return NOT_MINE
    return 2 * result + (path.suffix.lower() in reader.suffixes)


def _choose(source: Source, readers: Sequence[Reader], stack: ExitStack) -> tuple[Source, Reader]:
    """Pick the best reader for the content; packed content is unpacked into a temporary file."""
    if not readers:
        raise UnreadableError(
            "no reader is installed. Install the package again, for example with "
            "'pip install --force-reinstall crankwise'"
        )
    for _ in range(_NESTING):
        with source.path.open("rb") as file:
            head = file.read(HEAD_BYTES)
        best = max(readers, key=lambda reader: score(reader, head, source.path))
        best_score = score(best, head, source.path)
        if best_score < 2 * CERTAIN and is_packed(head):
            path = unpack(
                source.path,
                source.name,
                stack,
                lambda head, path: max(score(reader, head, path) for reader in readers),
            )
            source = Source(path, source.name, source.sha256)
            continue
        if best_score == NOT_MINE:
            raise UnreadableError(_not_a_recording(source.name, head, readers))
        return source, best
    raise UnreadableError(f"{source.name}: packed more than twice. Unpack it first")


def _check_file(path: Path) -> None:
    name = path.name or str(path)
    if path.is_dir():
        raise UnreadableError(f"{name}: this is a folder. Give one recording inside it")
    if not path.exists():
        raise UnreadableError(f"{path}: no such file. Check the name and the folder")
    if not path.is_file():
        raise UnreadableError(f"{name}: not an ordinary file. Save the recording to a file first")
    if path.stat().st_size == 0:
        raise UnreadableError(f"{name}: the file is empty. Save or copy the recording again")


def _not_a_recording(name: str, head: bytes, readers: Sequence[Reader]) -> str:
    what = what_else(head)
    if what is not None:
        return (
            f"{name}: this is {what}, not a recording. "
            "Save the recording's data from the scope, for example as CSV"
        )
    formats = ", ".join(sorted(reader.name for reader in readers))
    return (
        f"{name}: no reader knows this content. Export the recording as CSV; "
        f"these can be read: {formats}"
    )


def _never_back(progress: Callable[[float], None] | None) -> Callable[[float], None]:
    """Report only progress that is new, and none where nobody listens."""
    reached = -1.0

    def report(fraction: float) -> None:
        nonlocal reached
        if progress is not None and fraction > reached:
            reached = min(fraction, 1.0)
            progress(reached)

    return report
