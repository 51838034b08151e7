"""A file measured while it is read, in memory that does not grow with it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from threading import Thread
from typing import Any

import numpy.typing as npt

from crankwise.edges import EdgeStream
from crankwise.model.measurement import Measurement
from crankwise.model.recording import FloatArray
from crankwise.model.wheel import Wheel
from crankwise.readers.contract import Reader, SampleSink
from crankwise.readers.digest import Digest
from crankwise.readers.dispatch import stream

_READING = 0.9
"""Share of the work that is done once the file is read."""
_LARGE_BYTES = 1 << 27


class _Together:
    """Several sinks as one."""

    def __init__(self, sinks: Sequence[SampleSink]) -> None:
        self._sinks = sinks

    def begin(self, channels: Sequence[str], *, interval_s: float) -> None:
        for sink in self._sinks:
            sink.begin(channels, interval_s=interval_s)

    def feed(self, values: Sequence[npt.NDArray[Any]], time_s: FloatArray | None) -> None:
        for sink in self._sinks:
            sink.feed(values, time_s)


def measure_file(
    path: str | Path,
    *,
    interval_s: float | None = None,
    crank: str | None = None,
    cams: Mapping[str, str] | None = None,
    wheels: Iterable[Wheel] | None = None,
    progress: Callable[[str, float], None] | None = None,
    readers: Sequence[Reader] | None = None,
    chunk_bytes: int | None = None,
    sha256: Digest | None = None,
    also: Sequence[SampleSink] = (),
) -> Measurement:
    """Read and measure a recording in one pass.

    The measurement is the one that reading it whole gives; of the samples only a stretch is held.

    Parameters
    ----------
    path, interval_s, readers, chunk_bytes, sha256
        As for :func:`crankwise.readers.stream`.
    crank, cams, wheels
        As for :func:`crankwise.pipeline.measure`.
    progress : callable, optional
        Called with a step in words and the share done (0 to 1).
    also : sequence of SampleSink
        Others who take the samples in the same pass.

    Raises
    ------
    UnreadableError, UsageError
        As for :func:`crankwise.readers.read`.
    NotMeasurableError
        As for :func:`crankwise.pipeline.measure`.
    """
    tell = progress or (lambda _step, _share: None)
    _import_beside(Path(path))
    finder = EdgeStream()
    recording = stream(
        path,
        _Together((finder, *also)),
        interval_s=interval_s,
        progress=lambda share: tell("reading", _READING * share),
        readers=readers,
        chunk_bytes=chunk_bytes,
        sha256=sha256,
    )
    edges = None
    if recording.interval_s is not None:
        found = finder.finish(start_s=recording.start_s, interval_s=recording.interval_s)
        edges = {name: found[name] for name in recording.channel_names}
    from crankwise.pipeline import measure  # noqa: PLC0415  imported beside the reading

    return measure(
        recording,
        crank=crank,
        cams=cams,
        wheels=wheels,
        edges=edges,
        progress=lambda step, share: tell(step, _READING + (1.0 - _READING) * share),
    )


def _import_beside(path: Path) -> None:
    """Import what will be needed once the file is read; its parsing leaves the time to do so."""
    modules = ["crankwise.pipeline"]
    if path.is_file() and path.stat().st_size > _LARGE_BYTES:
        modules.append("scipy.linalg")  # for the equations of a long recording
    Thread(target=lambda: [import_module(name) for name in modules], daemon=True).start()
