"""The simulated recordings on which the accuracy of angles is judged."""

from __future__ import annotations

from dataclasses import replace

from crankwise.testing.simulate import (
    CamSpec,
    CrankSpec,
    EngineSpec,
    ScopeSpec,
    SensorSpec,
    SimulationSpec,
    SpeedSpec,
)

HALL = SensorSpec(kind="hall", high_v=5.0, rise_s=4e-6, fall_s=1e-6, delay_s=5e-6)
COIL = SensorSpec(kind="variable-reluctance", volts_per_1000_rpm=3.0, lag_s=45e-6, runout=0.1)
CAM_TEETH = ((46.0, 146.0), (286.0, 326.0), (466.0, 506.0), (586.0, 686.0))

IDLE = SimulationSpec(
    name="idle",
    engine=EngineSpec(swing=0.15, combustion_variation=0.05),
    speed=SpeedSpec("idle", 800.0, wander_rpm=5.0),
    crank=CrankSpec("60-2", HALL, tooth_error_deg=0.03),
    cams=(CamSpec("intake", "intake", CAM_TEETH, HALL, scatter_deg=0.1),),
    scope=ScopeSpec(duration_s=2.0, interval_s=1e-5, range_v=10.0, bits=12, noise_v=0.02),
)
"""Idle, 60-2, Hall, 100 kS/s, 2 s, tooth-spacing sd 0.03°, cam scatter 0.1°; each of the others
differs from it only in what its name says."""


def _scope(*, duration_s: float = 2.0, interval_s: float = 1e-5) -> ScopeSpec:
    return replace(IDLE.scope, duration_s=duration_s, interval_s=interval_s)


def _cranking(*, ripple: float) -> SimulationSpec:
    """The starter alone; ``ripple`` is the share of the compression torque that blow-by leaves."""
    return replace(
        IDLE,
        engine=replace(IDLE.engine, swing=None, cranking_ripple=ripple),
        speed=SpeedSpec("cranking", 204.0),
        scope=_scope(duration_s=5.0),
    )


_COIL_IDLE = replace(IDLE, crank=replace(IDLE.crank, sensor=COIL))

CONDITIONS: dict[str, SimulationSpec] = {
    "idle, 60-2, Hall, 100 kS/s, 2 s": IDLE,
    "20 kS/s": replace(IDLE, scope=_scope(interval_s=5e-5)),
    "1 MS/s": replace(IDLE, scope=_scope(interval_s=1e-6)),
    "5 s": replace(IDLE, scope=_scope(duration_s=5.0)),
    "variable reluctance": _COIL_IDLE,
    "variable reluctance, 20 kS/s": replace(_COIL_IDLE, scope=_scope(interval_s=5e-5)),
    "cranking at 200 rpm ± 20 %, 5 s": _cranking(ripple=0.42),
    "cranking at 200 rpm ± 33 %, 5 s": _cranking(ripple=0.6),
    "36-1": replace(IDLE, crank=replace(IDLE.crank, wheel="36-1")),
    "36-2-2-2": replace(IDLE, crank=replace(IDLE.crank, wheel="36-2-2-2")),
    "8 bits, noise 3 % of the step": replace(IDLE, scope=replace(IDLE.scope, bits=8, noise_v=0.15)),
    "event list, 1 µs": replace(IDLE, scope=ScopeSpec(2.0, "events", resolution_s=1e-6)),
    "tooth-spacing sd 0.1°": replace(IDLE, crank=replace(IDLE.crank, tooth_error_deg=0.1)),
    "cam scatter 0.5°": replace(IDLE, cams=(replace(IDLE.cams[0], scatter_deg=0.5),)),
    "steady 2500 rpm": replace(
        IDLE,
        engine=replace(IDLE.engine, swing=0.03),
        speed=SpeedSpec("steady", 2500.0),
    ),
    "revving to 3000 rpm, 5 s": replace(
        IDLE, speed=SpeedSpec("revving", 800.0), scope=_scope(duration_s=5.0)
    ),
}
