"""Reports, how long and how large: prints the table of docs/performance.md.

    python -m benchmarks.report            the demo's store, 9 runs, twice 100 reports in a row
    python -m benchmarks.report --quick    3 runs, twice 20 reports
    python -m benchmarks.report --write    everything, and into docs/performance.md

The yardstick, Typst alone setting an empty page in a fresh process, takes turns with the reports in
the same run, so that both meet the same state of the machine.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
if not __package__:  # run by its path instead of as a module
    sys.path.insert(0, str(ROOT))

from benchmarks.pages import judged, table, write_between  # noqa: E402  the path comes first
from benchmarks.processes import CLI, Processes, Timed  # noqa: E402
from benchmarks.report_work import VAN  # noqa: E402
from crankwise.store import open_store  # noqa: E402
from crankwise.workshop.scenario import fill_store  # noqa: E402

PAGE = ROOT / "docs" / "performance.md"
EMPTY_PAGE = ("-c", "import typst; typst.compile(b'', format='pdf')")
MOST_SECONDS = 2.0
MOST_BYTES = 500_000
MOST_GROWTH_MB = 5.0
"""Of the peak over as many reports again. Reports that were kept would add over 40 MB."""


@dataclass(frozen=True, slots=True)
class Size:
    """Runs of each process, and reports in a row."""

    runs: int
    reports: int


FULL = Size(runs=9, reports=100)
QUICK = Size(runs=3, reports=20)


@dataclass(frozen=True, slots=True)
class Results:
    """All that was measured.

    Attributes
    ----------
    fresh : dict of str to Timed
        Fresh processes; the yardstick comes first.
    running : dict
        Seconds and bytes of each kind in a running process.
    first_mb, more_mb : float
        Peak memory after the first reports, and how much as many again add.
    """

    fresh: dict[str, Timed]
    running: dict[str, dict[str, float]]
    first_mb: float
    more_mb: float


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and write if asked; 0 if every goal is reached, else 1."""
    parser = argparse.ArgumentParser(
        prog="benchmarks.report", description=__doc__.split("\n", maxsplit=1)[0]
    )
    parser.add_argument("--quick", action="store_true", help="fewer runs")
    parser.add_argument("--write", action="store_true", help="put it into docs/performance.md")
    chosen = parser.parse_args(arguments)
    if chosen.quick and chosen.write:
        parser.error("--write needs the full run; leave out --quick")
    # As installed: without this, Python would compile every module anew in each process.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    # One arena: with several, glibc keeps memory that nobody holds, more of it as time goes on.
    os.environ["MALLOC_ARENA_MAX"] = "1"
    with tempfile.TemporaryDirectory(prefix="crankwise-report-") as name:
        size = QUICK if chosen.quick else FULL
        results = run(Path(name), size)
    text, holds = report(results, size)
    print(text)
    if chosen.write:
        write_between(PAGE, "reports", text)
    return 0 if holds else 1


def run(folder: Path, size: Size) -> Results:
    """Fill a store as the demo does, then measure."""
    store = str(folder / "store")
    print("filling the store", file=sys.stderr)
    with open_store(store) as opened:
        fill_store(opened, folder / "vans")
    print("timing", file=sys.stderr)
    command = (*CLI, "report", VAN, "--store", store, "--quiet")
    names = ("Typst alone sets an empty page", "owner's report, PDF", "technician's record, PDF")
    timed = Processes(folder).take_turns(
        EMPTY_PAGE,
        (*command, "-o", str(folder / "owner.pdf")),
        (*command, "--for", "technician", "-o", str(folder / "record.pdf")),
        runs=size.runs,
    )
    fresh = dict(zip(names, timed, strict=True))
    work = ("-m", "benchmarks.report_work")
    running = json.loads(_said(*work, "running", store, str(size.runs)))
    memory = json.loads(_said(*work, "memory", store, str(size.reports)))
    return Results(fresh, running, memory["first_mb"], memory["more_mb"])


def _said(*arguments: str) -> bytes:
    """Run this Python with these arguments and return what it prints."""
    command = [sys.executable, *arguments]
    return subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE).stdout


def report(results: Results, size: Size) -> tuple[str, bool]:
    """Return both tables as Markdown, and whether every goal is reached."""
    yardstick, *others = results.fresh.items()
    slowest = max(timed.median_s for _, timed in others)
    inside = max(row["seconds"] for row in results.running.values())
    largest = max(row["bytes"] for row in results.running.values())
    goals = (
        ("a report as a fresh process", f"≤ {MOST_SECONDS:g} s",
         f"{slowest:.2f} s, {slowest / yardstick[1].median_s:.0f} times the empty page",
         slowest <= MOST_SECONDS),
        ("a report in a running process", f"≤ {MOST_SECONDS:g} s", f"{inside:.2f} s",
         inside <= MOST_SECONDS),
        ("the largest file", f"≤ {MOST_BYTES / 1000:.0f} kB", f"{largest / 1000:.0f} kB",
         largest <= MOST_BYTES),
        (f"{size.reports} reports in a row, then {size.reports} more: growth of the peak",
         f"≤ {MOST_GROWTH_MB:g} MB", f"{results.more_mb:.1f} MB (peak {results.first_mb:.0f} MB)",
         results.more_mb <= MOST_GROWTH_MB),
    )  # fmt: skip
    first = table(
        ["goal", "limit", "measured", "result"],
        [[what, limit, found, judged(holds=holds)] for what, limit, found, holds in goals],
    )
    rows = [
        [f"{name}, fresh process", f"{timed.median_s:.2f} s", ""]
        for name, timed in results.fresh.items()
    ]
    rows += [
        [
            f"{name}, running process",
            f"{row['seconds']:.2f} s",
            f"{row['bytes'] / 1000:.0f} kB",
        ]
        for name, row in results.running.items()
    ]
    text = f"{first}\n\n{table(['report on the mended van', 'median', 'size'], rows)}"
    return text, all(holds for *_, holds in goals)


if __name__ == "__main__":
    sys.exit(main())
