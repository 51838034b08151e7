"""The angle view of a long recording: prints the table that docs/performance.md holds.

    python -m benchmarks.web_levels            30 M samples in each of 4 channels
    python -m benchmarks.web_levels --quick    3 M samples in each
    python -m benchmarks.web_levels --write    everything, and into docs/performance.md

The recording goes the way it does at work: a file is read, measured and kept, and its levels are
built. Then a server, a process of its own, is asked for the picture and for windows of it at
random places and widths, one after the other. The yardstick of the pyramid stands in the same run:
NumPy alone finds the least and the greatest of every 16 of the same samples.
"""

from __future__ import annotations

import argparse
import http.client
import json
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TypeVar
from urllib.parse import urlencode

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
if not __package__:  # run by its path instead of as a module
    sys.path.insert(0, str(ROOT))

from benchmarks.pages import judged, table, write_between  # noqa: E402  the path comes first
from benchmarks.web import HEADER, PAGE, Server, serving  # noqa: E402
from crankwise import pipeline, readers  # noqa: E402
from crankwise.levels import LevelsCache  # noqa: E402
from crankwise.levels.pyramid import PyramidWriter  # noqa: E402
from crankwise.levels.scale import scale_of  # noqa: E402
from crankwise.model.job import VehicleDetails  # noqa: E402
from crankwise.model.recording import Recording, SampledChannel  # noqa: E402
from crankwise.store import open_store  # noqa: E402
from crankwise.testing.simulate import ExtraSpec, preset, simulate_to_file  # noqa: E402
from crankwise.workshop.opening import open_job  # noqa: E402
from crankwise.workshop.recording import record_visit  # noqa: E402

FULL, QUICK = 30_000_000, 3_000_000
INTERVAL_S = 1e-6
WINDOWS = 300
WIDTH = 3600
"""Columns asked for: three times those of a laptop's screen, so that moving asks for nothing."""
REPEATS = 5

SLOWEST_FIRST_MS = 500.0
SLOWEST_WINDOW_MS = 50.0
MOST_KB = 200.0
MOST_RATIO = 1.5

Numbers = dict[str, float | int]
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Built:
    """Seconds: NumPy alone, the pyramid, measuring, and all levels; and the size on disk."""

    yardstick_s: float
    pyramid_s: float
    measure_s: float
    levels_s: float
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Asked:
    """Answers: seconds of the first view and of each window, and the largest window."""

    first_s: float
    angle_s: tuple[float, ...]
    time_s: tuple[float, ...]
    most_bytes: int


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and write if asked; 0 if every goal is reached, else 1."""
    parser = argparse.ArgumentParser(
        prog="benchmarks.web_levels", description=__doc__.split("\n")[0]
    )
    parser.add_argument("--quick", action="store_true", help="a tenth of the samples")
    parser.add_argument("--write", action="store_true", help="put the table into the page")
    chosen = parser.parse_args(arguments)
    if chosen.quick and chosen.write:
        parser.error("--write needs the full run; leave out --quick")
    with tempfile.TemporaryDirectory(prefix="crankwise-levels-") as name:
        found = rows(Path(name), QUICK if chosen.quick else FULL)
    text = table(HEADER, found)
    print(text)
    if chosen.write:
        write_between(PAGE, "levels", text)
    return 0 if all(row[-1] != judged(holds=False) for row in found) else 1


def rows(folder: Path, samples: int) -> list[tuple[str, str, str, str]]:
    """Measure everything; ``folder`` is for the store and the files."""
    path = folder / "long.parquet"
    write_recording(path, samples)
    built = build(folder, path)
    visit_id = keep(folder / "shop", path)
    with serving(folder / "shop") as server:
        asked = ask(server, visit_id)
    what = f"{samples / 1e6:g} M samples × 4 channels"
    first_ms = 1e3 * (built.levels_s + asked.first_s)
    ratio = built.pyramid_s / built.yardstick_s
    return [
        (
            f"{what}: first view after the measurement",
            f"≤ {SLOWEST_FIRST_MS:.0f} ms",
            f"{first_ms:.0f} ms ({_parts(built, asked)})",
            judged(holds=first_ms <= SLOWEST_FIRST_MS),
        ),
        _windows("by angle", asked.angle_s),
        _windows("over time", asked.time_s),
        (
            f"largest of {WINDOWS * 2} windows",
            f"≤ {MOST_KB:.0f} kB",
            f"{asked.most_bytes / 1e3:.0f} kB",
            judged(holds=asked.most_bytes <= MOST_KB * 1e3),
        ),
        (
            "pyramid over NumPy's least and greatest of every 16 of the same samples",
            f"≤ {MOST_RATIO:g}",
            f"{ratio:.2f} ({built.pyramid_s:.2f} s; NumPy {built.yardstick_s:.2f} s)",
            judged(holds=ratio <= MOST_RATIO),
        ),
    ]


def _parts(built: Built, asked: Asked) -> str:
    return (
        f"levels {1e3 * built.levels_s:.0f} ms, {built.size_bytes / 1e6:.0f} MB on disk; picture "
        f"and first window {1e3 * asked.first_s:.0f} ms; measuring {1e3 * built.measure_s:.0f} ms"
    )


def _windows(axis: str, seconds: tuple[float, ...]) -> tuple[str, str, str, str]:
    slow_ms = 1e3 * statistics.quantiles(seconds, n=20)[-1]
    usual_ms = 1e3 * statistics.median(seconds)
    return (
        f"{axis}, {len(seconds)} windows at random: 95 % of answers within",
        f"≤ {SLOWEST_WINDOW_MS:.0f} ms",
        f"{slow_ms:.1f} ms (half within {usual_ms:.1f} ms)",
        judged(holds=slow_ms <= SLOWEST_WINDOW_MS),
    )


def write_recording(path: Path, samples: int) -> None:
    """Simulate the engine of the demo with an injector's signal beside crank and cams."""
    spec = preset("t20-fresh-chain")
    scope = replace(spec.scope, duration_s=(samples - 1) * INTERVAL_S, interval_s=INTERVAL_S)
    injector = ExtraSpec(kind="injector", channel="injector", level_v=12.0)
    simulate_to_file(replace(spec, scope=scope, extras=(injector,)), path, seed=1)


def build(folder: Path, path: Path) -> Built:
    """Measure and build by itself, in turns with the yardstick; medians."""
    recording = readers.read(path)
    times: dict[str, list[float]] = {"yardstick": [], "pyramid": [], "measure": [], "levels": []}

    def timed(name: str, work: Callable[[], Result]) -> Result:
        begun = time.perf_counter()
        result = work()
        times[name].append(time.perf_counter() - begun)
        return result

    for _ in range(REPEATS):
        timed("yardstick", lambda: yardstick(recording))
        timed("pyramid", lambda: pyramid(recording, folder))
        traced = timed("measure", lambda: pipeline.measure_traced(recording))
        with tempfile.TemporaryDirectory(dir=folder) as name:
            cache = LevelsCache(Path(name))
            timed("levels", partial(cache.build, "one", recording, traced.trace))
            size = sum(file.stat().st_size for file in (Path(name) / "one").iterdir())
    found = {name: statistics.median(seconds) for name, seconds in times.items()}
    return Built(found["yardstick"], found["pyramid"], found["measure"], found["levels"], size)


def yardstick(recording: Recording) -> None:
    """Find the least and the greatest of every 16 samples the plain way."""
    for values in _values(recording):
        groups = values[: len(values) // 16 * 16].reshape(-1, 16)
        groups.min(axis=1)
        groups.max(axis=1)


def pyramid(recording: Recording, folder: Path) -> None:
    """Write every level of every channel, one channel after the other as the yardstick does."""
    for number, values in enumerate(_values(recording)):
        writer = PyramidWriter(folder, number, scale_of(values))
        for begin in range(0, len(values), 1 << 18):
            writer.add(values[begin : begin + (1 << 18)])
        writer.finish()


def _values(recording: Recording) -> Iterator[np.ndarray]:
    for channel in recording.channels:
        assert isinstance(channel, SampledChannel)  # noqa: S101  as simulated
        yield channel.values


def keep(shop: Path, path: Path) -> int:
    """Record a visit, with its levels beside the store; returns its number."""
    with open_store(shop) as store:
        file = open_job(
            store, "van", family=None, title="", workshop=None, details=VehicleDetails()
        )
        added = store.jobs.add_visit(
            file.job.id, date="2026-03-02", mileage=61_000.0, mileage_unit="miles"
        )
        visit = store.jobs.file(file.job.id).visits[-1]
        record_visit(store, visit, path, purpose="diagnosis", levels=LevelsCache(shop / "levels"))
        return added.id


def ask(server: Server, visit_id: int) -> Asked:
    """Ask for the picture, then for windows: anywhere, from the whole down to a hair."""
    connection = http.client.HTTPConnection(server.host, server.port, timeout=60)
    _get(connection, server, "/api/health")
    begun = time.perf_counter()
    view = json.loads(_get(connection, server, f"/api/visits/{visit_id}/angle-view"))
    measured = {"measurement": view["measurement"]}
    state = json.loads(_get(connection, server, f"{view['levels']}?{urlencode(measured)}"))

    def window(part: str, query: Numbers) -> tuple[float, int]:
        address = f"{view['levels']}/{part}?{urlencode(measured | query)}"
        asked = time.perf_counter()
        size = len(_get(connection, server, address))
        return time.perf_counter() - asked, size

    window("angle", {"from_deg": 0, "to_deg": 720, "width": WIDTH})
    first_s = time.perf_counter() - begun
    rng = np.random.default_rng(3)
    angle = [window("angle", query) for query in _angles(rng)]
    over_time = [window("time", query) for query in _times(rng, state["start_s"], state["end_s"])]
    return Asked(
        first_s=first_s,
        angle_s=tuple(seconds for seconds, _ in angle),
        time_s=tuple(seconds for seconds, _ in over_time),
        most_bytes=max(size for _, size in angle + over_time),
    )


def _angles(rng: np.random.Generator) -> Iterator[Numbers]:
    for _ in range(WINDOWS):
        span = float(np.exp(rng.uniform(np.log(1.0), np.log(720.0))))
        begin = float(rng.uniform(-360.0, 720.0))
        yield {"from_deg": begin, "to_deg": begin + span, "width": WIDTH}


def _times(rng: np.random.Generator, start_s: float, end_s: float) -> Iterator[Numbers]:
    for _ in range(WINDOWS):
        span = float(np.exp(rng.uniform(np.log(1e-4), np.log(end_s - start_s))))
        begin = float(rng.uniform(start_s, end_s - span))
        yield {"from_s": begin, "to_s": begin + span, "width": WIDTH}


def _get(connection: http.client.HTTPConnection, server: Server, address: str) -> bytes:
    connection.request("GET", address, headers={"Authorization": f"Bearer {server.key}"})
    answer = connection.getresponse()
    body = answer.read()
    if answer.status != 200:
        raise RuntimeError(f"{address} was answered {answer.status}: {body[:200]!r}")
    return body


if __name__ == "__main__":
    sys.exit(main())
