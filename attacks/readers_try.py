"""One file handed in: read, measured, loaded; and what came of it."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from attacks import readers_seeds as seeds
from attacks.readers_mutate import Seeds
from crankwise import document
from crankwise.drive.engine_file import load_engine
from crankwise.errors import CrankwiseError
from crankwise.judge.policy import load_policy
from crankwise.model.measurement import Measurement
from crankwise.pipeline import compare, measure
from crankwise.readers import partwise, read, stream
from crankwise.readers.delimited import parse as table_parsing
from crankwise.readers.dispatch import installed
from crankwise.readers.measuring import measure_file
from crankwise.store import portable
from crankwise.wheel.catalogue import load as load_wheels

LONGEST_MESSAGE = 700
"""A refusal is a line that a person reads."""
_PART_BYTES = 512
_HEAD_ROWS = 20
_MEASURED_EVERY = 7

Route = Callable[[Path, int], str]
"""Tries a file by one of several ways, chosen by a number; says how far it came."""


def outcome(route: Route, path: Path, number: int) -> str:
    """What became of a file: ``read`` and the like, or ``exit 3`` and the like.

    Raises
    ------
    AssertionError
        It was refused in a way that helps nobody.
    Exception
        Whatever was raised besides refusals.
    """
    try:
        return route(path, number)
    except CrankwiseError as error:
        message = str(error)
        cause: BaseException | None = error
        while cause is not None:
            _hold(not isinstance(cause, MemoryError), f"took too much memory: {message}")
            cause = cause.__cause__ or cause.__context__
        _hold(error.exit_code in (2, 3, 4), f"exit code {error.exit_code}: {message}")
        _hold(len(message) <= LONGEST_MESSAGE, f"a line of {len(message)}: {message[:300]}")
        _hold(len(message.splitlines()) == 1, f"lines: {message!r}")
        return f"exit {error.exit_code}"


def _hold(is_so: bool, words: str) -> None:  # noqa: FBT001  reads like an assertion
    if not is_so:
        raise AssertionError(words)


def _recording(path: Path, number: int) -> str:
    """Whole, part by part with parts much smaller than usual, or measured on the way."""
    readers = _readers()
    small = number % 4 < 2
    table_parsing.SHORT_BYTES = 0 if number % 5 == 3 else 1 << 22  # type: ignore[attr-defined]
    partwise.HEAD_ROWS = _HEAD_ROWS if small else 1 << 17  # type: ignore[attr-defined]
    chunk_bytes = _PART_BYTES if small else None
    if number % _MEASURED_EVERY == 0:
        made = measure_file(path, readers=readers, wheels=_wheels(), chunk_bytes=chunk_bytes)
        document.dumps(made)
        return "measured"
    if number % 3 == 0:
        read(path, readers=readers, interval_s=1e-5 if number % 15 == 0 else None)
    else:
        stream(path, _Nowhere(), readers=readers, chunk_bytes=chunk_bytes)
    return "read"


class _Nowhere:
    """Takes samples and lets them go."""

    def begin(self, channels: Any, *, interval_s: float) -> None:
        """Take note of nothing."""

    def feed(self, values: Any, time_s: Any) -> None:
        """Keep nothing."""


@cache
def _readers() -> Any:
    return installed()


@cache
def _wheels() -> Any:
    return tuple(load_wheels().values())


@cache
def _measured() -> Measurement:
    return measure(seeds.recording(events=True), wheels=_wheels())


def _measurement(path: Path, number: int) -> str:
    """A measurement, and then what it is for: to be compared, either way round."""
    loaded = document.load(path)
    document.dumps(loaded)
    if number % 4:
        return "read"
    sides = (loaded, _measured()) if number % 8 else (_measured(), loaded)
    document.dumps(compare(sides[0], [sides[1]]))
    return "compared"


def _known_goods(path: Path, number: int) -> str:
    """A document or bundle: every part of it is read or refused in words."""
    found = list(portable.read(path))
    for name, item in found:
        if isinstance(item, str):
            _hold(bool(item), f"{name!r} refused without a word")
        else:
            portable.to_text(item)
            if number % 8 == 0:
                document.dumps(compare(_measured(), [item.measurement]))
    return "read" if any(not isinstance(item, str) for _, item in found) else "parts refused"


def _engine(path: Path, number: int) -> str:
    engine = load_engine(path)
    if number % 4:
        return "read"
    document.dumps(compare(_measured(), [_measured()], engine=engine))
    return "compared"


def _policy(path: Path, number: int) -> str:
    policy = load_policy(path)
    if number % 4:
        return "read"
    document.dumps(compare(_measured(), [_measured()], policy=policy))
    return "compared"


def _wheel_file(path: Path, number: int) -> str:
    wheels = load_wheels(path)
    if number % 16:
        return "read"
    document.dumps(measure(seeds.recording(events=True), wheels=wheels.values()))
    return "measured"


def _in_folder(make: Callable[[Path], Seeds]) -> Callable[[], Seeds]:
    def made() -> Seeds:
        with tempfile.TemporaryDirectory(prefix="crankwise-seeds-") as folder:
            return make(Path(folder))

    return made


KINDS: Mapping[str, tuple[Callable[[], Seeds], Route]] = {
    "text tables": (seeds.text_tables, _recording),
    "event lists": (seeds.event_lists, _recording),
    "Parquet and Arrow": (seeds.arrow_files, _recording),
    "HDF5": (seeds.hdf5_files, _recording),
    "MATLAB": (seeds.matlab_files, _recording),
    "WAV": (seeds.wave_files, _recording),
    "MDF": (_in_folder(seeds.measurement_files), _recording),
    "change dumps": (seeds.change_dumps, _recording),
    "numpy": (seeds.numpy_files, _recording),
    "packed": (seeds.packed_files, _recording),
    "measurements": (seeds.saved_measurements, _measurement),
    "known-goods": (_in_folder(seeds.known_goods), _known_goods),
    "engine files": (seeds.engine_files, _engine),
    "policies": (seeds.policies, _policy),
    "wheel files": (seeds.wheel_files, _wheel_file),
}
"""Every kind of file that people hand in: valid ones, and the way such a file takes."""
