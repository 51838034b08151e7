"""What the speed benchmark runs in processes of their own, so that its own stays small.

python -m benchmarks.speed_work files FOLDER CSV_ROWS PARQUET_SAMPLES
python -m benchmarks.speed_work inside FILE SMALL_FILE
"""

from __future__ import annotations

import json
import statistics
import sys
import time
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

RATE_HZ = 1e6
CSV_NAME, PARQUET_NAME, SMALL_NAME = "large.csv", "large.parquet", "small.csv"
REPEATS = 5


def write_files(folder: Path, *, csv_rows: int, parquet_samples: int) -> None:
    """Simulate the engine of the demo, crank and two cams, and save it at three sizes."""
    from crankwise.testing.simulate import CsvDialect, preset, simulate_to_file  # noqa: PLC0415

    spec = preset("t20-fresh-chain")
    for name, samples, rate_hz in (
        (CSV_NAME, csv_rows, RATE_HZ),
        (PARQUET_NAME, parquet_samples, RATE_HZ),
        (SMALL_NAME, 20_000, 1e4),
    ):
        # The scope has a sample at either end of the duration.
        scope = replace(
            spec.scope, duration_s=(samples - 1) / rate_hz, interval_s=None, rate_hz=rate_hz
        )
        # Eight decimals make 200 MB of five million rows.
        dialect = CsvDialect(decimals=8)
        simulate_to_file(replace(spec, scope=scope), folder / name, seed=1, dialect=dialect)


def time_inside(file: Path, small: Path) -> dict[str, float]:
    """Read and measure in a process that has done so before, in turns with Polars; medians, s."""
    import polars as pl  # noqa: PLC0415

    from crankwise import measure, read  # noqa: PLC0415

    alone = pl.read_csv if file.suffix == ".csv" else pl.read_parquet
    measure(read(small))
    rows = []
    for _ in range(REPEATS):
        times = [time.perf_counter()]
        alone(file)
        times.append(time.perf_counter())
        recording = read(file)
        times.append(time.perf_counter())
        measure(recording)
        times.append(time.perf_counter())
        yardstick, reading, measuring = (b - a for a, b in pairwise(times))
        rows.append((yardstick, reading + measuring, reading, measuring))
    names = ("polars_s", "whole_s", "read_s", "measure_s")
    return dict(zip(names, map(statistics.median, zip(*rows, strict=True)), strict=True))


def time_steps(file: Path) -> dict[str, float]:
    """Take the way of ``crankwise measure --json`` step by step; seconds of each."""
    laps: dict[str, float] = {}
    begun = time.perf_counter()

    def lap(name: str) -> None:
        laps[name] = time.perf_counter() - begun - sum(laps.values())

    import numpy as np  # noqa: F401, PLC0415
    import polars as pl  # noqa: F401, PLC0415

    lap("import NumPy and Polars")
    import scipy.linalg  # noqa: PLC0415
    import scipy.ndimage  # noqa: PLC0415
    import scipy.special  # noqa: F401, PLC0415

    lap("import the parts of SciPy that are used")
    import crankwise.cli.app  # noqa: F401, PLC0415

    lap("import the command line")
    from crankwise import document, pipeline, readers  # noqa: PLC0415

    lap("import the rest of Crankwise")
    recording = readers.read(file)
    lap("read the file")
    measurement = pipeline.measure(recording)
    lap("measure")
    document.dumps(measurement)
    lap("write the document")
    return laps


def main(arguments: list[str]) -> None:
    task, *rest = arguments
    if task == "files":
        folder, rows, samples = rest
        write_files(Path(folder), csv_rows=int(rows), parquet_samples=int(samples))
    elif task == "inside":
        print(json.dumps(time_inside(*map(Path, rest))))
    else:
        print(json.dumps(time_steps(Path(rest[0]))))


if __name__ == "__main__":
    main(sys.argv[1:])
