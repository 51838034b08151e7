"""The published JSON Schemas, checked by a validator that is not ours."""

from __future__ import annotations

import copy
import json
from pathlib import Path

import jsonschema
import pytest

from crankwise import document, schemas
from crankwise.errors import UnreadableError

INPUTS = Path(__file__).parent / "snapshots" / "inputs"
FOLDER = Path(schemas.__file__).parent
COMMITTED = {
    "measurement": json.loads((FOLDER / schemas.MEASUREMENT_FILE).read_text(encoding="utf-8")),
    "comparison": json.loads((FOLDER / schemas.COMPARISON_FILE).read_text(encoding="utf-8")),
}
MADE = {"measurement": schemas.measurement_schema, "comparison": schemas.comparison_schema}
READ = {"measurement": document.loads, "comparison": document.loads_comparison}
DOCUMENTS = {
    "measurement": json.loads((INPUTS / "t20.json").read_text(encoding="utf-8")),
    "comparison": json.loads((INPUTS / "van-compared.json").read_text(encoding="utf-8")),
}

# One value that breaks each rule, by class and field, and where such a field stands.
BROKEN_MEASUREMENT = {
    ("Measurement", "format"): ("format", "crankwise.measurement/9"),
    ("RecordingInfo", "sha256"): ("recording.sha256", "ABC"),
    ("RecordingInfo", "duration_s"): ("recording.duration_s", 0.0),
    ("RecordingInfo", "interval_s"): ("recording.interval_s", -1e-5),
    ("CrankMeasurement", "timing_edge"): ("crank.timing_edge", "up"),
    ("CrankMeasurement", "sensor"): ("crank.sensor", "optical"),
    ("CrankMeasurement", "teeth_per_rev"): ("crank.teeth_per_rev", 0),
    ("CrankMeasurement", "pitch_deg"): ("crank.pitch_deg", 0.0),
    ("CrankMeasurement", "intervals_deg"): ("crank.intervals_deg.0", -6.0),
    ("CrankMeasurement", "revolutions"): ("crank.revolutions", -1),
    ("CrankMeasurement", "tooth_error_sd_deg"): ("crank.tooth_error_sd_deg", -0.1),
    ("CrankMeasurement", "tooth_level"): ("crank.tooth_level", "middle"),
    ("CrankMeasurement", "repeats"): ("crank.repeats", 0),
    ("SpeedRange", "min"): ("crank.speed_rpm.min", -1.0),
    ("SpeedRange", "mean"): ("crank.speed_rpm.mean", 1e13),
    ("SpeedRange", "max"): ("crank.speed_rpm.max", 1e13),
    ("WheelChoice", "confidence"): ("crank.choice.confidence", 1.1),
    ("Contribution", "standard_deg"): ("cams.0.edges.0.budget.0.standard_deg", -1.0),
    ("Contribution", "kind"): ("cams.0.edges.0.budget.0.kind", "C"),
    ("CamMeasurement", "role"): ("cams.0.role", "crank"),
    ("CamMeasurement", "sensor"): ("cams.0.sensor", ""),
    ("CamMeasurement", "cycles"): ("cams.0.cycles", -1),
    ("CamMeasurement", "moving_deg"): ("cams.0.moving_deg", -1.0),
    ("CamMeasurement", "common_scatter_deg"): ("cams.0.common_scatter_deg", -1.0),
    ("CamMeasurement", "delay_s"): ("cams.0.delay_s", 1.5),
    ("CamMeasurement", "delay_uncertainty_s"): ("cams.0.delay_uncertainty_s", -1e-6),
    ("CamEdge", "edge"): ("cams.0.edges.0.edge", "low"),
    ("CamEdge", "angle_deg"): ("cams.0.edges.0.angle_deg", -0.01),
    ("CamEdge", "scatter_deg"): ("cams.0.edges.0.scatter_deg", -0.01),
    ("CamEdge", "uncertainty_deg"): ("cams.0.edges.0.uncertainty_deg", -0.01),
    ("CamEdge", "coverage_factor"): ("cams.0.edges.0.coverage_factor", 0.0),
    ("CamEdge", "count"): ("cams.0.edges.0.count", -1),
    ("CamEdge", "rejected"): ("cams.0.edges.0.rejected", -1),
}
BROKEN_COMPARISON = {
    ("Comparison", "format"): ("format", "crankwise.comparison/0"),
    ("SideInfo", "sha256"): ("known_goods.0.sha256", "abc"),
    ("SideInfo", "timing_edge"): ("subject.timing_edge", "both"),
    ("SpeedRange", "min"): ("subject.speed_rpm.min", -1.0),
    ("Contribution", "kind"): ("cams.1.budget.0.kind", "C"),
    ("CrankTeeth", "pitch_deg"): ("crank.pitch_deg", 0.0),
    ("EdgeShift", "edge"): ("cams.0.edges.0.edge", "up"),
    ("EdgeShift", "subject_deg"): ("cams.0.edges.0.subject_deg", 720.0),
    ("EdgeShift", "known_good_deg"): ("cams.0.edges.0.known_good_deg", -0.5),
    ("EdgeShift", "uncertainty_deg"): ("cams.0.edges.0.uncertainty_deg", -0.5),
    ("HealthyLimits", "coverage"): ("cams.0.healthy.coverage", 99.7),
    ("HealthyLimits", "known_goods"): ("separations.0.healthy.known_goods", -1),
    ("CamShift", "role"): ("cams.0.role", "inlet"),
    ("CamShift", "uncertainty_deg"): ("cams.0.uncertainty_deg", -0.1),
    ("CamShift", "standard_deg"): ("cams.0.standard_deg", -0.1),
    ("CamShift", "dof"): ("cams.0.dof", 0.0),
    ("CamShift", "scatter_ratio"): ("cams.0.scatter_ratio", -1.0),
    ("CamShift", "consistency"): ("cams.0.consistency", 1.5),
    ("SeparationChange", "uncertainty_deg"): ("separations.0.uncertainty_deg", -0.1),
    ("SeparationChange", "standard_deg"): ("separations.0.standard_deg", -0.1),
    ("SeparationChange", "dof"): ("separations.0.dof", -3.0),
    ("RippleShift", "order"): ("ripple.order", 0.0),
    ("RippleShift", "uncertainty_deg"): ("ripple.uncertainty_deg", -0.1),
    ("Cause", "probability"): ("causes.0.probability", 81.0),
    ("LimitsInfo", "code_limit_deg"): ("limits.code_limit_deg", 0.0),
    ("LimitsInfo", "worn_from_deg"): ("limits.worn_from_deg", -4.0),
    ("LimitsInfo", "known_goods"): ("limits.known_goods", -1),
}
BROKEN = {
    **{("measurement", *rule): where for rule, where in BROKEN_MEASUREMENT.items()},
    **{("comparison", *rule): where for rule, where in BROKEN_COMPARISON.items()},
}


def validator(kind: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(COMMITTED[kind])


def places(error: jsonschema.ValidationError) -> set[str]:
    """Where an error is, or where the alternatives it lists fail."""
    own = {".".join(map(str, error.absolute_path))}
    return own.union(*map(places, error.context)) if error.context else own


def with_value(doc: dict, path: str, value: object) -> dict:
    """Return the document with one value changed; ``path`` like ``cams.0.role``."""
    doc = copy.deepcopy(doc)
    *way, last = [int(key) if key.isdigit() else key for key in path.split(".")]
    place = doc
    for key in way:
        place = place[key]
    place[last] = value
    return doc


@pytest.mark.parametrize("kind", COMMITTED)
def test_the_committed_schema_is_the_one_the_code_makes(kind):
    assert MADE[kind]() == COMMITTED[kind], "run scripts/write_generated.py"


@pytest.mark.parametrize("kind", COMMITTED)
def test_the_schema_is_itself_valid(kind):
    jsonschema.Draft202012Validator.check_schema(COMMITTED[kind])


@pytest.mark.parametrize("path", sorted(INPUTS.glob("*.json")), ids=lambda path: path.stem)
def test_saved_documents_validate(path):
    values = json.loads(path.read_text(encoding="utf-8"))
    kind = values.get("format", "").removeprefix("crankwise.").removesuffix("/1")
    # Beside the documents lie values that pictures are drawn from, which have no schema.
    if path.stem.endswith(("-history", "-population")):
        assert kind not in COMMITTED
    else:
        validator(kind).validate(values)


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        ("measurement", ["format", "recording", "crank", "cams", "findings"]),
        (
            "comparison",
            ["format", "subject", "known_goods", "cams", "separations", "ripple", "limits",
             "causes", "next_check", "verdict", "findings"],
        ),
    ],
)  # fmt: skip
def test_a_document_of_the_required_fields_is_enough(kind, fields):
    assert COMMITTED[kind]["required"] == fields
    least = {key: DOCUMENTS[kind][key] for key in fields}
    validator(kind).validate(least)
    assert READ[kind](json.dumps(least), name="x").cams


@pytest.mark.parametrize("kind", COMMITTED)
@pytest.mark.parametrize("field", ["format", "cams", "findings"])
def test_schema_and_reader_miss_the_same_fields(kind, field):
    doc = {key: value for key, value in DOCUMENTS[kind].items() if key != field}
    assert list(validator(kind).iter_errors(doc))
    with pytest.raises(UnreadableError):
        READ[kind](json.dumps(doc), name="x")


def test_every_rule_has_a_value_that_breaks_it():
    assert {rule[1:] for rule in BROKEN} == set(schemas.RULES)


@pytest.mark.parametrize("rule", BROKEN, ids=".".join)
def test_schema_and_reader_refuse_the_same_values(rule):
    kind = rule[0]
    path, value = BROKEN[rule]
    doc = with_value(DOCUMENTS[kind], path, value)
    (error,) = validator(kind).iter_errors(doc)
    assert path in places(error)
    with pytest.raises(UnreadableError):
        READ[kind](json.dumps(doc), name="x")


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("verdict.level", "fine"),
        ("cams.0.direction", "later"),
        ("separations.0.motion", "apart"),
        ("limits.basis", "guess"),
        ("findings.0.level", "bad"),
        ("separations.0.between", ["intake"]),
        ("cams.0.healthy", 3.0),
    ],
)
def test_words_of_a_comparison_are_from_a_list(path, value):
    doc = with_value(DOCUMENTS["comparison"], path, value)
    assert list(validator("comparison").iter_errors(doc))
    with pytest.raises(UnreadableError) as caught:
        document.loads_comparison(json.dumps(doc), name="x")
    assert path.replace(".0", "[0]") in str(caught.value)


@pytest.mark.parametrize(
    ("kind", "name"), [("measurement", "CamEdge"), ("comparison", "HealthyLimits")]
)
def test_fields_are_described(kind, name):
    described = COMMITTED[kind]["$defs"][name]["properties"]
    assert all(entry.get("description") for entry in described.values())
