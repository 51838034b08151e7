"""Small valid files of every format, made by our simulator and the formats' usual writers."""

from __future__ import annotations

import gzip
import io
import struct
import wave
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from crankwise import document
from crankwise.model.recording import EventChannel, Recording, SampledChannel
from crankwise.model.shelf import Grade
from crankwise.pipeline import measure
from crankwise.store import portable
from crankwise.testing.simulate import SpeedSpec, preset, simulate

Seeds = Mapping[str, bytes]
"""Content by the name that the file would have."""

_FAST = SpeedSpec("constant", 6000.0)
_WHEELS = """[[wheel]]
name = "own 36-1"
pattern = "34x10 20"
pitch_deg = 10.0
has_gap = true
found_in = "a test"
source = "made up"

[[wheel]]
name = "own 4"
pattern = "4x90"
pitch_deg = 90
has_gap = false
width_deg = [30, 30.0, 30, 31]
"""
_POLICY = """format = "crankwise.policy/1"

[limits.code_limit_deg]
value = 10.5
source = "made up"

[causes.priors.elongated]
value = 2
source = "made up"
"""


@cache
def recording(*, events: bool) -> Recording:
    """Six revolutions of a Tarn T20 at 6000 rpm: samples 25 µs apart, or state changes."""
    spec = preset("t20-fresh-chain")
    scope = replace(spec.scope, duration_s=0.06, rate_hz=None, interval_s=25e-6, noise_v=0.0)
    if events:
        scope = replace(scope, kind="events", interval_s=None, resolution_s=1e-6)
    return simulate(replace(spec, speed=_FAST, scope=scope), seed=5).recording


@cache
def columns(count: int | None = None) -> dict[str, np.ndarray[Any, Any]]:
    """Time in seconds and channels in volts; the first so many samples, or all."""
    taken = recording(events=False)
    channels = [item for item in taken.channels if isinstance(item, SampledChannel)]
    interval_s = taken.interval_s or 0.0
    time_s = np.arange(len(channels[0].values)) * interval_s
    values = {channel.name: np.round(channel.values, 2) for channel in channels}
    return {name: array[:count] for name, array in ({"time_s": time_s} | values).items()}


def _rows(count: int | None, *, mark: str = ".", cell: str = ",", end: str = "\n") -> str:
    arrays = columns(count)
    rows = zip(*arrays.values(), strict=True)
    text = (cell.join([f"{row[0]:.6f}", *(f"{value:g}" for value in row[1:])]) for row in rows)
    return end.join(line.replace(".", mark) for line in text) + end


def text_tables() -> Seeds:
    """Dialects of text tables."""
    names = list(columns())
    plain = ",".join(names) + "\n"
    preamble = 'Title;"Übung"\r\nSample Interval;25 us\r\nDate;12:30:01\r\n\r\n'
    german = "Zeit (s);Kurbel (V);Ein (V);Aus (V)\r\n" + _rows(50, mark=",", cell=";", end="\r\n")
    marks = _rows(40).replace(",0.1,", ",∞,", 3).replace(",0.1,", ",OL,", 2)
    return {
        "whole.csv": (plain + _rows(None)).encode(),
        "short.csv": (plain + _rows(60)).encode(),
        "german.csv": (preamble + german).encode("cp1252"),
        "wide.csv": (plain + _rows(30)).encode("utf-16"),
        "tabs.tsv": (plain + _rows(40)).replace(",", "\t").encode(),
        "blanks.txt": ("# time[s] crank a b\n" + _rows(40)).replace(",", "   ").encode(),
        "old.csv": ("\ufeff" + plain + _rows(40)).replace("\n", "\r").encode(),
        "marks.csv": ("t [ms],a [mV],b,c\n" + marks).encode(),
        "quoted.csv": (plain + '"0,001";"1,5";"2";"3"\n' * 20).encode(),
        "one.csv": ("Interval: 10 us\n" + "1\n2\n0.5\n" * 20).encode(),
        "units.csv": ("index,time,a,b\n,ms,V,mV\n" + _indexed(40)).encode(),
    }


def _indexed(count: int) -> str:
    arrays = columns(count)
    rows = zip(*list(arrays.values())[:3], strict=True)
    return "".join(f"{n},{t * 1e3:.3f},{a:g},{b:g}\n" for n, (t, a, b) in enumerate(rows))


def _changes() -> list[tuple[float, list[int]]]:
    """Time and all states behind each change."""
    channels = [item for item in recording(events=True).channels if isinstance(item, EventChannel)]
    states = [int(channel.initial_state) for channel in channels]
    found = sorted(
        (float(time_s), place, int(state))
        for place, channel in enumerate(channels)
        for time_s, state in zip(channel.times_s, channel.states, strict=True)
    )
    rows = [(0.0, list(states))]
    for time_s, place, state in found:
        states[place] = state
        rows.append((time_s, list(states)))
    return rows


def event_lists() -> Seeds:
    """Lists of state changes as text."""
    rows = _changes()
    head = "Time [s]," + ",".join(recording(events=True).channel_names) + "\n"
    lines = [f"{time_s:.6f}," + ",".join(map(str, states)) for time_s, states in rows]
    in_ms = [f"{time_s * 1e3:.3f};" + ";".join(map(str, states)) for time_s, states in rows]
    return {
        "whole.csv": (head + "\n".join(lines) + "\n").encode(),
        "short.csv": (head + "\n".join(lines[:60]) + "\n").encode(),
        "reversed.csv": (head + "\n".join(lines[60:0:-1]) + "\n").encode(),
        "ms.csv": ("Time [ms];a;b;c\r\n" + "\r\n".join(in_ms[:80])).encode(),
        "nameless.txt": "\n".join(lines[:80]).encode(),
    }


def change_dumps() -> Seeds:
    """VCD, of one bit each, with the other things that may stand there."""
    names = recording(events=True).channel_names
    head = "$date today $end\n$version any $end\n$timescale 1 us $end\n$scope module van $end\n"
    head += "".join(f"$var wire 1 {chr(33 + n)} {name} $end\n" for n, name in enumerate(names))
    head += "$var real 64 v volts $end\n$var wire 8 b bus $end\n$upscope $end\n"
    head += "$enddefinitions $end\n$comment a\nb $end\n$dumpvars\nx!\n$end\n"
    rows = [
        f"#{round(time_s * 1e6)}\n" + "".join(f"{s}{chr(33 + n)}\n" for n, s in enumerate(states))
        for time_s, states in _changes()
    ]
    others = "r1.5 v\nb1010 b\nbx !\nz!\n"
    return {
        "whole.vcd": (head + "".join(rows)).encode(),
        "short.vcd": (head + others + "".join(rows[:40])).encode(),
        "one-line.vcd": (head + "".join(rows[:40]).replace("\n", " ")).encode(),
    }


def _written(write: Callable[[io.BytesIO], Any]) -> bytes:
    file = io.BytesIO()
    write(file)
    return file.getvalue()


def _records(arrays: Mapping[str, np.ndarray[Any, Any]]) -> np.ndarray[Any, Any]:
    """One array with a field for each."""
    table = np.empty(len(arrays["time_s"]), [(name, "<f8") for name in arrays])
    for name, values in arrays.items():
        table[name] = values
    return table


def numpy_files() -> Seeds:
    """One array, several, with fields, packed."""
    arrays = columns(80)
    fields = _records(arrays)
    rows = np.stack(list(columns(60).values())).astype(np.float32)
    signals: dict[str, Any] = {name: a for name, a in arrays.items() if name != "time_s"}
    whole: dict[str, Any] = dict(columns())
    times: dict[str, Any] = dict(arrays)
    return {
        "fields.npy": _written(lambda file: np.save(file, fields)),
        "rows.npy": _written(lambda file: np.save(file, rows)),
        "whole.npz": _written(lambda file: np.savez_compressed(file, **whole)),
        "times.npz": _written(lambda file: np.savez(file, **times)),
        "interval.npz": _written(
            lambda file: np.savez_compressed(file, interval_us=25, on=rows[1] > 2, **signals)
        ),
        "named.npz": _written(
            lambda file: np.savez(file, fs=4e4, log=rows[1:], columns=np.array(["a", "b", "c"]))
        ),
    }


def matlab_files() -> Seeds:
    """Version 5 plain and packed, with structures and cells; 7.3."""
    from scipy.io import savemat  # noqa: PLC0415  only where it is used

    arrays = columns(80)
    names = np.array(["crank", "cam"], dtype=object)
    table = np.stack(list(arrays.values())[1:3], 1)
    plain: dict[str, Any] = {"Fs": 4e4, "M": table, "names": names, "title": "idle"}
    log = {"log": {**arrays, "title": "idle", "inner": {"deep": np.arange(3.0)}}}
    made = {
        "plain.mat": _written(lambda file: savemat(file, plain)),
        "log.mat": _written(lambda file: savemat(file, log)),
        "packed.mat": _written(lambda file: savemat(file, columns(), do_compression=True)),
        "whole.mat": _written(lambda file: savemat(file, dict(arrays))),
        "v73.mat": b"MATLAB 7.3 MAT-file, by hand .".ljust(116) + bytes(8) + b"\x00\x02IM"
        + _hdf5(arrays, userblock_size=512)[128:],
    }  # fmt: skip
    # Without the time of their making, so that the same number makes the same file.
    return {
        name: b"MATLAB 5.0 MAT-file".ljust(116) + file[116:] if name != "v73.mat" else file
        for name, file in made.items()
    }


def _hdf5(arrays: Mapping[str, Any], **how: Any) -> bytes:
    import h5py  # noqa: PLC0415  only where it is used

    packed = how.pop("packed", False)
    file = io.BytesIO()
    with h5py.File(file, "w", **how) as h5:
        for name, values in arrays.items():
            more = {"chunks": (40,), "compression": "gzip"} if packed else {}
            item = h5.create_dataset(name, data=values, **more)
            item.attrs["MATLAB_class"] = np.bytes_("double")
            item.attrs["units"] = "s" if name.startswith("time") else "V"
    return file.getvalue()


def hdf5_files() -> Seeds:
    """Plain, in chunks, a table, a compound, groups with soft links; old and new structures."""
    import h5py  # noqa: PLC0415  only where it is used

    arrays = columns(80)
    rows = np.stack(list(arrays.values()), 1)

    def table(file: io.BytesIO) -> None:
        with h5py.File(file, "w") as h5:
            h5.create_dataset("log", data=rows).attrs["columns"] = ["time [s]", "a", "b", "c"]

    def compound(file: io.BytesIO) -> None:
        with h5py.File(file, "w") as h5:
            h5["rows"] = _records(arrays)
            h5["names"] = ["a", "b"]

    def groups(file: io.BytesIO) -> None:
        with h5py.File(file, "w") as h5:
            for name, values in list(arrays.items())[1:]:
                data = h5.create_dataset(f"channels/{name}/data", data=values)
                data.attrs["sample_rate"] = "40 kHz"
            h5["again"] = h5py.SoftLink("/channels")

    return {
        "plain.h5": _hdf5(arrays),
        "packed.h5": _hdf5(columns(), packed=True),
        "new.h5": _hdf5(arrays, libver="latest"),
        "table.h5": _written(table),
        "compound.h5": _written(compound),
        "groups.h5": _written(groups),
    }


def wave_files() -> Seeds:
    """WAV of 8, 16, 24 bits and floats."""
    from scipy.io import wavfile  # noqa: PLC0415  only where it is used

    def pcm(count: int | None, width: int) -> bytes:
        values = np.stack(list(columns(count).values())[1:], 1) / 6.0
        whole = np.round(values * 2.0 ** (8 * width - 1) + (128 if width == 1 else 0)).astype("<i4")
        bytes_of = whole.reshape(-1).view(np.uint8).reshape(-1, 4)[:, :width].tobytes()
        file = io.BytesIO()
        with wave.open(file, "wb") as out:
            out.setparams((values.shape[1], width, 40_000, len(values), "NONE", ""))
            out.writeframes(bytes_of)
        return file.getvalue()

    floats = np.stack(list(columns(60).values())[1:], 1)
    noted = pcm(60, 2) + b"note" + struct.pack("<I", 4) + b"idle"
    return {
        "bytes.wav": pcm(60, 1),
        "short.wav": noted[:4] + struct.pack("<I", len(noted) - 8) + noted[8:],
        "three.wav": pcm(40, 3),
        "whole.wav": pcm(None, 2),
        "floats.wav": _written(lambda file: wavfile.write(file, 40_000, floats)),
    }


def arrow_files() -> Seeds:
    """Parquet with stated interval, times, dates; Arrow."""
    import polars as pl  # noqa: PLC0415  only where it is used

    arrays = columns(80)
    frame = pl.DataFrame(arrays)
    microseconds = pl.Series(np.round(arrays["time_s"] * 1e6).astype(np.int64))
    start = datetime(2031, 5, 4, 12, 30)  # noqa: DTZ001 - files hold naive times too
    dated = frame.with_columns(time_s=microseconds.cast(pl.Duration("us")) + start)
    worded = frame.with_columns(note=pl.lit("idle"), on=pl.col("crank") > 2)
    noted = frame.drop("time_s")
    return {
        "times.parquet": _written(lambda f: frame.write_parquet(f, compression="uncompressed")),
        "noted.parquet": _written(lambda f: noted.write_parquet(f, metadata={"dt": "25 us"})),
        "dated.parquet": _written(lambda f: dated.write_parquet(f, row_group_size=30)),
        "whole.parquet": _written(lambda f: pl.DataFrame(columns()).write_parquet(f)),
        "plain.arrow": _written(frame.write_ipc),
        "worded.arrow": _written(lambda f: worded.write_ipc(f, compression="zstd")),
    }


def measurement_files(folder: Path) -> Seeds:
    """MDF 4 by its usual writer, which wants a file."""
    import asammdf  # noqa: PLC0415  only where it is used

    found = {}
    for name, count in (("short", 60), ("packed", 200)):
        arrays = columns(count)
        path = folder / f"{name}.mf4"
        with asammdf.MDF(version="4.10") as file:
            signals = [
                asammdf.Signal(values, arrays["time_s"], unit="V", name=channel)
                for channel, values in arrays.items()
                if channel != "time_s"
            ]
            file.append(signals)
            if name == "packed":
                slow = asammdf.Signal(np.arange(9.0), np.arange(9) * 0.01, name="oil")
                file.append([slow])
            file.save(path, compression=2 if name == "packed" else 0, overwrite=True)
        found[path.name] = path.read_bytes()
    return found


def packed_files() -> Seeds:
    """A recording in gzip, in a zip, and in both."""
    table = text_tables()["short.csv"]

    def bundle(members: Mapping[str, bytes]) -> bytes:
        file = io.BytesIO()
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, content in members.items():
                archive.writestr(name, content)
        return file.getvalue()

    return {
        "van.csv.gz": gzip.compress(table, mtime=0),
        "van.zip": bundle({"van.csv": table}),
        "more.zip": bundle({"readme.md": b"idle", "a/van.vcd": change_dumps()["short.vcd"]}),
        "twice.zip": bundle({"van.csv.gz": gzip.compress(table, mtime=0)}),
        "van.npz.gz": gzip.compress(numpy_files()["times.npz"], mtime=0),
    }


def saved_measurements() -> Seeds:
    """Measurements as the product saves them."""
    taken = measure(recording(events=True)), measure(recording(events=False))
    return {
        f"{name}.json": document.dumps(item).encode()
        for name, item in zip(("events", "samples"), taken, strict=True)
    }


def known_goods(folder: Path) -> Seeds:
    """One known-good, and a bundle of them."""
    added_at = datetime(2031, 5, 4, 12, 30, tzinfo=UTC)
    grade = Grade(fresh_chain=True, verified_by="pins and marks", note="warm")
    made = [
        portable.make(measure(recording(events=kind)), family="T20", grade=grade, added_at=added_at)
        for kind in (True, False)
    ]
    bundle = folder / "bundle.zip"
    portable.write(made, bundle)
    return {"one.json": portable.to_text(made[0]).encode(), "bundle.zip": bundle.read_bytes()}


def engine_files() -> Seeds:
    """The engine files that come with the product."""
    engines = resources.files("crankwise.drive").joinpath("engines").iterdir()
    return {entry.name: entry.read_bytes() for entry in engines if entry.name.endswith(".toml")}


def policies() -> Seeds:
    """The shipped policy, and a workshop's own."""
    shipped = resources.files("crankwise.judge").joinpath("policy.toml").read_bytes()
    return {"shipped.toml": shipped, "own.toml": _POLICY.encode()}


def wheel_files() -> Seeds:
    """A technician's own wheels, and the catalogue."""
    shipped = resources.files("crankwise.wheel").joinpath("catalogue.toml").read_bytes()
    return {"own.toml": _WHEELS.encode(), "catalogue.toml": shipped}
