"""WAV: a sampling rate and channels, but no volts."""

from __future__ import annotations

import struct
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding
from crankwise.model.recording import Recording
from crankwise.readers.contract import CERTAIN, NOT_MINE, ReadOptions, Source
from crankwise.readers.foreign import damaged_unless_read
from crankwise.readers.labels import Label
from crankwise.readers.limits import check_parts
from crankwise.readers.signals import NotPlainError
from crankwise.readers.table import Table, to_recording

_CHUNK_BYTES = 1 << 22
_KINDS = ("u1", "i2", "i4", "f4", "f8")


class WavReader:
    """WAV with PCM of 8 to 32 bits or floats; full scale becomes 1."""

    name = "WAV"
    suffixes = (".wav", ".wave", ".rf64")

    def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002 - content decides
        """Look for the RIFF signature with the WAVE form."""
        is_wave = head[:4] in (b"RIFF", b"RIFX", b"RF64") and head[8:12] == b"WAVE"
        return CERTAIN if is_wave else NOT_MINE

    def read(self, source: Source, options: ReadOptions) -> Recording:
        """Read all channels."""
        rate_hz, samples = _samples(source, mmap=False)
        return to_recording(_table(samples, rate_hz, source), source, options)

    def parts(self, source: Source, options: ReadOptions) -> Iterator[Table]:
        """Read all channels range by range."""
        try:
            rate_hz, samples = _samples(source, mmap=True)
        except UnreadableError:
            raise NotPlainError from None  # 24 bits can't be mapped, and a damaged file tells so
        length, row_bytes = len(samples), samples.nbytes // max(len(samples), 1)
        rows = max((options.chunk_bytes or _CHUNK_BYTES) // max(row_bytes, 1), 1)
        for first in range(0, length, rows):
            # Mapped anew each time: pages of one map would stay in memory until its end.
            part = np.array(_samples(source, mmap=True)[1][first : first + rows])
            yield _table(part, rate_hz, source)
            options.progress(min(first + rows, length) / length)


def _samples(source: Source, *, mmap: bool) -> tuple[int, npt.NDArray[Any]]:
    """Sampling rate and samples, shape (samples,) or (samples, channels)."""
    from scipy.io import wavfile  # noqa: PLC0415 - heavy, only needed once reading begins

    with damaged_unless_read(source, WavReader.name), warnings.catch_warnings():
        # A cut file must not pass as a short one, but chunks with notes are no problem.
        warnings.filterwarnings("error", category=wavfile.WavFileWarning)
        warnings.filterwarnings("ignore", message="Chunk .*not understood")
        _check_chunks(source)
        rate_hz, samples = wavfile.read(source.path, mmap=mmap)
        if rate_hz <= 0 or samples.dtype.str[1:] not in _KINDS:
            raise ValueError("an impossible rate or kind of samples")
    return rate_hz, samples


def _check_chunks(source: Source) -> None:
    """Hold the sizes that the chunks state against the file, before room is made for them.

    Raises
    ------
    ValueError
        One is longer than the file, or there are far too many.
    """
    size, count = source.path.stat().st_size, 0
    with source.path.open("rb") as file:
        order = ">" if file.read(12).startswith(b"RIFX") else "<"
        long_bytes: int | None = None
        while len(head := file.read(8)) == 8:
            count += 1
            check_parts(count)
            length = int(struct.unpack(f"{order}I", head[4:])[0])
            begin = file.tell()
            if head.startswith(b"ds64"):  # sizes of 64 bits, of the file and of its samples
                long_bytes = int(struct.unpack("<8xQ", file.read(16))[0])
            if head.startswith(b"data") and long_bytes is not None:
                length = long_bytes
            if head.startswith((b"data", b"fmt ")) and begin + length > size:
                raise ValueError("a chunk is longer than the file")
            file.seek(begin + length + length % 2)


def _table(samples: npt.NDArray[Any], rate_hz: int, source: Source) -> Table:
    table = np.atleast_2d(samples.T)
    note = Finding(
        "no-volts",
        "note",
        "WAV files hold no volts; the numbers are shares of the full scale. "
        "Edge times don't depend on it.",
    )
    return Table(
        reader=WavReader.name,
        labels=tuple(Label("", "") for _ in table),
        columns=tuple(_full_scale(channel) for channel in table),
        time=None,
        interval_s=1.0 / rate_hz,
        place=lambda row: f"{source.name}: sample {row + 1}",
        fallback="channel",
        findings=(note,),
        settings={"rate_hz": rate_hz, "sample_type": str(samples.dtype)},
    )


def _full_scale(samples: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Bring PCM to -1 … 1; 24 bits fill the upper part of 32, so both fit one rule."""
    if samples.dtype.kind == "f":
        return samples
    if samples.dtype == np.uint8:
        return (samples.astype(np.float32) - 128.0) / np.float32(128.0)
    if samples.dtype == np.int16:
        return samples.astype(np.float32) / np.float32(32768.0)
    exact = samples.astype(np.float64) / 2147483648.0
    is_24_bit = not np.any(samples & 0xFF)
    return exact.astype(np.float32) if is_24_bit else exact
