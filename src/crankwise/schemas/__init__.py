"""JSON Schemas of the documents, made from the dataclasses and one table of rules.

The committed ``*.schema.json`` files are what others validate with; a test holds them current.
"""

from __future__ import annotations

import inspect
import operator
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from crankwise.model import comparison, finding, measurement, shelf

MEASUREMENT_FILE: Final = "measurement-1.schema.json"
COMPARISON_FILE: Final = "comparison-1.schema.json"
KNOWN_GOOD_FILE: Final = "known-good-1.schema.json"


@dataclass(frozen=True, slots=True)
class Rule:
    """What a value must keep beyond its type, in words and in JSON Schema keywords."""

    words: str
    schema: Mapping[str, Any]


def _one_of(*values: str) -> Rule:
    return Rule("one of " + ", ".join(values), {"enum": list(values)})


_POSITIVE = Rule("greater than 0", {"exclusiveMinimum": 0})
_NOT_NEGATIVE = Rule("0 or more", {"minimum": 0})
_STEPS = Rule(
    "all from 0.01 to 720", {"items": {"type": "number", "minimum": 0.01, "maximum": 720}}
)
_AMOUNT = Rule("from 0 to 1e12", {"minimum": 0, "maximum": 1e12})
"""What is squared on the way: more would leave the range of numbers."""
_PROBABILITY = Rule("from 0 to 1", {"minimum": 0, "maximum": 1})
_ANGLE = Rule("from 0 to below 720", {"minimum": 0, "exclusiveMaximum": 720})
_DIRECTION = _one_of("rising", "falling")
_SENSOR = _one_of("hall", "variable-reluctance", "logic")
_SHA256 = Rule("64 hexadecimal digits in lower case", {"pattern": "^[0-9a-f]{64}$"})
_ROLE = Rule(
    "a role such as intake, exhaust-2 or cam-1",
    {"pattern": r"^(?:(?:intake|exhaust)(?:-[1-9][0-9]*)?|cam-[1-9][0-9]*)$"},
)

RULES: Final[Mapping[tuple[str, str], Rule]] = {
    ("Measurement", "format"): Rule(measurement.FORMAT, {"const": measurement.FORMAT}),
    ("RecordingInfo", "sha256"): _SHA256,
    ("RecordingInfo", "duration_s"): _POSITIVE,
    ("RecordingInfo", "interval_s"): _POSITIVE,
    ("CrankMeasurement", "timing_edge"): _DIRECTION,
    ("CrankMeasurement", "sensor"): _SENSOR,
    ("CrankMeasurement", "teeth_per_rev"): Rule("1 or more", {"minimum": 1}),
    ("CrankMeasurement", "pitch_deg"): _POSITIVE,
    ("CrankMeasurement", "intervals_deg"): _STEPS,
    ("CrankMeasurement", "revolutions"): _NOT_NEGATIVE,
    ("CrankMeasurement", "tooth_error_sd_deg"): _AMOUNT,
    ("CrankMeasurement", "tooth_level"): _one_of("high", "low", "unknown"),
    ("CrankMeasurement", "repeats"): Rule("1 or more", {"minimum": 1}),
    ("SpeedRange", "mean"): _AMOUNT,
    ("SpeedRange", "min"): _AMOUNT,
    ("SpeedRange", "max"): _AMOUNT,
    ("WheelChoice", "confidence"): _PROBABILITY,
    ("Contribution", "standard_deg"): _AMOUNT,
    ("Contribution", "kind"): _one_of("A", "B"),
    ("CamMeasurement", "role"): _ROLE,
    ("CamMeasurement", "sensor"): _SENSOR,
    ("CamMeasurement", "cycles"): _NOT_NEGATIVE,
    ("CamMeasurement", "moving_deg"): _AMOUNT,
    ("CamMeasurement", "common_scatter_deg"): _AMOUNT,
    ("CamMeasurement", "delay_s"): Rule("from -1 to 1", {"minimum": -1, "maximum": 1}),
    ("CamMeasurement", "delay_uncertainty_s"): _AMOUNT,
    ("CamEdge", "edge"): _DIRECTION,
    ("CamEdge", "angle_deg"): _ANGLE,
    ("CamEdge", "scatter_deg"): _AMOUNT,
    ("CamEdge", "uncertainty_deg"): _AMOUNT,
    ("CamEdge", "coverage_factor"): Rule("from 0.1 to 1000", {"minimum": 0.1, "maximum": 1000}),
    ("CamEdge", "count"): _NOT_NEGATIVE,
    ("CamEdge", "rejected"): _NOT_NEGATIVE,
    ("Comparison", "format"): Rule(comparison.FORMAT, {"const": comparison.FORMAT}),
    ("SideInfo", "sha256"): _SHA256,
    ("SideInfo", "timing_edge"): _DIRECTION,
    ("CrankTeeth", "pitch_deg"): _POSITIVE,
    ("EdgeShift", "edge"): _DIRECTION,
    ("EdgeShift", "subject_deg"): _ANGLE,
    ("EdgeShift", "known_good_deg"): _ANGLE,
    ("EdgeShift", "uncertainty_deg"): _NOT_NEGATIVE,
    ("HealthyLimits", "coverage"): _PROBABILITY,
    ("HealthyLimits", "known_goods"): _NOT_NEGATIVE,
    ("CamShift", "role"): _ROLE,
    ("CamShift", "uncertainty_deg"): _NOT_NEGATIVE,
    ("CamShift", "standard_deg"): _NOT_NEGATIVE,
    ("CamShift", "dof"): _POSITIVE,
    ("CamShift", "scatter_ratio"): _NOT_NEGATIVE,
    ("CamShift", "consistency"): _PROBABILITY,
    ("SeparationChange", "uncertainty_deg"): _NOT_NEGATIVE,
    ("SeparationChange", "standard_deg"): _NOT_NEGATIVE,
    ("SeparationChange", "dof"): _POSITIVE,
    ("RippleShift", "order"): _POSITIVE,
    ("RippleShift", "uncertainty_deg"): _NOT_NEGATIVE,
    ("Cause", "probability"): _PROBABILITY,
    ("LimitsInfo", "code_limit_deg"): _POSITIVE,
    ("LimitsInfo", "worn_from_deg"): _POSITIVE,
    ("LimitsInfo", "known_goods"): _NOT_NEGATIVE,
}
"""Rules by class and field; used both in the schema and when a document is read."""

_KNOWN_GOOD_ID = Rule("16 hexadecimal digits in lower case", {"pattern": "^[0-9a-f]{16}$"})
KNOWN_GOOD_RULES: Final[Mapping[tuple[str, str], Rule]] = {
    ("KnownGood", "format"): Rule(shelf.FORMAT, {"const": shelf.FORMAT}),
    ("KnownGood", "id"): _KNOWN_GOOD_ID,
    ("KnownGood", "supersedes"): _KNOWN_GOOD_ID,
    ("KnownGood", "content_sha256"): _SHA256,
}
"""The same for what a known-good has around its measurement."""


_KEYWORDS: Final[Mapping[str, Callable[[Any, Any], bool]]] = {
    "const": operator.eq,
    "enum": lambda value, limit: value in limit,
    "pattern": lambda value, limit: re.fullmatch(limit, value) is not None,  # also before "\n"
    "minimum": operator.ge,
    "exclusiveMinimum": operator.gt,
    "maximum": operator.le,
    "exclusiveMaximum": operator.lt,
    "items": lambda value, limit: all(
        limit["minimum"] <= item <= limit["maximum"] for item in value
    ),
}


def broken_rule(rule: Rule, value: Any) -> bool:
    """Whether the value breaks the rule.

    >>> broken_rule(Rule("from 0 to 1", {"minimum": 0, "maximum": 1}), 1.5)
    True
    """
    return not all(_KEYWORDS[keyword](value, limit) for keyword, limit in rule.schema.items())


def measurement_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of ``crankwise.measurement/1``."""
    return _schema(measurement.Measurement, "measurement")


def comparison_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of ``crankwise.comparison/1``."""
    return _schema(comparison.Comparison, "comparison")


def known_good_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of ``crankwise.known-good/1``."""
    made = _schema(shelf.KnownGood, "known-good")
    inner = made["$defs"]["Measurement"]
    inner["required"] = ["format", *inner["required"]]
    return made


def _schema(model: type[Any], noun: str) -> dict[str, Any]:
    from pydantic import TypeAdapter  # noqa: PLC0415  slow to import, rarely needed

    made = TypeAdapter(model).json_schema()
    definitions = made.pop("$defs")
    for name, definition in definitions.items():
        _refine(name, definition)
    _refine(model.__name__, made)
    made["required"] = ["format", *made["required"]]
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:crankwise:{noun}:1",
        "title": f"Crankwise {noun}, format 1",
    }
    return head | made | {"$defs": definitions}


def _refine(name: str, definition: dict[str, Any]) -> None:
    """Put the docstring's words on the fields and the rules beside the types."""
    homes = (measurement, comparison, shelf, finding)
    cls = next(getattr(home, name) for home in homes if hasattr(home, name))
    summary, described = _split_docstring(inspect.cleandoc(cls.__doc__ or ""))
    definition["description"] = summary
    definition.pop("title", None)
    for field, entry in definition["properties"].items():
        entry.pop("title", None)
        if field in described:
            entry["description"] = described[field]
        rule = RULES.get((name, field)) or KNOWN_GOOD_RULES.get((name, field))
        if rule is not None:
            target = next(
                (part for part in entry.get("anyOf", []) if part.get("type") != "null"), entry
            )
            target.update(rule.schema)


def _split_docstring(text: str) -> tuple[str, dict[str, str]]:
    """Split a numpy-style class docstring into its prose and the words on each attribute."""
    prose, _, attributes = text.partition("\n\nAttributes\n----------\n")
    described: dict[str, str] = {}
    for names, words in re.findall(
        r"^(\S[^\n]*?) : [^\n]*\n((?:[ ]+[^\n]*\n?)+)", attributes, re.MULTILINE
    ):
        for name in names.split(", "):
            described[name] = _one_line(words)
    return _one_line(prose), described


def _one_line(text: str) -> str:
    return " ".join(text.replace("``", "").split())
