"""The quick ways of the store give what the thorough ones give."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crankwise import document
from crankwise.comparison.match import match
from crankwise.comparison.separation import pairs_of
from crankwise.document.kinds import broken_rules
from crankwise.errors import NotMeasurableError
from crankwise.judge.policy import load_policy
from crankwise.model.job import VehicleDetails
from crankwise.schemas import RULES
from crankwise.store.placing import limits_of, match_plain, place, spacings_deg
from crankwise.store.privacy import naming, neutral
from crankwise.store.rules import keeps_rules

INPUTS = Path(__file__).parent / "snapshots" / "inputs"
T20 = document.load(INPUTS / "t20.json")
V6 = document.load(INPUTS / "v6.json")
POLICY = load_policy(None)
LIMITS = limits_of(POLICY)


def moved(base, shifts, seed, spread_deg, turn_deg=0.0):
    random = np.random.default_rng(seed)
    cams = []
    for cam, shift in zip(base.cams, shifts, strict=True):
        off = shift + turn_deg + random.normal(0.0, spread_deg, len(cam.edges))
        edges = [
            replace(edge, angle_deg=float((edge.angle_deg + by) % 720.0))
            for edge, by in zip(cam.edges, off, strict=True)
        ]
        cams.append(replace(cam, edges=tuple(sorted(edges, key=lambda edge: edge.angle_deg))))
    return replace(base, cams=tuple(cams))


@given(
    shifts=st.tuples(st.floats(-25, 25), st.floats(-25, 25)),
    seed=st.integers(0, 10**6),
    spread_deg=st.sampled_from([0.01, 0.3, 0.9]),
    turn_deg=st.sampled_from([0.0, 360.0]),
)
@settings(max_examples=60, deadline=None)
def test_the_quick_way_lays_cams_as_the_full_search(shifts, seed, spread_deg, turn_deg):
    subject = moved(T20, shifts, seed, spread_deg, turn_deg)
    quick = match_plain(subject, T20, LIMITS)
    if quick is None:
        return  # left to the full search
    full = match(subject, T20, LIMITS)
    assert len(full.cams) == len(quick.cams)
    assert quick.is_turned == (full.turn_deg != 0.0)
    for mine, theirs in zip(
        sorted(quick.cams, key=lambda cam: cam.known_good.role),
        sorted(full.cams, key=lambda cam: cam.known_good.role),
        strict=True,
    ):
        assert (mine.subject.role, mine.inverted) == (theirs.subject.role, theirs.inverted)
        assert mine.subject_edges == theirs.subject_edges
        assert mine.difference_deg == pytest.approx(theirs.difference_deg, abs=1e-9)


def test_the_quick_way_is_taken_for_what_is_usual():
    assert match_plain(moved(T20, (1.5, -2.0), 1, 0.2), T20, LIMITS) is not None
    assert match_plain(moved(V6, (1.5, -2.0, 1.0, 0.0), 1, 0.2), V6, LIMITS) is not None


def test_the_quick_way_leaves_the_unusual_to_the_full_search():
    other = {"rising": "falling", "falling": "rising"}
    inverted = replace(T20, cams=tuple(
        replace(cam, edges=tuple(replace(e, edge=other[e.edge]) for e in cam.edges))
        for cam in T20.cams))  # fmt: skip
    unnamed = replace(T20, cams=tuple(
        replace(cam, role=f"cam-{number}") for number, cam in enumerate(T20.cams, 1)))  # fmt: skip
    flank = replace(T20, crank=replace(T20.crank, timing_edge="rising", tooth_level="unknown"))
    for unusual in (inverted, unnamed, flank):
        assert match_plain(unusual, T20, LIMITS) is None
        placed = place(unusual, T20, policy=POLICY)
        assert [cam.role for cam in placed] == [cam.role for cam in T20.cams]
    with pytest.raises(NotMeasurableError):
        place(V6, T20, policy=POLICY)


def test_spacings_do_not_depend_on_where_a_cam_stands():
    cam = T20.cams[0]
    turned = moved(T20, (123.4, 0.0), 1, 0.0).cams[0]
    assert sorted(spacings_deg(turned)) == pytest.approx(sorted(spacings_deg(cam)))
    assert spacings_deg(cam).sum() == pytest.approx(720.0)
    assert pairs_of(["intake", "exhaust"])  # the two that the statistics call a separation


def every_rule():
    """Each rule of a measurement with a value that breaks it, put where it first applies."""
    odd = {"const": "?", "enum": "?", "pattern": "?", "minimum": -2, "exclusiveMinimum": -1.0,
           "maximum": 2.0, "exclusiveMaximum": 720.0, "items": (0.0,)}  # fmt: skip
    for (kind, name), rule in RULES.items():
        if broken := _broken(T20, kind, name, odd[next(iter(rule.schema))]):
            yield pytest.param(broken, id=f"{kind}.{name}")


def _broken(value, kind, name, odd):
    """Copy of a dataclass with one field inside it changed; None where there is no such field."""
    if isinstance(value, tuple):
        for index, item in enumerate(value):
            if (new := _broken(item, kind, name, odd)) is not None:
                return (*value[:index], new, *value[index + 1 :])
        return None
    if not dataclasses.is_dataclass(value):
        return None
    if type(value).__name__ == kind:
        return replace(value, **{name: odd})
    for field in dataclasses.fields(value):
        if (new := _broken(getattr(value, field.name), kind, name, odd)) is not None:
            return replace(value, **{field.name: new})
    return None


@pytest.mark.parametrize("broken", list(every_rule()))
def test_rules_are_kept_as_in_documents(broken):
    assert list(broken_rules(broken))
    assert not keeps_rules(broken)


@pytest.mark.parametrize("sound", [T20, V6], ids=["t20", "v6"])
def test_sound_measurements_keep_the_rules(sound):
    assert keeps_rules(sound)


# --- privacy ------------------------------------------------------------------------------------


def test_the_name_of_the_file_is_taken_out_wherever_it_stands():
    name = "Petal BR12ABC.csv"
    named = replace(
        T20,
        recording=replace(T20.recording, name=name),
        findings=(replace(T20.findings[0], text=f"{name}: look again"),),
    )
    plain = neutral(named)
    assert plain.recording.name == f"known-good-{T20.recording.sha256[:8]}.csv"
    assert "Petal" not in document.dumps(plain)
    assert neutral(plain) == plain
    assert (plain.cams, plain.crank) == (T20.cams, T20.crank)


@pytest.mark.parametrize(
    ("details", "words", "what"),
    [
        (VehicleDetails(plate="BR 12 ABC"), "seen br-12abc today", "plate"),
        (VehicleDetails(plate="BR12ABC"), "van_BR12ABC_idle", "plate"),
        (VehicleDetails(plate="BR12ABC"), "vanBR12ABCidle", "plate"),
        (VehicleDetails(plate="AB 1"), "AB1 warm", "plate"),
        (VehicleDetails(vin="BRM00000000200003"), "brm00000000200003", "vin"),
        (VehicleDetails(customer="Petal & Stem Ltd"), "for Petal", "customer"),
        (VehicleDetails(customer="Jo Li"), "jo li's van", "customer"),
        (VehicleDetails(plate="AB 1"), "AB12 warm", None),
        (VehicleDetails(customer="Jo Li"), "the jo", None),
        (VehicleDetails(customer="Petal"), "petals", None),
        (VehicleDetails(), "anything", None),
        (VehicleDetails(customer=" - "), "anything - at all", None),
    ],
)
def test_names_are_found_however_they_are_written(details, words, what):
    found = naming({"provenance": {"conditions": words}}, [details])
    assert found == (what and ("provenance.conditions", what))


def test_a_customer_called_like_a_word_of_the_program_stops_nothing():
    values = json.loads(document.dumps(T20))
    assert naming(values, [VehicleDetails(customer="Falling Hall Edge")]) is None
    values["roles"]["Petal's crank"] = "crank"
    found = naming(values, [VehicleDetails(customer="Petal")])
    assert found == ("roles.Petal's crank", "customer")
