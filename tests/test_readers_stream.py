"""Files read in parts: the same recording and the same edges as from the whole, in any format."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.io import wavfile

from crankwise import document
from crankwise.edges import EdgeStream, find_all_edges, stretch
from crankwise.errors import UnreadableError
from crankwise.pipeline import measure
from crankwise.readers import partwise, read, stream, timebase
from crankwise.readers.measuring import measure_file
from crankwise.readers.stamps import EvenStamps, NotEvenError, RoundedStamps
from crankwise.testing.simulate import preset, simulate

INTERVAL_S = 2e-5
COUNT = 30_000
HEAD = 4096


SPEC = preset("t20-fresh-chain")
SCOPE = replace(SPEC.scope, duration_s=(COUNT - 1) * INTERVAL_S, interval_s=INTERVAL_S)
RECORDING = simulate(replace(SPEC, scope=SCOPE), seed=5).recording
SIGNALS = {channel.name: channel.values for channel in RECORDING.channels}
TIME_S = np.round(np.arange(COUNT) * INTERVAL_S, 9)


def short(patch: pytest.MonkeyPatch) -> None:
    """Make files of half a megabyte long ones."""
    patch.setattr(partwise, "HEAD_ROWS", HEAD)
    patch.setattr(timebase, "HEAD_ROWS", HEAD)
    patch.setattr(stretch, "STRETCH", 1 << 13)
    patch.setattr(stretch, "MARGIN", 1 << 10)


@pytest.fixture(autouse=True)
def everything_is_short(monkeypatch):
    short(monkeypatch)


@pytest.fixture(scope="module")
def known():
    """The measurement of the recording that all these files hold."""
    with pytest.MonkeyPatch.context() as patch:
        short(patch)
        cams = {"intake": "intake", "exhaust": "exhaust"}
        return measure(RECORDING, crank="crank", cams=cams)


class Counting(EdgeStream):
    """An edge finder that knows how it was fed."""

    def __init__(self) -> None:
        super().__init__()
        self.begun = self.blocks = 0

    def begin(self, channels, *, interval_s):
        super().begin(channels, interval_s=interval_s)
        self.begun, self.blocks = self.begun + 1, 0

    def feed(self, values, time_s=None):
        super().feed(values, time_s)
        self.blocks += 1


def assert_like_whole(path: Path, *, chunk_bytes: int, **options: Any) -> Counting:
    """Reading in parts says and gives what reading the whole does."""
    whole = read(path, **options)
    finder = Counting()
    parts = stream(path, finder, chunk_bytes=chunk_bytes, **options)
    for field in ("name", "sha256", "channel_names", "interval_s", "findings", "history"):
        assert getattr(parts, field) == getattr(whole, field), field
    assert parts.start_s == pytest.approx(whole.start_s, abs=1e-12)
    assert parts.duration_s == pytest.approx(whole.duration_s, abs=1e-12)
    if whole.interval_s is not None and parts.interval_s is not None:
        found = finder.finish(start_s=parts.start_s, interval_s=parts.interval_s)
        for name, edges in find_all_edges(whole).items():
            np.testing.assert_allclose(found[name].times_s, edges.times_s, rtol=0, atol=1e-12)
            np.testing.assert_array_equal(found[name].rising, edges.rising)
    return finder


# Every format that is read in parts

Writer = Callable[[Path], None]


def write_csv(path: Path, columns: dict[str, np.ndarray] | None = None, **options: Any) -> None:
    table = columns or {"Time [s]": TIME_S, **SIGNALS}
    pl.DataFrame(table).write_csv(path, float_scientific=False, **options)


def write_semicolons(path: Path) -> None:
    write_csv(path, separator=";", decimal_comma=True)


def write_parquet(path: Path) -> None:
    pl.DataFrame(SIGNALS).write_parquet(
        path, metadata={"interval_s": str(INTERVAL_S)}, row_group_size=7000
    )


def write_arrow(path: Path) -> None:
    pl.DataFrame({"time_s": TIME_S, **SIGNALS}).write_ipc(path)


def write_dates(path: Path) -> None:
    start = np.datetime64("2024-05-06T07:08:09", "ns")
    stamps = start + (TIME_S * 1e9).round().astype("timedelta64[ns]")
    pl.DataFrame({"time": stamps, **SIGNALS}).write_parquet(path)


def write_npy(path: Path) -> None:
    np.save(path, np.stack(list(SIGNALS.values()), axis=1))


def write_turned_npy(path: Path) -> None:
    np.save(path, np.stack(list(SIGNALS.values())))


def write_record_npy(path: Path) -> None:
    kind = [("time_s", "f8"), *((name, "f4") for name in SIGNALS)]
    records = np.empty(COUNT, dtype=kind)
    records["time_s"] = TIME_S
    for name, values in SIGNALS.items():
        records[name] = values
    np.save(path, records)


def write_hdf5(path: Path) -> None:
    with h5py.File(path, "w") as file:
        file.attrs["interval_s"] = INTERVAL_S
        for name, values in SIGNALS.items():
            file.create_dataset(name, data=values, chunks=(999,), compression="gzip")


def write_hdf5_table(path: Path) -> None:
    with h5py.File(path, "w") as file:
        table = file.create_dataset("data", data=np.stack([TIME_S, *SIGNALS.values()]))
        table.attrs["columns"] = ["time_s", *SIGNALS]


def write_compound_hdf5(path: Path) -> None:
    records = np.rec.fromarrays([TIME_S, *SIGNALS.values()], names=["time_s", *SIGNALS])
    with h5py.File(path, "w") as file:
        file.create_dataset("data", data=records)


def write_wav(path: Path) -> None:
    codes = np.stack([np.round(values * 3000.0) for values in SIGNALS.values()], axis=1)
    wavfile.write(path, round(1.0 / INTERVAL_S), codes.astype(np.int16))


NAMED, NUMBERED = tuple(SIGNALS), ("channel 1", "channel 2", "channel 3")
STREAMING: dict[str, tuple[str, Writer, tuple[str, ...]]] = {
    "csv": (".csv", write_csv, NAMED),
    "decimal commas": (".csv", write_semicolons, NAMED),
    "parquet": (".parquet", write_parquet, NAMED),
    "arrow": (".arrow", write_arrow, NAMED),
    "parquet with dates": (".parquet", write_dates, NAMED),
    "npy": (".npy", write_npy, NUMBERED),
    "npy, channels in rows": (".npy", write_turned_npy, NUMBERED),
    "npy with fields": (".npy", write_record_npy, NAMED),
    "hdf5": (".h5", write_hdf5, NAMED),
    "hdf5 table": (".h5", write_hdf5_table, NAMED),
    "hdf5 with fields": (".h5", write_compound_hdf5, NAMED),
    "wav": (".wav", write_wav, NUMBERED),
}


def written(name: str, folder: Path) -> tuple[Path, dict[str, float]]:
    """A file, and what has to be said to read it."""
    suffix, write, _ = STREAMING[name]
    path = folder / f"van{suffix}"
    write(path)
    return path, {"interval_s": INTERVAL_S} if suffix == ".npy" else {}


@pytest.mark.parametrize("name", STREAMING)
def test_every_streaming_format_gives_what_the_whole_file_gives(name, tmp_path):
    path, options = written(name, tmp_path)
    finder = assert_like_whole(path, chunk_bytes=30_000, **options)
    assert finder.begun == 1
    assert finder.blocks > 5


@pytest.mark.parametrize("name", STREAMING)
def test_formats_agree_on_the_measurement(name, known, tmp_path):
    path, options = written(name, tmp_path)
    crank, intake, exhaust = STREAMING[name][2]
    cams = {"intake": intake, "exhaust": exhaust}
    result = measure_file(path, chunk_bytes=30_000, crank=crank, cams=cams, **options)
    # The codes of the WAV are a third of a millivolt wide, and the other numbers are the same.
    most = 0.01 if name == "wav" else 1e-6
    for cam, other in zip(result.cams, known.cams, strict=True):
        for edge, again in zip(cam.edges, other.edges, strict=True):
            assert edge.angle_deg == pytest.approx(again.angle_deg, abs=most)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(chunk_bytes=st.integers(200, 3_000_000))
def test_the_document_does_not_depend_on_the_size_of_the_chunks(chunk_bytes, tmp_path_factory):
    path = tmp_path_factory.mktemp("chunks") / "van.csv"
    write_csv(path)
    with pytest.MonkeyPatch.context() as patch:
        short(patch)
        parts = document.dumps(measure_file(path, chunk_bytes=max(chunk_bytes, 2000)))
        assert parts == document.dumps(measure(read(path)))


# Tables that only make sense as a whole, or that need another look


def rounded_time(digits: int) -> np.ndarray:
    return np.round(1.1 * TIME_S, digits)


def coarser_from(time_s: float) -> np.ndarray:
    return np.where(time_s > TIME_S, rounded_time(9), rounded_time(5))


def paused() -> np.ndarray:
    return np.where(np.arange(COUNT) < 20_000, TIME_S, TIME_S + 0.1)


def uneven() -> np.ndarray:
    jitter = np.random.default_rng(1).uniform(-0.3, 0.3, COUNT) * INTERVAL_S
    return np.round(TIME_S + jitter, 9)


def once(values: np.ndarray, row: int, value: float) -> np.ndarray:
    changed = values.astype(np.float64)
    changed[row] = value
    return changed


CRANK, INTAKE = SIGNALS["crank"], SIGNALS["intake"]
TABLES: dict[str, tuple[dict[str, np.ndarray], int]] = {
    "few digits": ({"Time [s]": rounded_time(5), **SIGNALS}, 2),
    "digits as coarse as the steps": ({"Time [s]": rounded_time(4), **SIGNALS}, 2),
    "digits run out on the way": (
        {"Time [s]": coarser_from(0.3), **SIGNALS}, 2,
    ),
    "milliseconds": ({"Time [ms]": TIME_S * 1e3, **SIGNALS}, 1),
    "no unit of time": ({"Time": TIME_S, **SIGNALS}, 1),
    "a pause": ({"Time [s]": paused(), **SIGNALS}, 3),
    "uneven steps": ({"Time [s]": uneven(), **SIGNALS}, 1),
    "backwards": ({"Time [s]": TIME_S[::-1], **SIGNALS}, 1),
    "repeated stamps": ({"Time [s]": once(TIME_S, 9000, TIME_S[8999]), **SIGNALS}, 4),
    "time twice": ({"Time [s]": TIME_S, "crank": CRANK, "Time B [s]": TIME_S, "intake": INTAKE}, 1),
    "rows counted": ({"Index": np.arange(COUNT), "Time [s]": TIME_S, **SIGNALS}, 1),
    "rows counted wrongly": (
        {"Index": np.arange(COUNT) + (np.arange(COUNT) > 25_000), "Time [s]": TIME_S, **SIGNALS}, 2,
    ),
    "a channel of nothing": ({"Time [s]": TIME_S, "spare": np.full(COUNT, np.nan), **SIGNALS}, 1),
    "missing samples": (
        {"Time [s]": TIME_S, "crank": once(CRANK, 29_000, np.nan), "intake": INTAKE}, 1,
    ),
    "states at every sample": (
        {"Time [s]": TIME_S, "crank": CRANK > 2.5, "intake": INTAKE > 2.5}, 1,
    ),
    "states, then a third one": (
        {"Time [s]": TIME_S, "crank": once(CRANK > 2.5, 21_000, 0.5), "intake": INTAKE > 2.5}, 1,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", TABLES)
def test_unusual_tables_give_what_the_whole_file_gives(name, tmp_path):
    columns, begun = TABLES[name]
    path = tmp_path / "van.parquet"
    pl.DataFrame(columns).write_parquet(path)
    assert assert_like_whole(path, chunk_bytes=60_000).begun == begun


def test_a_long_list_of_state_changes_is_read_whole(tmp_path):
    times = np.cumsum(np.random.default_rng(2).uniform(1e-4, 1e-3, 3 * HEAD))
    path = tmp_path / "van.csv"
    write_csv(path, {"Time [s]": np.round(times, 7), "crank": np.arange(len(times)) % 2})
    finder = assert_like_whole(path, chunk_bytes=5000)
    assert finder.begun == 0


def test_a_given_interval_wins_over_the_time_column(tmp_path):
    path = tmp_path / "van.csv"
    write_csv(path)
    assert_like_whole(path, chunk_bytes=30_000, interval_s=1e-5)


def test_a_table_without_time_needs_the_interval(tmp_path):
    path = tmp_path / "van.csv"
    write_csv(path, SIGNALS)
    with pytest.raises(UnreadableError, match="no time column and no sampling interval"):
        stream(path, EdgeStream(), chunk_bytes=30_000)
    assert_like_whole(path, chunk_bytes=30_000, interval_s=INTERVAL_S)


def test_a_short_file_is_one_block(tmp_path):
    path = tmp_path / "van.csv"
    write_csv(
        path, {name: values[:HEAD] for name, values in {"Time [s]": TIME_S, **SIGNALS}.items()}
    )
    assert assert_like_whole(path, chunk_bytes=30_000).blocks == 1


# Damage


@pytest.mark.parametrize("share", [0.3, 0.8])
@pytest.mark.parametrize("name", ["parquet", "arrow", "npy", "hdf5", "wav"])
def test_cut_off_binary_files_are_refused_in_one_line(name, share, tmp_path):
    path, options = written(name, tmp_path)
    path.write_bytes(path.read_bytes()[: int(share * path.stat().st_size)])
    with pytest.raises(UnreadableError, match="damaged or incomplete"):
        stream(path, EdgeStream(), chunk_bytes=30_000, **options)


@pytest.mark.parametrize("cut", [1, 7, 19])
def test_a_cut_off_text_loses_its_last_row_only(cut, tmp_path):
    path = tmp_path / "van.csv"
    write_csv(path, {"Time [s]": TIME_S, "crank": CRANK, "intake": INTAKE}, float_precision=6)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) - cut])
    assert_like_whole(path, chunk_bytes=30_000)


@pytest.mark.parametrize(
    ("row", "cell", "said"),
    [
        (25_000, "nonsense", "row 25002, column 'crank': 'nonsense' is not a number"),
        (25_000, "1,2,3,4", "row 25002 has"),
    ],
)
def test_a_bad_cell_far_down_is_named(row, cell, said, tmp_path):
    path = tmp_path / "van.csv"
    write_csv(path)
    lines = path.read_text().split("\n")
    time, _, *others = lines[row + 1].split(",")
    lines[row + 1] = ",".join([time, cell, *others])
    path.write_text("\n".join(lines))
    with pytest.raises(UnreadableError, match=said):
        stream(path, EdgeStream(), chunk_bytes=30_000)


def test_a_missing_time_far_down_is_named(tmp_path):
    path = tmp_path / "van.csv"
    write_csv(path, {"Time [s]": once(TIME_S, 25_000, np.nan), **SIGNALS})
    with pytest.raises(UnreadableError, match=r"row 25002, column 'Time': no time is written"):
        stream(path, EdgeStream(), chunk_bytes=30_000)


def test_time_that_goes_back_far_down_is_named(tmp_path):
    path = tmp_path / "van.csv"
    write_csv(path, {"Time [s]": once(uneven(), 25_000, 0.1), **SIGNALS})
    with pytest.raises(UnreadableError, match=r"row 25002: time goes back from 0\.\d+ s to 0\.1 s"):
        stream(path, EdgeStream(), chunk_bytes=30_000)


# The clock behind stamps, from a summary


@settings(deadline=None)
@given(
    interval_s=st.sampled_from([1e-6, 3.2e-6, 5e-6, 0.995e-5, 1 / 44100, 2.5e-3]),
    count=st.integers(3000, 20_000),
    start_s=st.sampled_from([0.0, -0.01, 1.234567, 3600.0]),
    digits=st.integers(0, 5),
    block=st.integers(300, 5000),
)
def test_a_summary_of_stamps_tells_the_clock_that_all_of_them_tell(
    interval_s, count, start_s, digits, block
):
    decimals = int(np.ceil(-np.log10(interval_s))) - 1 + digits
    stamps = np.round(start_s + np.arange(count) * interval_s, decimals)
    known = timebase.from_stamps(stamps, place=str)
    head = timebase.from_stamps(stamps[:2000], place=str)
    for kind in (EvenStamps, RoundedStamps):
        extra = {"digit_s": timebase.last_digit_s(stamps[:2000])} if kind is RoundedStamps else {}
        summary = kind(float(stamps[0]), head.interval_s, **extra)
        try:
            for first in range(0, count, block):
                summary.add(stamps[first : first + block])
        except NotEvenError:
            continue
        base = timebase.from_clock(summary)
        assert base is not None
        assert known.time_s is None
        assert base.interval_s == pytest.approx(known.interval_s, rel=1e-12)
        assert base.start_s == pytest.approx(known.start_s, abs=1e-3 * interval_s)
        assert base.findings == known.findings
        return
    pytest.fail("neither summary took the stamps of an even clock")


def test_a_pause_is_no_even_clock_to_a_summary():
    summary = RoundedStamps(0.0, INTERVAL_S, digit_s=1e-5)
    for part in np.array_split(np.round(paused(), 5), 7):
        summary.add(part)
    assert timebase.from_clock(summary) is None


# Memory

PEAK = """
import json, re, sys
from pathlib import Path
from crankwise.readers.measuring import measure_file

cams = {"intake": "channel 2"}
result = measure_file(sys.argv[1], interval_s=1e-6, crank="channel 1", cams=cams)
# Usage as the system counts it for a child begins with what its parent held.
peak = re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1]
print(json.dumps({"peak_bytes": 1024 * int(peak), "cycles": result.cams[0].cycles}))
"""

CYCLE = 150_000
"""Samples of two turns at 800 rpm and 1 MS/s."""


def write_many_turns(path: Path, *, cycles: int) -> int:
    """A crank with 60-2 teeth and a cam with one, turning evenly; returns the bytes of samples."""
    angle_deg = np.arange(CYCLE) * 720.0 / CYCLE
    tooth, share = np.divmod(angle_deg % 360.0 / 6.0, 1.0)
    crank = 5.0 * ((tooth < 58) & (share < 0.5))
    cam = 5.0 * ((angle_deg > 200.0) & (angle_deg < 320.0))
    turn = np.stack((crank, cam), axis=1).astype(np.float32)
    samples = np.lib.format.open_memmap(
        path, mode="w+", dtype=np.float32, shape=(cycles * CYCLE, 2)
    )
    for first in range(0, len(samples), CYCLE):
        samples[first : first + CYCLE] = turn
    return samples.nbytes


@pytest.mark.skipif(sys.platform != "linux", reason="peak memory is told otherwise there")
def test_memory_does_not_grow_with_the_file(tmp_path):
    peaks = []
    for cycles in (100, 280):
        path = tmp_path / "van.npy"
        array_bytes = write_many_turns(path, cycles=cycles)
        done = subprocess.run(
            [sys.executable, "-c", PEAK, str(path)], capture_output=True, text=True, check=True
        )
        told = json.loads(done.stdout)
        assert cycles - 2 <= told["cycles"] <= cycles
        peaks.append(told["peak_bytes"])
    # 336 MB of samples.
    assert peaks[1] < 0.8 * array_bytes
    assert peaks[1] - peaks[0] < 30e6
