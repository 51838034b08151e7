"""The trace against what the simulator knows of every moment and every cycle."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from crankwise.pipeline import measure, measure_traced
from crankwise.testing.simulate import ScopeSpec, preset, simulate
from crankwise.units import wrap_signed_deg

CONDITIONS = ("t20-fresh-chain", "t20-cranking", "t20-start-up", "t20-vr", "fell-v6", "events")


@cache
def made(name):
    if name == "events":
        spec = replace(preset("t20-fresh-chain"), scope=ScopeSpec(3.0, "events", resolution_s=1e-6))
    else:
        spec = preset(name)
    simulation = simulate(spec, seed=7)
    return simulation.truth, measure_traced(simulation.recording), simulation.recording


@pytest.mark.parametrize("name", CONDITIONS)
def test_tracing_changes_nothing_in_the_measurement(name):
    _, traced, recording = made(name)
    assert traced.measurement == measure(recording)


@pytest.mark.parametrize("name", CONDITIONS)
def test_the_crank_stands_at_zero_when_a_cycle_begins(name):
    truth, traced, _ = made(name)
    found = traced.trace.angle_at(np.array(truth.cycle_zero_s))
    known = found[np.isfinite(found)]
    assert len(known) >= 0.8 * len(truth.cycle_zero_s) - 2
    # The crank sensor's delay shows as an angle at once; beyond it the project's own limits.
    delay_s = truth.crank.delay_s[traced.measurement.crank.timing_edge]
    late_deg = delay_s * truth.speed.mean_rpm * 6.0
    flank_deg = truth.crank.zero_offset_deg[traced.measurement.crank.timing_edge]
    off = wrap_signed_deg(known + late_deg - flank_deg, period_deg=360.0)
    assert np.abs(off).max() < (0.3 if "crank" in name or "start" in name else 0.15)


@pytest.mark.parametrize("name", CONDITIONS)
def test_whole_cycles_lie_between_the_beginnings(name):
    truth, traced, _ = made(name)
    found = traced.trace.angle_at(np.array(truth.cycle_zero_s))
    turned = np.diff(found)
    turned = turned[np.isfinite(turned)]
    assert len(turned) > 0
    assert np.abs(turned - 720.0).max() < 0.3


@pytest.mark.parametrize("name", CONDITIONS)
def test_time_and_angle_are_inverse_to_each_other(name):
    _, traced, _ = made(name)
    for run in traced.trace.runs:
        angle = np.linspace(run.start_deg + 1.0, run.end_deg - 1.0, 999)
        assert np.abs(run.angle_at(run.time_at(angle)) - angle).max() < 1e-6


@pytest.mark.parametrize("name", CONDITIONS)
def test_cam_edges_of_all_cycles_are_those_of_the_measurement(name):
    _, traced, _ = made(name)
    for cam, traced_cam in zip(traced.measurement.cams, traced.trace.cams, strict=True):
        assert (traced_cam.role, traced_cam.channel) == (cam.role, cam.channel)
        for number, edge in enumerate(cam.edges):
            chosen = traced_cam.edge == number
            assert chosen.sum() == edge.count
            assert np.all(traced_cam.rising[chosen] == (edge.edge == "rising"))
            off = wrap_signed_deg(traced_cam.angle_deg[chosen] - edge.angle_deg)
            assert off.mean() == pytest.approx(0.0, abs=1e-6)
            assert off.std(ddof=1) == pytest.approx(edge.scatter_deg, abs=1e-6)


@pytest.mark.parametrize("name", ["t20-fresh-chain", "fell-v6"])
def test_cam_edges_of_each_cycle_are_the_true_ones(name):
    truth, traced, _ = made(name)
    zero = traced.trace.angle_at(np.array(truth.cycle_zero_s[1:2]))[0]
    turn = 360.0 * round(zero / 360.0)  # the simulator's cycle begins with the other revolution
    timing_edge = traced.measurement.crank.timing_edge
    for cam in traced.trace.cams:
        for number in range(cam.edge.max() + 1):
            chosen = cam.edge == number
            found = cam.angle_deg[chosen] - turn
            edge = _nearest(truth.cam(cam.role).edges, found[0], cam.rising[chosen][0], timing_edge)
            true = np.array(edge.cycle_angles_deg)
            assert abs(len(true) - len(found)) <= 1
            off = wrap_signed_deg(found - edge.angle_by_crank_edge_deg[timing_edge])
            stray = true - edge.angle_deg
            # In their order, cycle by cycle, as the two agree about the whole ones.
            lag = min((0, 1, -1), key=lambda k: np.abs(_paired(off, stray, k)).mean())
            assert np.abs(_paired(off, stray, lag)).max() < 0.15


def _nearest(edges, angle_deg, is_rising, timing_edge):
    alike = [edge for edge in edges if (edge.edge == "rising") == is_rising]
    apart = [wrap_signed_deg(e.angle_by_crank_edge_deg[timing_edge] - angle_deg) for e in alike]
    return alike[int(np.argmin(np.abs(apart)))]


def _paired(off, stray, lag):
    """Differences cycle by cycle, if the one begins ``lag`` cycles after the other."""
    first, second = (off[lag:], stray) if lag >= 0 else (off, stray[-lag:])
    both = min(len(first), len(second))
    return first[:both] - second[:both]


def test_a_run_knows_its_own_ends_whatever_is_added_to_its_count():
    _, traced, _ = made("t20-fresh-chain")
    for offset in np.random.default_rng(1).uniform(-1e5, 1e5, 200):
        run = replace(traced.trace.runs[0], offset_deg=float(offset))
        ends = run.time_at(np.array([run.start_deg, run.end_deg]))
        assert ends == pytest.approx(run.times_s[[0, -1]], abs=1e-4)


def test_speed_is_that_of_the_engine():
    truth, traced, _ = made("t20-fresh-chain")
    (run,) = traced.trace.runs
    # The measurement, too, looks ten degrees inside the run, where the curve is held on both sides.
    ends = run.time_at(np.array([run.start_deg + 10.0, run.end_deg - 10.0]))
    speed = traced.trace.speed_rpm_at(np.linspace(*ends, 5001))
    assert speed.min() == pytest.approx(truth.speed.min_rpm, rel=0.01)
    assert speed.max() == pytest.approx(truth.speed.max_rpm, rel=0.01)
    assert speed.mean() == pytest.approx(truth.speed.mean_rpm, rel=0.01)


def test_where_the_crank_was_not_followed_nothing_is_said():
    _, traced, recording = made("t20-start-up")
    before = traced.trace.runs[0].times_s[0] - 0.01
    for asked in (before, recording.duration_s + 1.0):
        assert np.isnan(traced.trace.angle_at(np.array([asked]))).all()
        assert np.isnan(traced.trace.speed_rpm_at(np.array([asked]))).all()
    assert np.isnan(traced.trace.runs[0].time_at(np.array([traced.trace.runs[0].end_deg + 1.0])))
