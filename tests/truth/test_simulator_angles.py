"""Angles and times of simulated edges against what can be worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest

from crankwise.model import wheel as wheels
from crankwise.testing.simulate import (
    CamSpec,
    ChainJumped,
    CrankSpec,
    DamagedTooth,
    EngineSpec,
    MissedTeeth,
    MissingTooth,
    PhaserMoving,
    PhaserSpec,
    ScopeSpec,
    SensorSpec,
    SimulationSpec,
    SpeedSpec,
    SwappedChannels,
    TargetMoved,
    simulate,
)

HALL = SensorSpec(kind="hall")
COIL = SensorSpec(kind="variable-reluctance")
TEETH = ((40.0, 140.0), (220.0, 260.0), (400.0, 440.0), (580.0, 740.0))
EVENTS = ScopeSpec(duration_s=2.0, kind="events")
SIXTY = wheels.Wheel("60", (6.0,) * 60, 6.0, has_gap=False)


def make(**changes):
    spec = SimulationSpec(
        name="by hand",
        engine=EngineSpec(swing=0.12),
        speed=SpeedSpec("constant", 800.0),
        crank=CrankSpec("60-2", HALL),
        cams=(
            CamSpec("intake", "intake", TEETH, HALL),
            CamSpec("exhaust", "exhaust", TEETH, HALL, shift_deg=50.0),
        ),
        scope=EVENTS,
        start_angle_deg=100.0,
    )
    return replace(spec, **changes)


def with_cam(**changes):
    spec = make()
    return replace(spec, cams=(replace(spec.cams[0], **changes), spec.cams[1]))


def events(simulation, name="crank"):
    channel = simulation.recording.channel(name)
    return channel.times_s, channel.states


def angles_of(simulation, role="intake"):
    return np.array([edge.angle_deg for edge in simulation.truth.cam(role).edges])


def test_crank_edges_come_at_exact_times():
    times, states = events(simulate(make(), seed=1))
    falling = times[~states]
    # 100 degrees at time 0 and 4800 degrees a second: teeth at 102, 108 … 342, then 360 …
    teeth = np.concatenate([np.arange(58) * 6.0 + 360 * turn for turn in range(30)])
    expected = (teeth - 100.0) / 4800.0
    expected = expected[(expected >= 0) & (expected <= 2.0)]
    assert falling == pytest.approx(expected, abs=1e-12)
    rising = times[states]
    expected = (teeth - 3.0 - 100.0) / 4800.0
    assert rising == pytest.approx(expected[(expected >= 0) & (expected <= 2.0)], abs=1e-12)


def test_truth_gives_the_specified_angles_when_nothing_is_wrong():
    truth = simulate(make(), seed=1).truth
    edges = truth.cam("intake").edges
    nominal = {("rising", start) for start, _ in TEETH} | {
        ("falling", end % 720) for _, end in TEETH
    }
    assert {(edge.edge, round(edge.angle_deg, 9)) for edge in edges} == nominal
    for edge in edges:
        assert edge.geometric_deg == pytest.approx(edge.nominal_deg, abs=1e-9)
        # the first tooth's leading flank is half a pitch, 3 degrees, before its trailing one
        ahead = edge.angle_by_crank_edge_deg["rising"] - edge.angle_by_crank_edge_deg["falling"]
        assert ahead % 720 == pytest.approx(3.0, abs=1e-9)
    assert truth.crank.zero_offset_deg == {"falling": 0.0, "rising": -3.0}
    assert truth.speed.revolutions == pytest.approx(2.0 * 800 / 60, rel=1e-12)


def test_truth_is_unmoved_by_speed_ripple():
    truth = simulate(make(speed=SpeedSpec("idle", 700, wander_rpm=20)), seed=3).truth
    for edge in truth.cam("intake").edges:
        assert edge.angle_deg == pytest.approx(edge.nominal_deg, abs=1e-8)
        assert edge.scatter_deg < 1e-8


@pytest.mark.parametrize(("speed_rpm", "delay_deg"), [(800, 0.048), (3000, 0.180), (6000, 0.360)])
def test_a_delay_of_ten_microseconds_is_an_angle(speed_rpm, delay_deg):
    # 6 x rpm x 10 us: 0.048, 0.180, 0.360 degrees (identity)
    late = replace(HALL, delay_s=10e-6)
    spec = replace(with_cam(sensor=late), speed=SpeedSpec("constant", speed_rpm))
    for edge in simulate(spec, seed=1).truth.cam("intake").edges:
        assert edge.angle_deg - edge.nominal_deg == pytest.approx(delay_deg, abs=1e-8)
        assert edge.geometric_deg == pytest.approx(edge.nominal_deg, abs=1e-8)


@pytest.mark.parametrize(
    ("speed_rpm", "lag_deg"), [(200, 0.05394), (800, 0.21243), (3000, 0.67176)]
)
def test_coil_lag_is_the_phase_of_one_pole(speed_rpm, lag_deg):
    # atan(2 pi f L/R)/teeth with 60 teeth and L/R = 45 us, worked out by hand (phase of a
    # first-order low pass, identity)
    crank = CrankSpec(SIXTY, replace(COIL, lag_s=45e-6))
    spec = replace(make(), crank=crank, speed=SpeedSpec("constant", speed_rpm))
    truth = simulate(spec, seed=1).truth
    for edge in truth.cam("intake").edges:
        assert edge.nominal_deg - edge.angle_deg == pytest.approx(lag_deg, abs=6e-6)


def test_inverted_sensor_swaps_the_directions_only():
    plain = simulate(make(), seed=1).truth
    spec = make()
    inverted = replace(spec, cams=(replace(spec.cams[0], sensor=replace(HALL, inverted=True)),))
    truth = simulate(inverted, seed=1).truth
    for one, other in zip(plain.cam("intake").edges, truth.cam("intake").edges, strict=True):
        assert {one.edge, other.edge} == {"rising", "falling"}
        assert one.angle_deg == pytest.approx(other.angle_deg, abs=1e-9)
    assert truth.cam("intake").polarity == "tooth-low"
    crank = replace(spec, crank=replace(spec.crank, sensor=replace(HALL, inverted=True)))
    assert simulate(crank, seed=1).truth.crank.timing_edge == "rising"


def test_reluctance_wheel_angles_stand_at_the_middle_of_the_teeth():
    simulation = simulate(make(crank=CrankSpec("60-2", COIL)), seed=1)
    times, states = events(simulation)
    turned = 100.0 + 4800.0 * times[~states]
    on_grid = np.round(turned / 6.0) * 6.0
    assert turned == pytest.approx(on_grid, abs=1e-8)
    assert simulation.truth.crank.polarity == "falling-at-tooth"
    for edge in simulation.truth.cam("intake").edges:
        assert edge.angle_deg == pytest.approx(edge.nominal_deg, abs=1e-8)


def test_24x_wheel_has_its_published_widths():
    # 24 falling edges 15 degrees apart; 12 teeth of 12 and 12 of 3 degrees, half the time high
    # (Speeduino wiki GM_24X; GM service information)
    spec = make(crank=CrankSpec("24x", HALL))
    times, states = events(simulate(spec, seed=1))
    falling = 100.0 + 4800.0 * times[~states]
    assert np.diff(falling) == pytest.approx(np.full(len(falling) - 1, 15.0), abs=1e-8)
    rising = 100.0 + 4800.0 * times[states]
    first = np.searchsorted(falling, rising[0])
    pairs = min(len(rising), len(falling) - first)
    widths = np.round(falling[first : first + pairs] - rising[:pairs], 6)
    assert set(widths) == {3.0, 12.0}
    assert np.sum(widths[:24]) == pytest.approx(180.0, abs=1e-6)


@pytest.mark.parametrize("name", ["60-2", "36-1", "36-2", "36-2-2-2", "36-2-1"])
def test_every_catalogue_wheel_turns_as_drawn(name):
    simulation = simulate(make(crank=CrankSpec(name, HALL)), seed=1)
    times, states = events(simulation)
    steps = np.diff(times[~states]) * 4800.0
    intervals = np.array(simulation.truth.crank.intervals_deg)
    count = len(intervals)
    matches = [
        shift
        for shift in range(count)
        if np.allclose(steps[:count], np.roll(intervals, -shift), atol=1e-7)
    ]
    assert len(matches) == 1


def test_tooth_errors_have_zero_mean_and_stand_in_the_edges():
    crank = CrankSpec("60-2", HALL, tooth_error_deg=0.1, runout_deg=0.2, runout_phase_deg=40.0)
    simulation = simulate(make(crank=crank), seed=4)
    errors = np.array(simulation.truth.crank.tooth_error_deg["falling"])
    assert abs(errors.mean()) < 1e-12
    assert 0.1 < errors.std() < 0.25
    times, states = events(simulation)
    turned = (100.0 + 4800.0 * times[~states]) % 360
    for tooth in (0, 20, 57):
        near = turned[np.abs(turned - 6.0 * tooth) < 1.5]
        assert near == pytest.approx(np.full(len(near), 6.0 * tooth + errors[tooth]), abs=1e-8)
    for edge in simulation.truth.cam("intake").edges:
        assert edge.angle_deg == pytest.approx(edge.nominal_deg, abs=1e-8)


def test_tooth_errors_of_a_reluctance_wheel_are_those_of_its_crossings():
    simulation = simulate(make(crank=CrankSpec("60-2", COIL, tooth_error_deg=0.1)), seed=4)
    errors = np.array(simulation.truth.crank.tooth_error_deg["falling"])
    assert abs(errors.mean()) < 1e-12
    times, states = events(simulation)
    turned = (100.0 + 4800.0 * times[~states]) % 360
    for tooth in (0, 20, 57):
        near = turned[np.abs(turned - 6.0 * tooth) < 1.5]
        assert near == pytest.approx(np.full(len(near), 6.0 * tooth + errors[tooth]), abs=1e-8)


def test_scatter_has_the_size_and_the_common_part_asked_for():
    spec = replace(
        with_cam(scatter_deg=0.3, common_share=0.8),
        speed=SpeedSpec("constant", 3000),
        scope=ScopeSpec(duration_s=60, kind="events"),
    )
    edges = simulate(spec, seed=5).truth.cam("intake").edges
    # the edges at 140 … 440 degrees all come first in the cycle that begins the recording
    cycles = np.array([edge.cycle_angles_deg[:1488] for edge in edges[2:7]])
    # 1488 cycles: standard error of a standard deviation 1.8 %, of the correlation 0.01
    assert cycles.std(axis=1, ddof=1) == pytest.approx(np.full(5, 0.3), rel=0.06)
    between = np.corrcoef(cycles)[np.triu_indices(5, 1)]
    assert between == pytest.approx(np.full(10, 0.8), abs=0.04)
    assert edges[3].scatter_deg == pytest.approx(0.3, rel=0.06)


def test_slack_moves_edges_within_its_range_and_follows_the_torque():
    spec = replace(with_cam(slack_deg=1.0), speed=SpeedSpec("steady", 800))
    moved = [
        edge.angle_deg - edge.nominal_deg for edge in simulate(spec, seed=2).truth.cams[0].edges
    ]
    assert max(np.abs(moved)) < 0.5
    assert np.ptp(moved) > 0.3


def test_chain_jump_is_an_exact_step():
    # one tooth of a 40-tooth cam sprocket is 720/40 = 18 crank degrees (identity)
    base = angles_of(simulate(make(), seed=1))
    fault = ChainJumped(teeth=1, sprocket_teeth=40, roles=("intake",))
    jumped = simulate(make(faults=(fault,)), seed=1)
    assert np.sort((base + 18.0) % 720) == pytest.approx(angles_of(jumped), abs=1e-9)
    assert jumped.truth.cam("intake").shift_deg == 18.0
    assert jumped.truth.cam("exhaust").shift_deg == 50.0
    both = simulate(make(faults=(replace(fault, roles=(), teeth=-1),)), seed=1).truth
    assert both.cam("intake").shift_deg == -18.0
    assert both.cam("exhaust").shift_deg == 32.0


def test_a_later_crank_target_makes_every_cam_earlier():
    moved = simulate(make(faults=(TargetMoved("crank", 5.0),)), seed=1).truth
    assert moved.crank.zero_before_tdc_deg == pytest.approx(79.0)
    for role, shift in (("intake", -5.0), ("exhaust", 45.0)):
        assert moved.cam(role).shift_deg == shift


def test_a_moving_phaser_stays_within_its_authority():
    phaser = PhaserSpec("drift", authority_deg=(-12.0, 0.0), rate_deg_per_s=-10.0, at_s=0.2)
    simulation = simulate(make(faults=(PhaserMoving("intake", phaser),)), seed=1)
    for edge in simulation.truth.cam("intake").edges:
        away = np.array(edge.cycle_angles_deg) - edge.nominal_deg
        away = (away + 360) % 720 - 360
        assert np.all(away <= 1e-8)
        assert np.all(away >= -12.0 - 1e-8)
        assert away.min() == pytest.approx(-12.0, abs=1e-6)
    times, _ = events(simulation, "intake")
    where = 100.0 + 4800.0 * times
    standing = np.clip(-10.0 * np.clip(times - 0.2, 0, None), -12.0, 0.0)
    flanks = np.array([flank % 720 for tooth in TEETH for flank in tooth])
    off = (where - standing)[:, None] % 720 - flanks
    assert np.max(np.min(np.abs((off + 360) % 720 - 360), axis=1)) < 1e-7


def test_hunting_and_step_move_as_told():
    step = PhaserSpec("step", authority_deg=(0.0, 40.0), step_deg=15.0, at_s=0.5, step_s=0.1)
    angles = simulate(make(faults=(PhaserMoving("exhaust", step),)), seed=1).truth.cam("exhaust")
    spans = [np.ptp(edge.cycle_angles_deg) for edge in angles.edges]
    assert spans == pytest.approx([15.0] * 8, abs=1e-8)
    hunting = PhaserSpec(
        "hunting", authority_deg=(-50.0, 0.0), amplitude_deg=-3.0, frequency_hz=1.1
    )
    cam = simulate(make(faults=(PhaserMoving("intake", hunting),)), seed=1).truth.cam("intake")
    for edge in cam.edges:
        assert 4.0 < np.ptp(edge.cycle_angles_deg) <= 6.0


def test_missing_and_missed_teeth_leave_their_edges_out():
    whole = len(events(simulate(make(), seed=1))[0])
    turns = 2.0 * 800 / 60
    missing = len(events(simulate(make(faults=(MissingTooth("crank", 10),)), seed=1))[0])
    assert whole - missing == pytest.approx(2 * turns, abs=2)
    missed = len(events(simulate(make(faults=(MissedTeeth("crank", 0.1),)), seed=1))[0])
    # 1547 teeth, binomial: standard deviation 11.8 teeth
    assert (whole - missed) / 2 == pytest.approx(0.1 * 58 * turns, abs=4 * 11.8)
    cam = simulate(make(faults=(MissingTooth("intake", 2),)), seed=1).truth.cam("intake")
    assert [edge.tooth for edge in cam.edges].count(2) == 0
    assert len(cam.edges) == 6


def test_a_damaged_tooth_moves_alone():
    fault = DamagedTooth("intake", 2, shift_deg=1.5, wider_deg=0.5)
    edges = simulate(make(faults=(fault,)), seed=1).truth.cam("intake").edges
    off = {(edge.tooth, edge.edge): edge.angle_deg - edge.nominal_deg for edge in edges}
    assert off[2, "rising"] == pytest.approx(1.0, abs=1e-8)
    assert off[2, "falling"] == pytest.approx(2.0, abs=1e-8)
    assert [value for key, value in off.items() if key[0] != 2] == pytest.approx([0] * 6, abs=1e-8)


def test_swapped_channels_carry_each_others_signal():
    plain = simulate(make(), seed=1)
    swapped = simulate(make(faults=(SwappedChannels("intake", "exhaust"),)), seed=1)
    assert swapped.recording.channel_names == plain.recording.channel_names
    assert np.array_equal(events(swapped, "exhaust")[0], events(plain, "intake")[0])
    assert swapped.truth.cam("intake").channel == "exhaust"
