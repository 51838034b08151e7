"""The parts of a specification: engine, speed, sensors, crank and cam targets.

Angles are crank degrees after the zero (the timing edge of the first tooth after the gap).
Imperfections default to none; everything that sets a scale (speed, duration, interval, range,
geometry of the targets) has to be given.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from crankwise.errors import UsageError
from crankwise.model.wheel import Wheel
from crankwise.testing.simulate.faults import PhaserSpec
from crankwise.units import CYCLE_DEG

SensorKind = Literal["hall", "amr", "variable-reluctance"]


def require(*, what: str, holds: bool, rule: str) -> None:
    """Raise UsageError ``what: rule`` unless the rule holds."""
    if not holds:
        raise UsageError(f"{what}: {rule}")


@dataclass(frozen=True, slots=True)
class EngineSpec:
    """Crank mechanism and gas torque; the defaults are an invented two-litre four-cylinder.

    Attributes
    ----------
    cylinders : int
        All four-stroke, on one crankshaft.
    firing_intervals_deg : tuple of float
        Crank degrees from each firing to the next, closing at 720; empty means even firing.
    bore_mm, stroke_mm, rod_mm, compression_ratio : float
        Geometry of the crank mechanism.
    inertia_kg_m2 : float
        Crankshaft, flywheel and what turns with them.
    reciprocating_kg : float
        Piston, pin and upper rod of one cylinder.
    manifold_bar : float
        Absolute pressure at intake valve closing while running; cranking takes 0.95 bar.
    load_nm : float
        Mean torque taken by friction and load while running; the heat released matches it.
    friction_nm : float
        Friction torque without firing.
    combustion_variation : float
        Cycle-to-cycle standard deviation of the heat of each cylinder, as a fraction.
    cylinder_spread : float
        Fixed standard deviation of the heat between cylinders, as a fraction.
    ripple : float
        Scales the gas torque, and with it the speed ripple.
    swing : float or None
        Wanted peak-to-peak speed swing at the steady speed, as a fraction of the mean speed;
        replaces ``ripple``.
    starter_nm : float
        Stall torque of the starter, at the crankshaft.
    cranking_rpm : float
        Mean speed the starter holds against friction.
    cranking_ripple : float
        Share of the ideal compression torque that is left at cranking speed after blow-by.
    """

    cylinders: int = 4
    firing_intervals_deg: tuple[float, ...] = ()
    bore_mm: float = 86.0
    stroke_mm: float = 86.0
    rod_mm: float = 145.0
    compression_ratio: float = 10.0
    inertia_kg_m2: float = 0.16
    reciprocating_kg: float = 0.45
    manifold_bar: float = 0.35
    load_nm: float = 22.0
    friction_nm: float = 30.0
    combustion_variation: float = 0.0
    cylinder_spread: float = 0.0
    ripple: float = 1.0
    swing: float | None = None
    starter_nm: float = 200.0
    cranking_rpm: float = 220.0
    cranking_ripple: float = 0.6

    def __post_init__(self) -> None:
        require(
            what="engine.cylinders",
            holds=1 <= self.cylinders <= 16,
            rule=f"must be 1 to 16, not {self.cylinders}",
        )
        intervals = self.firing_intervals_deg
        require(
            what="engine.firing_intervals_deg",
            holds=not intervals
            or (len(intervals) == self.cylinders and abs(sum(intervals) - CYCLE_DEG) < 1e-6),
            rule=f"needs {self.cylinders} intervals closing at 720",
        )
        for name in ("bore_mm", "stroke_mm", "inertia_kg_m2", "manifold_bar", "starter_nm"):
            require(what=f"engine.{name}", holds=getattr(self, name) > 0, rule="must be positive")
        require(
            what="engine.rod_mm",
            holds=self.rod_mm > self.stroke_mm / 2,
            rule="must be longer than half the stroke",
        )
        require(
            what="engine.compression_ratio",
            holds=self.compression_ratio > 1,
            rule="must be greater than 1",
        )
        require(
            what="engine.swing",
            holds=self.swing is None or 0 <= self.swing < 1,
            rule="must be at least 0 and below 1 (a fraction of the mean speed)",
        )
        require(
            what="engine.friction_nm",
            holds=0 < self.friction_nm < self.starter_nm,
            rule="must be positive and smaller than starter_nm",
        )

    @property
    def firing_offsets_deg(self) -> tuple[float, ...]:
        """Firing top dead centre of each cylinder in firing order, after that of cylinder 1."""
        steps = self.firing_intervals_deg or (CYCLE_DEG / self.cylinders,) * self.cylinders
        return tuple(sum(steps[:count]) for count in range(self.cylinders))


@dataclass(frozen=True, slots=True)
class SpeedSpec:
    """How fast the crankshaft turns over the recording.

    Attributes
    ----------
    kind : {"constant", "steady", "idle", "revving", "start-up", "stall", "cranking"}
        ``constant`` has no ripple at all; ``idle`` wanders slowly; ``revving`` goes up to
        ``high_rpm`` and back; ``start-up`` stands still, cranks and runs up; ``stall`` runs and
        then dies; ``cranking`` is the starter alone.
    mean_rpm : float
        Mean speed once running; for ``cranking`` the starter's mean speed.
    wander_rpm : float
        Amplitude of the slow wandering of ``idle``.
    high_rpm : float
        Highest speed of ``revving``, and the flare after ``start-up``.
    at_s : float
        When the revving begins, the starter engages or the stall begins.
    rise_s, fall_s : float
        Time up to ``high_rpm`` and back.
    fire_s : float
        From the starter's engaging to the first firing.
    """

    kind: Literal["constant", "steady", "idle", "revving", "start-up", "stall", "cranking"]
    mean_rpm: float
    wander_rpm: float = 0.0
    high_rpm: float = 3000.0
    at_s: float = 0.3
    rise_s: float = 2.0
    fall_s: float = 2.5
    fire_s: float = 0.9

    def __post_init__(self) -> None:
        require(
            what="speed.mean_rpm",
            holds=0 < self.mean_rpm <= 20_000,
            rule=f"must be above 0 and at most 20000 rpm, not {self.mean_rpm}",
        )
        require(
            what="speed.high_rpm",
            holds=0 < self.high_rpm <= 20_000,
            rule="must be above 0 and at most 20000 rpm",
        )
        for name in ("rise_s", "fall_s", "fire_s"):
            require(what=f"speed.{name}", holds=getattr(self, name) > 0, rule="must be positive")


@dataclass(frozen=True, slots=True)
class SensorSpec:
    """A sensor and its wiring.

    Attributes
    ----------
    kind : {"hall", "amr", "variable-reluctance"}
        The first two switch between two levels; the last gives a voltage proportional to speed.
    low_v, high_v : float
        Levels of a switching sensor.
    inverted : bool
        Whether a tooth gives the low level.
    rise_s, fall_s : float
        10 % to 90 % transition times of a switching sensor.
    transition : {"exponential", "linear"}
        Shape of the transitions: a pull-up on a cable, or a slew-limited output.
    ringing : float
        Height of the overshoot after a transition, as a fraction of the step.
    ringing_hz, ringing_s : float
        Frequency of the ringing and the time constant with which it dies out.
    delay_s : float
        From the tooth's edge to the start of the transition.
    jitter_s : float
        Standard deviation of the delay from edge to edge.
    volts_per_1000_rpm : float
        Peak of a variable reluctance signal at 1000 rpm and 1 mm air gap.
    air_gap_mm : float
        The amplitude goes with its inverse square (an assumption of this simulator).
    lag_s : float
        L/R time constant of the coil with its load: phase lag and loss of amplitude.
    reversed_leads : bool
        Turns a variable reluctance signal upside down.
    runout : float
        Fraction by which the amplitude varies once per turn of the wheel.
    runout_phase_deg : float
        Where the amplitude is greatest, degrees of the wheel's own shaft.
    """

    kind: SensorKind
    low_v: float = 0.0
    high_v: float = 5.0
    inverted: bool = False
    rise_s: float = 0.0
    fall_s: float = 0.0
    transition: Literal["exponential", "linear"] = "exponential"
    ringing: float = 0.0
    ringing_hz: float = 2e5
    ringing_s: float = 1e-5
    delay_s: float = 0.0
    jitter_s: float = 0.0
    volts_per_1000_rpm: float = 3.0
    air_gap_mm: float = 1.0
    lag_s: float = 0.0
    reversed_leads: bool = False
    runout: float = 0.0
    runout_phase_deg: float = 0.0

    def __post_init__(self) -> None:
        for name in ("rise_s", "fall_s", "delay_s", "jitter_s", "lag_s"):
            require(
                what=f"sensor.{name}", holds=getattr(self, name) >= 0, rule="must not be negative"
            )
        for name in ("ringing_hz", "ringing_s"):
            require(what=f"sensor.{name}", holds=getattr(self, name) > 0, rule="must be positive")
        require(what="sensor.ringing", holds=0 <= self.ringing < 1, rule="must be 0 to below 1")
        require(what="sensor.high_v", holds=self.high_v > self.low_v, rule="must exceed low_v")
        require(what="sensor.air_gap_mm", holds=self.air_gap_mm > 0, rule="must be positive")
        require(what="sensor.runout", holds=0 <= self.runout < 1, rule="must be 0 to below 1")

    @property
    def is_switching(self) -> bool:
        """Whether the sensor has two levels."""
        return self.kind != "variable-reluctance"


@dataclass(frozen=True, slots=True)
class CrankSpec:
    """The crank target and its sensor.

    Attributes
    ----------
    wheel : Wheel or str
        Geometry, or its name in the catalogue.
    sensor : SensorSpec
    channel : str
        Name of the channel in the recording.
    zero_before_tdc_deg : float
        From the zero to the firing top dead centre of cylinder 1.
    width_deg : float or None
        Width of a tooth; ``None`` takes the widths of the wheel, else half the smallest
        spacing.
    tooth_error_deg : float
        Standard deviation of the place of each whole tooth.
    width_error_deg : float
        Standard deviation of the leading edge of each tooth against its trailing edge.
    runout_deg, runout_phase_deg : float
        Amplitude and place of the largest once-per-turn spacing error.
    """

    wheel: Wheel | str
    sensor: SensorSpec
    channel: str = "crank"
    zero_before_tdc_deg: float = 84.0
    width_deg: float | None = None
    tooth_error_deg: float = 0.0
    width_error_deg: float = 0.0
    runout_deg: float = 0.0
    runout_phase_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class CamSpec:
    """One cam target and its sensor.

    Attributes
    ----------
    role : str
        ``intake``, ``exhaust``, with a bank ``intake-1`` …
    channel : str
        Name of the channel in the recording.
    teeth : tuple of (float, float)
        Start and end of each tooth in crank degrees after the zero; an end may pass 720.
    sensor : SensorSpec
    shift_deg : float
        Turns the whole target; positive is later.
    scatter_deg : float
        Cycle-to-cycle standard deviation of each edge.
    common_share : float
        Share of the scatter's variance that all edges of the cam have in common in a cycle.
    slack_deg : float
        Peak-to-peak movement that follows the sign of the crank torque around the cycle.
    tooth_error_deg : float
        Standard deviation of the fixed error of each edge.
    phaser : PhaserSpec
        Parked by default.
    """

    role: str
    channel: str
    teeth: tuple[tuple[float, float], ...]
    sensor: SensorSpec
    shift_deg: float = 0.0
    scatter_deg: float = 0.0
    common_share: float = 0.8
    slack_deg: float = 0.0
    tooth_error_deg: float = 0.0
    phaser: PhaserSpec = field(default_factory=PhaserSpec)

    def __post_init__(self) -> None:
        where = f"cam {self.role}"
        require(what=where, holds=bool(self.teeth), rule="has no teeth")
        starts = [start for start, _ in self.teeth]
        require(what=where, holds=starts == sorted(starts), rule="teeth must be in rising order")
        following = [*starts[1:], starts[0] + CYCLE_DEG]
        for (start, end), after in zip(self.teeth, following, strict=True):
            require(
                what=where,
                holds=start < end < after,
                rule=f"tooth {start}..{end} must end after its start and before {after}",
            )
        require(
            what=f"{where} common_share",
            holds=0 <= self.common_share <= 1,
            rule="must be 0 to 1",
        )
        require(
            what=f"{where} scatter_deg", holds=self.scatter_deg >= 0, rule="must not be negative"
        )
