"""The published JSON Schema, checked by a validator that is not ours."""

from __future__ import annotations

import copy
import json
from pathlib import Path

import jsonschema
import pytest

from crankwise import document, schemas
from crankwise.errors import UnreadableError

INPUTS = Path(__file__).parent / "snapshots" / "inputs"
COMMITTED = json.loads(
    (Path(schemas.__file__).parent / schemas.FILE_NAME).read_text(encoding="utf-8")
)
T20 = json.loads((INPUTS / "t20.json").read_text(encoding="utf-8"))

# One value that breaks each rule, by class and field, and where such a field stands.
BROKEN = {
    ("Measurement", "format"): ("format", "crankwise.measurement/9"),
    ("RecordingInfo", "sha256"): ("recording.sha256", "ABC"),
    ("RecordingInfo", "duration_s"): ("recording.duration_s", 0.0),
    ("RecordingInfo", "interval_s"): ("recording.interval_s", -1e-5),
    ("CrankMeasurement", "timing_edge"): ("crank.timing_edge", "up"),
    ("CrankMeasurement", "sensor"): ("crank.sensor", "optical"),
    ("CrankMeasurement", "teeth_per_rev"): ("crank.teeth_per_rev", 0),
    ("CrankMeasurement", "pitch_deg"): ("crank.pitch_deg", 0.0),
    ("CrankMeasurement", "revolutions"): ("crank.revolutions", -1),
    ("CrankMeasurement", "tooth_error_sd_deg"): ("crank.tooth_error_sd_deg", -0.1),
    ("SpeedRange", "min"): ("crank.speed_rpm.min", -1.0),
    ("WheelChoice", "confidence"): ("crank.choice.confidence", 1.1),
    ("Contribution", "standard_deg"): ("cams.0.edges.0.budget.0.standard_deg", -1.0),
    ("Contribution", "kind"): ("cams.0.edges.0.budget.0.kind", "C"),
    ("CamMeasurement", "role"): ("cams.0.role", "crank"),
    ("CamMeasurement", "sensor"): ("cams.0.sensor", ""),
    ("CamMeasurement", "cycles"): ("cams.0.cycles", -1),
    ("CamMeasurement", "moving_deg"): ("cams.0.moving_deg", -1.0),
    ("CamMeasurement", "common_scatter_deg"): ("cams.0.common_scatter_deg", -1.0),
    ("CamEdge", "edge"): ("cams.0.edges.0.edge", "low"),
    ("CamEdge", "angle_deg"): ("cams.0.edges.0.angle_deg", -0.01),
    ("CamEdge", "scatter_deg"): ("cams.0.edges.0.scatter_deg", -0.01),
    ("CamEdge", "uncertainty_deg"): ("cams.0.edges.0.uncertainty_deg", -0.01),
    ("CamEdge", "count"): ("cams.0.edges.0.count", -1),
    ("CamEdge", "rejected"): ("cams.0.edges.0.rejected", -1),
}


def validator() -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(COMMITTED)


def test_the_committed_schema_is_the_one_the_code_makes():
    assert schemas.measurement_schema() == COMMITTED, "run scripts/write_generated.py"


def test_the_schema_is_itself_valid():
    jsonschema.Draft202012Validator.check_schema(COMMITTED)


@pytest.mark.parametrize("name", ["t20", "v6", "van"])
def test_saved_documents_validate(name):
    validator().validate(json.loads((INPUTS / f"{name}.json").read_text(encoding="utf-8")))


def test_the_documents_in_the_design_need_nothing_more_than_is_required():
    required = COMMITTED["required"]
    assert required == ["format", "recording", "crank", "cams", "findings"]
    least = {key: T20[key] for key in required}
    validator().validate(least)
    assert document.loads(json.dumps(least), name="x").cams[0].role == "intake"


@pytest.mark.parametrize("rule", schemas.RULES, ids=".".join)
def test_schema_and_reader_refuse_the_same_values(rule):
    path, value = BROKEN[rule]
    *way, last = [int(key) if key.isdigit() else key for key in path.split(".")]
    doc = copy.deepcopy(T20)
    place = doc
    for key in way:
        place = place[key]
    place[last] = value
    errors = list(validator().iter_errors(doc))
    assert [".".join(map(str, e.absolute_path)) for e in errors] == [path]
    with pytest.raises(UnreadableError):
        document.loads(json.dumps(doc), name="x")


def test_every_field_of_an_edge_is_described():
    described = COMMITTED["$defs"]["CamEdge"]["properties"]
    assert all(entry.get("description") for entry in described.values())
