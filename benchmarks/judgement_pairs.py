"""Pairs of recordings to judge the judgement by: simulated whole, or drawn as shifts."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace

import numpy as np

from crankwise.model.measurement import CamMeasurement, Measurement
from crankwise.pipeline import measure
from crankwise.testing.simulate import (
    CamSpec,
    CrankSpec,
    EngineSpec,
    ScopeSpec,
    SensorSpec,
    SimulationSpec,
    SpeedSpec,
    simulate,
)
from crankwise.testing.simulate.run import Simulation
from crankwise.units import wrap_cycle_deg

INTAKE = ((46.0, 146.0), (286.0, 326.0), (466.0, 506.0), (586.0, 686.0))
EXHAUST = ((16.0, 116.0), (256.0, 296.0), (436.0, 476.0), (556.0, 656.0))
WHEELS = ("60-2", "36-1", "36-2")
SENSOR_DELAY_S = 50e-6
"""Delay of the crank's sensor; those of the cams differ from it as drawn."""


@dataclass(frozen=True, slots=True)
class Setup:
    """One way to record: wheel, sensors, speed, scope."""

    wheel: str
    inverted: bool
    speed: SpeedSpec
    scope: ScopeSpec


def random_setup(rng: np.random.Generator, wheel: str) -> Setup:
    """Draw speed, rate, noise, format and polarity."""
    kind = str(rng.choice(["idle", "idle", "steady", "cranking"]))
    speed = {"idle": rng.uniform(650, 950), "steady": rng.uniform(900, 1600), "cranking": 210.0}
    duration = 4.0 if kind == "cranking" else float(rng.uniform(2.0, 4.0))
    if rng.random() < 0.2:
        scope = ScopeSpec(duration_s=duration, kind="events", resolution_s=1e-6)
    else:
        scope = ScopeSpec(
            duration_s=duration,
            interval_s=float(rng.choice([2e-5, 1e-5, 5e-6])),
            range_v=10.0,
            bits=int(rng.choice([8, 12])),
            noise_v=float(rng.choice([0.0, 0.02, 0.1])),
        )
    spec = SpeedSpec(kind, float(speed[kind]), wander_rpm=5.0)  # type: ignore[arg-type]
    return Setup(wheel, bool(rng.integers(2)), spec, scope)


def random_delays(rng: np.random.Generator, spread_s: float) -> tuple[float, float]:
    """Draw by how much an engine's intake and exhaust sensors lag behind its crank sensor."""
    drawn_s = np.clip(spread_s * rng.standard_normal(2), -SENSOR_DELAY_S, None)
    return float(drawn_s[0]), float(drawn_s[1])


def record(
    setup: Setup,
    *,
    intake: tuple[tuple[float, float], ...] = INTAKE,
    exhaust: tuple[tuple[float, float], ...] = EXHAUST,
    shifts_deg: tuple[float, float] = (0.0, 0.0),
    delays_s: tuple[float, float] = (0.0, 0.0),
    seed: int,
) -> Simulation:
    """Simulate one engine with its own tooth errors, its cams' sensors slower by ``delays_s``."""
    hall = SensorSpec(
        kind="hall",
        high_v=5.0,
        rise_s=4e-6,
        fall_s=1e-6,
        delay_s=SENSOR_DELAY_S,
        inverted=setup.inverted,
    )
    swing = 0.4 if setup.speed.kind == "cranking" else 0.12
    cams = tuple(
        CamSpec(
            role,
            role,
            teeth,
            replace(hall, delay_s=SENSOR_DELAY_S + slower),
            shift_deg=shift,
            scatter_deg=0.1,
        )
        for role, teeth, shift, slower in (
            ("intake", intake, shifts_deg[0], delays_s[0]),
            ("exhaust", exhaust, shifts_deg[1], delays_s[1]),
        )
    )
    return simulate(
        SimulationSpec(
            name="pair",
            engine=EngineSpec(swing=swing, combustion_variation=0.05),
            speed=setup.speed,
            crank=CrankSpec(setup.wheel, hall, tooth_error_deg=0.03),
            cams=cams,
            scope=setup.scope,
        ),
        seed=seed,
    )


def base_measurement() -> Measurement:
    """One clean idle recording, measured: the pattern that drawn vehicles vary."""
    setup = Setup(
        "60-2",
        False,
        SpeedSpec("idle", 750.0, wander_rpm=5.0),
        ScopeSpec(duration_s=3.0, interval_s=1e-5, range_v=10.0, bits=12, noise_v=0.02),
    )
    return measure(record(setup, seed=1).recording)


def drawn(
    base: Measurement, shifts_deg: dict[str, float], rng: np.random.Generator, name: str
) -> Measurement:
    """A measurement of a vehicle whose cams sit so much later, with measuring errors as stated."""
    cams = tuple(_moved(cam, shifts_deg.get(cam.role, 0.0), rng) for cam in base.cams)
    # each is a recording of its own: known-goods of one hash would count as one file given twice
    digest = hashlib.sha256(rng.bytes(32)).hexdigest()
    return replace(base, cams=cams, recording=replace(base.recording, name=name, sha256=digest))


def _moved(cam: CamMeasurement, shift_deg: float, rng: np.random.Generator) -> CamMeasurement:
    common = cam.common_scatter_deg / np.sqrt(cam.cycles) * rng.standard_normal()
    edges = []
    for edge in cam.edges:
        own = np.sqrt(
            max(
                (edge.uncertainty_deg / edge.coverage_factor) ** 2
                - cam.common_scatter_deg**2 / cam.cycles,
                0.0,
            )
        )
        place = edge.angle_deg + shift_deg + common + own * rng.standard_normal()
        edges.append(replace(edge, angle_deg=float(wrap_cycle_deg(place))))
    return replace(cam, edges=tuple(sorted(edges, key=lambda edge: edge.angle_deg)))


def vehicle(
    rng: np.random.Generator, *, cam_sd_deg: float, separation_sd_deg: float
) -> dict[str, float]:
    """Build of one healthy vehicle: its difference to another has the standard deviations given."""
    common_variance = cam_sd_deg**2 - separation_sd_deg**2 / 2.0
    common = np.sqrt(common_variance / 2.0) * rng.standard_normal()
    own = separation_sd_deg / 2.0
    return {role: float(common + own * rng.standard_normal()) for role in ("intake", "exhaust")}
