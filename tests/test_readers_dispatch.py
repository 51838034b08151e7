"""Choosing the reader by content, packed files, and files that are no recordings."""

from __future__ import annotations

import gzip
import hashlib
import tomllib
import zipfile
from importlib.metadata import EntryPoint
from pathlib import Path

import numpy as np
import pytest

from crankwise.errors import MissingPackageError, UnreadableError, UsageError
from crankwise.readers import available, dispatch, foreign, limits, read
from crankwise.readers.contract import NOT_MINE, Reader
from crankwise.readers.delimited import DelimitedReader
from crankwise.readers.hdf5 import Hdf5Reader
from crankwise.readers.numpy_files import NumpyReader
from crankwise.readers.vcd import VcdReader
from crankwise.readers.wav import WavReader

READERS: list[Reader] = [
    DelimitedReader(),
    NumpyReader(),
    VcdReader(),
    WavReader(),
    Hdf5Reader(),
]
TABLE = "Time [ms],crank [V],cam [V]\n" + "".join(
    f"{step / 100:.2f},{step % 5},{step % 7}\n" for step in range(300)
)


def _declared() -> dict[str, str]:
    project = Path(__file__).resolve().parents[1] / "pyproject.toml"
    return dict(
        tomllib.loads(project.read_text("utf-8"))["project"]["entry-points"][dispatch.GROUP]
    )


def test_built_in_readers_come_in_by_entry_point() -> None:
    declared = _declared()
    assert set(declared) == {
        "arrow",
        "delimited",
        "hdf5",
        "matlab",
        "mdf",
        "numpy",
        "vcd",
        "wav",
    }
    loaded = [
        EntryPoint(name, target, dispatch.GROUP).load()() for name, target in declared.items()
    ]
    assert len({reader.name for reader in loaded}) == len(loaded)
    assert {reader.name: reader.suffixes for reader in loaded} == available()


def test_a_broken_plug_in_stops_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    points = [
        EntryPoint("broken", "no_such_module:Reader", dispatch.GROUP),
        EntryPoint("renamed", "crankwise.readers.wav:NoSuchReader", dispatch.GROUP),
        EntryPoint("wav", "crankwise.readers.wav:WavReader", dispatch.GROUP),
    ]
    monkeypatch.setattr(dispatch, "entry_points", lambda **_: points)
    assert list(available()) == ["WAV"]


def test_no_reader_at_all_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(dispatch, "entry_points", lambda **_: [])
    path = tmp_path / "van.csv"
    path.write_text(TABLE)
    with pytest.raises(UnreadableError, match="no reader is installed"):
        read(path)


def test_content_decides_not_the_suffix(tmp_path: Path) -> None:
    path = tmp_path / "van.wav"
    path.write_text(TABLE)
    assert read(path, readers=READERS).channel_names == ("crank", "cam")
    arrays = tmp_path / "van.csv"
    with arrays.open("wb") as file:
        np.savez(file, interval_s=1e-5, crank=np.arange(50.0) % 3)
    assert read(arrays, readers=READERS).channel_names == ("crank",)


def test_gzip_is_unpacked_and_the_original_is_hashed(tmp_path: Path) -> None:
    path = tmp_path / "van.csv.gz"
    path.write_bytes(gzip.compress(TABLE.encode()))
    recording = read(path, readers=READERS)
    assert recording.name == "van.csv.gz"
    assert recording.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert recording.channel_names == ("crank", "cam")


def test_zip_with_one_recording(tmp_path: Path) -> None:
    path = tmp_path / "van.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("export/", "")
        archive.writestr("__MACOSX/._van.csv", TABLE)
        archive.writestr("export/readme.txt", "Made on Monday.\nPlease read.\n")
        archive.writestr("export/van.csv", TABLE)
    recording = read(path, readers=READERS)
    assert (recording.name, recording.channel_names) == ("van.zip", ("crank", "cam"))


def test_zip_with_several_recordings_names_them(tmp_path: Path) -> None:
    path = tmp_path / "vans.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("one.csv", TABLE)
        archive.writestr("two.csv.gz", gzip.compress(TABLE.encode()))
    with pytest.raises(UnreadableError, match=r"2 recordings inside \('one.csv', 'two.csv.gz'\)"):
        read(path, readers=READERS)


def test_zip_with_nothing_readable(tmp_path: Path) -> None:
    path = tmp_path / "pictures.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a.png", b"\x89PNG\r\n\x1a\n" + bytes(100))
    with pytest.raises(UnreadableError, match="no recording inside"):
        read(path, readers=READERS)


@pytest.mark.parametrize(
    ("names", "suffix"),
    [
        (("[Content_Types].xml", "xl/worksheets/sheet1.xml"), ".xlsx"),
        (("mimetype", "content.xml", "META-INF/manifest.xml"), ".ods"),
    ],
)
def test_spreadsheet_is_named_as_such(names: tuple[str, ...], suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"van{suffix}"
    with zipfile.ZipFile(path, "w") as archive:
        for name in names:
            archive.writestr(name, "<some/>")
    with pytest.raises(UnreadableError, match=r"spreadsheet .* Save the sheet as CSV"):
        read(path, readers=READERS)


def test_a_bomb_is_refused(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(limits, "MOST_BYTES", 3_000_000)
    path = tmp_path / "bomb.gz"
    path.write_bytes(gzip.compress(bytes(8_000_000)))
    with pytest.raises(UnreadableError, match="which no recording does"):
        read(path, readers=READERS)


def test_large_but_plausible_content_is_no_bomb(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(limits, "MOST_BYTES", 1000)
    path = tmp_path / "van.csv.gz"
    path.write_bytes(gzip.compress(TABLE.encode()))
    assert read(path, readers=READERS).channel_names == ("crank", "cam")


def test_packed_too_often_and_cut_short(tmp_path: Path) -> None:
    content = TABLE.encode()
    for _ in range(3):
        content = gzip.compress(content)
    path = tmp_path / "van.gz"
    path.write_bytes(content)
    with pytest.raises(UnreadableError, match="packed more than twice"):
        read(path, readers=READERS)
    path.write_bytes(gzip.compress(TABLE.encode())[:-20])
    with pytest.raises(UnreadableError, match="damaged or cut short"):
        read(path, readers=READERS)


def test_zip_cut_short(tmp_path: Path) -> None:
    path = tmp_path / "van.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("van.csv", TABLE)
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(UnreadableError, match="damaged or cut short"):
        read(path, readers=READERS)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "the file is empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(50), "this is a PNG picture"),
        (b"\xff\xd8\xff\xe0" + bytes(50), "this is a JPEG picture"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n" + bytes(50), "this is a PDF document"),
        (bytes(range(256)) * 20, "no reader knows this content"),
        (b'{\n  "format": "crankwise.measurement/1"}', "this is a saved measurement, not a rec"),
        (b'{"points": [1, 2, 3]}', "this is a JSON document"),
        (b"Dear customer,\nthe engine rattles.\n", "no rows of numbers found"),
        (b"<html><body>404 not found</body></html>\n", "no rows of numbers found"),
    ],
)
def test_what_is_no_recording_gets_a_reason(content: bytes, message: str, tmp_path: Path) -> None:
    path = tmp_path / "thing.csv"
    path.write_bytes(content)
    with pytest.raises(UnreadableError, match=message) as caught:
        read(path, readers=READERS)
    assert str(caught.value).startswith("thing.csv: ")


def test_paths_that_lead_nowhere(tmp_path: Path) -> None:
    with pytest.raises(UnreadableError, match="this is a folder"):
        read(tmp_path, readers=READERS)
    with pytest.raises(UnreadableError, match=r"missing\.csv: no such file"):
        read(tmp_path / "missing.csv", readers=READERS)


@pytest.mark.parametrize("interval_s", [0.0, -1e-6, float("nan"), float("inf")])
def test_an_interval_must_be_positive(interval_s: float, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="positive number of seconds"):
        read(tmp_path / "any.csv", interval_s=interval_s, readers=READERS)


def test_a_missing_package_is_named_with_its_install_command(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def absent(name: str) -> None:
        raise ImportError(name)

    monkeypatch.setattr(foreign, "import_module", absent)
    path = tmp_path / "van.h5"
    path.write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(200))
    with pytest.raises(MissingPackageError, match=r"h5py\. .*pip install 'crankwise\[formats\]'"):
        read(path, readers=READERS)


def test_of_equally_sure_readers_the_suffix_decides() -> None:
    class First(VcdReader):
        suffixes = (".one",)

    class Second(VcdReader):
        suffixes = (".two",)

    head = b"$timescale 1 us $end $var wire 1 ! a $end"
    for path in (Path("van.one"), Path("VAN.TWO")):
        scores = [dispatch.score(reader, head, path) for reader in (First(), Second())]
        assert (scores[0] > scores[1]) == (path.suffix == ".one")


def test_a_better_reader_from_outside_wins(tmp_path: Path) -> None:
    class Mine(VcdReader):
        name = "mine"
        suffixes = (".csv",)

        def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002
            return 90 if head.startswith(b"Time") else NOT_MINE

    path = tmp_path / "van.csv"
    path.write_text(TABLE)
    with pytest.raises(UnreadableError, match=r"\$enddefinitions"):
        read(path, readers=[*READERS, Mine()])
