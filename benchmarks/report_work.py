"""What benchmarks.report times inside one process: reports made one after the other.

python -m benchmarks.report_work running STORE RUNS    seconds of each report, as JSON
python -m benchmarks.report_work memory STORE REPORTS  peak memory before and after, as JSON
"""

from __future__ import annotations

import json
import resource
import statistics
import sys
import time
from dataclasses import replace

from crankwise.report import Wish, made, of_visit, visit_report
from crankwise.report.making import Form, Reader
from crankwise.store import open_store
from crankwise.workshop.finding import find_job

VAN = "van-6"
KINDS: tuple[tuple[Reader, Form], ...] = (
    ("owner", "pdf"), ("technician", "pdf"), ("owner", "html"), ("technician", "html"),
)  # fmt: skip


def main(arguments: list[str]) -> None:
    """Do what is asked and print the figures."""
    what, store, count = arguments
    print(json.dumps({"running": running, "memory": memory}[what](store, int(count))))


def running(where: str, runs: int) -> dict[str, dict[str, float]]:
    """Median seconds and size of each kind of report, store opened and everything imported."""
    found = {}
    with open_store(where) as store:
        file = find_job(store, VAN)
        for reader, form in KINDS:
            wish = Wish(form=form, reader=reader)
            size = len(visit_report(store, file, file.visits[-1], wish))
            seconds = []
            for _ in range(runs):
                begun = time.perf_counter()
                visit_report(store, file, file.visits[-1], wish)
                seconds.append(time.perf_counter() - begun)
            found[f"{reader}, {form}"] = {"seconds": statistics.median(seconds), "bytes": size}
    return found


def memory(where: str, reports: int) -> dict[str, float]:
    """Peak memory in MB after some reports, and after as many again; no two are alike."""
    with open_store(where) as store:
        file = find_job(store, VAN)
        dossier = of_visit(store, file, file.visits[-1])
        peaks = []
        for number in range(2 * reports):
            vehicle = replace(file.vehicle, label=f"van number {number}")
            reader: Reader = "technician" if number % 2 else "owner"
            made(replace(dossier, vehicle=vehicle), Wish(reader=reader))
            if number + 1 in {reports, 2 * reports}:
                # Linux counts in KiB, macOS in bytes.
                unit = 1 if sys.platform == "darwin" else 1024
                peaks.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6)
    return {"first_mb": peaks[0], "more_mb": peaks[1] - peaks[0]}


if __name__ == "__main__":
    main(sys.argv[1:])
