"""Wheel decode over random draws: wheel × speed profile × noise × polarity × sensor.

A draw is *right* if the wheel is named and every cam edge lies where it should (within three times
its stated uncertainty, or one degree where that is more): a tooth miscounted would move it by a
pitch. It is *wrong and confident* if it is wrong while the stated probability exceeds 0.95.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from benchmarks.pages import table
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
    from collections.abc import Sequence

    from crankwise.model.measurement import Measurement
    from crankwise.model.wheel import Wheel
    from crankwise.testing.simulate import Truth

CONFIDENT = 0.95
LEAST_TOLERANCE_DEG = 1.0

Speed = Literal["idle", "cranking", "revving", "start-up", "steady", "stall"]
SPEEDS: tuple[Speed, ...] = get_args(Speed)
CAM_TEETH = ((46.0, 146.0), (286.0, 326.0), (466.0, 506.0), (586.0, 686.0))
COIL_VOLTS_PER_1000_RPM = 3.0

Outcome = Literal["right", "wrong", "refused", "crashed"]


@dataclass(frozen=True, slots=True)
class Draw:
    """What was drawn, and its specification."""

    number: int
    wheel: Wheel
    speed: Speed
    spec: SimulationSpec


@dataclass(frozen=True, slots=True)
class Decoded:
    """What came of one draw; ``said`` holds the wheel named, or why there is none."""

    number: int
    wheel: str
    sensor: str
    speed: Speed
    outcome: Outcome
    confidence: float
    said: str

    @property
    def misleads(self) -> bool:
        """Wrong while sounding sure."""
        return self.outcome == "wrong" and self.confidence > CONFIDENT


def draw(number: int) -> Draw:
    """Draw one engine, sensor, speed profile and scope; the number is the seed."""
    rng = np.random.default_rng([3, number])
    wheels = list(catalogue.load().values())
    wheel = wheels[rng.integers(len(wheels))]
    # A coil shows no widths, so a wheel coded in them is never read by one.
    coil = bool(rng.integers(2)) and not wheel.width_deg
    crank = _coil(rng) if coil else _hall(rng)
    speed = SPEEDS[rng.integers(len(SPEEDS))]
    rpm = _mean_rpm(speed, rng)
    spec = SimulationSpec(
        name=f"draw {number}",
        engine=_engine(speed, rng),
        speed=SpeedSpec("stall", rpm, at_s=3.5)
        if speed == "stall"
        else SpeedSpec(speed, rpm, wander_rpm=8.0),
        crank=CrankSpec(
            wheel,
            crank,
            width_deg=None if wheel.width_deg else 0.45 * min(wheel.intervals_deg),
            tooth_error_deg=float(rng.uniform(0.0, 0.08)),
        ),
        cams=(CamSpec("intake", "intake", CAM_TEETH, _hall(rng), scatter_deg=0.2),),
        scope=_scope(crank, speed, rpm, rng),
    )
    return Draw(number, wheel, speed, spec)


def _hall(rng: np.random.Generator) -> SensorSpec:
    return SensorSpec(
        kind="hall",
        high_v=float(rng.choice([5.0, 12.0])),
        rise_s=float(rng.choice([1e-6, 2e-5])),
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


def _mean_rpm(speed: Speed, rng: np.random.Generator) -> float:
    low, high = {"cranking": (150.0, 260.0), "steady": (800.0, 3000.0)}.get(speed, (650.0, 950.0))
    return float(rng.uniform(low, high))


def _engine(speed: Speed, rng: np.random.Generator) -> EngineSpec:
    """Speed swings inside a turn by 3 to 20 % peak to peak, on the starter by 35 to 75 %."""
    if speed == "cranking":
        return EngineSpec(cranking_ripple=float(rng.uniform(0.35, 0.65)))
    low, high = (0.03, 0.08) if speed == "steady" else (0.05, 0.2)
    return EngineSpec(swing=float(rng.uniform(low, high)), combustion_variation=0.05)


def _scope(crank: SensorSpec, speed: Speed, rpm: float, rng: np.random.Generator) -> ScopeSpec:
    """Noise up to 4 % of the crank signal; speeds that change take 5 s, others 1.5 to 4 s."""
    changes = speed in {"start-up", "stall", "revving"}
    if crank.is_switching:
        span_v, range_v = crank.high_v, 20.0
    else:
        span_v = 2.0 * COIL_VOLTS_PER_1000_RPM * rpm / 1000.0
        range_v = 20.0 if changes else max(1.5 * span_v, 6.0)
    return ScopeSpec(
        duration_s=5.0 if changes else float(rng.uniform(1.5, 4.0)),
        rate_hz=float(rng.choice([2e4, 5e4, 1e5, 5e5])),
        range_v=range_v,
        bits=int(rng.choice([8, 12])),
        noise_v=float(rng.choice([0.0, 0.01, 0.02, 0.04])) * span_v,
    )


def decoded(number: int) -> Decoded:
    """Simulate and measure one draw."""
    drawn = draw(number)
    simulation = simulate(drawn.spec, seed=number)
    outcome: Outcome
    confidence = 0.0
    try:
        result = measure(simulation.recording, crank="crank", cams={"intake": "intake"})
    except CrankwiseError as error:
        outcome, said = "refused", str(error)
    except Exception as error:  # noqa: BLE001  a crash is one of the outcomes to count
        outcome, said = "crashed", repr(error)
    else:
        outcome = "right" if _is_right(result, simulation.truth, drawn.wheel) else "wrong"
        confidence = result.crank.choice.confidence
        said = f"{result.crank.wheel}, confidence {confidence:.2f}"
    return Decoded(
        number=number,
        wheel=drawn.wheel.name,
        sensor="coil" if drawn.spec.crank.sensor.kind == "variable-reluctance" else "Hall",
        speed=drawn.speed,
        outcome=outcome,
        confidence=confidence,
        said=said,
    )


def _is_right(result: Measurement, truth: Truth, wheel: Wheel) -> bool:
    if result.crank.wheel != wheel.name:
        return False
    edges = result.cam("intake").edges
    places = {
        direction: np.array(
            [
                item.angle_by_crank_edge_deg[result.crank.timing_edge]
                for item in truth.cam("intake").edges
                if item.edge == direction
                and result.crank.timing_edge in item.angle_by_crank_edge_deg
            ]
        )
        for direction in ("rising", "falling")
    }
    if not edges or not all(len(known) for known in places.values()):
        return False
    tolerance = max(3.0 * max(edge.uncertainty_deg for edge in edges), LEAST_TOLERANCE_DEG)
    # Where the pattern repeats within a turn, any of its repeats may be called the zero.
    turns = np.arange(0.0, 720.0, 360.0 / wheel.repeats)
    worst = [
        max(
            np.abs(wrap_signed_deg(edge.angle_deg + turn - places[edge.edge])).min()
            for edge in edges
        )
        for turn in turns
    ]
    return bool(min(worst) <= tolerance)


def decode_table(found: Sequence[Decoded]) -> str:
    """Outcomes by speed profile and sensor."""
    rows = [
        [sensor, speed, *_counts(found, sensor=sensor, speed=speed)]
        for sensor in ("Hall", "coil")
        for speed in SPEEDS
    ]
    rows.append(["all", "", *_counts(found)])
    return table(["sensor", "speed", "draws", "right", "wrong", "confident", "refused"], rows)


def _counts(found: Sequence[Decoded], **drawn: str) -> list[str]:
    chosen = [
        item for item in found if all(getattr(item, name) == want for name, want in drawn.items())
    ]
    outcomes = Counter(item.outcome for item in chosen)
    misleading = sum(item.misleads for item in chosen)
    numbers = (
        len(chosen),
        outcomes["right"],
        outcomes["wrong"] + outcomes["crashed"],
        misleading,
        outcomes["refused"],
    )
    return [str(number) for number in numbers]


def failures_table(found: Sequence[Decoded]) -> str:
    """Every draw that was not right, with what was said of it."""
    rows = [
        [str(item.number), item.wheel, item.sensor, item.speed, item.outcome, item.said]
        for item in found
        if item.outcome != "right"
    ]
    if not rows:
        return "Every draw was right."
    return table(["draw", "wheel", "sensor", "speed", "outcome", "said"], rows)
