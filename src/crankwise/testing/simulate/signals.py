"""Each sensor's teeth and transitions, with what faults did to them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from crankwise.errors import UsageError
from crankwise.testing.simulate.disturb import add_false_pulses, silence
from crankwise.testing.simulate.faults import Dropout, ExtraEdges
from crankwise.testing.simulate.motion import Motion
from crankwise.testing.simulate.parts import CamSpec, SensorSpec
from crankwise.testing.simulate.spec import SimulationSpec
from crankwise.testing.simulate.streams import stream
from crankwise.testing.simulate.targets import (
    Target,
    Train,
    cam_target,
    cam_train,
    crank_target,
    crank_train,
    drop_teeth,
    find_wheel,
)
from crankwise.testing.simulate.timing import Transitions, transitions_of
from crankwise.units import CYCLE_DEG, REVOLUTION_DEG


@dataclass(frozen=True, slots=True, eq=False)
class Signal:
    """One sensor's teeth and transitions, ready to be recorded."""

    role: str
    channel: str
    sensor: SensorSpec
    pitch_deg: float
    turn_deg: float
    train: Train
    transitions: Transitions


def _made(spec: SimulationSpec, role: str, *, seed: int) -> np.random.Generator:
    """Return the generator of a target's errors: the vehicle's own where it is named."""
    return stream(0 if spec.vehicle else seed, spec.vehicle, "target", role)


def crank_signal(spec: SimulationSpec, motion: Motion, *, seed: int) -> tuple[Target, Signal]:
    """Build the crank target and everything its sensor sees."""
    rng = stream(seed, spec.vehicle, "teeth", "crank")
    wheel = find_wheel(spec.crank.wheel)
    target = crank_target(spec.crank, wheel, spec.faults, _made(spec, "crank", seed=seed))
    train = drop_teeth(
        crank_train(target, motion),
        role="crank",
        count=wheel.teeth_per_rev,
        faults=spec.faults,
        rng=rng,
    )
    transitions = transitions_of(
        train, motion, spec.crank.sensor, pitch_deg=wheel.pitch_deg, phaser=None, rng=rng
    )
    signal = Signal(
        "crank",
        spec.crank.channel,
        spec.crank.sensor,
        wheel.pitch_deg,
        REVOLUTION_DEG,
        train,
        transitions,
    )
    return target, signal


def cam_signal(spec: SimulationSpec, cam: CamSpec, motion: Motion, *, seed: int) -> Signal:
    """Build one cam target and everything its sensor sees."""
    rng = stream(seed, spec.vehicle, "teeth", cam.role)
    target = cam_target(cam, spec.faults, _made(spec, cam.role, seed=seed))
    train = drop_teeth(
        cam_train(cam, target, motion, rng),
        role=cam.role,
        count=len(cam.teeth),
        faults=spec.faults,
        rng=rng,
    )
    pitch = CYCLE_DEG / len(cam.teeth)
    transitions = transitions_of(
        train, motion, cam.sensor, pitch_deg=pitch, phaser=cam.phaser, rng=rng
    )
    return Signal(cam.role, cam.channel, cam.sensor, pitch, CYCLE_DEG, train, transitions)


def disturbed(
    signals: list[Signal], spec: SimulationSpec, *, seed: int
) -> tuple[list[Signal], dict[str, tuple[float, ...]]]:
    """Add false pulses, and the dropouts of event lists; returns when pulses were added.

    Raises
    ------
    UsageError
        False pulses are asked of a sampled variable reluctance sensor.
    """
    rng = stream(seed, spec.vehicle, "faults")
    events: dict[str, tuple[float, ...]] = {}
    result = []
    for signal in signals:
        transitions = signal.transitions
        for fault in spec.faults:
            if isinstance(fault, ExtraEdges) and fault.role == signal.role:
                if not signal.sensor.is_switching and spec.scope.kind == "sampled":
                    raise UsageError(
                        f"fault extra-edges: {signal.role} has a variable reluctance sensor; "
                        "use scope.spike_v there"
                    )
                transitions, times = add_false_pulses(
                    transitions, fault, duration_s=spec.scope.duration_s, rng=rng
                )
                events[f"extra-edges {signal.role}"] = tuple((times + spec.scope.start_s).tolist())
            elif (
                isinstance(fault, Dropout)
                and fault.role == signal.role
                and spec.scope.kind == "events"
            ):
                transitions = silence(transitions, fault)
        result.append(replace(signal, transitions=transitions))
    return result, events
