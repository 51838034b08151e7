"""Speed and memory: prints the tables of docs/performance.md.

    python -m benchmarks.speed            everything
    python -m benchmarks.speed --quick    on files of a tenth of the size
    python -m benchmarks.speed --write    everything, and into docs/performance.md

Everything timed runs in a process of its own. The yardstick, Polars alone reading the same file,
takes turns with it in the same run, so that both meet the same state of the machine; ratios are
of medians. Needs a system that tells a child's peak memory (Linux, macOS).
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
if not __package__:  # run by its path instead of as a module
    sys.path.insert(0, str(ROOT))

from benchmarks import speed_work  # noqa: E402  the path comes first
from benchmarks.pages import judged, table, write_between  # noqa: E402

PAGE = ROOT / "docs" / "performance.md"
CLI = ("-c", "from crankwise.cli import main; main()")
POLARS = ("-c", "import sys, polars; polars.read_csv(sys.argv[1])")
MB = 1e6


@dataclass(frozen=True, slots=True)
class Size:
    """Rows of the CSV, samples of each channel of the Parquet file, runs of each process."""

    csv_rows: int
    parquet_samples: int
    runs: int


FULL = Size(csv_rows=5_000_000, parquet_samples=30_000_000, runs=9)
QUICK = Size(csv_rows=500_000, parquet_samples=3_000_000, runs=3)


@dataclass(frozen=True, slots=True)
class Timed:
    """Runs of one process.

    Attributes
    ----------
    seconds, cpu_seconds : tuple of float
        Of each run: elapsed, and spent by all its threads together.
    peak_bytes : int
        Largest peak of resident memory, pages of mapped files included.
    """

    seconds: tuple[float, ...]
    cpu_seconds: tuple[float, ...]
    peak_bytes: int

    @property
    def median_s(self) -> float:
        """Median time."""
        return statistics.median(self.seconds)


@dataclass(frozen=True, slots=True)
class Results:
    """All that was timed.

    Attributes
    ----------
    times : dict of str to Timed
        Fresh processes; the yardstick, the CSV and the Parquet file come first.
    csv_inside_s, parquet_inside_s : dict of str to float
        The files in a running process: ``polars_s`` (the yardstick), ``whole_s``, ``read_s``,
        ``measure_s``.
    steps_s : dict of str to float
        Median of each step with the CSV in a fresh process.
    csv_bytes : int
        Size of the CSV.
    """

    times: dict[str, Timed]
    csv_inside_s: dict[str, float]
    parquet_inside_s: dict[str, float]
    steps_s: dict[str, float]
    csv_bytes: int


@dataclass(frozen=True, slots=True)
class Goal:
    """A goal beside what was measured; without a limit it is only told."""

    what: str
    limit: str
    measured: str
    holds: bool | None = None


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and write if asked; 0 if every goal is reached, else 1."""
    parser = argparse.ArgumentParser(prog="benchmarks.speed", description=__doc__.split("\n")[0])
    parser.add_argument("--quick", action="store_true", help="files of a tenth of the size")
    parser.add_argument(
        "--write", action="store_true", help="put the tables into docs/performance.md"
    )
    chosen = parser.parse_args(arguments)
    if chosen.quick and chosen.write:
        parser.error("--write needs the full run; leave out --quick")
    size = QUICK if chosen.quick else FULL
    with tempfile.TemporaryDirectory(prefix="crankwise-speed-") as name:
        results = run(Path(name), size)
    goals = judge(results, size)
    text = report(results, goals)
    print(text)
    if chosen.write:
        write_between(PAGE, "performance", text)
    return 0 if all(goal.holds is not False for goal in goals) else 1


def run(folder: Path, size: Size) -> Results:
    """Write the files and time everything."""
    work = ("-m", "benchmarks.speed_work")
    print("writing the files", file=sys.stderr)
    process(*work, "files", str(folder), str(size.csv_rows), str(size.parquet_samples))
    csv, parquet, small = (
        str(folder / name)
        for name in (speed_work.CSV_NAME, speed_work.PARQUET_NAME, speed_work.SMALL_NAME)
    )
    print("timing", file=sys.stderr)
    times = alternating(
        {
            "Polars alone reads the CSV": (*POLARS, csv),
            "`crankwise measure --json` of the CSV": (*CLI, "measure", csv, "--json"),
        },
        runs=size.runs,
    )
    times |= alternating(
        {
            "`crankwise measure --json` of the Parquet file": (*CLI, "measure", parquet, "--json"),
            "`crankwise measure --json` of a small CSV": (*CLI, "measure", small, "--json"),
            "`crankwise --help`": (*CLI, "--help"),
            "Python alone": ("-c", ""),
        },
        runs=size.runs,
    )
    steps = [json.loads(process(*work, "steps", csv)) for _ in range(size.runs)]
    return Results(
        times=times,
        csv_inside_s=json.loads(process(*work, "inside", csv, small)),
        parquet_inside_s=json.loads(process(*work, "inside", parquet, small)),
        steps_s={name: statistics.median(row[name] for row in steps) for name in steps[0]},
        csv_bytes=Path(csv).stat().st_size,
    )


def process(*arguments: str) -> bytes:
    """Run this Python with these arguments and return what it prints."""
    return subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, check=True, stdout=subprocess.PIPE
    ).stdout


def alternating(commands: dict[str, tuple[str, ...]], *, runs: int) -> dict[str, Timed]:
    """Run the commands in turns, after one run of each that does not count."""
    found: dict[str, list[tuple[float, float, int]]] = {name: [] for name in commands}
    for number in range(runs + 1):
        for name, arguments in commands.items():
            result = _time_one(arguments)
            if number > 0:
                found[name].append(result)
    return {
        name: Timed(
            seconds=tuple(seconds for seconds, _, _ in rows),
            cpu_seconds=tuple(cpu for _, cpu, _ in rows),
            peak_bytes=max(peak for _, _, peak in rows),
        )
        for name, rows in found.items()
    }


def _time_one(arguments: tuple[str, ...]) -> tuple[float, float, int]:
    """Seconds elapsed and computed, and peak of resident memory, of one fresh process."""
    begun = time.perf_counter()
    child = subprocess.Popen([sys.executable, *arguments], cwd=ROOT, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    seconds = time.perf_counter() - begun
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        raise subprocess.CalledProcessError(child.returncode, child.args)
    # Linux counts in KiB, macOS in bytes.
    peak_bytes = usage.ru_maxrss * (1 if sys.platform == "darwin" else 1024)
    return seconds, usage.ru_utime + usage.ru_stime, peak_bytes


def judge(results: Results, size: Size) -> list[Goal]:
    """Hold the figures against the goals."""
    polars, csv, parquet, *_ = results.times.values()
    ratio = csv.median_s / polars.median_s
    peak_mb = csv.peak_bytes / MB
    rows = f"{results.csv_bytes / MB:.0f} MB CSV, {size.csv_rows / 1e6:g} M rows × 4 columns"
    samples = f"{size.parquet_samples / 1e6:g} M samples × 3 channels from Parquet"
    running, running_csv = results.parquet_inside_s, results.csv_inside_s
    return [
        Goal(f"{rows}: time over Polars alone", "≤ 1.5", f"{ratio:.2f}", holds=ratio <= 1.5),
        Goal(
            "the same in a running process",
            "",
            f"{running_csv['whole_s'] / running_csv['polars_s']:.2f} ({_parts(running_csv)})",
        ),
        Goal(f"{rows}: peak memory", "≤ 600 MB", f"{peak_mb:.0f} MB", holds=peak_mb <= 600.0),
        Goal(
            f"{samples}, in a running process",
            "≤ 1 s",
            f"{running['whole_s']:.2f} s ({_parts(running)})",
            holds=running["whole_s"] <= 1.0,
        ),
        Goal(f"{samples}, as a fresh process", "", f"{parquet.median_s:.2f} s"),
    ]


def _parts(inside_s: dict[str, float]) -> str:
    return (
        f"read {inside_s['read_s']:.2f} s, measure {inside_s['measure_s']:.2f} s; "
        f"Polars reads in {inside_s['polars_s']:.2f} s"
    )


def report(results: Results, goals: list[Goal]) -> str:
    """All tables as Markdown."""
    goal_table = table(
        ["goal", "limit", "measured", "result"],
        [
            [
                goal.what,
                goal.limit,
                goal.measured,
                "" if goal.holds is None else judged(holds=goal.holds),
            ]
            for goal in goals
        ],
    )
    time_table = table(
        ["fresh process", "runs", "median", "fastest", "slowest", "computing", "peak memory"],
        [
            [
                name,
                str(len(timed.seconds)),
                f"{timed.median_s:.2f} s",
                f"{min(timed.seconds):.2f} s",
                f"{max(timed.seconds):.2f} s",
                f"{statistics.median(timed.cpu_seconds):.2f} s",
                f"{timed.peak_bytes / MB:.0f} MB",
            ]
            for name, timed in results.times.items()
        ],
    )
    _, csv, *_ = results.times.values()
    rest_s = csv.median_s - sum(results.steps_s.values())
    steps = {**results.steps_s, "the rest: Python, parsing the command line, leaving": rest_s}
    step_table = table(
        ["step with the CSV", "median"],
        [[name, f"{seconds:.2f} s"] for name, seconds in steps.items()],
    )
    parts = (
        "### Goals",
        goal_table,
        "### Fresh processes",
        time_table,
        "### Where the time goes",
        step_table,
    )
    return "\n\n".join(parts)


if __name__ == "__main__":
    sys.exit(main())
