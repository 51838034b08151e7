"""Integration of the crank's equation of motion, J·dω/dt + ½·dJ/dθ·ω² = sum of torques.

Classic fourth-order Runge-Kutta with a step of at most two crank degrees and half a
millisecond. A plain loop over floats: the state is two numbers, arrays would only be slower.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from crankwise.errors import UsageError
from crankwise.model.recording import FloatArray
from crankwise.testing.simulate.engine import (
    GRID_DEG,
    GRID_POINTS,
    EngineTables,
    build_tables,
    ripple_for_swing,
    steady_cycle_rpm,
)
from crankwise.testing.simulate.motion import Motion
from crankwise.testing.simulate.parts import CrankSpec, EngineSpec, SpeedSpec
from crankwise.testing.simulate.profile import Drive, drive_for
from crankwise.units import CYCLE_DEG, rpm_to_deg_per_s

LEAD_IN_S = 0.15
"""Simulated before the first sample, so that delays and slow transitions have a past."""

LEAD_OUT_S = 0.02
STEP_DEG = 2.0
STEP_S = 5e-4


@dataclass(frozen=True, slots=True)
class _Torques:
    """Lookup lists for the loop; ``fired`` spans all cycles, the rest one."""

    motored: list[float]
    cranked: list[float]
    fired: list[float]
    inertia: list[float]
    slope: list[float]
    first_angle_deg: float

    def at(self, angle_deg: float, fuel: float) -> tuple[float, float, float]:
        """Gas torque (N m), inertia (kg m²) and its slope, interpolated between grid points."""
        place = (angle_deg - self.first_angle_deg) / GRID_DEG
        whole = int(place)
        part = place - whole
        low = whole % GRID_POINTS
        high = (low + 1) % GRID_POINTS
        rest = 1.0 - part
        idle = rest * self.motored[low] + part * self.motored[high]
        if fuel < 1.0:
            crank = rest * self.cranked[low] + part * self.cranked[high]
            idle = fuel * idle + (1.0 - fuel) * crank
        if fuel > 0.0:
            last = len(self.fired) - 1
            idle += fuel * (
                rest * self.fired[min(whole, last)] + part * self.fired[min(whole + 1, last)]
            )
        inertia = rest * self.inertia[low] + part * self.inertia[high]
        return idle, inertia, rest * self.slope[low] + part * self.slope[high]


def _fired_over_cycles(
    tables: EngineTables, spec: EngineSpec, *, cycles: int, rng: np.random.Generator
) -> FloatArray:
    """Combustion torque of all cylinders over ``cycles`` cycles, each with its own heat."""
    fixed = 1.0 + spec.cylinder_spread * rng.standard_normal(spec.cylinders)
    fixed /= fixed.mean()
    total = np.zeros(cycles * GRID_POINTS)
    for offset, strength in zip(tables.offsets_deg, fixed, strict=True):
        heat = strength * (1.0 + spec.combustion_variation * rng.standard_normal(cycles))
        one = np.outer(np.clip(heat, 0.0, 2.0), tables.fired_nm).ravel()
        total += np.roll(one, round((offset - 360.0) / GRID_DEG))
    return total


def _prepare(
    engine: EngineSpec,
    speed: SpeedSpec,
    crank: CrankSpec,
    *,
    start_angle_deg: float,
    seconds: float,
    rng: np.random.Generator,
) -> tuple[_Torques, EngineTables, float]:
    """Lookup lists, the tables behind them and the scale of the gas torque."""
    tables = build_tables(engine)
    ripple = engine.ripple
    if engine.swing is not None:
        ripple = ripple_for_swing(tables, mean_rpm=speed.mean_rpm, swing=engine.swing)
    top_rpm = 1.3 * max(speed.mean_rpm, speed.high_rpm)
    first_angle = crank.zero_before_tdc_deg - 2 * CYCLE_DEG
    cycles = math.ceil((rpm_to_deg_per_s(top_rpm) * seconds + start_angle_deg) / CYCLE_DEG) + 4
    fired = _fired_over_cycles(tables, engine, cycles=cycles, rng=rng)
    lists = _Torques(
        motored=(ripple * tables.motored_nm).tolist(),
        cranked=(engine.cranking_ripple * tables.cranked_nm).tolist(),
        fired=(ripple * fired).tolist(),
        inertia=tables.inertia_kg_m2.tolist(),
        slope=tables.inertia_slope.tolist(),
        first_angle_deg=first_angle,
    )
    return lists, tables, ripple


def turn(
    engine: EngineSpec,
    speed: SpeedSpec,
    crank: CrankSpec,
    *,
    duration_s: float,
    start_angle_deg: float,
    rng: np.random.Generator,
) -> Motion:
    """Let the engine run from a little before 0 to a little after ``duration_s``.

    The crank passes about ``start_angle_deg`` at time 0 (exactly, at constant speed).

    Raises
    ------
    UsageError
        The engine stops although its speed profile says that it turns.
    """
    end_s = duration_s + LEAD_OUT_S
    if speed.kind == "constant":
        rate = rpm_to_deg_per_s(speed.mean_rpm)
        time = np.array([-LEAD_IN_S, end_s])
        return Motion(time, start_angle_deg + rate * time, np.full(2, rate), np.zeros(2))
    lists, tables, ripple = _prepare(
        engine,
        speed,
        crank,
        start_angle_deg=start_angle_deg,
        seconds=end_s + LEAD_IN_S,
        rng=rng,
    )
    drive = drive_for(
        engine,
        speed,
        mean_inertia=float(tables.inertia_kg_m2.mean()),
        mean_torque=ripple * float(tables.running_nm.mean()),
    )
    lead_in = 0.0 if drive.starts_at_rest else LEAD_IN_S * rpm_to_deg_per_s(speed.mean_rpm)
    angle = start_angle_deg - lead_in
    rad_per_s = 0.0
    if speed.kind == "cranking":
        rad_per_s = speed.mean_rpm * math.pi / 30.0
    elif not drive.starts_at_rest:
        cycle = steady_cycle_rpm(tables, mean_rpm=speed.mean_rpm, ripple=ripple)
        place = int((angle - crank.zero_before_tdc_deg) % CYCLE_DEG / GRID_DEG)
        rad_per_s = float(cycle[place]) * math.pi / 30.0
    motion = _integrate(lists, drive, angle_deg=angle, rad_per_s=rad_per_s, end_s=end_s)
    _refuse_rest(motion, speed)
    return motion


def _refuse_rest(motion: Motion, speed: SpeedSpec) -> None:
    """Raise UsageError if the crank rests where the profile wants it turning."""
    if speed.kind == "stall":
        return
    turning = -LEAD_IN_S
    if speed.kind == "start-up":
        turning = speed.at_s + speed.fire_s + 0.5
    stopped = motion.time_s[(motion.speed_deg_per_s == 0) & (motion.time_s > turning)]
    if len(stopped):
        remedy = (
            "raise starter_nm or lower cranking_ripple"
            if speed.kind in {"cranking", "start-up"}
            else "lower swing or ripple, or raise inertia_kg_m2"
        )
        raise UsageError(
            f"engine: it stops {max(stopped[0], 0):.2f} s into the recording; {remedy}"
        )


def _integrate(
    lists: _Torques, drive: Drive, *, angle_deg: float, rad_per_s: float, end_s: float
) -> Motion:
    """Run the loop; a crank that comes to rest stays there until the drive turns it."""
    to_deg = 180.0 / math.pi

    def rate(time: float, angle: float, omega: float) -> tuple[float, float]:
        gas, inertia, slope = lists.at(angle, drive.fuel(time))
        net = gas + drive.torque_nm(time, omega)
        return (net - 0.5 * slope * omega * omega) / inertia, net

    time = -LEAD_IN_S
    rows: list[tuple[float, float, float, float]] = []
    while True:
        slope_1, net = rate(time, angle_deg, rad_per_s)
        rows.append((time, angle_deg, rad_per_s * to_deg, net))
        if time >= end_s:
            break
        if rad_per_s <= 0.0 and (slope_1 <= 0.0 or time < drive.held_until_s):
            time = min(max(drive.held_until_s, time + STEP_S), end_s)
            continue
        step = min(STEP_S, STEP_DEG / (to_deg * rad_per_s)) if rad_per_s > 0 else STEP_S
        angle_deg, rad_per_s = _runge_kutta(rate, (time, angle_deg, rad_per_s), slope_1, step)
        time += step
    columns = np.array(rows)
    return Motion(columns[:, 0], columns[:, 1], columns[:, 2], columns[:, 3])


def _runge_kutta(
    rate: Callable[[float, float, float], tuple[float, float]],
    state: tuple[float, float, float],
    slope_1: float,
    step: float,
) -> tuple[float, float]:
    """Step angle (degrees) and speed (rad/s) on; the crank never turns backwards.

    ``state`` is time, angle and speed; ``slope_1`` the acceleration there.
    """
    time, angle_deg, omega = state
    half, to_deg = 0.5 * step, 180.0 / math.pi
    omega_2 = omega + half * slope_1
    slope_2, _ = rate(time + half, angle_deg + half * to_deg * omega, omega_2)
    omega_3 = omega + half * slope_2
    slope_3, _ = rate(time + half, angle_deg + half * to_deg * omega_2, omega_3)
    omega_4 = omega + step * slope_3
    slope_4, _ = rate(time + step, angle_deg + step * to_deg * omega_3, omega_4)
    turned = step * to_deg * (omega + 2 * omega_2 + 2 * omega_3 + omega_4) / 6.0
    faster = omega + step * (slope_1 + 2 * slope_2 + 2 * slope_3 + slope_4) / 6.0
    return angle_deg + max(turned, 0.0), max(faster, 0.0)
