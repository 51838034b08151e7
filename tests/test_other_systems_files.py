"""Other systems: names of files, line ends, byte order marks and decimal commas."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner

from crankwise import document
from crankwise.cli.app import app
from crankwise.cli.options import parse_cams
from crankwise.drive import engine_file
from crankwise.judge.policy import load_policy
from crankwise.store import open_store
from crankwise.testing.simulate import preset, simulate_to_file
from crankwise.testing.simulate.load import load_spec
from crankwise.watch.files import listing
from crankwise.wheel import catalogue

BYTE_ORDER_MARK = b"\xef\xbb\xbf"
POSIX = pytest.mark.skipif(os.name == "nt", reason="names that Windows does not have")
LOCALEDEF = shutil.which("localedef")
NO_TEXT = os.fsdecode(b"van \xff.csv")


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    spec = preset("t20-fresh-chain")
    path = tmp_path_factory.mktemp("short") / "van.csv"
    scope = replace(spec.scope, duration_s=1.5, interval_s=5e-5)
    simulate_to_file(replace(spec, scope=scope), path, seed=1)
    return path


def crankwise(*arguments, exit_code=0):
    done = CliRunner().invoke(app, [str(argument) for argument in arguments])
    assert done.exit_code == exit_code, done.output
    return done


@POSIX
@pytest.mark.parametrize(
    "name",
    [
        "van 3 (blau).csv", "Wägen.csv", "Wa\u0308gen.csv", "\N{MINIBUS}.csv", "it's \"new\".csv",
        "-dash.csv", "x" * 235 + ".csv", "trailing.csv.", "two\nlines.csv", "CON.csv", "a=b.csv",
        "[x].csv", "*.csv", "100% $HOME; ~.csv", NO_TEXT,
    ],
    ids=lambda name: ascii(name)[:20],
)  # fmt: skip
def test_a_recording_of_any_name_is_measured_and_saved_beside_itself(
    recording, name, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    shutil.copy(recording, name)
    saved, picture = name.removesuffix(".csv") + ".json", name.removesuffix(".csv") + ".svg"
    crankwise("measure", f"--output={saved}", f"--picture={picture}", "--", name)
    measurement = document.load(saved)
    assert measurement.recording.name == name.encode("utf-8", "replace").decode()
    assert "</svg>" in Path(picture).read_text(encoding="utf-8")
    assert len(list(tmp_path.iterdir())) == 3


@POSIX
def test_a_name_that_is_no_text_does_not_stop_the_rest(recording, tmp_path):
    exports = tmp_path / "exports"
    exports.mkdir()
    for name in ("van.csv", NO_TEXT):
        shutil.copy(recording, exports / name)
    assert set(listing(exports)) == {"van.csv"}
    table = tmp_path / "all.parquet"
    crankwise("batch", exports, "-o", table, "--workers", 1)
    assert set(pl.read_parquet(table)["recording"]) == {"van.csv"}
    failures = pl.read_parquet(tmp_path / "all.failures.parquet")
    assert list(failures["recording"]) == ["van ?.csv"]
    with open_store(tmp_path / os.fsdecode(b"shop \xff")) as store:
        assert store.recordings.add(exports / NO_TEXT).name == "van ?.csv"


def test_an_original_is_measured_under_its_name_though_no_other_system_takes_it(
    recording, tmp_path
):
    with open_store(tmp_path) as store:
        kept = store.recordings.add(recording.read_bytes(), name='C:\\exports\\van 3: "new"?.csv')
        with store.recordings.original(kept.sha256) as path:
            assert path.name == "van 3_ _new__.csv"
        measured = store.recordings.measure(kept.sha256)
        assert measured.measurement.recording.name == kept.name


def test_a_channel_may_have_the_signs_of_a_windows_path():
    assert parse_cams(["intake=C:\\scope\\A=1"]) == {"intake": "C:\\scope\\A=1"}


def test_originals_may_lie_at_a_file_address_with_blanks(tmp_path, recording):
    there = tmp_path / "die Wägen"
    place = f"sqlite:///{tmp_path / 'x.sqlite'}?originals={there.as_uri()}"
    with open_store(place) as store:
        store.recordings.add(recording)
    assert any(file.is_file() for file in there.rglob("*"))


@pytest.mark.parametrize("begins", [b"", BYTE_ORDER_MARK], ids=["plain", "marked"])
def test_files_saved_on_windows_are_read(begins, recording, tmp_path):
    def as_on_windows(name: str, text: bytes) -> Path:
        path = tmp_path / name
        path.write_bytes(begins + text.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n"))
        return path

    package = Path(catalogue.__file__).parents[1]
    engine = next((package / "drive" / "engines").glob("*.toml"))
    spec_text = b'preset = "t20-fresh-chain"\n'
    assert catalogue.load(
        as_on_windows("wheels.toml", (package / "wheel" / "catalogue.toml").read_bytes())
    )
    assert engine_file.load_engine(as_on_windows("engine.toml", engine.read_bytes()))
    assert load_policy(
        as_on_windows("policy.toml", (package / "judge" / "policy.toml").read_bytes())
    )
    assert load_spec(as_on_windows("spec.toml", spec_text))
    table = as_on_windows("van.csv", recording.read_bytes())
    crankwise("measure", table, "-o", tmp_path / "van.json")
    saved = as_on_windows("again.json", (tmp_path / "van.json").read_bytes())
    assert document.load(saved) == document.load(tmp_path / "van.json")


@pytest.mark.skipif(LOCALEDEF is None, reason="makes the locale with localedef")
def test_a_locale_with_decimal_comma_changes_no_number(recording, tmp_path):
    made = subprocess.run(
        [LOCALEDEF, "-i", "de_DE", "-f", "UTF-8", str(tmp_path / "de_DE.UTF-8")],
        capture_output=True, check=False,
    )  # fmt: skip
    if made.returncode != 0:
        pytest.skip("this system has no sources of locales")
    code = (
        "import locale; locale.setlocale(locale.LC_ALL, ''); "
        "assert locale.localeconv()['decimal_point'] == ','; "
        "from crankwise.cli import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "measure", str(recording), "--json"],
        env=os.environ | {"LOCPATH": str(tmp_path), "LC_ALL": "de_DE.UTF-8"},
        capture_output=True, check=True,
    )  # fmt: skip
    assert json.loads(done.stdout) == json.loads(crankwise("measure", recording, "--json").stdout)
