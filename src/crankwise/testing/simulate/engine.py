"""Gas torque and inertia of a four-stroke engine over its cycle.

The pressure of one cylinder follows the textbook single-zone model (J. B. Heywood, *Internal
Combustion Engine Fundamentals*, ch. 2 for the crank mechanism, ch. 9 for the heat release after
Wiebe; from memory): polytropic compression, heat release, expansion, exponential blow-down.
Inside the closed part the pressure is linear in the heat, so one motored and one fired table
are enough for any mixture of weak and strong cycles.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.errors import UsageError
from crankwise.model.recording import FloatArray
from crankwise.testing.simulate.parts import EngineSpec
from crankwise.units import CYCLE_DEG

GRID_DEG = 0.5
"""Step of all tables."""

GRID_POINTS = round(CYCLE_DEG / GRID_DEG)

AMBIENT_PA = 1.013e5
EXHAUST_PA = 1.05e5
CRANKING_PA = 0.95e5
POLYTROPIC = 1.32
INTAKE_CLOSES_DEG = -140.0
EXHAUST_OPENS_DEG = 140.0
BURN_START_DEG = -18.0
BURN_LENGTH_DEG = 55.0


@dataclass(frozen=True, slots=True, eq=False)
class EngineTables:
    """Torque and inertia over the cycle from firing top dead centre of cylinder 1 on.

    Attributes
    ----------
    motored_nm, cranked_nm : np.ndarray [shape=(GRID_POINTS,)]
        Gas torque of all cylinders without heat, at running and at cranking manifold pressure.
    fired_nm : np.ndarray [shape=(GRID_POINTS,)]
        Torque added by the heat of **one** cylinder, from 360 degrees before its own firing top
        dead centre on, at the heat that balances the load.
    inertia_kg_m2, inertia_slope : np.ndarray [shape=(GRID_POINTS,)]
        Moment of inertia with the reciprocating masses, and its derivative per radian.
    offsets_deg : tuple of float
        Firing top dead centres.
    """

    motored_nm: FloatArray
    cranked_nm: FloatArray
    fired_nm: FloatArray
    inertia_kg_m2: FloatArray
    inertia_slope: FloatArray
    offsets_deg: tuple[float, ...]

    @property
    def running_nm(self) -> FloatArray:
        """Gas torque of all cylinders at the balanced heat, shape (GRID_POINTS,)."""
        return self.motored_nm + _all_cylinders(self.fired_nm, self.offsets_deg)


def _all_cylinders(one: FloatArray, offsets_deg: tuple[float, ...]) -> FloatArray:
    """Sum a table that starts 360 degrees before firing over all cylinders."""
    shifts = [round((offset - 360.0) / GRID_DEG) for offset in offsets_deg]
    total: FloatArray = np.sum([np.roll(one, shift) for shift in shifts], axis=0)
    return total


def _mechanism(spec: EngineSpec, angle_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Volume over the piston (m³) and piston travel per radian (m) from top dead centre."""
    radius, rod = spec.stroke_mm / 2000.0, spec.rod_mm / 1000.0
    phase = np.radians(angle_deg)
    sine, cosine = np.sin(phase), np.cos(phase)
    root = np.sqrt(rod**2 - (radius * sine) ** 2)
    travel = radius * (1 - cosine) + rod - root
    slope = radius * sine * (1 + radius * cosine / root)
    area = np.pi * (spec.bore_mm / 2000.0) ** 2
    clearance = area * spec.stroke_mm / 1000.0 / (spec.compression_ratio - 1)
    return clearance + area * travel, slope


def _cylinder_pressure(
    angle_deg: FloatArray, volume: FloatArray, *, manifold_pa: float, heat_j: float
) -> FloatArray:
    """Pressure of one cylinder from 360 degrees before firing on, pascal."""
    closes = int(np.searchsorted(angle_deg, INTAKE_CLOSES_DEG))
    opens = int(np.searchsorted(angle_deg, EXHAUST_OPENS_DEG))
    burnt = 1 - np.exp(-5.0 * np.clip((angle_deg - BURN_START_DEG) / BURN_LENGTH_DEG, 0, None) ** 3)
    pressure = np.empty_like(angle_deg)
    inside = slice(closes, opens + 1)
    work = np.cumsum(volume ** (POLYTROPIC - 1) * np.gradient(burnt)) * heat_j * (POLYTROPIC - 1)
    start = manifold_pa * volume[closes] ** POLYTROPIC
    pressure[inside] = (start + work[inside]) / volume[inside] ** POLYTROPIC
    after = angle_deg[opens:] - EXHAUST_OPENS_DEG
    pressure[opens:] = EXHAUST_PA + (pressure[opens] - EXHAUST_PA) * np.exp(-after / 15.0)
    before = angle_deg[:closes] + 360.0
    pressure[:closes] = manifold_pa + (EXHAUST_PA - manifold_pa) * np.exp(-before / 10.0)
    return pressure


def build_tables(spec: EngineSpec) -> EngineTables:
    """Work out the tables of an engine at ``ripple`` 1.

    Raises
    ------
    UsageError
        If the load can't be balanced by any heat.
    """
    angle = np.arange(GRID_POINTS, dtype=np.float64) * GRID_DEG - 360.0
    volume, slope = _mechanism(spec, angle)
    lever = np.pi * (spec.bore_mm / 2000.0) ** 2 * slope
    offsets = spec.firing_offsets_deg

    def torque(manifold_pa: float, heat_j: float) -> FloatArray:
        pressure = _cylinder_pressure(angle, volume, manifold_pa=manifold_pa, heat_j=heat_j)
        return (pressure - AMBIENT_PA) * lever

    manifold_pa = spec.manifold_bar * 1e5
    motored = torque(manifold_pa, 0.0)
    per_joule = torque(manifold_pa, 1.0) - motored
    needed = spec.load_nm / spec.cylinders - float(motored.mean())
    if needed <= 0:
        raise UsageError(f"engine.load_nm: {spec.load_nm} N m leaves nothing to burn; raise it")
    inertia = spec.inertia_kg_m2 + _all_cylinders(spec.reciprocating_kg * slope**2, offsets)
    return EngineTables(
        motored_nm=_all_cylinders(motored, offsets),
        cranked_nm=_all_cylinders(torque(CRANKING_PA, 0.0), offsets),
        fired_nm=per_joule * (needed / float(per_joule.mean())),
        inertia_kg_m2=inertia,
        inertia_slope=np.gradient(np.concatenate((inertia[-2:], inertia, inertia[:2])))[2:-2]
        / np.radians(GRID_DEG),
        offsets_deg=offsets,
    )


def steady_cycle_rpm(tables: EngineTables, *, mean_rpm: float, ripple: float) -> FloatArray:
    """Work out the speed over one steady cycle from energy alone, shape (GRID_POINTS,), rpm.

    The kinetic energy follows the integral of gas torque less its mean; the level is set so
    that the cycle takes as long as at ``mean_rpm``. There always is such a level: as the
    slowest point comes to rest, the cycle takes for ever.
    """
    from scipy.optimize import brentq  # noqa: PLC0415  (slow to import)

    torque = tables.running_nm * ripple
    steps = (torque - torque.mean()) * np.radians(GRID_DEG)
    stored = np.cumsum(steps) - 0.5 * steps

    def speed(level_j: float) -> FloatArray:
        rad_per_s: FloatArray = np.sqrt(2 * (level_j + stored) / tables.inertia_kg_m2)
        return rad_per_s * 30.0 / np.pi

    def excess(level_j: float) -> float:
        return float(1.0 / np.mean(1.0 / speed(level_j))) - mean_rpm

    lowest = -float(stored.min()) * (1 + 1e-12) + 1e-12
    level_at_mean = 0.5 * float(tables.inertia_kg_m2.max()) * (mean_rpm * np.pi / 30.0) ** 2
    highest = lowest + level_at_mean + float(np.ptp(stored))
    return speed(float(brentq(excess, lowest, highest, xtol=1e-9)))


def ripple_for_swing(tables: EngineTables, *, mean_rpm: float, swing: float) -> float:
    """Find the scale of the gas torque at which the speed swings by ``swing`` of the mean speed.

    The swing grows with the torque without bound, so every swing is met.
    """
    from scipy.optimize import brentq  # noqa: PLC0415  (slow to import)

    def excess(ripple: float) -> float:
        speed = steady_cycle_rpm(tables, mean_rpm=mean_rpm, ripple=ripple)
        return float(np.ptp(speed)) / mean_rpm - swing

    high = 0.05
    while excess(high) < 0:
        high *= 1.5
    return float(brentq(excess, 0.0, high, xtol=1e-6))
