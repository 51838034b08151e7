"""The whole measurement against the known truth of simulated engines.

Limits on errors are the figures the project set itself; the share covered by the stated 95 % is
checked over all edges of all draws together.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from crankwise.pipeline import measure
from crankwise.testing.simulate import (
    CamSpec,
    CrankSpec,
    EngineSpec,
    ScopeSpec,
    SensorSpec,
    SimulationSpec,
    SpeedSpec,
    preset,
    simulate,
)
from crankwise.units import wrap_signed_deg

HALL = SensorSpec(kind="hall", rise_s=6e-6, fall_s=0.8e-6, delay_s=6e-6)
COIL = SensorSpec(kind="variable-reluctance", volts_per_1000_rpm=4.0, runout=0.1)
TEETH = ((46.0, 146.0), (286.0, 326.0), (466.0, 506.0), (586.0, 686.0))
IDLE = SimulationSpec(
    name="idle",
    engine=EngineSpec(swing=0.15, combustion_variation=0.01),
    speed=SpeedSpec("idle", 800.0, wander_rpm=6.0),
    crank=CrankSpec("60-2", HALL, tooth_error_deg=0.03),
    cams=(CamSpec("intake", "intake", TEETH, HALL, scatter_deg=0.1),),
    scope=ScopeSpec(duration_s=2.0, interval_s=1e-5, range_v=10.0, bits=12, noise_v=0.02),
)
CONDITIONS = {
    "idle": IDLE,
    "idle, 20 kS/s": replace(IDLE, scope=replace(IDLE.scope, interval_s=5e-5)),
    "coil": replace(IDLE, crank=replace(IDLE.crank, sensor=COIL)),
    "cranking": replace(
        IDLE,
        speed=SpeedSpec("cranking", 200.0),
        scope=replace(IDLE.scope, duration_s=5.0, interval_s=2e-5),
    ),
    "8 bits, noisy": replace(
        IDLE, scope=replace(IDLE.scope, interval_s=2e-5, bits=8, noise_v=0.15)
    ),
    "events": replace(IDLE, scope=ScopeSpec(2.0, "events", resolution_s=1e-6)),
    "36-1": replace(IDLE, crank=replace(IDLE.crank, wheel="36-1")),
    "36-2-2-2": replace(IDLE, crank=replace(IDLE.crank, wheel="36-2-2-2")),
    "24-1": replace(IDLE, crank=replace(IDLE.crank, wheel="24-1", tooth_error_deg=0.0)),
    "12-1": replace(IDLE, crank=replace(IDLE.crank, wheel="12-1", tooth_error_deg=0.0)),
}
WORST_DEG = {"idle": 0.10, "idle, 20 kS/s": 0.15, "coil": 0.20, "cranking": 0.30}
SEEDS = range(4)


@cache
def run(condition, seed):
    simulation = simulate(CONDITIONS[condition], seed=seed)
    return simulation.truth, measure(simulation.recording)


def errors_of(truth, result):
    """Error and expanded uncertainty of each cam edge; the whole cycle may be off by a turn."""
    rows = {0.0: [], 360.0: []}
    for turn, table in rows.items():
        for cam in result.cams:
            known = truth.cam(cam.role).edges
            assert len(cam.edges) == len(known)
            for edge in cam.edges:
                apart = [
                    float(
                        wrap_signed_deg(
                            edge.angle_deg
                            - turn
                            - item.angle_by_crank_edge_deg[result.crank.timing_edge]
                        )
                    )
                    for item in known
                    if item.edge == edge.edge
                ]
                table.append((min(apart, key=abs), edge.uncertainty_deg))
    best = min(rows.values(), key=lambda table: max(abs(error) for error, _ in table))
    return np.array(best)


@pytest.mark.parametrize("condition", WORST_DEG)
def test_worst_edge_is_within_the_figure(condition):
    table = np.concatenate([errors_of(*run(condition, seed)) for seed in SEEDS])
    assert np.abs(table[:, 0]).max() < WORST_DEG[condition]


def test_rms_at_idle_is_within_the_figure():
    table = np.concatenate([errors_of(*run("idle", seed)) for seed in SEEDS])
    assert np.sqrt(np.mean(table[:, 0] ** 2)) < 0.05


@pytest.mark.parametrize("condition", CONDITIONS)
def test_errors_stay_within_what_is_stated(condition):
    table = np.concatenate([errors_of(*run(condition, seed)) for seed in SEEDS])
    ratio = np.abs(table[:, 0]) / table[:, 1]
    # Thirty-two edges, of which those of one draw err together: 95 % is a mean, 80 % a floor.
    assert np.mean(ratio <= 1.0) >= 0.8
    assert ratio.max() < 2.5


def test_coverage_over_all_conditions():
    table = np.concatenate([errors_of(*run(name, seed)) for name in CONDITIONS for seed in SEEDS])
    covered = np.mean(np.abs(table[:, 0]) <= table[:, 1])
    assert len(table) == 8 * len(CONDITIONS) * len(SEEDS)
    # 320 edges in 40 draws that err together: one standard deviation of the share is about 3 %.
    assert covered > 0.90
    # Not by stating too much: the typical error is a sizeable part of what is stated.
    assert np.median(np.abs(table[:, 0]) / table[:, 1]) > 0.1


@pytest.mark.parametrize("condition", CONDITIONS)
def test_the_crank_is_told_right(condition):
    truth, result = run(condition, 0)
    assert result.crank.wheel == truth.crank.wheel
    assert result.crank.choice.confidence > 0.95
    assert result.crank.speed_rpm.mean == pytest.approx(truth.speed.mean_rpm, rel=2e-3)
    assert result.crank.revolutions == pytest.approx(truth.speed.revolutions, abs=1.5)


def test_scatter_is_measured():
    for seed in SEEDS:
        truth, result = run("idle", seed)
        known = [edge.scatter_deg for edge in truth.cam("intake").edges]
        seen = [edge.scatter_deg for edge in result.cam("intake").edges]
        assert np.mean(seen) == pytest.approx(np.mean(known), rel=0.1)


def test_budget_adds_up():
    _, result = run("idle", 0)
    for edge in result.cam("intake").edges:
        total = np.sqrt(sum(item.standard_deg**2 for item in edge.budget))
        assert edge.coverage_factor * total == pytest.approx(edge.uncertainty_deg, rel=1e-9)
        assert edge.coverage_factor > 1.95
        assert edge.dof >= 1
        assert edge.count >= 10
        assert all(item.source and item.kind in {"A", "B"} for item in edge.budget)
        assert all(item.standard_deg > 0 for item in edge.budget)


def test_uncertainty_falls_with_more_cycles():
    short, long = (
        measure(simulate(replace(IDLE, scope=replace(IDLE.scope, duration_s=t)), seed=7).recording)
        for t in (1.0, 8.0)
    )
    first, second = (
        np.mean([edge.uncertainty_deg for edge in result.cam("intake").edges])
        for result in (short, long)
    )
    assert second < 0.8 * first


def test_wide_scatter_widens_the_uncertainty():
    spec = replace(IDLE, cams=(replace(IDLE.cams[0], scatter_deg=1.0),))
    simulation = simulate(spec, seed=1)
    result = measure(simulation.recording)
    for edge in result.cam("intake").edges:
        # The mean of 13 cycles is known to scatter over root of count, times Student's factor.
        assert edge.uncertainty_deg > 1.5 * edge.scatter_deg / np.sqrt(edge.count)
    assert np.mean([edge.scatter_deg for edge in result.cam("intake").edges]) > 0.7


@pytest.mark.parametrize(
    "name",
    [
        "t20-fresh-chain",
        "t20-stretched",
        "t20-vr",
        "t20-revving",
        "t20-start-up",
        "t20-logic",
        "fell-v6",
        "t20-jumped-tooth",
    ],
)
def test_presets(name):
    simulation = simulate(preset(name), seed=2)
    table = errors_of(simulation.truth, measure(simulation.recording))
    assert np.mean(np.abs(table[:, 0]) <= table[:, 1]) >= 0.8
    assert np.abs(table[:, 0]).max() < 0.2


def test_delay_grows_with_speed_and_is_no_error_of_the_angle():
    # 10 microseconds at 800 and 3000 rpm are 0.048 and 0.18 degrees (derived identity); with the
    # same delay on crank and cam they cancel.
    for speed_rpm in (800.0, 3000.0):
        spec = replace(
            IDLE,
            speed=SpeedSpec("constant", speed_rpm),
            crank=replace(IDLE.crank, tooth_error_deg=0.0),
            scope=ScopeSpec(1.0, "events", resolution_s=1e-8),
        )
        late = replace(spec.cams[0], scatter_deg=0.0, sensor=replace(HALL, delay_s=16e-6))
        level = replace(late, sensor=HALL)
        angles = [
            [edge.angle_deg for edge in measure(simulate(item, seed=3).recording).cams[0].edges]
            for item in (replace(spec, cams=(level,)), replace(spec, cams=(late,)))
        ]
        shift = np.subtract(angles[1], angles[0])
        assert shift == pytest.approx(10e-6 * 6.0 * speed_rpm, abs=0.005)
