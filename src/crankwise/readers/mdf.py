"""ASAM MDF 4 measurement files, by asammdf."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from traceback import walk_tb
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding
from crankwise.model.recording import FloatArray, Recording
from crankwise.readers.contract import CERTAIN, NOT_MINE, ReadOptions, Source
from crankwise.readers.foreign import damaged_unless_read, optional
from crankwise.readers.labels import Label
from crankwise.readers.limits import check_growth
from crankwise.readers.mdf_parts import check_blocks
from crankwise.readers.table import Table, to_recording


@dataclass(slots=True)
class _Raster:
    """Channels that were sampled at the same times."""

    times_s: FloatArray
    labels: list[Label]
    columns: list[npt.NDArray[Any]]


class MdfReader:
    """MDF files; of several rasters the one with the most samples is read."""

    name = "MDF"
    suffixes = (".mf4", ".mdf", ".dat")

    def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002 - content decides
        """Look for the identification block."""
        return CERTAIN if head.startswith((b"MDF     ", b"UnFinMF ")) else NOT_MINE

    def read(self, source: Source, options: ReadOptions) -> Recording:
        """Read the channel group that is the recording."""
        asammdf = optional("asammdf", extra="mdf", source=source)
        with damaged_unless_read(source, self.name):
            check_blocks(source)
        with (
            damaged_unless_read(source, self.name),
            source.path.open("rb") as stream,
            _completed_on_failure(),
            _without_its_log(),
            asammdf.MDF(stream) as file,
        ):
            rasters = _rasters(file, source)
            version = str(file.version)
        raster, findings = _choose(rasters, source)
        return to_recording(
            Table(
                reader=self.name,
                labels=(Label("time", "s"), *raster.labels),
                columns=(raster.times_s, *raster.columns),
                time=0,
                place=lambda row: f"{source.name}: sample {row + 1}",
                fallback="channel",
                findings=findings,
                settings={"version": version},
            ),
            source,
            options,
        )


@contextmanager
def _without_its_log() -> Iterator[None]:
    """Keep asammdf from printing what it finds wrong with a file; it raises that too."""
    log = logging.getLogger("asammdf")
    before = log.disabled
    log.disabled = True
    try:
        with redirect_stdout(StringIO()):
            yield
    finally:
        log.disabled = before


@contextmanager
def _completed_on_failure() -> Iterator[None]:
    """Let asammdf throw a half-read file away quietly.

    On a damaged file it leaves an object without these attributes behind, whose own clean-up then
    fails with a traceback on stderr that nobody can catch.
    """
    try:
        yield
    except Exception as error:
        for frame, _ in walk_tb(error.__traceback__):
            broken = frame.f_locals.get("self")
            if type(broken).__name__ == "MDF4":
                for attribute in ("header", "identification"):
                    setattr(broken, attribute, getattr(broken, attribute, None))
        raise


def _rasters(file: Any, source: Source) -> list[_Raster]:
    """Gather numeric channels by the times they were sampled at."""
    rasters: list[_Raster] = []
    for group, signals in enumerate(_group_signals(file, source)):
        for signal in signals:
            values = signal.samples
            if values.ndim != 1 or values.dtype.kind not in "fiub" or len(values) < 2:
                continue
            raster = next((one for one in rasters if _same(one.times_s, signal.timestamps)), None)
            if raster is None:
                raster = _Raster(np.asarray(signal.timestamps, np.float64), [], [])
                rasters.append(raster)
            name = signal.name or f"group {group + 1}"
            raster.labels.append(Label(name, signal.unit.strip() or None))
            raster.columns.append(values)
    return rasters


def _group_signals(file: Any, source: Source) -> list[list[Any]]:
    """Read the signals of each channel group, the time channels left out."""
    result = []
    for group in range(len(file.groups)):
        times = file.groups[group].channel_group.cycles_nr
        if not times:
            continue
        # A master without bytes of its own is counted out, whatever the records hold.
        packed_bytes = source.path.stat().st_size
        check_growth(source.name, unpacked_bytes=8 * times, packed_bytes=packed_bytes)
        master = file.masters_db.get(group)
        places = [
            (None, group, index)
            for index in range(len(file.groups[group].channels))
            if index != master
        ]
        result.append(file.select(places) if places else [])
    return result


def _same(times_s: FloatArray, others_s: npt.NDArray[Any]) -> bool:
    return len(times_s) == len(others_s) and bool(np.array_equal(times_s, others_s))


def _choose(rasters: list[_Raster], source: Source) -> tuple[_Raster, tuple[Finding, ...]]:
    """Take the raster with the most samples among those that can hold crank and cam."""
    if not rasters:
        raise UnreadableError(
            f"{source.name}: no channels with numbers inside. Record the sensor signals and export "
            "them again"
        )
    if len(rasters) == 1:
        return rasters[0], ()
    together = [raster for raster in rasters if len(raster.columns) > 1]
    if not together:
        names = ", ".join(f"'{raster.labels[0].name}'" for raster in rasters[:6])
        raise UnreadableError(
            f"{source.name}: each channel was sampled at times of its own ({names}). "
            "Export crank and cams in one group with one raster"
        )
    best = max(together, key=lambda raster: len(raster.times_s))
    left = [label.name for raster in rasters if raster is not best for label in raster.labels]
    names = ", ".join(f"'{name}'" for name in left[:6]) + (", …" if len(left) > 6 else "")
    text = f"Sampled at other times and left aside: {names}."
    return best, (Finding("channels-unused", "note", text),)
