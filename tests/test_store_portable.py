"""Known-goods as files: the published schema, identity, and files that are no known-goods."""

from __future__ import annotations

import copy
import json
import zipfile
from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crankwise import document, schemas
from crankwise.errors import UnreadableError, UsageError
from crankwise.model.measurement import Provenance
from crankwise.model.shelf import Grade, KnownGood
from crankwise.store import open_store
from crankwise.store.portable import from_text, is_untouched, make, read, to_text, write

INPUTS = Path(__file__).parent / "snapshots" / "inputs"
T20 = document.load(INPUTS / "t20.json")
COMMITTED = json.loads(
    (Path(schemas.__file__).parent / schemas.KNOWN_GOOD_FILE).read_text(encoding="utf-8")
)
WHEN = datetime(2026, 3, 1, 12, 30, 0, 123456, UTC)

text = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
maybe = st.none() | st.booleans()
grades = st.builds(
    Grade, fresh_chain=maybe, verified_by=st.none() | text, warm=maybe, phasers_parked=maybe,
    sensor=st.none() | text, note=text,
)  # fmt: skip
provenances = st.builds(
    Provenance,
    mileage=st.none() | st.floats(0, 1e6), mileage_unit=st.sampled_from([None, "km", "miles"]),
    date=st.none() | st.dates().map(str), conditions=st.none() | text,
    measured_by=st.none() | text,
)  # fmt: skip


@pytest.fixture(scope="module")
def good():
    return make(T20, family="Tarn T20", grade=Grade(warm=True), added_at=WHEN)


def validator():
    return jsonschema.Draft202012Validator(COMMITTED)


def test_the_committed_schema_is_valid_and_the_one_the_code_makes():
    jsonschema.Draft202012Validator.check_schema(COMMITTED)
    assert schemas.known_good_schema() == COMMITTED, "run scripts/write_generated.py"
    assert set(COMMITTED["properties"]) == {field.name for field in fields(KnownGood)}


@pytest.mark.parametrize("name", ["t20", "v6", "van"])
def test_documents_validate_and_read_back(name):
    made = make(document.load(INPUTS / f"{name}.json"), family="F", grade=Grade(), added_at=WHEN)
    validator().validate(json.loads(to_text(made)))
    again = from_text(to_text(made), name="x")
    assert again == made
    assert is_untouched(again)


def test_the_same_content_has_the_same_id_and_other_content_another(good):
    again = make(T20, family="Tarn T20", grade=Grade(warm=True), added_at=datetime.now(UTC))
    assert (again.id, again.content_sha256) == (good.id, good.content_sha256)
    others = (
        make(T20, family="Tarn T21", grade=Grade(warm=True), added_at=WHEN),
        make(T20, family="Tarn T20", grade=Grade(warm=False), added_at=WHEN),
        make(T20, family="Tarn T20", grade=Grade(warm=True), added_at=WHEN, supersedes="0" * 16),
    )
    assert len({good.id, *(other.id for other in others)}) == 4


def changed(good, path, value):
    doc = copy.deepcopy(json.loads(to_text(good)))
    *way, last = [int(key) if key.isdigit() else key for key in path.split(".")]
    place = doc
    for key in way:
        place = place[key]
    if value is KeyError:
        del place[last]
    else:
        place[last] = value
    return doc


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        ("format", "crankwise.known-good/2", "format 2, and this Crankwise reads format 1"),
        ("format", "crankwise.measurement/1", "holds a measurement, not a known-good"),
        ("format", 1, "it is no known-good"),
        ("format", KeyError, "it is no known-good"),
        ("id", "ABC", "id is 'ABC' but must be 16 hexadecimal digits"),
        ("id", KeyError, "id is wrong"),
        ("content_sha256", "0", "content_sha256 is '0' but must be 64"),
        ("supersedes", "none", "supersedes is 'none'"),
        ("added_at", "yesterday", "added_at is wrong"),
        ("added_at", "2026-03-01T10:00:00", "no time zone"),
        ("family", 3, "family is wrong"),
        ("grade.warm", "yes", "grade.warm is wrong"),
        ("retired", {"at": "2026-03-01T10:00:00Z"}, "retired.why is wrong"),
        ("measurement", KeyError, "its measurement is missing"),
        ("measurement.cams.0.edges.0.angle_deg", 720.0, "must be from 0 to below 720"),
        ("measurement.cams.0.edges.0.count", -1, "must be 0 or more"),
        ("measurement.cams.0.role", "both", "must be a role such as"),
        ("measurement.recording.sha256", "1", "must be 64 hexadecimal digits"),
        ("measurement.crank.wheel", KeyError, "crank.wheel is missing"),
    ],
)
def test_what_is_wrong_with_a_document_is_said(good, path, value, said):
    doc = changed(good, path, value)
    with pytest.raises(UnreadableError, match=said) as info:
        from_text(json.dumps(doc), name="shelf.json")
    assert str(info.value).startswith("shelf.json: ")
    if path != "added_at" or value == "yesterday":
        checked = jsonschema.Draft202012Validator(
            COMMITTED, format_checker=jsonschema.FormatChecker()
        )
        if path != "added_at":  # dates need a package of their own to be checked
            assert not checked.is_valid(doc)


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999", "1" * 400])
def test_numbers_that_are_none_are_refused(good, number):
    odd = to_text(good).replace(
        f'"duration_s": {T20.recording.duration_s}', f'"duration_s": {number}'
    )
    assert odd != to_text(good)
    with pytest.raises(UnreadableError):
        from_text(odd, name="x")


def test_a_note_may_say_anything(good):
    made = make(T20, family="Infinity", grade=Grade(note="NaN, 1e999"), added_at=WHEN)
    assert from_text(to_text(made), name="x") == made


@given(grade=grades, provenance=provenances, family=text.filter(str.strip))
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_export_import_export_is_identical(stores, grade, provenance, family):
    one, other, folder = stores
    kept = one.shelf.add(T20, family=family, provenance=provenance, grade=grade)
    try:
        one.shelf.export(folder / "a.json", ids=[kept.id])
        text_of_it = (folder / "a.json").read_text(encoding="utf-8")
        validator().validate(json.loads(text_of_it))
        assert other.shelf.import_file(folder / "a.json").added == (kept.id,)
        other.shelf.export(folder / "b.json", ids=[kept.id])
        assert (folder / "b.json").read_bytes() == (folder / "a.json").read_bytes()
        assert other.shelf.get(kept.id) == kept
    finally:
        one.shelf.retire(kept.id, why="next example")
        other.shelf.retire(kept.id, why="next example")


@pytest.fixture
def stores(tmp_path):
    with open_store(tmp_path / "one") as one, open_store(tmp_path / "other") as other:
        yield one, other, tmp_path


def test_a_bundle_names_the_parts_that_are_wrong(good, tmp_path):
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as bundle:
        bundle.writestr("good.json", to_text(good))
        bundle.writestr("bad.json", "{")
        bundle.writestr("binary.json", b"\xff\xfe\xfa")
        bundle.writestr("large.json", " " * 16_000_001)
        bundle.writestr("readme.txt", "hello")
    parts = dict(read(tmp_path / "a.zip"))
    assert parts.pop("good.json") == good
    assert parts.keys() == {"bad.json", "binary.json", "large.json"}
    assert "not usable JSON" in parts["bad.json"]
    assert "too large" in parts["large.json"]


def cut_bundle(path, good):
    write([good], path)
    data = bytearray(path.read_bytes())
    data[60:200] = bytes(140)
    path.write_bytes(data)


def empty_bundle(path, _good):
    with zipfile.ZipFile(path, "w") as bundle:
        bundle.writestr("readme.txt", "hello")


@pytest.mark.parametrize(
    ("make_file", "said"),
    [
        (cut_bundle, "damaged"),
        (empty_bundle, "there is no known-good in it"),
        (lambda path, _: path.write_bytes(b"\x00\xff\xfe"), "neither a known-good"),
        (lambda path, _: path.write_bytes(b""), "not usable JSON"),
        (lambda path, _: path.write_text("[" * 100_000), "not usable JSON"),
        (lambda path, _: document.save(T20, path.with_suffix(".json")), "can't be opened"),
        (lambda path, _: path.mkdir(), "can't be opened"),
    ],
)
def test_files_that_are_no_shelf_are_refused(tmp_path, good, make_file, said):
    make_file(tmp_path / "a.zip", good)
    with (
        open_store(tmp_path / "shelf") as store,
        pytest.raises(UnreadableError, match=said) as info,
    ):
        store.shelf.import_file(tmp_path / "a.zip")
    assert "\n" not in str(info.value)


def test_files_that_can_not_be_written_are_said(good, tmp_path):
    for path, said in (
        (tmp_path / "a.txt", "end the name in .json"),
        (tmp_path / "none" / "a.json", "can't be written"),
    ):
        with pytest.raises(UsageError, match=said):
            write([good], path)
    with pytest.raises(UsageError, match="holds one known-good, these are 2"):
        write([good, good], tmp_path / "a.json")
    empty = pytest.raises(UsageError, match="no known-good to export")
    with open_store(tmp_path / "shelf") as store, empty:
        store.shelf.export(tmp_path / "a.zip")
    assert {path.name for path in tmp_path.iterdir()} == {"shelf"}
