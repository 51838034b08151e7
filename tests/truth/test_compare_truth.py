"""Whole comparisons of simulated engines whose shift is known because it was put in.

Two recordings with one ``vehicle`` share the errors of their targets: one engine on two days.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from crankwise.drive.engine_file import load_engine
from crankwise.errors import NotMeasurableError
from crankwise.pipeline import compare, measure
from crankwise.readers import read
from crankwise.testing.simulate import (
    CamSpec,
    ChainJumped,
    DamagedTooth,
    MissingTooth,
    PhaserMoving,
    PhaserSpec,
    ScopeSpec,
    SpeedSpec,
    SwappedChannels,
    TargetMoved,
    preset,
    simulate,
    write,
)
from crankwise.units import wrap_signed_deg

EVENTS = ScopeSpec(duration_s=1.6, kind="events", resolution_s=1e-6)
TARN = replace(preset("t20-fresh-chain"), scope=EVENTS)
FELL = replace(preset("fell-v6"), scope=EVENTS)
TARN_ENGINE = load_engine("tarn-t20")


def sampled(duration_s, interval_s, *, bits=12, noise_v=0.02):
    return ScopeSpec(duration_s, interval_s=interval_s, range_v=10.0, bits=bits, noise_v=noise_v)


def late(spec, **shifts):
    """Each named cam later by so much."""
    cams = tuple(
        replace(cam, shift_deg=cam.shift_deg + shifts.get(cam.role.replace("-", "_"), 0.0))
        for cam in spec.cams
    )
    return replace(spec, cams=cams)


def inverted(part):
    return replace(part, sensor=replace(part.sensor, inverted=not part.sensor.inverted))


def measured(spec, seed):
    return measure(simulate(spec, seed=seed).recording)


@cache
def good(engine="tarn", seed=1):
    return measured({"tarn": TARN, "fell": FELL}[engine], seed)


# --- the shift that was put in ------------------------------------------------------------------

MOVED = late(TARN, intake=3.4, exhaust=-1.7)
COIL = replace(preset("t20-vr").crank.sensor, lag_s=0.0)
CONDITIONS = {
    "as the known-good": MOVED,
    "sampled, 50 kS/s": replace(MOVED, scope=sampled(2.0, 2e-5)),
    "sampled, 20 kS/s": replace(MOVED, scope=sampled(2.0, 5e-5)),
    "sampled, 8 bits, noisy": replace(MOVED, scope=sampled(2.0, 2e-5, bits=8, noise_v=0.1)),
    "faster": replace(MOVED, speed=SpeedSpec("idle", 1400.0, wander_rpm=8.0)),
    "cranking": replace(
        MOVED,
        speed=SpeedSpec("cranking", 215.0),
        scope=replace(EVENTS, duration_s=5.0),
    ),
    "crank inverted": replace(MOVED, crank=inverted(MOVED.crank)),
    "intake inverted": replace(
        MOVED, cams=tuple(inverted(cam) if cam.role == "intake" else cam for cam in MOVED.cams)
    ),
    "names swapped": replace(MOVED, faults=(SwappedChannels("intake", "exhaust"),)),
    "other order": replace(MOVED, scope=replace(EVENTS, order=("exhaust", "crank", "intake"))),
    "no names": replace(
        MOVED,
        crank=replace(MOVED.crank, channel="B"),
        cams=tuple(replace(cam, channel=name) for cam, name in zip(MOVED.cams, "CA", strict=True)),
        scope=replace(EVENTS, order=("A", "B", "C")),
    ),
    "starts elsewhere": replace(MOVED, start_angle_deg=500.0),
    "starts one turn later": replace(MOVED, start_angle_deg=140.0),
    "coil on the crank": replace(
        MOVED, crank=replace(MOVED.crank, sensor=COIL), scope=sampled(2.0, 1e-5)
    ),
}


@cache
def shifts_under(condition):
    result = compare(measured(CONDITIONS[condition], 7), [good()], same_vehicle=True)
    return result, {cam.role: (cam.shift_deg, cam.uncertainty_deg) for cam in result.cams}


TRUE = {"intake": 3.4, "exhaust": -1.7}


@pytest.mark.parametrize("condition", CONDITIONS)
def test_the_shift_is_found_under(condition):
    result, found = shifts_under(condition)
    assert set(found) == set(TRUE)
    for role, (shift, uncertainty) in found.items():
        # A 95 % statement misses once in twenty; half as much again once in three hundred.
        assert abs(shift - TRUE[role]) <= 1.5 * uncertainty
        if condition != "coil on the crank":
            # 0.15 degrees at the 95th percentile is the figure the project set itself; at
            # cranking 0.3, as for its angles.
            assert abs(shift - TRUE[role]) < (0.30 if condition == "cranking" else 0.15)
            assert uncertainty < 0.4
    (change,) = result.separations
    assert abs(change.change_deg - (-5.1)) <= 1.5 * change.uncertainty_deg
    # The intake target is the exhaust's 120 degrees later: a late intake opens them.
    assert change.motion == "opening"


def test_a_coil_against_a_hall_sensor_says_how_little_is_known():
    result, found = shifts_under("coil on the crank")
    assert all(1.0 < uncertainty < 2.5 for _, uncertainty in found.values())
    # What the crank side does is common to both cams: the angle between them stays sharp.
    assert result.separations[0].uncertainty_deg < 0.3
    assert abs(result.separations[0].change_deg - (-5.1)) < 0.15


def test_a_known_good_by_the_leading_flank():
    # What a decoder would have measured that took the other flank of the crank teeth: from the
    # simulator's truth, not from any conversion of ours. Teeth are 3 of 6 degrees wide.
    simulation = simulate(TARN, seed=1)
    trailing = measure(simulation.recording)
    cams = []
    for cam in trailing.cams:
        truth = simulation.truth.cam(cam.role).edges
        edges = []
        for edge in cam.edges:
            known = min(
                (item for item in truth if item.edge == edge.edge),
                key=lambda item: abs(wrap_signed_deg(item.angle_deg - edge.angle_deg)),
            )
            leading = known.angle_by_crank_edge_deg["rising"]
            edges.append(replace(edge, angle_deg=leading))
        edges.sort(key=lambda edge: edge.angle_deg)
        cams.append(replace(cam, edges=tuple(edges)))
    crank = replace(trailing.crank, timing_edge="rising", other_edge_offset_deg=3.0)
    leading = replace(trailing, cams=tuple(cams), crank=crank)
    subject = measured(MOVED, 7)
    for result, sign in (
        (compare(subject, [leading], same_vehicle=True), 1.0),
        (compare(leading, [subject], same_vehicle=True), -1.0),
    ):
        for cam in result.cams:
            assert cam.shift_deg == pytest.approx(sign * TRUE[cam.role], abs=0.15)
        assert any("flank" in item.text for item in result.findings if item.code == "matched")


@pytest.mark.parametrize("suffix", [".csv", ".npz", ".vcd"])
def test_the_format_of_the_file_shifts_nothing(suffix, tmp_path):
    spec = MOVED if suffix == ".vcd" else replace(MOVED, scope=sampled(1.5, 2e-5))
    path = tmp_path / f"van{suffix}"
    write(simulate(spec, seed=7), path)
    result = compare(measure(read(path)), [good()], same_vehicle=True)
    for cam in result.cams:
        assert cam.shift_deg == pytest.approx(TRUE[cam.role], abs=0.15)


def test_what_had_to_be_resolved_is_told():
    told = {
        "crank inverted": "",
        "intake inverted": "upside down",
        "names swapped": "the pattern was believed",
        "coil on the crank": "coil",
    }
    for condition, words in told.items():
        said = " ".join(i.text for i in shifts_under(condition)[0].findings if i.code == "matched")
        assert words in said


def test_the_stated_uncertainty_covers():
    errors = []
    for seed in range(20, 32):
        spec = late(TARN, intake=0.5 * (seed - 26), exhaust=0.3 * (26 - seed))
        speed = replace(spec.speed, mean_rpm=700.0 + 20.0 * (seed - 20))
        result = compare(measured(replace(spec, speed=speed), seed), [good()], same_vehicle=True)
        for cam in result.cams:
            true = 0.5 * (seed - 26) if cam.role == "intake" else 0.3 * (26 - seed)
            errors.append((cam.shift_deg - true) / cam.uncertainty_deg)
    ratio = np.abs(errors)
    # Twenty-four shifts against one known-good, whose own error they share.
    assert np.mean(ratio <= 1.0) >= 0.8
    assert ratio.max() < 2.0
    # Not by stating too much.
    assert np.median(ratio) > 0.1


# --- the rule of thumb --------------------------------------------------------------------------


@cache
def rule_of_thumb(exhaust_edge_deg):
    """One cam edge on the fifth tooth before the gap, the other cam's at a chosen angle.

    The fifth tooth before the gap of a 60-2 is at 342 - 4 x 6 = 318 degrees, the second after it
    at 6 degrees.
    """
    sensor = TARN.cams[0].sensor
    intake = CamSpec("intake", "intake", ((318.0, 418.0), (538.0, 578.0)), sensor)
    first = exhaust_edge_deg + 360.0
    teeth = ((first, first + 100.0), (first + 270.0, first + 310.0))
    exhaust = CamSpec("exhaust", "exhaust", teeth, sensor)
    exact = replace(TARN, cams=(intake, exhaust), crank=replace(TARN.crank, tooth_error_deg=0.0))
    return measured(replace(exact, crank=replace(exact.crank, runout_deg=0.0)), 5)


def test_half_a_tooth_is_seen_and_no_code_is_set():
    # Common practice, no source: healthy, one cam edge stands on the fifth tooth before the gap
    # and the other on the second after it; here the other comes at 1.5 teeth after it.
    result = compare(rule_of_thumb(3.0), [rule_of_thumb(6.0)], same_vehicle=True)
    exhaust, intake = result.cam("exhaust"), result.cam("intake")
    assert exhaust.shift_deg == pytest.approx(-3.0, abs=0.1)
    assert exhaust.shift_teeth == pytest.approx(-0.5, abs=0.02)
    assert exhaust.words.startswith(
        "exhaust cam: 1.5 teeth after the gap, known-good 2.0; it comes"
    )
    assert exhaust.words.endswith("earlier")
    assert intake.direction == "unchanged"
    assert "5.0 teeth before the gap, known-good 5.0" in intake.words
    assert result.verdict.level == "drifting"
    assert result.verdict.codes == ("No correlation code would be expected yet.",)


def test_three_teeth_set_a_code():
    # Common practice, no source: codes come at about three teeth; 18 degrees here.
    result = compare(rule_of_thumb(24.0), [rule_of_thumb(6.0)], same_vehicle=True)
    assert result.cam("exhaust").shift_teeth == pytest.approx(3.0, abs=0.02)
    assert result.verdict.level == "out-of-time"
    assert any("P0017" in text and "expected" in text for text in result.verdict.codes)


# --- healthy engines ----------------------------------------------------------------------------


def vehicle(spec, name, **shifts):
    """Another vehicle: its own target errors and its own build."""
    return late(replace(spec, vehicle=name), **shifts)


def test_two_days_of_one_vehicle_are_in_time():
    for seed in range(40, 45):
        assert compare(measured(TARN, seed), [good()], same_vehicle=True).verdict.level == "in-time"
    for seed in (2, 3):
        result = compare(measured(FELL, seed), [good("fell")], same_vehicle=True)
        assert result.verdict.level == "in-time"


def test_healthy_vehicles_of_a_family_are_in_time():
    builds = ((0.4, 0.6), (-0.5, -0.2), (0.1, -0.4), (-0.8, -0.5), (0.7, 0.3))
    vans = [
        measured(vehicle(TARN, f"van {n}", exhaust=exhaust, intake=intake), 50 + n)
        for n, (exhaust, intake) in enumerate(builds)
    ]
    for place, van in enumerate(vans):
        rest = vans[:place] + vans[place + 1 :]
        assert compare(van, rest[:1], engine=TARN_ENGINE).verdict.level == "in-time"
        result = compare(van, rest, engine=TARN_ENGINE)
        assert result.verdict.level == "in-time"
        assert not any(side.set_aside for side in result.known_goods)


def test_one_stretched_chain_among_the_known_goods_stands_out():
    vans = [
        measured(vehicle(TARN, f"van {n}", exhaust=by, intake=by), 60 + n)
        for n, by in enumerate((0.3, -0.4, 0.1, -0.2))
    ]
    worn = measured(
        replace(vehicle(TARN, "worn", exhaust=5.0, intake=8.0), name="stretched.csv"), 70
    )
    result = compare(measured(vehicle(TARN, "subject"), 71), [*vans[:2], worn, *vans[2:]])
    assert [side.set_aside for side in result.known_goods] == [False, False, True, False, False]
    assert any("stretched.csv" in item.text for item in result.findings)
    assert result.verdict.level == "in-time"
    assert all(abs(cam.shift_deg) < 0.6 for cam in result.cams)


def test_two_degrees_of_both_cams_may_be_the_build_of_another_vehicle():
    for by in (2.0, -2.0):
        spec = vehicle(TARN, "another", intake=by, exhaust=by)
        result = compare(measured(spec, 72), [good()], engine=TARN_ENGINE)
        assert result.verdict.level == "in-time"
        assert result.limits.basis == "one-other-vehicle"
        assert any(cam.direction != "unchanged" for cam in result.cams)


# --- faults -------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["intake", "exhaust"])
@pytest.mark.parametrize("by", [1.0, -1.0])
def test_one_degree_in_the_same_vehicle_is_found(role, by):
    result = compare(measured(late(TARN, **{role: by}), 80), [good()], same_vehicle=True)
    assert result.verdict.level == "drifting"
    assert result.cam(role).direction == ("retarded" if by > 0 else "advanced")
    (other,) = {"intake", "exhaust"} - {role}
    assert result.cam(other).healthy.contains(result.cam(other).shift_deg)


def test_a_jumped_tooth_is_out_of_time_and_exact():
    # One tooth of a cam sprocket of 36 is 20 crank degrees (720/36: derived, facts item 19).
    jumped = replace(TARN, faults=(ChainJumped(teeth=1, sprocket_teeth=36),))
    result = compare(measured(jumped, 82), [good()], engine=TARN_ENGINE, same_vehicle=True)
    assert result.verdict.level == "out-of-time"
    for cam in result.cams:
        assert cam.shift_deg == pytest.approx(20.0, abs=0.15)
    assert result.separations[0].motion == "unchanged"
    assert {"P0008", "P0016", "P0017"} <= {text[:5] for text in result.verdict.codes}


@pytest.mark.parametrize("by", [20.0, -20.0])
@pytest.mark.parametrize("engine", [None, TARN_ENGINE], ids=["no engine file", "engine file"])
def test_a_phaser_that_is_not_parked_is_flagged_and_never_called_elongation(by, engine):
    # Intake phasers may stand 20 crank degrees off their park at warm idle (Volvo C30 2010
    # B5244S4, service information).
    result = compare(
        measured(late(TARN, intake=by), 83), [good()], engine=engine, same_vehicle=True
    )
    assert result.verdict.level != "in-time"
    assert "parking-not-shown" in {item.code for item in result.findings}
    assert not result.causes[0].cause.startswith("elongated")
    assert sum(c.probability for c in result.causes if c.cause == "elongated:timing chain") < 0.01
    assert not any("elongat" in text for text in result.verdict.advice)


def test_an_early_cam_is_never_called_elongation():
    # A longer chain only retards (facts, isolation table): both cams early are something else.
    spec = late(TARN, intake=-3.0, exhaust=-3.0)
    result = compare(measured(spec, 84), [good()], engine=TARN_ENGINE, same_vehicle=True)
    assert sum(c.probability for c in result.causes if c.cause == "elongated:timing chain") < 0.01


def test_a_moving_phaser_is_not_judged():
    hunting = PhaserSpec(
        "hunting", authority_deg=(-50.0, 0.0), amplitude_deg=-3.0, frequency_hz=0.8
    )
    spec = replace(
        TARN, faults=(PhaserMoving("intake", hunting),), scope=replace(EVENTS, duration_s=3.0)
    )
    moving = measured(spec, 85)
    for subject, known_good in ((moving, good()), (good(), moving)):
        verdict = compare(subject, [known_good], engine=TARN_ENGINE).verdict
        assert verdict.level == "not-judged"
        assert "phaser" in verdict.summary


def test_a_moved_crank_target_moves_all_cams_and_the_ripple():
    moved = replace(TARN, faults=(TargetMoved("crank", 8.0),))
    result = compare(measured(moved, 86), [good()], engine=TARN_ENGINE, same_vehicle=True)
    # A crank target that sits later makes every cam, and the ripple, look earlier by as much.
    for cam in result.cams:
        assert cam.shift_deg == pytest.approx(-8.0, abs=0.15)
    assert result.ripple is not None
    assert abs(result.ripple.shift_deg + 8.0) <= result.ripple.uncertainty_deg
    assert abs(result.ripple.shift_deg) > result.ripple.uncertainty_deg
    chain = compare(measured(late(TARN, intake=8.0, exhaust=8.0), 86), [good()], same_vehicle=True)
    assert abs(chain.ripple.shift_deg) <= chain.ripple.uncertainty_deg


def test_a_bank_that_is_late():
    result = compare(
        measured(late(FELL, intake_2=4.0, exhaust_2=4.0), 87),
        [good("fell")],
        engine=load_engine("fell-v6"),
        same_vehicle=True,
    )
    assert result.verdict.level in {"drifting", "worn"}
    for cam in result.cams:
        wanted = 4.0 if cam.role.endswith("2") else 0.0
        assert cam.shift_deg == pytest.approx(wanted, abs=0.15)
    assert {change.between for change in result.separations} == {
        ("intake-1", "exhaust-1"),
        ("intake-2", "exhaust-2"),
    }
    assert all(change.motion == "unchanged" for change in result.separations)


def test_a_slightly_bent_cam_tooth_is_told_and_not_called_wear():
    # Within what may be refused (3 degrees), one tooth of eight edges.
    bent = replace(TARN, faults=(DamagedTooth("intake", 2, shift_deg=2.5),))
    result = compare(measured(bent, 88), [good()], same_vehicle=True)
    assert any(i.code == "edges-disagree" and "intake" in i.text for i in result.findings)
    intake = result.cam("intake")
    assert intake.consistency < 0.001
    assert abs(intake.shift_deg) <= max(intake.uncertainty_deg, 0.15)


# --- refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spec", "words"),
    [
        (replace(TARN, crank=replace(TARN.crank, wheel="36-1")), "36-1"),
        (FELL, "another engine"),
        (replace(TARN, faults=(MissingTooth("exhaust", 3),)), "exhaust 6"),
        (replace(TARN, faults=(DamagedTooth("exhaust", 3, shift_deg=6.0),)), "damaged cam wheel"),
    ],
    ids=["another wheel", "another engine", "a lost cam tooth", "a bent cam tooth"],
)
def test_what_does_not_belong_together_is_refused(spec, words):
    stranger = measured(spec, 90)
    for subject, known_good in ((stranger, good()), (good(), stranger)):
        with pytest.raises(NotMeasurableError, match=words) as caught:
            compare(subject, [known_good])
        assert caught.value.exit_code == 4
        assert "\n" not in str(caught.value)
