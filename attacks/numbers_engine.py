"""Random healthy engines, how they are recorded, and their known-goods."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from attacks.numbers_case import Case, answer_of, renamed, shifts_of, turned
from crankwise.errors import CrankwiseError
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
from crankwise.units import wrap_signed_deg
from crankwise.wheel import catalogue

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from crankwise.model.measurement import Measurement
    from crankwise.model.wheel import Wheel
    from crankwise.testing.simulate import Fault, Simulation

ENGINES = 150
COIL_VOLTS_PER_1000_RPM = 3.0
CATALOGUE: Mapping[str, Wheel] = catalogue.load()
Teeth = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Subject:
    """One simulated visit and the engine that it belongs to."""

    engine: int
    spec: SimulationSpec
    simulation: Simulation

    @property
    def cams(self) -> tuple[str, ...]:
        """Channels of the cams."""
        return tuple(cam.channel for cam in self.spec.cams)

    @property
    def wheel(self) -> Wheel:
        """The wheel as the catalogue has it."""
        wheel = self.spec.crank.wheel
        return CATALOGUE[wheel] if isinstance(wheel, str) else wheel

    def case(self, **changes: object) -> Case:
        """The recording as it is, beside its known-good."""
        known = known_good(self.engine)
        case = Case(
            self.simulation.recording,
            (answer_of(self.simulation, self.wheel),),
            known_good=None if known is None else known.measurement,
            shifts=None
            if known is None
            else shifts_of(self.simulation.truth, known.simulation.truth),
        )
        return replace(case, **changes)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True, eq=False)
class KnownGood:
    """The healthy engine, simulated and measured."""

    simulation: Simulation
    measurement: Measurement


@lru_cache(maxsize=ENGINES)
def engine(number: int) -> SimulationSpec:
    """One healthy engine at idle; the number is its seed."""
    rng = np.random.default_rng([7, number])
    names = list(CATALOGUE)
    wheel = CATALOGUE[names[rng.integers(len(names))]]
    is_coil = bool(rng.random() < 0.3) and not wheel.width_deg
    sensor = _coil(rng) if is_coil else _hall(rng)
    intake = _pattern(rng)
    exhaust = _turned(intake, float(rng.uniform(70, 200))) if rng.random() < 0.3 else _pattern(rng)
    sides = (("intake", intake), ("exhaust", exhaust))[: 1 + int(rng.random() < 0.8)]
    return SimulationSpec(
        name=f"engine {number}",
        engine=EngineSpec(
            cylinders=int(rng.choice([3, 4, 4, 6])),
            swing=float(rng.uniform(0.03, 0.18)),
            combustion_variation=0.03,
        ),
        speed=SpeedSpec("idle", float(rng.uniform(650, 950)), wander_rpm=6.0),
        crank=CrankSpec(
            wheel.name,
            sensor,
            width_deg=None if wheel.width_deg else 0.45 * min(wheel.intervals_deg),
            tooth_error_deg=float(rng.uniform(0.0, 0.06)),
        ),
        cams=tuple(
            CamSpec(role, role, teeth, _hall(rng), scatter_deg=float(rng.uniform(0.05, 0.3)))
            for role, teeth in sides
        ),
        scope=_scope(rng, sensor),
        vehicle=f"engine {number}",
    )


def _hall(rng: np.random.Generator) -> SensorSpec:
    return SensorSpec(
        kind="hall",
        high_v=float(rng.choice([5.0, 12.0])),
        rise_s=float(rng.choice([1e-6, 8e-6])),
        fall_s=1e-6,
        delay_s=5e-6,
        inverted=bool(rng.integers(2)),
    )


def _coil(rng: np.random.Generator) -> SensorSpec:
    return SensorSpec(
        kind="variable-reluctance",
        volts_per_1000_rpm=COIL_VOLTS_PER_1000_RPM,
        lag_s=45e-6,
        runout=float(rng.uniform(0.0, 0.2)),
        reversed_leads=bool(rng.integers(2)),
    )


def _pattern(rng: np.random.Generator) -> Teeth:
    """One to five teeth of 20 degrees or more, with spaces at least as wide between them."""
    count = int(rng.integers(1, 6))
    parts = rng.dirichlet(np.full(2 * count, 2.0)) * (720.0 - 40.0 * count) + 20.0
    edges = np.cumsum(parts) - parts[0] + rng.uniform(0.0, parts[-1])
    return tuple((float(a), float(b)) for a, b in edges.reshape(-1, 2))


def _turned(teeth: Teeth, by_deg: float) -> Teeth:
    """The same target, turned."""
    moved = sorted(((a + by_deg) % 720.0, b - a) for a, b in teeth)
    return tuple((a, a + width) for a, width in moved)


def _scope(rng: np.random.Generator, crank: SensorSpec) -> ScopeSpec:
    span_v = crank.high_v if crank.is_switching else 4.0
    return ScopeSpec(
        duration_s=float(rng.uniform(1.6, 2.8)),
        rate_hz=float(rng.choice([2e4, 4e4, 5e4, 1e5], p=[0.2, 0.3, 0.4, 0.1])),
        range_v=20.0 if crank.is_switching else 10.0,
        bits=int(rng.choice([8, 12])),
        noise_v=float(rng.choice([0.0, 0.005, 0.02])) * span_v,
    )


@lru_cache(maxsize=ENGINES)
def known_good(number: int) -> KnownGood | None:
    """The engine measured on a good day; None if that day was not good enough."""
    spec = engine(number)
    simulation = simulate(spec, seed=number)
    named = {cam.role: cam.channel for cam in spec.cams}
    try:
        measurement = measure(simulation.recording, crank="crank", cams=named)
    except CrankwiseError:
        return None
    return KnownGood(simulation, measurement)


def draw_engine(
    rng: np.random.Generator, *, cams: int = 1, wheels: Sequence[str] = (), hall: bool = False
) -> int:
    """An engine with at least so many cams, one of these wheels, a Hall sensor at the crank."""
    while True:
        number = int(rng.integers(ENGINES))
        spec = engine(number)
        if len(spec.cams) < cams or (hall and not spec.crank.sensor.is_switching):
            continue
        if not wheels or spec.crank.wheel in wheels:
            return number


def subject(
    rng: np.random.Generator,
    *,
    number: int | None = None,
    faults: tuple[Fault, ...] = (),
    speed: SpeedSpec | None = None,
    engine_spec: EngineSpec | None = None,
    scope: Mapping[str, object] | None = None,
    crank: Mapping[str, object] | None = None,
) -> Subject:
    """A visit of an engine, on another day with other scope settings and cams somewhat moved."""
    number = draw_engine(rng) if number is None else number
    healthy = engine(number)
    worn = rng.random() < 0.4
    cams = tuple(
        replace(cam, shift_deg=float(rng.uniform(-14, 14) if worn else rng.normal(0.0, 0.6)))
        for cam in healthy.cams
    )
    settings = {**_scope_settings(rng, healthy), **(scope or {})}
    spec = replace(
        healthy,
        engine=engine_spec or healthy.engine,
        speed=speed or SpeedSpec("idle", float(rng.uniform(650, 950)), wander_rpm=6.0),
        crank=replace(healthy.crank, **(crank or {})),  # type: ignore[arg-type]
        cams=cams,
        scope=replace(healthy.scope, **settings),  # type: ignore[arg-type]
        faults=faults,
    )
    return Subject(number, spec, simulate(spec, seed=int(rng.integers(1 << 31))))


def _scope_settings(rng: np.random.Generator, healthy: SimulationSpec) -> dict[str, object]:
    scope = _scope(rng, healthy.crank.sensor)
    return {
        name: getattr(scope, name)
        for name in ("duration_s", "rate_hz", "range_v", "bits", "noise_v")
    }


def nameless(case: Case, rng: np.random.Generator) -> Case:
    """Now and then channels are called A, B, C in any order, as a scope does."""
    if rng.random() < 0.7:
        return case
    names = case.recording.channel_names
    letters = rng.permutation([chr(ord("A") + place) for place in range(len(names))])
    return renamed(case, dict(zip(names, (str(letter) for letter in letters), strict=True)))


def as_recorded(case: Case, steps_deg: Sequence[float], zero_deg: Sequence[float]) -> Case:
    """Also right: a damaged wheel that is now just another wheel of the catalogue.

    Parameters
    ----------
    steps_deg : sequence of float
        Spacing of the teeth that are left.
    zero_deg : sequence of float
        Angle of each of them on the sound wheel.
    """
    more = []
    for wheel in CATALOGUE.values():
        if wheel.teeth_per_rev != len(steps_deg) or wheel.width_deg:
            continue
        for first in range(len(zero_deg)):
            if np.allclose(
                np.roll(steps_deg, -first), wheel.intervals_deg, atol=0.2 * wheel.pitch_deg
            ):
                # Most teeth are where the wheel has them, and they make the zero.
                apart = np.roll(zero_deg, -first) - wheel.angles_deg
                zero = zero_deg[first] + float(np.median(wrap_signed_deg(apart - apart[0])))
                more += [turned(answer, turn_deg=-zero, wheel=wheel) for answer in case.answers]
    return replace(case, answers=(*case.answers, *more))
