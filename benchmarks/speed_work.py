"""What the speed benchmark runs in processes of their own, so that its own stays small.

Each task prints what it found as JSON::

    python -m benchmarks.speed_work write FILE SAMPLES RATE_HZ
    python -m benchmarks.speed_work memory FILE RUNS
    python -m benchmarks.speed_work growth SAMPLES RUNS
    python -m benchmarks.speed_work start FILE
"""

from __future__ import annotations

import json
import resource
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from crankwise.model.recording import Recording

CYCLE = 150_000
"""Samples of two turns at 800 rpm and 1 MS/s."""
BLOCK = 1 << 20


def write(path: str, samples: str, rate_hz: str) -> None:
    """Simulate the engine of the demo, crank and two cams, and save it."""
    from crankwise.testing.simulate import CsvDialect, preset, simulate_to_file  # noqa: PLC0415

    spec = preset("t20-fresh-chain")
    # The scope has a sample at either end of the duration.
    scope = replace(
        spec.scope,
        duration_s=(int(samples) - 1) / float(rate_hz),
        interval_s=None,
        rate_hz=float(rate_hz),
    )
    # Eight decimals make 41 bytes a row.
    dialect = CsvDialect(decimals=8)
    simulate_to_file(replace(spec, scope=scope), Path(path), seed=1, dialect=dialect)


def memory(path: str, runs: str) -> dict[str, float]:
    """Find edges, decode and follow the angle; in turns with comparing and counting."""
    import numpy as np  # noqa: PLC0415

    from crankwise import measure, read  # noqa: PLC0415
    from crankwise.angle.fit import crank_angle  # noqa: PLC0415
    from crankwise.edges import find_all_edges  # noqa: PLC0415
    from crankwise.wheel import catalogue  # noqa: PLC0415
    from crankwise.wheel.decode import decode  # noqa: PLC0415

    recording = read(path)
    wheels = list(catalogue.load().values())

    def count() -> None:
        for channel in recording.channels:
            np.count_nonzero(channel.values > 2.5)  # type: ignore[union-attr]

    def core() -> None:
        crank, *cams = find_all_edges(recording).values()
        crank_angle(decode(crank, wheels, cams))

    works: dict[str, Callable[[], object]] = {
        "count": count,
        "core": core,
        "measure": lambda: measure(recording),
    }
    times: dict[str, list[float]] = {name: [] for name in works}
    for number in range(int(runs) + 1):
        for name, work in works.items():
            begun = time.perf_counter()
            work()
            if number > 0:
                times[name].append(time.perf_counter() - begun)
    found = {f"{name}_s": statistics.median(each) for name, each in times.items()}
    for name in ("core", "measure"):
        pairs = zip(times[name], times["count"], strict=True)
        found[f"{name}_ratio"] = statistics.median(ours / theirs for ours, theirs in pairs)
    return found


def growth(samples: str, runs: str) -> dict[str, float]:
    """Hand on so many samples of each channel in blocks, and measure; no file is read."""
    import numpy as np  # noqa: PLC0415

    from crankwise.edges import EdgeStream  # noqa: PLC0415
    from crankwise.pipeline import measure  # noqa: PLC0415

    turns = 4 * _two_turns()
    block = np.ascontiguousarray(np.tile(turns, (1, -(-BLOCK // CYCLE) + 1)))
    count = int(samples)
    recording = _without_samples(count)

    def work() -> None:
        finder = EdgeStream()
        finder.begin(recording.channel_names, interval_s=1e-6)
        for first in range(0, count, BLOCK):
            begin = first % CYCLE
            finder.feed(list(block[:, begin : begin + min(BLOCK, count - first)]))
        edges = finder.finish(start_s=0.0, interval_s=1e-6)
        measure(
            recording, crank="crank", cams={"intake": "intake", "exhaust": "exhaust"}, edges=edges
        )

    times = []
    for number in range(int(runs) + 1):
        begun = time.perf_counter()
        work()
        if number > 0:
            times.append(time.perf_counter() - begun)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    peak_bytes = peak * (1 if sys.platform == "darwin" else 1024)
    return {"median_s": statistics.median(times), "peak_bytes": peak_bytes}


def _two_turns() -> Any:
    """Levels of a 60-2 crank and of two cams over two turns, with some noise."""
    import numpy as np  # noqa: PLC0415

    angle_deg = np.arange(CYCLE) * 720.0 / CYCLE
    tooth, share = np.divmod(angle_deg % 360.0 / 6.0, 1.0)
    crank = (tooth < 58) & (share < 0.5)
    cams = [(angle_deg > first) & (angle_deg < first + 130.0) for first in (200.0, 310.0)]
    levels = np.stack([crank, *cams]) + np.random.default_rng(1).normal(0.0, 0.01, (3, CYCLE))
    return levels.astype(np.float32)


def _without_samples(count: int) -> Recording:
    import numpy as np  # noqa: PLC0415

    from crankwise.model.recording import Recording, SampledChannel  # noqa: PLC0415

    channels = tuple(
        SampledChannel(name, "V", np.empty(0)) for name in ("crank", "intake", "exhaust")
    )
    return Recording("steady", "0" * 64, channels, 0.0, (count - 1) * 1e-6, 1e-6)


def start(path: str) -> dict[str, float]:
    """Take the way of ``crankwise measure --json`` step by step; seconds of each."""
    laps: dict[str, float] = {}
    begun = time.perf_counter()

    def lap(name: str) -> None:
        laps[name] = time.perf_counter() - begun - sum(laps.values())

    import typer  # noqa: PLC0415

    import crankwise.cli.app  # noqa: F401, PLC0415

    lap("import the command line")
    command = typer.Typer()
    command.command()(_takes_a_word)
    typer.main.get_command(command).main(["word"], standalone_mode=False)
    lap("Typer parses a first word, with pydantic")
    import numpy as np  # noqa: F401, PLC0415

    lap("import NumPy")
    from crankwise import document  # noqa: PLC0415
    from crankwise.readers.measuring import measure_file  # noqa: PLC0415

    lap("import the rest of Crankwise")
    measurement = measure_file(path)
    lap("read and measure")
    document.dumps(measurement)
    lap("write the document")
    return laps


def _takes_a_word(word: str) -> None:
    """Do nothing."""


def main(task: str, *arguments: str) -> None:
    """Do one task and print what it found."""
    tasks: dict[str, Callable[..., object]] = {
        "write": write, "memory": memory, "growth": growth, "start": start,
    }  # fmt: skip
    print(json.dumps(tasks[task](*arguments)))


if __name__ == "__main__":
    main(*sys.argv[1:])
