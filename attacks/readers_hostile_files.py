"""Files made to do harm: bombs, lying sizes, endless and nested ones, links, pipes and devices."""

from __future__ import annotations

import gzip
import io
import json
import os
import struct
import zipfile
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

MB = 1_000_000

Make = Callable[[Path], Path]


@dataclass(frozen=True, slots=True)
class Case:
    """A hostile file: how it is made, and which command is given it."""

    name: str
    make: Make
    command: str = "measure"


def _write(name: str, content: bytes) -> Make:
    def make(folder: Path) -> Path:
        path = folder / name
        path.write_bytes(content)
        return path

    return make


def _zip(members: Mapping[str, bytes], name: str) -> Make:
    def make(folder: Path) -> Path:
        path = folder / name
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for inner, content in members.items():
                archive.writestr(inner, content)
        return path

    return make


def _bomb(name: str, member: str, head: bytes = b"", *, size: int = 2_600_000_000) -> Make:
    """A zip or gzip of zeros behind a head: one packed block of zeros again and again."""

    def make(folder: Path) -> Path:
        packer = zlib.compressobj(9, zlib.DEFLATED, -15)
        first = packer.compress(head) + packer.flush(zlib.Z_FULL_FLUSH)
        block = packer.compress(bytes(1 << 22)) + packer.flush(zlib.Z_FULL_FLUSH)
        content = first + block * (size >> 22) + packer.flush()
        path = folder / name
        if name.endswith(".gz"):
            path.write_bytes(b"\x1f\x8b\x08" + bytes(7) + content + bytes(8))
            return path
        total = len(head) + (size >> 22 << 22)
        sizes = struct.pack("<III", 0, len(content), total) + struct.pack("<HH", len(member), 0)
        local = b"PK\3\4" + struct.pack("<HHHHH", 20, 0, 8, 0, 33) + sizes + member.encode()
        entry = b"PK\1\2" + struct.pack("<HHHHHH", 20, 20, 0, 8, 0, 33) + sizes
        entry += bytes(14) + member.encode()
        end = struct.pack("<HHHHIIH", 0, 0, 1, 1, len(entry), len(local) + len(content), 0)
        path.write_bytes(local + content + entry + b"PK\5\6" + end)
        return path

    return make


def _npy_head(shape: tuple[int, ...], kind: str = "<f8") -> bytes:
    text = repr({"descr": kind, "fortran_order": False, "shape": shape}).encode() + b"\n"
    return b"\x93NUMPY\x01\0" + struct.pack("<H", len(text)) + text


def _nested(folder: Path) -> Path:
    content = b"Time [s],a\n0,1\n"
    for depth in range(30):
        content = gzip.compress(content) if depth % 2 else _packed({"van.csv": content})
    return _write("nested.zip", content)(folder)


def _packed(members: Mapping[str, bytes]) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return file.getvalue()


def _sparse(name: str, head: bytes, size: int) -> Make:
    """A file of a size that takes no room on the disk."""

    def make(folder: Path) -> Path:
        path = folder / name
        with path.open("wb") as file:
            file.write(head)
            file.truncate(size)
        return path

    return make


def _wav(data_bytes: int, *, rate: int = 40_000, channels: int = 2) -> bytes:
    form = struct.pack("<HHIIHH", 1, channels, rate, rate * 4, 2 * channels % 65536, 16)
    body = b"WAVEfmt " + struct.pack("<I", 16) + form + b"data" + struct.pack("<I", data_bytes)
    return b"RIFF" + struct.pack("<I", 100) + body + bytes(64)


def _mat(body: bytes) -> bytes:
    return b"MATLAB 5.0 MAT-file, by hand".ljust(124) + b"\0\1IM" + body


def _mat_array(class_of: int, sides: tuple[int, ...], content: bytes) -> bytes:
    inner = struct.pack("<IIII", 6, 8, class_of, 0)
    inner += struct.pack(f"<II{len(sides)}i", 5, 4 * len(sides), *sides) + bytes(
        -4 * len(sides) % 8
    )
    inner += struct.pack("<HH4s", 1, 1, b"x") + content
    return struct.pack("<II", 14, len(inner)) + inner


def _mat_cells(depth: int) -> bytes:
    content = _mat_array(6, (1, 1), struct.pack("<IId", 9, 8, 1.0))
    for _ in range(depth):
        content = _mat_array(1, (1, 1), content)
    return content


def _mat_packed(body: bytes) -> bytes:
    packed = zlib.compress(body)
    return struct.pack("<II", 15, len(packed)) + packed


def _hdf5(fill: Callable[[object], None], name: str = "van.h5") -> Make:
    def make(folder: Path) -> Path:
        import h5py  # noqa: PLC0415  only where it is used

        (folder / "other.bin").write_bytes(bytes(8000))
        before = Path.cwd()
        os.chdir(folder)
        try:
            with h5py.File(name, "w") as file:
                fill(file)
        finally:
            os.chdir(before)
        return folder / name

    return make


def _h5_huge(file: object) -> None:
    for name in ("crank", "cam"):
        file.create_dataset(name, shape=(10**12,), chunks=(10**6,), dtype="f8")  # type: ignore[attr-defined]
    file.attrs["dt"] = 1e-5  # type: ignore[attr-defined]


def _h5_external(file: object) -> None:
    external = [("other.bin", 0, 8000)]
    file.create_dataset("crank", shape=(1000,), dtype="f8", external=external)  # type: ignore[attr-defined]


def _h5_virtual(file: object) -> None:
    import h5py  # noqa: PLC0415  only where it is used

    layout = h5py.VirtualLayout(shape=(1000,), dtype="f8")
    layout[:] = h5py.VirtualSource("other.bin", "crank", shape=(1000,))
    file.create_virtual_dataset("crank", layout)  # type: ignore[attr-defined]


def _h5_links(file: object) -> None:
    import h5py  # noqa: PLC0415  only where it is used

    file["out"] = h5py.ExternalLink("other.bin", "/crank")  # type: ignore[index]
    file["circle"] = h5py.SoftLink("/circle")  # type: ignore[index]
    file["a/b"] = np.arange(1)  # type: ignore[index]
    file["a/again"] = file["a"]  # type: ignore[index]
    references = np.array([file["a"].ref], dtype=h5py.ref_dtype)  # type: ignore[index]
    file["references"] = references  # type: ignore[index]


def _h5_groups(file: object) -> None:
    for number in range(12_000):
        file.create_group(f"g{number}")  # type: ignore[attr-defined]


def _parquet(folder: Path) -> Path:
    import polars as pl  # noqa: PLC0415  only where it is used

    path = folder / "van.parquet"
    rows = 400_000_000
    column = pl.repeat(None, rows, dtype=pl.Boolean)
    frame = pl.select(a=column, b=column)
    frame.write_parquet(path, compression="zstd")
    return path


def _fifo(folder: Path) -> Path:
    path = folder / "van.csv"
    os.mkfifo(path)
    return path


def _loop(folder: Path) -> Path:
    path = folder / "van.csv"
    path.symlink_to(path)
    return path


def _device(folder: Path) -> Path:
    path = folder / "van.csv"
    path.symlink_to("/dev/zero")
    return path


def _json(value: object) -> bytes:
    return json.dumps(value).encode()


_PICKLE = b"cos\nsystem\n(S'touch unpickled'\ntR."
_VCD = b"$timescale 1 us $end\n$scope module m $end\n"
_END = b"$enddefinitions $end\n"

CASES = (
    Case("gzip of 2.6 GB of zeros", _bomb("van.csv.gz", "", b"Time [s],a\n0,1\n1,2\n")),
    Case("zip of 2.6 GB of zeros", _bomb("van.zip", "van.csv", b"Time [s],a\n0,1\n1,2\n")),
    Case("npz of 2.6 GB", _bomb("van.npz", "crank.npy", _npy_head((325_000_000,)))),
    Case("archives 30 deep", _nested),
    Case("zip of 20,000 recordings", _zip({f"{n}.csv": b"0,1\n1,2\n" for n in range(20_000)},
         "v.zip")),
    Case("a row of 3,000,000 cells", _write("van.csv", b"1," * 3_000_000 + b"\n")),
    Case("1,000 rows of 5,000 cells", _write("van.csv", (b"1," * 5_000 + b"\n") * 1_000)),
    Case("one line of 300 MB", _sparse("van.csv", b"Time [s],a\n" + b"1" * 70_000, 300 * MB)),
    Case("one line of 40 MB of digits", _write("van.csv", b"t,a\n" + b"12345678" * 5_000_000)),
    Case("a preamble of 40 MB", _write("van.csv", b"Note: idle speed, warm\n" * 1_800_000)),
    Case("names of 1 MB", _write("van.csv", b"a" * MB + b",b\n" + b"1,2\n" * 50)),
    Case("blanks by the million", _write("van.csv",
         b"Note" + b" " * 2_000_000 + b"x\n" + b"1 2\n" * 9)),
    Case("npy of 10^15 numbers", _write("van.npy", _npy_head((10**15,)) + bytes(80))),
    Case("npy with sides that overflow", _write("van.npy", _npy_head((2**32, 2**32,
         8)) + bytes(80))),
    Case("npy with a header of 4 GB", _write("van.npy",
         b"\x93NUMPY\2\0\xff\xff\xff\xff" + b"{" * 99_999)),
    Case("npy with a nested header", _write("van.npy", b"\x93NUMPY\1\0\x10\x27" + b"(" * 10_000)),
    Case("npy of pickles", _write("van.npy", _npy_head((5,), "|O") + _PICKLE)),
    Case("npz of pickles", _zip({"a.npy": _npy_head((5,), "|O") + _PICKLE}, "van.npz")),
    Case("WAV of 4 GB in 100 bytes", _write("van.wav", _wav(0xFFFFFFF0))),
    Case("WAV without a rate", _write("van.wav", _wav(64, rate=0))),
    Case("WAV of 65,535 channels", _write("van.wav", _wav(64, channels=65_535))),
    Case("MATLAB, 2^31 cells", _write("van.mat", _mat(_mat_array(1, (2**31 - 1, 1), b"")))),
    Case("MATLAB, 2^60 numbers", _write("van.mat", _mat(_mat_array(6, (2**30, 2**30), bytes(16))))),
    Case("MATLAB, cells 20,000 deep", _write("van.mat", _mat(_mat_cells(20_000)))),
    Case("MATLAB, packed cells", _write("van.mat", _mat(_mat_packed(_mat_cells(2_000))))),
    Case("HDF5 of 10^12 rows", _hdf5(_h5_huge)),
    Case("HDF5 with numbers in another file", _hdf5(_h5_external)),
    Case("HDF5 with virtual numbers", _hdf5(_h5_virtual)),
    Case("HDF5 with links out and in circles", _hdf5(_h5_links)),
    Case("HDF5 of 12,000 groups", _hdf5(_h5_groups)),
    Case("Parquet of 400 million rows", _parquet),
    Case("VCD with a comment without end", _write("van.vcd",
         _VCD + b"$comment " + b"a " * 9_000_000)),
    Case("VCD of 300,000 variables", _write("van.vcd",
         _VCD + b"$var wire 1 ! a $end\n" * 300_000 + _END)),
    Case("VCD at tick 10^5000", _write("van.vcd",
         _VCD + b"$var wire 1 ! a $end\n" + _END + b"#" + b"9" * 5000)),
    Case("a pipe", _fifo),
    Case("a device", _device),
    Case("a link to itself", _loop),
    Case("a folder", lambda folder: folder),
    Case("a pipe as a known-good", _fifo, "import"),
    Case("a device as a known-good", _device, "import"),
    Case("known-goods, a zip bomb", _bomb("goods.zip", "a.json", b"{"), "import"),
    Case("a known-good 100,000 deep", _write("good.json", b"[" * 100_000), "import"),
    Case("a known-good of 300 MB", _sparse("good.json", b'{"a": "', 300 * MB), "import"),
    Case("a measurement of 300 MB", _sparse("van.json", b'{"a": "', 300 * MB), "compare"),
    Case("a measurement 100,000 deep", _write("van.json", b'{"a":' * 100_000), "compare"),
    Case("a measurement with a long number", _write("van.json", b'{"a": ' + b"9" * 9_999 + b"}"),
         "compare"),
    Case("an engine 100,000 deep", _write("e.toml", b"a = " + b"[" * 100_000), "engine"),
    Case("an engine of 300 MB", _sparse("e.toml", b"a = ", 300 * MB), "engine"),
    Case("a pipe as an engine", _fifo, "engine"),
    Case("a policy 100,000 deep", _write("p.toml", b"a = " + b"{a=" * 100_000), "policy"),
    Case("a device as a policy", _device, "policy"),
    Case("wheels of 10^9 teeth", _write("w.toml",
         b'[[wheel]]\nname="a"\npattern="999999999x6"\npitch_deg=6'), "wheels"),
    Case("wheels from a device", _device, "wheels"),
)  # fmt: skip
