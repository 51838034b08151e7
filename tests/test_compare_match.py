"""Which cam is which, which way up, where the cycle starts; and what is refused.

Measurements of two simulated engines, changed by hand so that the answer is known exactly.
"""

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from crankwise.comparison.match import Limits, match
from crankwise.errors import NotMeasurableError
from crankwise.pipeline import measure
from crankwise.testing.simulate import (
    DamagedTooth,
    MissingTooth,
    ScopeSpec,
    preset,
    simulate,
)
from crankwise.units import wrap_cycle_deg

# 3 degrees and 60 degrees stand in the policy; healthy edges of one wheel differ by about 0.7.
LIMITS = Limits(edge_residual_deg=3.0, largest_shift_deg=60.0, edge_scale_deg=0.7)
SCOPE = ScopeSpec(duration_s=1.5, kind="events", resolution_s=1e-6)


@cache
def engine(name, seed=1, faults=(), wheel="60-2"):
    spec = preset(name)
    spec = replace(
        spec, scope=SCOPE, faults=faults, crank=replace(spec.crank, wheel=wheel), name=name
    )
    return measure(simulate(spec, seed=seed).recording)


def moved(measurement, shifts=None, *, turn_deg=0.0):
    """Cams moved by their shifts, everything turned."""
    cams = []
    for cam in measurement.cams:
        by = (shifts or {}).get(cam.role, 0.0) + turn_deg
        edges = [replace(e, angle_deg=wrap_cycle_deg(e.angle_deg + by)) for e in cam.edges]
        edges.sort(key=lambda edge: edge.angle_deg)
        cams.append(replace(cam, edges=tuple(edges)))
    return replace(measurement, cams=tuple(cams))


def upside_down(measurement, *roles):
    other = {"rising": "falling", "falling": "rising"}
    cams = tuple(
        replace(cam, edges=tuple(replace(e, edge=other[e.edge]) for e in cam.edges))
        if cam.role in roles
        else cam
        for cam in measurement.cams
    )
    return replace(measurement, cams=cams)


def renamed(measurement, names):
    cams = (replace(cam, role=names[cam.role]) for cam in measurement.cams)
    return replace(measurement, cams=tuple(sorted(cams, key=lambda cam: cam.role)))


def shifts(found):
    return {cam.known_good.channel: cam.shift_deg for cam in found.cams}


def channels(found):
    return {cam.known_good.channel: cam.subject.channel for cam in found.cams}


MOVED = {"intake": 5.0, "exhaust": -2.0}


def test_a_recording_lies_over_itself():
    good = engine("t20-fresh-chain")
    found = match(good, good, LIMITS)
    assert shifts(found) == {"intake": 0.0, "exhaust": 0.0}
    assert all(np.all(cam.difference_deg == 0.0) for cam in found.cams)
    assert (found.turn_deg, found.edge_deg, found.edge_standard_deg) == (0.0, 0.0, 0.0)
    assert found.remarks == ()


@pytest.mark.parametrize("turn_deg", [0.0, 360.0])
@pytest.mark.parametrize("flipped", [(), ("intake",), ("exhaust",), ("intake", "exhaust")])
@pytest.mark.parametrize("swap", [False, True])
def test_names_polarity_and_origin_are_told_by_the_pattern(turn_deg, flipped, swap):
    good = engine("t20-fresh-chain")
    subject = upside_down(moved(good, MOVED, turn_deg=turn_deg), *flipped)
    if swap:
        subject = renamed(subject, {"intake": "exhaust", "exhaust": "intake"})
    found = match(subject, good, LIMITS)
    assert channels(found) == {"intake": "intake", "exhaust": "exhaust"}
    assert shifts(found) == pytest.approx(MOVED, abs=1e-9)
    assert found.turn_deg % 720.0 == pytest.approx(-turn_deg % 720.0)
    assert {cam.known_good.role for cam in found.cams if cam.inverted} == set(flipped)
    said = " ".join(found.remarks)
    assert ("turned by 360" in said) == (turn_deg != 0.0)
    assert said.count("upside down") == len(flipped)
    assert said.count("the pattern was believed") == (2 if swap else 0)


def test_the_order_of_channels_is_nothing():
    good = engine("t20-fresh-chain")
    backwards = replace(moved(good, MOVED), cams=tuple(reversed(moved(good, MOVED).cams)))
    assert shifts(match(backwards, good, LIMITS)) == pytest.approx(MOVED, abs=1e-9)
    assert shifts(match(moved(good), backwards, LIMITS)) == pytest.approx(
        {role: -by for role, by in MOVED.items()}, abs=1e-9
    )


def test_a_cam_without_a_role_is_known_by_its_pattern():
    good = engine("t20-fresh-chain")
    nameless = renamed(moved(good, MOVED), {"intake": "cam-1", "exhaust": "cam-2"})
    assert channels(match(nameless, good, LIMITS)) == {"intake": "intake", "exhaust": "exhaust"}
    assert shifts(match(nameless, good, LIMITS)) == pytest.approx(MOVED, abs=1e-9)
    assert match(nameless, nameless, LIMITS).remarks == ()


def test_where_the_patterns_cannot_tell_the_names_do():
    # Two like targets 30 degrees apart that have moved 16 degrees towards and past each other:
    # exchanged, they would have moved by 14 only.
    good = engine("t20-fresh-chain")
    intake = good.cam("intake")
    twin = moved(replace(good, cams=(replace(intake, role="exhaust"),)), {"exhaust": 30.0})
    twins = replace(good, cams=(replace(twin.cams[0], channel="exhaust"), intake))
    by = {"intake": 16.0, "exhaust": -16.0}
    assert shifts(match(moved(twins, by), twins, LIMITS)) == pytest.approx(by)
    nameless = renamed(twins, {"intake": "cam-1", "exhaust": "cam-2"})
    crossed = match(moved(nameless, {"cam-1": 16.0, "cam-2": -16.0}), nameless, LIMITS)
    assert channels(crossed) == {"intake": "exhaust", "exhaust": "intake"}


@pytest.mark.parametrize("missing", ["intake", "exhaust"])
def test_a_cam_missing_on_one_side_leaves_the_other(missing):
    good = engine("t20-fresh-chain")
    (left,) = {"intake", "exhaust"} - {missing}
    one = replace(good, cams=tuple(cam for cam in good.cams if cam.role != missing))
    for subject, known_good in ((moved(one, MOVED), good), (moved(good, MOVED), one)):
        assert shifts(match(subject, known_good, LIMITS)) == pytest.approx({left: MOVED[left]})


def test_four_cams_find_their_places():
    good = engine("fell-v6")
    by = {"intake-1": 1.0, "exhaust-1": -2.0, "intake-2": 4.0, "exhaust-2": 3.0}
    wrong = {
        "intake-1": "exhaust-2",
        "exhaust-2": "intake-1",
        "exhaust-1": "intake-2",
        "intake-2": "exhaust-1",
    }
    subject = renamed(moved(good, by, turn_deg=360.0), wrong)
    found = match(upside_down(subject, "intake-2"), good, LIMITS)
    assert all(cam.known_good.channel == cam.subject.channel for cam in found.cams)
    assert {cam.known_good.role: cam.shift_deg for cam in found.cams} == pytest.approx(by)
    assert [cam.known_good.role for cam in found.cams if cam.inverted] == ["exhaust-1"]


def test_two_of_four_cams_find_their_places():
    good = engine("fell-v6")
    bank = replace(good, cams=tuple(cam for cam in good.cams if cam.role.endswith("2")))
    found = match(moved(bank, {"intake-2": 4.0, "exhaust-2": 4.0}), good, LIMITS)
    assert {cam.known_good.role: cam.shift_deg for cam in found.cams} == pytest.approx(
        {"intake-2": 4.0, "exhaust-2": 4.0}
    )


# --- the flank of the crank teeth ---------------------------------------------------------------


def by_leading_flank(measurement, width_deg):
    """The same engine, counted from the leading flank: a tooth's width earlier."""
    crank = replace(
        measurement.crank,
        timing_edge="rising",
        other_edge_offset_deg=width_deg,
    )
    return replace(moved(measurement, turn_deg=width_deg), crank=crank)


def test_another_flank_costs_the_width_of_a_tooth():
    good = engine("t20-fresh-chain")
    assert (good.crank.timing_edge, good.crank.tooth_level) == ("falling", "high")
    width = good.crank.pitch_deg - good.crank.other_edge_offset_deg
    # The wheel's teeth are as wide as the slots: 3 of 6 degrees (simulator's default).
    assert width == pytest.approx(3.0, abs=0.1)
    leading = by_leading_flank(good, width)
    for subject, known_good in (
        (moved(leading, MOVED), good),
        (moved(good, MOVED), leading),
        (moved(leading, MOVED), leading),
    ):
        assert shifts(match(subject, known_good, LIMITS)) == pytest.approx(MOVED, abs=1e-9)
    assert "leading flank" in " ".join(match(leading, good, LIMITS).remarks)
    assert match(leading, leading, LIMITS).remarks == ()


def test_an_inverted_crank_sensor_ends_a_tooth_by_rising():
    good = engine("t20-fresh-chain")
    inverted = replace(good, crank=replace(good.crank, timing_edge="rising", tooth_level="low"))
    assert shifts(match(inverted, good, LIMITS)) == {"intake": 0.0, "exhaust": 0.0}


def coil(measurement, half_deg):
    """The same engine with a coil on the crank, timed at the middle of a tooth."""
    crank = replace(
        measurement.crank,
        sensor="variable-reluctance",
        tooth_level="unknown",
        other_edge_offset_deg=None,
    )
    return replace(moved(measurement, turn_deg=half_deg), crank=crank)


def test_a_coil_is_timed_at_the_middle_of_a_tooth():
    good = engine("t20-fresh-chain")
    half = (good.crank.pitch_deg - good.crank.other_edge_offset_deg) / 2
    for subject, known_good in ((coil(good, half), good), (good, coil(good, half))):
        found = match(subject, known_good, LIMITS)
        assert shifts(found) == pytest.approx({"intake": 0.0, "exhaust": 0.0}, abs=1e-9)
        # A rectangular law of half width a has the standard deviation a/sqrt(3) (GUM 4.3.7).
        assert found.edge_standard_deg == pytest.approx(half / np.sqrt(3.0))
    assert match(coil(good, half), coil(good, half), LIMITS).edge_standard_deg == 0.0


def test_a_coil_against_the_leading_flank():
    good = engine("t20-fresh-chain")
    width = good.crank.pitch_deg - good.crank.other_edge_offset_deg
    leading = by_leading_flank(good, width)
    middle = coil(good, width / 2)
    for subject, known_good in ((middle, leading), (leading, middle)):
        found = match(subject, known_good, LIMITS)
        assert shifts(found) == pytest.approx({"intake": 0.0, "exhaust": 0.0}, abs=1e-9)


def test_an_unknown_flank_costs_certainty():
    # A wheel without a gap doesn't tell which of its levels is the tooth.
    good = engine("t20-fresh-chain")
    width = good.crank.pitch_deg / 2
    crank = replace(good.crank, tooth_level="unknown", other_edge_offset_deg=None)
    falling = replace(good, crank=crank)
    rising = replace(good, crank=replace(crank, timing_edge="rising"))
    assert match(falling, falling, LIMITS).edge_standard_deg == 0.0
    for subject, known_good in ((falling, rising), (rising, falling)):
        found = match(subject, known_good, LIMITS)
        assert found.edge_deg == 0.0
        assert found.edge_standard_deg == pytest.approx(width / np.sqrt(3.0))
        assert "nothing tells which flank" in " ".join(found.remarks)


def test_widths_tell_a_crank_signal_that_is_upside_down():
    # Without a gap: from a falling edge to the next rising one it is 8 degrees in the known-good
    # and 12 in the subject, on a pitch of 20. So the subject's falling edges are the other ones.
    good = engine("t20-fresh-chain")
    crank = replace(
        good.crank, tooth_level="unknown", intervals_deg=(20.0,) * 18, repeats=18,
        other_edge_offset_deg=8.0,
    )  # fmt: skip
    known_good = replace(good, crank=crank)
    over = replace(good, crank=replace(crank, other_edge_offset_deg=12.0))
    found = match(over, known_good, LIMITS)
    assert found.edge_deg == pytest.approx(8.0)
    assert "upside down" in " ".join(found.remarks)
    assert match(known_good, known_good, LIMITS).edge_deg == 0.0
    # Neither alike nor exchanged: one of the two may be upside down all the same.
    unlike = replace(good, crank=replace(crank, other_edge_offset_deg=10.0))
    found = match(unlike, known_good, LIMITS)
    assert found.edge_standard_deg == pytest.approx(10.0 / np.sqrt(3.0))


# --- refusals -----------------------------------------------------------------------------------


def refusal(subject, known_good):
    with pytest.raises(NotMeasurableError) as caught:
        match(subject, known_good, LIMITS)
    text = str(caught.value)
    assert caught.value.exit_code == 4
    assert "\n" not in text
    assert len(text) < 400
    return text


@pytest.mark.parametrize("wheel", ["36-1", "36-2", "36-2-2-2"])
def test_another_crank_wheel_is_refused(wheel):
    good = engine("t20-fresh-chain")
    text = refusal(engine("t20-fresh-chain", wheel=wheel), good)
    assert "60-2" in text
    assert wheel in text
    assert "choose a known-good of the same engine" in text


def test_another_engine_on_the_same_wheel_is_refused():
    tarn, fell = engine("t20-fresh-chain"), engine("fell-v6")
    for subject, known_good in ((tarn, fell), (fell, tarn)):
        text = refusal(subject, known_good)
        assert "another engine" in text
        assert known_good.recording.name in text


def test_one_cam_of_another_engine_is_refused():
    tarn, fell = engine("t20-fresh-chain"), engine("fell-v6")
    stranger = replace(tarn, cams=(tarn.cam("exhaust"), replace(fell.cams[0], role="intake")))
    assert "another engine" in refusal(stranger, tarn)


def test_a_lost_cam_tooth_is_refused():
    whole = engine("t20-fresh-chain")
    broken = engine("t20-fresh-chain", 2, (MissingTooth("intake", 2),))
    text = refusal(broken, whole)
    assert "intake 6" in text
    assert "misses edges" in text


def test_a_bent_cam_tooth_is_refused_and_named():
    whole = engine("t20-fresh-chain")
    bent = engine("t20-fresh-chain", 2, (DamagedTooth("intake", 2, shift_deg=5.0),))
    text = refusal(bent, whole)
    assert "damaged cam wheel" in text
    assert "intake cam" in text
    # Tooth 2 of the intake target lies from 386 to 426 degrees, and was moved by 5; the cycle may
    # begin in either revolution.
    place = float(re.search(r"([\d.]+)° is", text).group(1)) % 360.0
    assert min(abs(place - 31.0), abs(place - 71.0)) < 1.0
    # Targets differ by 0.25 degrees (one standard deviation) from edge to edge.
    assert float(re.search(r"is ([\d.]+)° off", text).group(1)) == pytest.approx(5.0, abs=0.5)


def test_every_edge_has_to_fit():
    good = engine("t20-fresh-chain")
    for edge in range(8):
        spoiled = list(good.cam("intake").edges)
        spoiled[edge] = replace(spoiled[edge], angle_deg=spoiled[edge].angle_deg + 3.2)
        cam = replace(good.cam("intake"), edges=tuple(spoiled))
        subject = replace(good, cams=(good.cam("exhaust"), cam))
        text = refusal(subject, good)
        assert f"{spoiled[edge].angle_deg:.1f}°" in text
        assert "3.2°" in text


def test_a_larger_shift_than_can_be_believed_is_refused():
    good = engine("t20-fresh-chain")
    one = replace(good, cams=(good.cam("intake"),))
    assert shifts(match(moved(one, {"intake": 59.0}), one, LIMITS)) == pytest.approx(
        {"intake": 59.0}
    )
    refusal(moved(one, {"intake": 61.0}), one)


def test_nothing_to_compare_is_said_with_the_file():
    good = engine("t20-fresh-chain")
    bare = replace(good, cams=(), recording=replace(good.recording, name="bare.csv"))
    assert "bare.csv: no cam was measured" in refusal(bare, good)
    assert "bare.csv: no cam was measured" in refusal(good, bare)


def test_a_wheel_coded_in_widths_is_not_turned_by_its_even_spacing():
    # Its falling edges are 15 degrees apart all round: -9.8 must not become +5.2.
    good, base = engine("t20-fresh-chain", wheel="24x"), engine("t20-fresh-chain", 2, wheel="24x")
    assert good.crank.repeats == 1
    at_rest = {cam.known_good.role: cam.shift_deg for cam in match(base, good, LIMITS).cams}
    found = match(moved(base, {"exhaust": -9.8, "intake": -9.8}), good, LIMITS)
    assert found.turn_deg in {0.0, 360.0}
    for cam in found.cams:
        assert cam.shift_deg == pytest.approx(at_rest[cam.known_good.role] - 9.8, abs=1e-6)
