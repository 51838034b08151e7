"""Voltages, sampling and state changes of simulated recordings."""

from dataclasses import replace

import numpy as np
import pytest

from crankwise.errors import UsageError
from crankwise.model.wheel import Wheel
from crankwise.testing.simulate import (
    PRESETS,
    CamSpec,
    CrankSpec,
    Dropout,
    EngineSpec,
    ExtraEdges,
    ExtraSpec,
    MissedTeeth,
    ScopeSpec,
    SensorSpec,
    SimulationSpec,
    SpeedSpec,
    simulate,
)
from crankwise.testing.simulate.apply import apply_faults
from crankwise.testing.simulate.dynamics import turn
from crankwise.testing.simulate.signals import crank_signal

HALL = SensorSpec(kind="hall")
COIL = SensorSpec(kind="variable-reluctance", volts_per_1000_rpm=3.0)
SIXTY = Wheel("60", (6.0,) * 60, 6.0, has_gap=False)
CAM = CamSpec("intake", "intake", ((40.0, 140.0), (400.0, 440.0)), HALL)


def make(**changes):
    spec = SimulationSpec(
        name="signals",
        engine=EngineSpec(swing=0.12),
        speed=SpeedSpec("constant", 800.0),
        crank=CrankSpec("60-2", HALL),
        cams=(CAM,),
        scope=ScopeSpec(duration_s=1.0, interval_s=1e-5),
        start_angle_deg=100.0,
    )
    return replace(spec, **changes)


def volts(simulation, name="crank"):
    return simulation.recording.channel(name).values


def crossings(values, level, *, falling):
    """Straight interpolation of the crossings of a level, in samples."""
    above = values > level
    place = np.flatnonzero(above[:-1] & ~above[1:] if falling else ~above[:-1] & above[1:])
    before, after = values[place].astype(float), values[place + 1].astype(float)
    return place + (before - level) / (before - after)


def true_times(spec, seed=1):
    """Edge times before the scope, straight from the transitions of the crank."""
    changed = apply_faults(spec)
    motion = turn(
        changed.engine,
        changed.speed,
        changed.crank,
        duration_s=spec.scope.duration_s,
        start_angle_deg=spec.start_angle_deg,
        rng=np.random.default_rng(0),
    )
    return crank_signal(changed, motion, seed=seed)[1].transitions


def test_same_seed_same_samples_and_another_seed_others():
    spec = make(scope=replace(make().scope, noise_v=0.1), speed=SpeedSpec("idle", 800))
    one, two, three = (volts(simulate(spec, seed=seed)) for seed in (7, 7, 8))
    assert np.array_equal(one, two)
    assert not np.array_equal(one, three)


def test_another_channel_leaves_the_others_as_they_were():
    spec = make(scope=replace(make().scope, noise_v=0.1), speed=SpeedSpec("idle", 800))
    alone = simulate(spec, seed=7)
    joined = simulate(
        replace(
            spec,
            cams=(CAM, replace(CAM, role="exhaust", channel="exhaust", scatter_deg=1.0)),
            extras=(ExtraSpec("injector", "injector", 12.0),),
        ),
        seed=7,
    )
    for name in ("crank", "intake"):
        assert np.array_equal(volts(alone, name), volts(joined, name))


@pytest.mark.parametrize(
    ("interval_s", "sd_deg"), [(1e-5, 0.013856), (1e-4, 0.13856), (1e-6, 0.0013856)]
)
def test_sampling_scatters_an_edge_by_the_step_over_root_twelve(interval_s, sd_deg):
    # 800 rpm: 0.013856 deg at 100 kS/s, 0.13856 at 10 kS/s, 0.0013856 at 1 MS/s (uniform law,
    # GUM 4.3.7; 3 %). The speed is a hair off 800 so that teeth and samples don't keep step.
    # Wider teeth than steps: at 10 kS/s a tooth is 6 samples.
    spec = make(
        speed=SpeedSpec("constant", 800.0 + np.sqrt(2) / 10),
        scope=ScopeSpec(duration_s=2.0, interval_s=interval_s),
    )
    values = volts(simulate(spec, seed=1))
    first_low = np.flatnonzero((values[:-1] > 2.5) & (values[1:] <= 2.5)) + 1
    transitions = true_times(spec)
    true = transitions.half_s[~transitions.rising]
    true = true[(true > 0) & (true < 2.0 - interval_s)]
    late_deg = (first_low[: len(true)] * interval_s - true) * 6 * spec.speed.mean_rpm
    assert np.all(late_deg >= 0)
    assert late_deg.std() == pytest.approx(sd_deg, rel=0.03)


def test_averaging_a_hundred_differences_of_two_edges():
    # two-edge standard deviation / sqrt(100) at 100 kS/s, 800 rpm: 0.00196 deg (3 %). Sensor
    # jitter of many sampling steps makes each edge meet the samples anywhere.
    sensor = replace(HALL, jitter_s=6e-5)
    spec = make(
        crank=CrankSpec("60-2", sensor),
        scope=ScopeSpec(duration_s=300.0, kind="events", resolution_s=1e-5),
    )
    recorded = simulate(spec, seed=2).recording.channel("crank").times_s
    transitions = true_times(spec, seed=2)
    true = transitions.half_s[(transitions.half_s >= 0) & (transitions.half_s <= 300.0)]
    error_deg = (recorded - true) * 4800.0
    differences = error_deg[1::2][:230_000] - error_deg[::2][:230_000]
    means = differences[: len(differences) // 100 * 100].reshape(-1, 100).mean(axis=1)
    assert len(means) >= 1000
    assert means.std() == pytest.approx(0.00196, rel=0.03)


def test_noise_moves_a_sine_crossing_as_derived():
    # one crossing of 60 teeth at amplitude / noise = 100: (1/100) * 360/(2 pi 60) = 0.00955
    # crank degrees (5 %). 1000 rpm at 100 kS/s: the middle of each tooth falls on a sample.
    crank = CrankSpec(SIXTY, COIL)
    spec = make(
        crank=crank,
        speed=SpeedSpec("constant", 1000.0),
        scope=ScopeSpec(duration_s=3.0, rate_hz=1e5, noise_v=0.03),
        start_angle_deg=0.0,
    )
    noisy = volts(simulate(spec, seed=3))
    clean = volts(simulate(replace(spec, scope=replace(spec.scope, noise_v=0.0)), seed=3))
    middle = np.arange(100, len(clean) - 100, 100)
    assert clean[middle] == pytest.approx(np.zeros(len(middle)), abs=1e-5)
    slope = (clean[middle + 1] - clean[middle - 1]) / (2 * 0.06)
    moved_deg = -noisy[middle] / slope
    assert len(moved_deg) > 2500
    assert moved_deg.std() == pytest.approx(0.00955, rel=0.05)


@pytest.mark.parametrize("transition", ["exponential", "linear"])
def test_transitions_have_the_time_and_middle_asked_for(transition):
    sensor = replace(HALL, rise_s=40e-6, fall_s=20e-6, transition=transition, delay_s=7e-6)
    spec = make(crank=CrankSpec("60-2", sensor), scope=ScopeSpec(duration_s=0.3, interval_s=2e-7))
    values = volts(simulate(spec, seed=1))
    for falling, length_s in ((False, 40e-6), (True, 20e-6)):
        ten, ninety = (crossings(values, level, falling=falling) for level in (0.5, 4.5))
        count = min(len(ten), len(ninety))
        lasting = np.abs(ninety[1:count] - ten[1:count]) * 2e-7
        assert lasting == pytest.approx(np.full(count - 1, length_s), abs=2e-9)
        middles = crossings(values, 2.5, falling=falling) * 2e-7
        transitions = true_times(spec)
        true = transitions.half_s[transitions.rising != falling]
        near = true[np.searchsorted(true, middles - 5e-6)]
        assert middles == pytest.approx(near, abs=1e-9)


def test_ringing_overshoots_and_leaves_the_edge_where_it_is():
    quiet = replace(HALL, rise_s=2e-6, fall_s=2e-6)
    sensor = replace(quiet, ringing=0.3, ringing_hz=2e5, ringing_s=1e-5)
    scope = ScopeSpec(duration_s=0.1, interval_s=2e-8)
    plain, ringing = (
        volts(simulate(make(crank=CrankSpec("60-2", kind), scope=scope), seed=1))
        for kind in (quiet, sensor)
    )
    transitions = true_times(make(crank=CrankSpec("60-2", sensor), scope=scope))
    halves = transitions.half_s[(transitions.half_s > 0) & (transitions.half_s < 0.0999)]
    differ = np.flatnonzero(ringing != plain) * 2e-8
    after = differ[np.searchsorted(differ, halves)] - halves
    starts = transitions.start_s[(transitions.half_s > 0) & (transitions.half_s < 0.0999)]
    untouched = np.searchsorted(differ, starts) == np.searchsorted(differ, halves)
    assert untouched.all()
    assert np.all((after >= 0) & (after < 4e-8))
    # first maximum of exp(-t/tau) sin(w t): sin(atan(w tau)) exp(-atan(w tau) / (w tau))
    turn_rad = 2 * np.pi * 2e5 * 1e-5
    first = np.sin(np.arctan(turn_rad)) * np.exp(-np.arctan(turn_rad) / turn_rad)
    assert np.max(ringing - plain) == pytest.approx(0.3 * 5.0 * first, rel=1e-3)


def test_polarity_and_leads_turn_the_voltage_over():
    plain = volts(simulate(make(), seed=1))
    inverted = volts(simulate(make(crank=CrankSpec("60-2", replace(HALL, inverted=True))), seed=1))
    assert np.array_equal(plain + inverted, np.full(len(plain), 5.0, dtype=np.float32))
    coil = volts(simulate(make(crank=CrankSpec("60-2", COIL)), seed=1))
    turned = replace(COIL, reversed_leads=True)
    reverse = volts(simulate(make(crank=CrankSpec("60-2", turned)), seed=1))
    assert np.array_equal(coil, -reverse)


@pytest.mark.parametrize("lag_s", [0.0, 45e-6])
def test_reluctance_signal_crosses_zero_in_the_middle_of_each_tooth(lag_s):
    spec = make(
        crank=CrankSpec("60-2", replace(COIL, lag_s=lag_s), tooth_error_deg=0.05),
        speed=SpeedSpec("idle", 800),
        scope=ScopeSpec(duration_s=0.5, interval_s=1e-6),
    )
    simulation = simulate(spec, seed=1)
    values = volts(simulation)
    found = crossings(values, 0.0, falling=True) * 1e-6
    event = simulate(replace(spec, scope=ScopeSpec(duration_s=0.5, kind="events")), seed=1)
    channel = event.recording.channel("crank")
    true = channel.times_s[~channel.states]
    # 1e-9 s at 800 rpm is 5e-6 degrees
    assert found[1:-1] == pytest.approx(true[1:-1][: len(found) - 2], abs=2e-9)


def test_reluctance_amplitude_follows_speed_and_air_gap():
    def peak(**changes):
        crank = CrankSpec("60-2", replace(COIL, **changes.pop("sensor", {})))
        return np.max(volts(simulate(make(crank=crank, **changes), seed=1)))

    # amplitude proportional to speed (sensor physics; avionicsduino 2024)
    assert peak(speed=SpeedSpec("constant", 1000)) == pytest.approx(3.0, rel=1e-3)
    assert peak(speed=SpeedSpec("constant", 2000)) == pytest.approx(6.0, rel=3e-3)
    assert peak(sensor={"air_gap_mm": 2.0}) == pytest.approx(peak() / 4, rel=1e-6)
    assert peak(sensor={"runout": 0.2}) == pytest.approx(peak() * 1.2, rel=2e-3)


def test_event_list_and_samples_tell_the_same_edges():
    sampled = simulate(make(speed=SpeedSpec("idle", 800)), seed=5)
    scope = ScopeSpec(duration_s=1.0, kind="events", resolution_s=1e-6)
    listed = simulate(make(speed=SpeedSpec("idle", 800), scope=scope), seed=5)
    edges = listed.recording.channel("crank")
    values = volts(sampled)
    falls = np.flatnonzero((values[:-1] > 2.5) & (values[1:] <= 2.5)) + 1
    inside = edges.times_s[~edges.states][: len(falls)]
    late = falls * 1e-5 - inside
    assert np.all((late > -1e-6) & (late < 1.1e-5))
    assert edges.times_s == pytest.approx(np.round(edges.times_s / 1e-6) * 1e-6, abs=1e-12)
    assert np.all(edges.states[1:] != edges.states[:-1])
    assert edges.states[0] != edges.initial_state
    assert listed.recording.interval_s is None
    assert listed.truth.cams == sampled.truth.cams


def test_scope_clips_and_rounds_to_its_steps():
    scope = ScopeSpec(duration_s=0.2, interval_s=1e-5, range_v=4.0, bits=8, noise_v=0.05)
    values = volts(simulate(make(scope=scope), seed=1))
    steps = values / (8.0 / 256)
    assert np.array_equal(steps, np.round(steps))
    assert values.max() == pytest.approx(4.0 - 8.0 / 256)
    beyond = volts(simulate(make(scope=replace(scope, over_range="infinite")), seed=1))
    assert np.isinf(beyond).mean() == pytest.approx((values >= values.max()).mean(), abs=0.01)


def test_ac_coupling_removes_the_mean_and_keeps_the_step():
    scope = ScopeSpec(duration_s=2.0, interval_s=1e-5, coupling="ac", corner_hz=1.0)
    values = volts(simulate(make(scope=scope), seed=1))
    assert abs(values[100_000:].mean()) < 0.02
    assert np.ptp(values) == pytest.approx(5.0, rel=0.05)
    # one pole: a constant input dies out with the time constant 1/(2 pi corner)
    flat = make(scope=scope, extras=(ExtraSpec("flat", "flat", 3.0),))
    assert np.array_equal(volts(simulate(flat, seed=1), "flat"), np.zeros(200_001))


def test_dropouts_and_false_pulses_happen_where_told():
    gap = Dropout("crank", 0.2, 0.1, as_missing=True)
    values = volts(simulate(make(faults=(gap,)), seed=1))
    assert np.flatnonzero(np.isnan(values)).tolist() == list(range(20_000, 30_000))
    values = volts(simulate(make(faults=(replace(gap, as_missing=False),)), seed=1))
    assert not values[20_000:30_000].any()
    pulses = ExtraEdges("crank", 12, 2e-5)
    scope = ScopeSpec(duration_s=1.0, kind="events")
    plain = simulate(make(scope=scope), seed=1).recording.channel("crank")
    simulation = simulate(make(scope=scope, faults=(pulses,)), seed=1)
    more = simulation.recording.channel("crank")
    assert len(more.times_s) == len(plain.times_s) + 24
    told = simulation.truth.events["extra-edges crank"]
    assert np.setdiff1d(more.times_s, plain.times_s)[::2] == pytest.approx(told, abs=1e-12)
    assert np.all(more.states[1:] != more.states[:-1])
    silent = simulate(make(scope=scope, faults=(replace(gap, as_missing=False),)), seed=1)
    channel = silent.recording.channel("crank")
    assert not np.any((channel.times_s > 0.2) & (channel.times_s < 0.3))
    assert np.all(channel.states[1:] != channel.states[:-1])


@pytest.mark.parametrize("sensor", [HALL, replace(HALL, inverted=True), COIL])
@pytest.mark.parametrize("kind", ["sampled", "events"])
def test_a_target_without_teeth_is_silent(sensor, kind):
    cam = replace(CAM, sensor=sensor)
    scope = ScopeSpec(duration_s=0.5, interval_s=1e-5)
    if kind == "events":
        scope = ScopeSpec(duration_s=0.5, kind="events", resolution_s=1e-6)
    spec = make(cams=(cam,), scope=scope, faults=(MissedTeeth("intake", 1.0),))
    simulation = simulate(spec, seed=1)
    channel = simulation.recording.channel("intake")
    if kind == "events":
        assert (len(channel.times_s), channel.initial_state) == (0, sensor.inverted)
    else:
        assert np.unique(channel.values).tolist() == [5.0 if sensor.inverted else 0.0]
    assert simulation.truth.cam("intake").edges == ()


def test_transitions_too_slow_for_the_teeth_are_refused():
    slow = make(crank=CrankSpec("60-2", replace(HALL, rise_s=3e-4)))
    with pytest.raises(UsageError, match=r"rise_s or fall_s is longer than a third of a tooth"):
        simulate(slow, seed=1)


@pytest.mark.parametrize("transition", ["exponential", "linear"])
def test_a_short_pulse_turns_back_where_it_got_to(transition):
    sensor = replace(HALL, rise_s=2e-5, fall_s=2e-5, transition=transition)
    spec = make(
        crank=CrankSpec("60-2", sensor),
        scope=ScopeSpec(duration_s=0.1, interval_s=1e-7),
        faults=(ExtraEdges("crank", 8, 1e-5),),
    )
    values = volts(simulate(spec, seed=1))
    # the steepest slope: 5 V through the time constant 20 us / ln 9, or over 25 us
    steepest = 5.0 / 25e-6 if transition == "linear" else 5.0 * np.log(9) / 2e-5
    assert np.max(np.abs(np.diff(values))) <= steepest * 1e-7 * 1.001


def test_false_pulses_need_room():
    with pytest.raises(UsageError, match=r"no room for 100 pulses.*lower count"):
        simulate(make(faults=(ExtraEdges("crank", 100, 5e-3),)), seed=1)


def test_spikes_drift_and_other_channels_show():
    scope = ScopeSpec(duration_s=1.0, interval_s=1e-5)
    extras = (ExtraSpec("injector", "injector", 12.0), ExtraSpec("ignition", "coil", 9.0, 1e-3))
    simulation = simulate(make(scope=scope, extras=extras), seed=1)
    # 800 rpm, four cylinders: 26.7 firings and 6.7 cycles a second (identity)
    coil = volts(simulation, "coil")
    assert len(crossings(coil, 4.5, falling=False)) in (26, 27)
    injector = volts(simulation, "injector")
    assert len(crossings(injector, 6.0, falling=True)) in (6, 7)
    assert injector.max() > 40.0
    spiky = volts(simulate(make(scope=replace(scope, spike_v=2.0)), seed=1))
    plain = volts(simulation)
    assert 0.5 < np.max(np.abs(spiky - plain)) <= 2.0
    assert np.mean(spiky != plain) < 0.1
    drifting = volts(simulate(make(scope=replace(scope, drift_v=0.5, drift_hz=1.0)), seed=1))
    assert np.ptp(drifting - plain) == pytest.approx(1.0, abs=0.01)


def test_recording_has_the_shape_of_one_that_was_read():
    scope = ScopeSpec(duration_s=0.5, interval_s=1e-5, start_s=-0.2)
    recording = simulate(make(scope=scope), seed=1).recording
    assert recording.start_s == -0.2
    assert recording.duration_s == pytest.approx(0.5, abs=1e-12)
    assert [len(channel.values) for channel in recording.channels] == [50_001, 50_001]
    assert len(recording.sha256) == 64
    ordered = simulate(make(scope=replace(scope, order=("intake", "crank"))), seed=1).recording
    assert ordered.channel_names == ("intake", "crank")


def test_a_plain_reading_of_the_samples_finds_the_true_angles():
    base = PRESETS["t20-fresh-chain"]
    spec = replace(
        base,
        scope=ScopeSpec(duration_s=2.0, interval_s=1e-6),
        crank=replace(base.crank, tooth_error_deg=0.0, runout_deg=0.0),
    )
    simulation = simulate(spec, seed=6)
    teeth = crossings(volts(simulation), 2.5, falling=True) * 1e-6
    gaps = np.flatnonzero(np.diff(teeth) > 2 * np.median(np.diff(teeth)))
    assert np.all(np.diff(gaps) == 58)
    first = gaps[0] + 1
    count = np.arange(len(teeth)) - first
    angle = count // 58 * 360.0 + count % 58 * 6.0
    turned = np.interp(simulation.truth.cycle_zero_s[0], teeth, angle)
    angle -= np.round(turned / 360) * 360.0
    for role in ("intake", "exhaust"):
        seen = {}
        for falling in (False, True):
            cam = crossings(volts(simulation, role), 2.5, falling=falling) * 1e-6
            seen[falling] = np.interp(cam, teeth, angle, left=np.nan, right=np.nan)
        for edge in simulation.truth.cam(role).edges:
            away = (seen[edge.edge == "falling"] - edge.angle_deg + 360) % 720 - 360
            near = away[np.abs(away) < 5]
            true = np.array(edge.cycle_angles_deg) - edge.angle_deg
            # those before the first crank tooth or after the last can't be read
            fits = range(len(true) - len(near) + 1)
            off = min(np.max(np.abs(near - true[first:][: len(near)])) for first in fits)
            # straight interpolation over 6 degrees errs by 0.0148 at most at a swing of 75/800
            # (derived from the Venter swing); here the swing is smaller
            assert len(near) >= len(true) - 2
            assert off < 0.0148
