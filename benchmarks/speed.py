"""Speed and memory: the rows of the table in docs/performance.md.

``python -m benchmarks`` prints it. Work and yardstick take turns in one run, so that both meet the
same state of the machine.
"""

from __future__ import annotations

import statistics
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Final

from benchmarks.processes import CLI, Processes, ratio_of
from benchmarks.rows import MB, Row

POLARS_CSV = ("-c", "import sys, polars; polars.read_csv(sys.argv[1])")
POLARS_PARQUET = ("-c", "import sys, polars; polars.read_parquet(sys.argv[1])")
NUMPY = ("-c", "import numpy")


@dataclass(frozen=True, slots=True)
class Size:
    """How large the work is, and how often each piece runs.

    Attributes
    ----------
    csv_rows, parquet_samples : int
        Rows of the CSV; samples of each of three channels of the Parquet file.
    growth : tuple of int
        Samples of each of three channels, from few to many.
    runs : int
    """

    csv_rows: int
    parquet_samples: int
    growth: tuple[int, ...]
    runs: int


FULL = Size(25_000_000, 30_000_000, (1_000_000, 10_000_000, 100_000_000, 300_000_000), 7)
QUICK = Size(2_500_000, 3_000_000, (1_000_000, 3_000_000, 10_000_000), 3)


class Bench:
    """The files to work on, written when first asked for, and the processes to work in."""

    def __init__(self, folder: Path, size: Size) -> None:
        self.size = size
        self.processes = Processes(folder)
        self._folder = folder

    @cached_property
    def csv(self) -> Path:
        """Simulated engine, crank and two cams at 1 MS/s, with a time column: 41 bytes a row."""
        return self._written("large.csv", self.size.csv_rows, 1e6)

    @cached_property
    def parquet(self) -> Path:
        """The same engine without a time column."""
        return self._written("large.parquet", self.size.parquet_samples, 1e6)

    @cached_property
    def small(self) -> Path:
        """Two seconds of it at 10 kS/s."""
        return self._written("small.csv", 20_000, 1e4)

    def _written(self, name: str, samples: int, rate_hz: float) -> Path:
        path = self._folder / name
        print(f"writing {name}", file=sys.stderr)
        self.processes.work("write", path, samples, rate_hz)
        return path


def csv_row(bench: Bench) -> list[Row]:
    """Measure a CSV, start of Python included."""
    ours, polars = bench.processes.take_turns(
        (*CLI, "measure", str(bench.csv), "--json"),
        (*POLARS_CSV, str(bench.csv)),
        runs=bench.size.runs,
    )
    ratio = ratio_of(ours, polars)
    return [
        Row(
            f"`measure` of a CSV of {bench.csv.stat().st_size / MB:.0f} MB",
            ours.median_s,
            "Polars alone reads it",
            polars.median_s,
            ratio,
            ours.peak_bytes,
            "≤ 1.25 times, ≤ 400 MB",
            ratio <= 1.25 and ours.peak_bytes <= 400 * MB,
        )
    ]


def parquet_row(bench: Bench) -> list[Row]:
    """Measure a Parquet file, start of Python included."""
    ours, polars = bench.processes.take_turns(
        (*CLI, "measure", str(bench.parquet), "--json"),
        (*POLARS_PARQUET, str(bench.parquet)),
        runs=bench.size.runs,
    )
    samples = bench.size.parquet_samples / 1e6
    return [
        Row(
            f"`measure` of a Parquet file, {samples:g} M samples × 3 channels",
            ours.median_s,
            "Polars alone reads it",
            polars.median_s,
            ratio_of(ours, polars),
            ours.peak_bytes,
        )
    ]


def memory_rows(bench: Bench) -> list[Row]:
    """Find edges, decode and follow the angle with everything in memory and imported."""
    found = bench.processes.work("memory", bench.parquet, 2 * bench.size.runs + 1)
    samples = f"{bench.size.parquet_samples / 1e6:g} M samples × 3 channels in memory"
    counting = "NumPy compares and counts them once"
    return [
        Row(
            f"edges, decoding and angle of {samples}",
            found["core_s"],
            counting,
            found["count_s"],
            found["core_ratio"],
            goal="≤ 3 times",
            holds=found["core_ratio"] <= 3.0,
        ),
        Row(
            f"the whole measurement of {samples}",
            found["measure_s"],
            counting,
            found["count_s"],
            found["measure_ratio"],
        ),
    ]


def growth_rows(bench: Bench) -> list[Row]:
    """Measure ever longer recordings that come in and go, at a steady speed of the engine."""
    sizes = bench.size.growth
    times = {size: bench.processes.work("growth", size, 3) for size in sizes}
    rows = []
    for less, more in pairwise(sizes):
        expected_s = times[less]["median_s"] * more / less
        ratio = times[more]["median_s"] / expected_s
        rows.append(
            Row(
                f"{more / 1e6:g} M samples × 3 channels, handed on in blocks",
                times[more]["median_s"],
                f"{more / less:g} times the time of {less / 1e6:g} M",
                expected_s,
                ratio,
                times[more]["peak_bytes"],
                "≤ 1.1 times",
                ratio <= 1.1,
            )
        )
    return rows


def small_row(bench: Bench) -> list[Row]:
    """Measure a small file: hardly more than the start."""
    ours, numpy = bench.processes.take_turns(
        (*CLI, "measure", str(bench.small), "--json"), NUMPY, runs=2 * bench.size.runs + 1
    )
    return [
        Row(
            f"`measure` of a CSV of {bench.small.stat().st_size / MB:.1f} MB",
            ours.median_s,
            "Python imports NumPy",
            numpy.median_s,
            ratio_of(ours, numpy),
            ours.peak_bytes,
            "≤ 0.6 s",
            ours.median_s <= 0.6,
        )
    ]


def help_row(bench: Bench) -> list[Row]:
    """Show the list of commands."""
    ours, typer = bench.processes.take_turns(
        (*CLI, "--help"), ("-c", "import typer"), runs=2 * bench.size.runs + 1
    )
    return [
        Row(
            "`crankwise --help`",
            ours.median_s,
            "Python imports Typer",
            typer.median_s,
            ratio_of(ours, typer),
            ours.peak_bytes,
            "≤ 0.15 s",
            ours.median_s <= 0.15,
        )
    ]


WORK: Final[Mapping[str, Callable[[Bench], list[Row]]]] = {
    "csv": csv_row,
    "parquet": parquet_row,
    "memory": memory_rows,
    "growth": growth_rows,
    "small": small_row,
    "help": help_row,
}
"""Pieces of work by the names that choose them on the command line."""


def start_table(bench: Bench) -> list[tuple[str, float]]:
    """Where the time of a small file goes: median of each step, in seconds."""
    rows = [bench.processes.work("start", bench.small) for _ in range(bench.size.runs)]
    return [(name, statistics.median(row[name] for row in rows)) for name in rows[0]]
