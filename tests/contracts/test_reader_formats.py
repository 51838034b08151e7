"""Every format, written by its reference library, keeps the reader contract and its numbers."""

from __future__ import annotations

import csv
import datetime as dt
import struct
import wave
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from scipy.io import savemat, wavfile

from crankwise.errors import UnreadableError
from crankwise.model.recording import Recording, SampledChannel
from crankwise.readers import Reader, read
from crankwise.readers.arrow import ArrowReader
from crankwise.readers.delimited import DelimitedReader
from crankwise.readers.example import ExampleReader
from crankwise.readers.hdf5 import Hdf5Reader
from crankwise.readers.matlab import MatlabReader
from crankwise.readers.mdf import MdfReader
from crankwise.readers.numpy_files import NumpyReader
from crankwise.readers.wav import WavReader
from crankwise.testing.reader_contract import check_reader

COUNT = 3000
INTERVAL_S = 5e-6
TIME_S = np.arange(COUNT) * INTERVAL_S
_NOISE = np.random.default_rng(7).normal(0.0, 0.02, (2, COUNT))
CRANK_V = (np.where(np.arange(COUNT) // 50 % 2, 4.8, 0.1) + _NOISE[0]).astype(np.float32)
CAM_V = (np.where(np.arange(COUNT) // 400 % 2, 4.8, 0.1) + _NOISE[1]).astype(np.float32)

Writer = Callable[[Path], None]
CASES: dict[str, tuple[type[Reader], str, Writer, dict[str, Any]]] = {}


def case(
    reader: type[Reader], suffix: str, **expected: object
) -> Callable[[Callable[[Path], None]], Callable[[Path], None]]:
    """Register a writer, with the ``units``, ``names``, ``scale`` and ``tolerance`` to expect."""

    def register(writer: Callable[[Path], None]) -> Callable[[Path], None]:
        CASES[writer.__name__.removeprefix("write_")] = (reader, suffix, writer, expected)
        return writer

    return register


@case(DelimitedReader, ".csv", units=("V", "V"), tolerance=6e-5)
def write_csv(path: Path) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["Time [ms]", "crank [V]", "cam [V]"])
        for time_s, crank, cam in zip(TIME_S, CRANK_V, CAM_V, strict=True):
            writer.writerow([f"{time_s * 1e3:.6f}", f"{crank:.4f}", f"{cam:.4f}"])


@case(DelimitedReader, ".tsv", units=("V", "V"))
def write_tsv_by_polars(path: Path) -> None:
    frame = pl.DataFrame({"t_us": TIME_S * 1e6, "crank [mV]": CRANK_V * 1e3, "cam [V]": CAM_V})
    frame.write_csv(path, separator="\t")


@case(ArrowReader, ".parquet", units=("V", "V"))
def write_parquet_with_metadata(path: Path) -> None:
    frame = pl.DataFrame({"crank [V]": CRANK_V, "cam [mV]": CAM_V * 1000.0})
    frame.write_parquet(path, metadata={"interval_s": repr(INTERVAL_S)})


@case(ArrowReader, ".parquet")
def write_parquet_with_rate(path: Path) -> None:
    frame = pl.DataFrame({"crank": CRANK_V, "cam": CAM_V})
    frame.write_parquet(path, metadata={"sample_rate_khz": "200"})


@case(ArrowReader, ".parquet")
def write_parquet_with_time(path: Path) -> None:
    frame = pl.DataFrame({"time_us": TIME_S * 1e6, "crank": CRANK_V, "cam": CAM_V})
    frame.write_parquet(path, row_group_size=500)


@case(ArrowReader, ".parquet")
def write_parquet_with_duration(path: Path) -> None:
    nanoseconds = np.round(TIME_S * 1e9).astype(np.int64)
    time = pl.Series("time", nanoseconds).cast(pl.Duration("ns"))
    pl.DataFrame({"time": time, "crank": CRANK_V, "cam": CAM_V}).write_parquet(path)


@case(ArrowReader, ".parquet")
def write_parquet_with_dates(path: Path) -> None:
    start = dt.datetime(2031, 5, 4, 12, 30)  # noqa: DTZ001 - files hold naive times too
    microseconds = pl.Series("time", np.round(TIME_S * 1e6).astype(np.int64))
    time = microseconds.cast(pl.Duration("us")) + start
    pl.DataFrame({"time": time, "crank": CRANK_V, "cam": CAM_V}).write_parquet(path)


@case(ArrowReader, ".arrow")
def write_arrow_with_single_precision_time(path: Path) -> None:
    frame = pl.DataFrame({"time_s": TIME_S.astype(np.float32), "crank": CRANK_V, "cam": CAM_V})
    frame.write_ipc(path)


@case(Hdf5Reader, ".h5", units=("V", "V"))
def write_hdf5_with_attributes(path: Path) -> None:
    h5py = pytest.importorskip("h5py")
    with h5py.File(path, "w", track_order=True) as file:
        file.attrs["interval_s"] = INTERVAL_S
        file["crank"] = CRANK_V
        file["cam"] = CAM_V * 1000.0
        file["crank"].attrs["units"] = "V"
        file["cam"].attrs["units"] = "mV"


@case(Hdf5Reader, ".h5")
def write_hdf5_with_time(path: Path) -> None:
    h5py = pytest.importorskip("h5py")
    with h5py.File(path, "w") as file:
        file.create_dataset("time", data=TIME_S * 1e3).attrs["units"] = "ms"
        file.create_dataset("crank", data=CRANK_V, chunks=(500,), compression="gzip")
        file["cam"] = CAM_V


@case(Hdf5Reader, ".h5", units=("V", "V"))
def write_hdf5_table(path: Path) -> None:
    h5py = pytest.importorskip("h5py")
    with h5py.File(path, "w") as file:
        table = file.create_dataset("log", data=np.column_stack((TIME_S, CRANK_V, CAM_V)))
        table.attrs["columns"] = ["time [s]", "crank [V]", "cam [V]"]


@case(Hdf5Reader, ".h5")
def write_hdf5_table_by_rows(path: Path) -> None:
    h5py = pytest.importorskip("h5py")
    with h5py.File(path, "w") as file:
        table = file.create_dataset("log", data=np.stack((CRANK_V, CAM_V)))
        table.attrs["channel_names"] = "crank, cam"
        table.attrs["interval_us"] = 5


@case(Hdf5Reader, ".h5")
def write_hdf5_groups(path: Path) -> None:
    h5py = pytest.importorskip("h5py")
    with h5py.File(path, "w") as file:
        for name, values in (("crank", CRANK_V), ("cam", CAM_V)):
            data = file.create_dataset(f"channels/{name}/data", data=values)
            data.attrs["sample_rate"] = "200 kHz"


@case(Hdf5Reader, ".h5")
def write_hdf5_compound(path: Path) -> None:
    h5py = pytest.importorskip("h5py")
    with h5py.File(path, "w") as file:
        file["rows"] = np.rec.fromarrays([TIME_S, CRANK_V, CAM_V], names="time_s,crank,cam")


@case(MatlabReader, ".mat")
def write_matlab_5(path: Path) -> None:
    savemat(path, {"t_ms": TIME_S * 1e3, "crank": CRANK_V[:, None], "cam": CAM_V})


@case(MatlabReader, ".mat")
def write_matlab_5_matrix(path: Path) -> None:
    names = np.array(["crank", "cam"], dtype=object)
    savemat(path, {"Fs": 1.0 / INTERVAL_S, "M": np.stack((CRANK_V, CAM_V), 1), "names": names})


@case(MatlabReader, ".mat")
def write_matlab_5_structure(path: Path) -> None:
    savemat(path, {"log": {"time_s": TIME_S, "crank": CRANK_V, "cam": CAM_V, "title": "idle"}})


@case(MatlabReader, ".mat")
def write_matlab_73(path: Path) -> None:
    # Layout from the MathWorks documentation "MAT-File Versions" (7.3 is HDF5) and MAT-File
    # Format, chapter 1 (128-byte header: text, subsystem offset, version 0x0200, "IM"); made by
    # hand, since only MATLAB itself writes it.
    h5py = pytest.importorskip("h5py")
    with h5py.File(path, "w", userblock_size=512) as file:
        for name, values in (("time_s", TIME_S), ("crank", CRANK_V), ("cam", CAM_V)):
            data = file.create_dataset(name, data=values.reshape(1, -1))
            data.attrs["MATLAB_class"] = np.bytes_("single" if name != "time_s" else "double")
        text = file.create_dataset("title", data=np.array([[105], [100]], dtype=np.uint16))
        text.attrs["MATLAB_class"] = np.bytes_("char")
    header = b"MATLAB 7.3 MAT-file, Platform: GLNXA64 HDF5 schema 1.00 .".ljust(116)
    with path.open("r+b") as file:
        file.write(header + bytes(8) + b"\x00\x02IM")


def _wave_names(**expected: object) -> dict[str, object]:
    return {"names": ("channel 1", "channel 2"), **expected}


@case(WavReader, ".wav", **_wave_names(scale=1 / 6, tolerance=2 / 32768))
def write_wav_16_bit(path: Path) -> None:
    samples = np.round(np.stack((CRANK_V, CAM_V), 1) / 6.0 * 32768.0).astype("<i2")
    with wave.open(str(path), "wb") as file:
        file.setparams((2, 2, 200_000, COUNT, "NONE", ""))
        file.writeframes(samples.tobytes())


@case(WavReader, ".wav", **_wave_names(scale=1 / 6, tolerance=2 / 128))
def write_wav_8_bit(path: Path) -> None:
    samples = np.round(np.stack((CRANK_V, CAM_V), 1) / 6.0 * 128.0 + 128.0).astype(np.uint8)
    with wave.open(str(path), "wb") as file:
        file.setparams((2, 1, 200_000, COUNT, "NONE", ""))
        file.writeframes(samples.tobytes())


@case(WavReader, ".wav", **_wave_names(scale=1 / 6, tolerance=2 / 2**23))
def write_wav_24_bit(path: Path) -> None:
    samples = np.round(np.stack((CRANK_V, CAM_V), 1) / 6.0 * 2.0**23).astype("<i4")
    with wave.open(str(path), "wb") as file:
        file.setparams((2, 3, 200_000, COUNT, "NONE", ""))
        file.writeframes(samples.reshape(-1).view(np.uint8).reshape(-1, 4)[:, :3].tobytes())


@case(WavReader, ".wav", **_wave_names(scale=1 / 6, tolerance=1e-7, dtype=np.float64))
def write_wav_32_bit(path: Path) -> None:
    samples = np.round(np.stack((CRANK_V, CAM_V), 1).astype(np.float64) / 6.0 * 2.0**31)
    wavfile.write(path, 200_000, samples.astype(np.int32))


@case(WavReader, ".wav", **_wave_names())
def write_wav_float(path: Path) -> None:
    wavfile.write(path, 200_000, np.stack((CRANK_V, CAM_V), 1))


@case(NumpyReader, ".npz")
def write_npz(path: Path) -> None:
    np.savez(path, time_s=TIME_S, crank=CRANK_V, cam=CAM_V)


@case(NumpyReader, ".npz")
def write_npz_with_interval(path: Path) -> None:
    np.savez_compressed(path, interval_us=5, crank=CRANK_V, cam=CAM_V)


@case(NumpyReader, ".npz", names=("channel 2", "channel 3"))
def write_npz_with_nameless_rows(path: Path) -> None:
    np.savez(path, time_s=TIME_S, log=np.stack((CRANK_V, CAM_V)))


@case(NumpyReader, ".npy")
def write_npy_with_fields(path: Path) -> None:
    np.save(path, np.rec.fromarrays([TIME_S, CRANK_V, CAM_V], names="time_s,crank,cam"))


@case(MdfReader, ".mf4", units=("V", "V"))
def write_mdf(path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    with asammdf.MDF(version="4.10") as file:
        signal = asammdf.Signal
        file.append(
            [
                signal(CRANK_V, TIME_S, unit="V", name="crank"),
                signal(CAM_V * 1000.0, TIME_S, unit="mV", name="cam"),
            ]
        )
        file.append([signal(np.arange(9.0), np.arange(9) * 0.01, unit="°C", name="coolant")])
        file.save(path)


@case(ExampleReader, ".example", tolerance=6e-4)
def write_example(path: Path) -> None:
    rows = [f"{crank:.3f} {cam:.3f}" for crank, cam in zip(CRANK_V, CAM_V, strict=True)]
    head = ["crankwise-example 1", "interval_us 5", "channels crank cam"]
    path.write_text("\n".join(head + rows) + "\n", encoding="utf-8")


@pytest.mark.parametrize("name", CASES)
def test_format_keeps_the_contract_and_the_numbers(name: str, tmp_path: Path) -> None:
    reader, suffix, writer, expected = CASES[name]
    path = tmp_path / f"van{suffix}"
    writer(path)
    recording = check_reader(reader(), path)
    assert recording.interval_s == pytest.approx(INTERVAL_S, rel=1e-9)
    assert recording.start_s == pytest.approx(0.0, abs=1e-9)
    assert recording.duration_s == pytest.approx(TIME_S[-1], rel=1e-9)
    assert recording.time_s is None
    names = expected.get("names", ("crank", "cam"))
    assert sorted(recording.channel_names) == sorted(names)
    for channel_name, unit, truth in zip(
        names, expected.get("units", ("", "")), (CRANK_V, CAM_V), strict=True
    ):
        channel = recording.channel(channel_name)
        assert isinstance(channel, SampledChannel)
        assert channel.unit == unit
        assert channel.values.dtype == expected.get("dtype", channel.values.dtype)
        np.testing.assert_allclose(
            channel.values,
            truth * expected.get("scale", 1.0),
            rtol=1e-6,
            atol=expected.get("tolerance", 1e-7),
        )


def test_mdf_with_channels_at_times_of_their_own_is_refused_by_name(tmp_path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    path = tmp_path / "van.mf4"
    with asammdf.MDF(version="4.10") as file:
        file.append([asammdf.Signal(CRANK_V, TIME_S, name="crank")])
        file.append([asammdf.Signal(CAM_V[:-1], TIME_S[:-1] + 1e-6, name="cam")])
        file.save(path)
    with pytest.raises(UnreadableError, match=r"times of its own \('crank', 'cam'\)"):
        read(path, readers=[MdfReader()])


def test_mdf_of_two_rasters_the_longer_is_read(tmp_path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    path = tmp_path / "van.mf4"
    slow_s = TIME_S[::100]
    with asammdf.MDF(version="4.10") as file:
        for times_s, names in ((TIME_S, ("crank", "cam")), (slow_s, ("oil", "coolant"))):
            values = np.arange(len(times_s)) % 7.0
            file.append([asammdf.Signal(values, times_s, name=name) for name in names])
        file.save(path)
    recording = read(path, readers=[MdfReader()])
    assert recording.channel_names == ("crank", "cam")
    (finding,) = (one for one in recording.findings if one.code == "channels-unused")
    assert "'oil', 'coolant'" in finding.text


def test_mdf_groups_with_one_raster_are_joined(tmp_path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    path = tmp_path / "van.mf4"
    with asammdf.MDF(version="4.10") as file:
        file.append([asammdf.Signal(CRANK_V, TIME_S, name="crank")])
        file.append([asammdf.Signal(CAM_V, TIME_S, name="cam")])
        file.save(path)
    assert read(path, readers=[MdfReader()]).channel_names == ("crank", "cam")


def test_whole_numbers_keep_all_their_digits(tmp_path: Path) -> None:
    path = tmp_path / "counts.npz"
    small = np.arange(100, dtype=np.int32) % 7
    large = (1 << 40) + np.arange(100, dtype=np.int64)
    np.savez(path, interval_s=1e-5, small=small, large=large, on=small > 3)
    recording = read(path, readers=[NumpyReader()])
    values = {channel.name: channel.values for channel in recording.channels}
    assert {name: array.dtype for name, array in values.items()} == {
        "small": np.float32,
        "large": np.float64,
        "on": np.float32,
    }
    np.testing.assert_array_equal(values["large"], large)
    assert set(values["on"]) == {0.0, 1.0}


def test_numpy_never_unpickles(tmp_path: Path) -> None:
    path = tmp_path / "trap.npy"
    np.save(path, np.array([{"a": 1}] * 5, dtype=object), allow_pickle=True)
    with pytest.raises(UnreadableError, match="damaged or incomplete NumPy file"):
        read(path, readers=[NumpyReader()])


def test_arrays_of_other_lengths_are_named(tmp_path: Path) -> None:
    path = tmp_path / "log.npz"
    np.savez(path, interval_s=1e-5, crank=CRANK_V, cam=CAM_V, calibration=np.arange(5.0))
    recording = read(path, readers=[NumpyReader()])
    assert recording.channel_names == ("crank", "cam")
    (finding,) = (one for one in recording.findings if one.code == "arrays-unused")
    assert "'calibration'" in finding.text


@pytest.mark.parametrize("suffix", [".npz", ".parquet", ".h5", ".mat"])
def test_tables_without_time_base_ask_for_the_interval(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"log{suffix}"
    if suffix == ".npz":
        np.savez(path, crank=CRANK_V, cam=CAM_V)
    elif suffix == ".parquet":
        pl.DataFrame({"crank": CRANK_V, "cam": CAM_V}).write_parquet(path)
    elif suffix == ".mat":
        savemat(path, {"crank": CRANK_V, "cam": CAM_V})
    else:
        h5py = pytest.importorskip("h5py")
        with h5py.File(path, "w") as file:
            file["crank"], file["cam"] = CRANK_V, CAM_V
    readers: list[Reader] = [NumpyReader(), ArrowReader(), MatlabReader(), Hdf5Reader()]
    with pytest.raises(UnreadableError, match=r"no sampling interval in the file.*--interval"):
        read(path, readers=readers)
    recording: Recording = read(path, interval_s=2e-5, readers=readers)
    assert recording.interval_s == 2e-5


def test_wav_cut_short_is_not_read_as_a_shorter_one(tmp_path: Path) -> None:
    path = tmp_path / "cut.wav"
    write_wav_16_bit(path)
    path.write_bytes(path.read_bytes()[:-500])
    with pytest.raises(UnreadableError, match="damaged or incomplete WAV"):
        read(path, readers=[WavReader()])


def test_wav_with_a_chunk_of_notes(tmp_path: Path) -> None:
    path = tmp_path / "notes.wav"
    write_wav_16_bit(path)
    content = path.read_bytes() + b"note" + struct.pack("<I", 4) + b"idle"
    path.write_bytes(content[:4] + struct.pack("<I", len(content) - 8) + content[8:])
    assert len(read(path, readers=[WavReader()]).channels) == 2
