"""The measurement document: what is written can be read, and what is wrong is said."""

from __future__ import annotations

import dataclasses
import json
import math
import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crankwise import document
from crankwise.document.files import sha256_of
from crankwise.errors import UnreadableError, UsageError

INPUTS = Path(__file__).parent / "snapshots" / "inputs"
T20 = INPUTS / "t20.json"


@pytest.fixture(scope="module")
def t20():
    return document.load(T20)


def changed(path: str, value: object) -> str:
    """Return the T20 document with one value changed; ``path`` like ``cams.0.role``."""
    doc = json.loads(T20.read_text(encoding="utf-8"))
    *way, last = [int(key) if key.isdigit() else key for key in path.split(".")]
    place = doc
    for key in way:
        place = place[key]
    if value is KeyError:
        del place[last]
    else:
        place[last] = value
    return json.dumps(doc)


@pytest.mark.parametrize("name", ["t20", "v6"])
def test_saved_file_reads_back_and_writes_the_same_bytes(name, tmp_path):
    measurement = document.load(INPUTS / f"{name}.json")
    document.save(measurement, tmp_path / "again.json")
    assert document.load(tmp_path / "again.json") == measurement
    assert (tmp_path / "again.json").read_bytes() == (INPUTS / f"{name}.json").read_bytes()


@given(
    angle=st.floats(0, 720, exclude_max=True),
    drift=st.floats(allow_nan=False, allow_infinity=False),
)
def test_numbers_survive_to_the_last_bit(t20, angle, drift):
    edge = dataclasses.replace(t20.cams[0].edges[0], angle_deg=angle, drift_deg_per_s=drift)
    cam = dataclasses.replace(t20.cams[0], edges=(edge,))
    measurement = dataclasses.replace(t20, cams=(cam,))
    assert document.loads(document.dumps(measurement), name="x") == measurement


@given(name=st.text(st.characters(exclude_categories=["Cs"])))
def test_any_channel_name_survives(t20, name):
    measurement = dataclasses.replace(t20, crank=dataclasses.replace(t20.crank, channel=name))
    assert document.loads(document.dumps(measurement), name="x").crank.channel == name


def test_fields_other_programs_rely_on_are_there(t20):
    doc = document.to_json(t20)
    assert list(doc)[:5] == ["format", "recording", "crank", "cams", "findings"]
    assert doc["format"] == "crankwise.measurement/1"
    assert set(doc["recording"]) >= {"name", "sha256", "duration_s", "interval_s", "channels"}
    assert set(doc["crank"]) >= {
        "channel", "wheel", "teeth_per_rev", "pitch_deg", "timing_edge", "revolutions", "speed_rpm",
    }  # fmt: skip
    assert set(doc["crank"]["speed_rpm"]) == {"mean", "min", "max"}
    assert set(doc["cams"][0]) >= {"channel", "role", "cycles", "edges"}
    assert set(doc["cams"][0]["edges"][0]) >= {
        "edge", "angle_deg", "teeth", "scatter_deg", "uncertainty_deg", "count",
    }  # fmt: skip
    assert set(doc["findings"][0]) == {"code", "level", "text"}


def test_no_samples_are_in_it(t20):
    # The speed trace has two values a revolution; nothing else may grow with the recording.
    assert len(document.dumps(t20)) < 30_000


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_a_number_json_has_not_is_refused_when_writing(t20, number):
    edge = dataclasses.replace(t20.cams[0].edges[0], scatter_deg=number)
    cam = dataclasses.replace(t20.cams[0], edges=(edge,))
    with pytest.raises(ValueError, match=r"cams\[0\]\.edges\[0\]\.scatter_deg"):
        document.dumps(dataclasses.replace(t20, cams=(cam,)))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not JSON (line 1, column 1"),
        ('{"format": "crankwise.measurement/1",\n oops}', "line 2, column 2"),
        ("[1, 2]", "not a measurement"),
        ("{}", "no saved measurement"),
        ('{"format": 1}', "no saved measurement"),
        ('{"format": "crankwise.measurement/2"}', "format 2, and this Crankwise reads format 1"),
        ('{"format": "crankwise.measurement/2"}', "make it again with: crankwise measure -o"),
        ('{"format": "crankwise.comparison/1"}', "holds crankwise.comparison"),
        ("[" * 100_000, "not usable JSON"),
        ("1" * 5000, "not usable JSON"),
        (changed("crank", KeyError), "crank is missing"),
        (changed("cams.1.edges.2.angle_deg", "150"), "cams[1].edges[2].angle_deg is wrong"),
        (changed("cams.1.edges.2.angle_deg", 720.0), "must be from 0 to below 720"),
        (changed("cams.0.edges.0.edge", "up"), "must be one of rising, falling"),
        (changed("cams.0.role", "inlet"), "must be a role such as intake"),
        (changed("recording.sha256", "abc"), "64 hexadecimal digits"),
        (changed("recording.interval_s", 0.0), "must be greater than 0"),
        (changed("crank.choice.confidence", 1.5), "must be from 0 to 1"),
        (changed("findings.0.level", "bad"), "findings[0].level is wrong"),
        (changed("crank.revolutions", 2.5), "crank.revolutions is wrong"),
        (changed("recording.duration_s", 1e999), "duration_s is not a finite number"),
        (changed("recording.duration_s", math.nan), "duration_s is not a finite number"),
        (changed("crank.channel", "\ud800"), "the document is wrong"),
        (json.dumps({"format": "crankwise.measurement/1"}), "and 1 more"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_in_one_line_with_the_place(text, said):
    with pytest.raises(UnreadableError) as caught:
        document.loads(text, name="known-good.json")
    assert said in str(caught.value)
    assert str(caught.value).startswith("known-good.json: ")
    assert "\n" not in str(caught.value)


def test_fields_of_a_later_version_are_passed_over(t20):
    assert document.loads(changed("cams.0.edges.0.colour", "blue"), name="x") == t20


def test_a_byte_order_mark_is_no_obstacle(t20, tmp_path):
    (tmp_path / "bom.json").write_bytes(b"\xef\xbb\xbf" + T20.read_bytes())
    assert document.load(tmp_path / "bom.json") == t20


def test_files_that_are_no_text_or_not_there_are_named(tmp_path):
    (tmp_path / "van.bin").write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(UnreadableError, match=r"van\.bin: it is not text"):
        document.load(tmp_path / "van.bin")
    with pytest.raises(UnreadableError, match=r"gone\.json: it can't be opened"):
        document.load(tmp_path / "gone.json")
    with pytest.raises(UnreadableError, match="can't be opened"):
        document.load(tmp_path)


def test_an_interrupted_write_leaves_the_old_file_and_nothing_else(t20, tmp_path, monkeypatch):
    target = tmp_path / "van.json"
    target.write_text("old", encoding="utf-8")

    def no_space(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", no_space)
    with pytest.raises(UsageError, match="No space left on device"):
        document.save(t20, target)
    assert target.read_text(encoding="utf-8") == "old"
    assert os.listdir(tmp_path) == ["van.json"]  # noqa: PTH208  names are enough


def test_the_recording_is_never_written_over(t20, tmp_path):
    recording = tmp_path / "van.csv"
    recording.write_bytes(b"the only copy")
    digest = sha256_of(recording)
    info = dataclasses.replace(t20.recording, sha256=digest)
    with pytest.raises(UsageError, match="is a recording itself"):
        document.save(dataclasses.replace(t20, recording=info), recording)
    link = tmp_path / "other.json"
    link.symlink_to(recording)
    with pytest.raises(UsageError, match="is a recording itself"):
        document.save(dataclasses.replace(t20, recording=info), link)
    assert recording.read_bytes() == b"the only copy"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_written_to_not_replaced(t20, tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with ThreadPoolExecutor() as pool:
        read = pool.submit(pipe.read_bytes)
        document.save(t20, pipe)
    assert read.result() == T20.read_bytes()
    assert pipe.is_fifo()


@pytest.mark.parametrize("place", [".", "no/such/folder/x.json"])
def test_a_place_that_can_not_be_written_is_a_usage_error(t20, tmp_path, place):
    with pytest.raises(UsageError, match="can't be written"):
        document.save(t20, tmp_path / place)
