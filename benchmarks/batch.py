"""Batches and the watched folder: prints the table of docs/performance.md.

    python -m benchmarks.batch            2,000 recordings on one and on two processes, and how soon
                                          a file of 50 MB is shown; ten minutes on two cores
    python -m benchmarks.batch --many     10,000 recordings on two processes as well, every
                                          hundredth broken; ten minutes more
    python -m benchmarks.batch --quick    a tenth of that
    python -m benchmarks.batch --write    everything but --many, and into docs/performance.md

The recordings are lists of state changes of one second each, of six simulated vans; they differ in
their bytes. Both runs are whole commands in processes of their own, start of the workers included.
The watched folder is that of a server in a process of its own; the time is that from closing the
file to the arrival of its row on an open page.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

ROOT = Path(__file__).resolve().parents[1]
if not __package__:  # run by its path instead of as a module
    sys.path.insert(0, str(ROOT))

from benchmarks.pages import judged, table, write_between  # noqa: E402  the path comes first
from crankwise.model.measurement import Provenance  # noqa: E402
from crankwise.model.shelf import Grade  # noqa: E402
from crankwise.store import open_store  # noqa: E402
from crankwise.testing.simulate import simulate_to_file  # noqa: E402
from crankwise.testing.simulate.visits import van_at  # noqa: E402
from crankwise.workshop.shelving import shelve_file  # noqa: E402

PAGE = ROOT / "docs" / "performance.md"
CLI = (sys.executable, "-c", "from crankwise.cli import main; main()")
BASES = 36
BROKEN_EVERY = 100
FASTER_GOAL = 1.8
SHOWN_GOAL_S = 1.0
ROW_WITHIN_S = 60


@dataclass(frozen=True, slots=True)
class Size:
    """Recordings in the batch that is timed and in the large one; files put into the folder."""

    recordings: int
    many: int
    files: int


FULL = Size(recordings=2_000, many=10_000, files=9)
QUICK = Size(recordings=200, many=1_000, files=3)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table; ``holds`` is ``None`` where there is no goal."""

    what: str
    goal: str
    measured: str
    holds: bool | None = None


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and write if asked; 0 if every goal is reached, else 1."""
    parser = argparse.ArgumentParser(prog="benchmarks.batch", description=__doc__.split("\n")[0])
    parser.add_argument("--quick", action="store_true", help="a tenth of the size")
    parser.add_argument("--many", action="store_true", help="10,000 recordings as well")
    parser.add_argument("--write", action="store_true", help="put the table into the page")
    chosen = parser.parse_args(arguments)
    if chosen.write and (chosen.quick or chosen.many):
        parser.error("--write needs the full run alone; leave out --quick and --many")
    size = QUICK if chosen.quick else FULL
    with tempfile.TemporaryDirectory(prefix="crankwise-batch-") as name:
        folder = Path(name)
        rows = [*batch_rows(folder, size), watch_row(folder, size)]
        if chosen.many:
            rows.append(many_row(folder, size))
    text = table(
        ["batch and watch", "goal", "measured", ""],
        [
            [row.what, row.goal, row.measured, "" if row.holds is None else judged(holds=row.holds)]
            for row in rows
        ],
    )
    print(text)
    if chosen.write:
        write_between(PAGE, "batch", text)
    return 0 if all(row.holds is not False for row in rows) else 1


def batch_rows(folder: Path, size: Size) -> list[Row]:
    """The same batch on one process and on two; the tables must be the same."""
    recordings = folder / "recordings"
    make_recordings(recordings, size.recordings, broken=False)
    seconds, tables = {}, {}
    for processes in (1, 2):
        output = folder / f"{processes}.parquet"
        seconds[processes] = run_batch(recordings, output, processes)
        tables[processes] = output.read_bytes()
    if tables[1] != tables[2]:
        raise SystemExit("one process and two give different tables")
    faster = seconds[1] / seconds[2]
    return [
        Row(
            f"batch of {size.recordings:,} recordings: how much faster two processes are than one",
            f"≥ {FASTER_GOAL}",
            f"{faster:.2f} ({seconds[1]:.0f} s and {seconds[2]:.0f} s, the same table)",
            faster >= FASTER_GOAL,
        ),
    ]


def many_row(folder: Path, size: Size) -> Row:
    """A large batch with broken files."""
    recordings = folder / "many"
    make_recordings(recordings, size.many, broken=True)
    output = folder / "many.parquet"
    seconds = run_batch(recordings, output, 2, failures=size.many // BROKEN_EVERY)
    return Row(
        f"batch of {size.many:,} recordings, every {BROKEN_EVERY}th broken, two processes",
        "",
        f"{seconds:.0f} s",
    )


def run_batch(recordings: Path, output: Path, processes: int, *, failures: int = 0) -> float:
    """Run the command and return the seconds it took; the number that failed must be right."""
    print(f"batch on {processes} process(es)", file=sys.stderr)
    options = ["-o", str(output), "--workers", str(processes), "--json"]
    begun = time.perf_counter()
    done = subprocess.run(
        [*CLI, "batch", str(recordings), *options], check=True, capture_output=True, text=True
    )
    seconds = time.perf_counter() - begun
    failed = sum(json.loads(done.stdout)["failures"].values())
    if failed != failures:
        raise SystemExit(f"{failed} recordings failed, {failures} should have")
    return seconds


def make_recordings(folder: Path, count: int, *, broken: bool) -> None:
    """Recordings that differ in their bytes: further ones have empty lines at their end."""
    folder.mkdir()
    bases: list[bytes] = []
    for number in range(count):
        path = folder / f"{number:05d}.csv"
        if len(bases) < min(BASES, count):
            simulated(path, number, duration_s=1.0, kind="events")
            bases.append(path.read_bytes())
        else:
            path.write_bytes(bases[number % BASES] + b"\n" * (number // BASES))
        if broken and number % BROKEN_EVERY == BROKEN_EVERY // 2:
            path.write_bytes(bases[0][:400])


def simulated(
    path: Path, number: int, *, duration_s: float, kind: Literal["events", "sampled"]
) -> None:
    """One recording of one of the vans."""
    spec = van_at(f"van-{number % 6 + 1}", mileage=5_000 + 1_000 * number)
    scope = replace(spec.scope, kind=kind, duration_s=duration_s)
    if kind == "events":
        scope = replace(scope, interval_s=None, resolution_s=1e-7)
    else:
        scope = replace(scope, interval_s=duration_s / 1_540_000)
    simulate_to_file(replace(spec, scope=scope), path, seed=number + 1)
    path.with_name(f"{path.name}.truth.json").unlink()


def watch_row(folder: Path, size: Size) -> Row:
    """Put files of 50 MB into a watched folder, one after the other."""
    exports = folder / "exports"
    exports.mkdir()
    with open_store(folder / "shelf") as store:
        known_good = folder / "known-good.csv"
        simulated(known_good, 0, duration_s=1.0, kind="events")
        shelve_file(store, known_good, family="Tarn T20", provenance=Provenance(), grade=Grade())
    print("watching", file=sys.stderr)
    big = folder / "big.csv"
    simulated(big, 2, duration_s=4.0, kind="sampled")
    data = big.read_bytes()
    seconds = []
    with server(folder / "shelf", exports) as port:
        lines = events(port)
        for number in range(size.files + 1):
            with (exports / f"{number}.csv").open("wb") as file:
                file.write(data + b"\n" * number)
            begun = time.perf_counter()
            if f">{number}.csv</a>" not in next(lines):
                raise SystemExit("another file was shown than was put there")
            seconds.append(time.perf_counter() - begun)
    later = seconds[1:]
    median = statistics.median(later)
    return Row(
        f"watched folder: file of {len(data) / 1e6:.0f} MB closed → row on the open page",
        f"≤ {SHOWN_GOAL_S:g} s",
        f"{median:.2f} s (median of {len(later)}, longest {max(later):.2f} s; "
        f"the first after the start {seconds[0]:.2f} s)",
        median <= SHOWN_GOAL_S,
    )


@contextmanager
def server(store: Path, exports: Path) -> Iterator[int]:
    """Serve a store and watch a folder; gives the port."""
    running = subprocess.Popen(
        [*CLI, "serve", "--port", "0", "--no-browser", "--store", store, "--watch", exports],
        stdout=subprocess.PIPE, text=True, env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    assert running.stdout is not None  # noqa: S101  it is a pipe
    try:
        told = re.search(r":(\d+)/", running.stdout.readline())
        if told is None:
            raise SystemExit("the server did not start")
        yield int(told[1])
    finally:
        running.terminate()
        running.wait()


def events(port: int) -> Iterator[str]:
    """Rows as the open page gets them."""
    answer = asked(port, "/watching/events?after=0")
    row = ""
    while line := answer.readline().decode():
        if line.startswith("data:"):
            row += line[5:]
        elif row and not line.strip():
            yield row
            row = ""


def asked(port: int, address: str) -> http.client.HTTPResponse:
    """Ask the server, as soon as it listens."""
    until = time.monotonic() + ROW_WITHIN_S
    while True:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=ROW_WITHIN_S)
        try:
            connection.request("GET", address)
            return connection.getresponse()
        except ConnectionRefusedError:
            if time.monotonic() > until:
                raise
            time.sleep(0.2)


if __name__ == "__main__":
    sys.exit(main())
