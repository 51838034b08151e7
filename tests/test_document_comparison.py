"""The comparison document: what is written can be read, and what is wrong is said."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crankwise import document
from crankwise.document.files import sha256_of
from crankwise.errors import UnreadableError, UsageError

INPUTS = Path(__file__).parent / "snapshots" / "inputs"
VAN = INPUTS / "van-compared.json"


@pytest.fixture(scope="module")
def van():
    return document.load_comparison(VAN)


def with_first_cam(comparison, **changes):
    cam = dataclasses.replace(comparison.cams[0], **changes)
    return dataclasses.replace(comparison, cams=(cam, *comparison.cams[1:]))


@pytest.mark.parametrize("name", ["van-compared", "healthy-compared"])
def test_saved_file_reads_back_and_writes_the_same_bytes(name, tmp_path):
    comparison = document.load_comparison(INPUTS / f"{name}.json")
    document.save(comparison, tmp_path / "again.json")
    assert document.load_comparison(tmp_path / "again.json") == comparison
    assert (tmp_path / "again.json").read_bytes() == (INPUTS / f"{name}.json").read_bytes()


@given(
    shift=st.floats(allow_nan=False, allow_infinity=False),
    ratio=st.none() | st.floats(0, 1e300),
    words=st.text(st.characters(exclude_categories=["Cs"])),
    inverted=st.booleans(),
)
def test_values_survive_to_the_last_bit(van, shift, ratio, words, inverted):
    changed = with_first_cam(
        van, shift_deg=shift, scatter_ratio=ratio, words=words, inverted=inverted, healthy=None
    )
    assert document.loads_comparison(document.dumps(changed), name="x") == changed


def test_parts_that_may_be_missing_survive(van):
    bare = dataclasses.replace(
        van, ripple=None, next_check=None, causes=(), separations=(), findings=(), history=()
    )
    assert document.loads_comparison(document.dumps(bare), name="x") == bare


def test_fields_other_programs_rely_on_are_there(van):
    doc = document.to_json(van)
    assert list(doc)[:7] == [
        "format", "cams", "separations", "limits", "causes", "verdict", "findings",
    ]  # fmt: skip
    assert doc["format"] == "crankwise.comparison/1"
    assert set(doc["cams"][0]) >= {
        "role", "shift_deg", "uncertainty_deg", "shift_teeth", "direction",
    }  # fmt: skip
    assert set(doc["separations"][0]) >= {
        "between", "change_deg", "uncertainty_deg", "motion",
    }  # fmt: skip
    assert len(doc["separations"][0]["between"]) == 2
    assert doc["limits"]["basis"] == "same-vehicle"
    assert set(doc["causes"][0]) >= {"cause", "probability", "because"}
    assert set(doc["verdict"]) >= {"level", "reasons", "advice"}
    assert doc["verdict"]["level"] == "worn"
    assert set(doc["findings"][0]) == {"code", "level", "text"}


def test_every_recording_is_named_by_its_digest(van):
    doc = document.to_json(van)
    assert {len(side["sha256"]) for side in (doc["subject"], *doc["known_goods"])} == {64}


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_a_number_json_has_not_is_refused_when_writing(van, number):
    with pytest.raises(ValueError, match=r"cams\[0\]\.dof"):
        document.dumps(with_first_cam(van, dof=number))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not JSON (line 1, column 1"),
        ("[]", "not a comparison; make one with: crankwise compare -o"),
        ("{}", "no saved comparison"),
        ('{"format": "crankwise.comparison/2"}', "format 2, and this Crankwise reads format 1"),
        ('{"format": "crankwise.measurement/1"}', "holds crankwise.measurement"),
        ('{"format": "crankwise.comparison/1"}', "save the comparison again"),
        ('{"format": "crankwise.comparison/1", "limits": {"a": NaN}}', "limits.a is not a finite"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(text, said):
    with pytest.raises(UnreadableError) as caught:
        document.loads_comparison(text, name="compared.json")
    assert said in str(caught.value)
    assert str(caught.value).startswith("compared.json: ")
    assert "\n" not in str(caught.value)


def test_a_comparison_is_no_measurement_and_the_other_way_round():
    with pytest.raises(UnreadableError, match="give the measurement instead"):
        document.load(VAN)
    with pytest.raises(UnreadableError, match="give the comparison instead"):
        document.load_comparison(INPUTS / "van.json")


def test_fields_of_a_later_version_are_passed_over(van):
    doc = json.loads(VAN.read_text(encoding="utf-8"))
    doc["cams"][0]["colour"] = "blue"
    assert document.loads_comparison(json.dumps(doc), name="x") == van


def test_files_that_are_not_there_are_named(tmp_path):
    with pytest.raises(UnreadableError, match=r"gone\.json: it can't be opened"):
        document.load_comparison(tmp_path / "gone.json")
    (tmp_path / "van.bin").write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(UnreadableError, match="not a saved comparison"):
        document.load_comparison(tmp_path / "van.bin")


@pytest.mark.parametrize("which", ["subject", "known-good"])
def test_no_recording_that_took_part_is_written_over(van, tmp_path, which):
    recording = tmp_path / "a.csv"
    recording.write_bytes(b"the only copy")
    digest = sha256_of(recording)
    if which == "subject":
        side = dataclasses.replace(van.subject, sha256=digest)
        comparison = dataclasses.replace(van, subject=side)
    else:
        side = dataclasses.replace(van.known_goods[0], sha256=digest)
        comparison = dataclasses.replace(van, known_goods=(van.known_goods[0], side))
    with pytest.raises(UsageError, match="is a recording itself"):
        document.save(comparison, recording)
    assert recording.read_bytes() == b"the only copy"


@pytest.mark.parametrize(
    ("content", "is_document"),
    [
        (b'{"format": 1}', True),
        (b"\xef\xbb\xbf \r\n\t{", True),
        (b"", False),
        (b"[1]", False),
        (b"time,CH1\n{", False),
        (b"\x00\x01{", False),
    ],
)
def test_documents_are_told_from_recordings_by_how_they_begin(tmp_path, content, is_document):
    (tmp_path / "x.json").write_bytes(content)
    assert document.looks_like_document(tmp_path / "x.json") is is_document
    assert not document.looks_like_document(tmp_path / "gone.json")
    assert not document.looks_like_document(tmp_path)
