"""The simulation, step by step: faults, motion, signals, recording, truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.model.recording import Recording
from crankwise.testing.simulate.apply import apply_faults
from crankwise.testing.simulate.convert import to_plain
from crankwise.testing.simulate.dynamics import turn
from crankwise.testing.simulate.motion import Motion
from crankwise.testing.simulate.parts import CrankSpec
from crankwise.testing.simulate.record import record
from crankwise.testing.simulate.signals import Signal, cam_signal, crank_signal, disturbed
from crankwise.testing.simulate.spec import SimulationSpec
from crankwise.testing.simulate.streams import stream
from crankwise.testing.simulate.targets import Target, find_wheel
from crankwise.testing.simulate.truth import (
    CamTruth,
    CrankTruth,
    CrankView,
    SpeedTruth,
    Truth,
    cam_edges,
    crank_delay_s,
    crank_errors_deg,
    crank_offsets_deg,
    polarity,
    speed_truth,
    trailing_is_rising,
)
from crankwise.units import CYCLE_DEG, rpm_to_deg_per_s


@dataclass(frozen=True, slots=True, eq=False)
class Simulation:
    """A recording, what is true of it, and the specification it came from."""

    recording: Recording
    truth: Truth
    spec: SimulationSpec


def simulate(spec: SimulationSpec, *, seed: int) -> Simulation:
    """Make the recording that a specification and a seed describe.

    Parameters
    ----------
    spec : SimulationSpec
    seed : int
        The same specification and seed give the same samples.

    Raises
    ------
    UsageError
        The specification contradicts itself.
    """
    changed = apply_faults(spec)
    start_angle = spec.start_angle_deg
    if start_angle is None:
        start_angle = float(stream(seed, spec.vehicle, "start").uniform(0.0, CYCLE_DEG))
    motion = turn(
        changed.engine,
        changed.speed,
        changed.crank,
        duration_s=changed.scope.duration_s,
        start_angle_deg=start_angle,
        rng=stream(seed, spec.vehicle, "engine"),
    )
    target, crank = crank_signal(changed, motion, seed=seed)
    signals = [crank, *(cam_signal(changed, cam, motion, seed=seed) for cam in changed.cams)]
    seen, events = disturbed(signals, changed, seed=seed)
    recording = record(changed, seen, motion, seed=seed)
    crank_truth, cam_truths, speed_truths = _truth_of_signals(changed, target, signals, motion)
    truth = Truth(
        name=spec.name,
        about=spec.about,
        seed=seed,
        crank=crank_truth,
        cams=cam_truths,
        speed=speed_truths,
        start_angle_deg=motion.window(0.0, changed.scope.duration_s)[0],
        cycle_zero_s=_cycle_zeros(motion, changed),
        faults=tuple(to_plain(fault) for fault in spec.faults),
        events=events,
        facts=spec.facts,
        spec=to_plain(spec),
    )
    return Simulation(recording, truth, spec)


def _cycle_zeros(motion: Motion, spec: SimulationSpec) -> tuple[float, ...]:
    """List the recording times at which a cycle begins."""
    first, last = motion.window(0.0, spec.scope.duration_s)
    turns = np.arange(np.ceil(first / CYCLE_DEG), np.floor(last / CYCLE_DEG) + 1)
    return tuple((motion.time_of(turns * CYCLE_DEG) + spec.scope.start_s).tolist())


def _crank_truth(crank: CrankSpec, target: Target, *, mean_rpm: float) -> CrankTruth:
    """Truth of the crank target."""
    wheel = find_wheel(crank.wheel)
    offsets = crank_offsets_deg(crank.sensor, target)
    speed = np.array([rpm_to_deg_per_s(mean_rpm)])
    delays = {
        edge: float(
            crank_delay_s(
                crank.sensor,
                rising=edge == "rising",
                pitch_deg=wheel.pitch_deg,
                speed_deg_per_s=speed,
            )[0]
        )
        for edge in offsets
    }
    return CrankTruth(
        channel=crank.channel,
        wheel=wheel.name,
        sensor=crank.sensor.kind,
        polarity=polarity(crank.sensor),
        pitch_deg=wheel.pitch_deg,
        intervals_deg=wheel.intervals_deg,
        timing_edge="rising" if trailing_is_rising(crank.sensor) else "falling",
        zero_offset_deg=offsets,
        tooth_error_deg=crank_errors_deg(crank.sensor, target),
        zero_before_tdc_deg=crank.zero_before_tdc_deg,
        delay_s=delays,
    )


def _truth_of_signals(
    spec: SimulationSpec, target: Target, signals: list[Signal], motion: Motion
) -> tuple[CrankTruth, tuple[CamTruth, ...], SpeedTruth]:
    """Truth of crank, cams and speed; ``signals`` are the crank's and then the cams'."""
    speed = speed_truth(motion, duration_s=spec.scope.duration_s, start_s=spec.scope.start_s)
    crank = _crank_truth(spec.crank, target, mean_rpm=speed.mean_rpm)
    view = CrankView(
        motion=motion,
        sensor=spec.crank.sensor,
        pitch_deg=crank.pitch_deg,
        offsets_deg=crank.zero_offset_deg,
        timing_edge=crank.timing_edge,
        duration_s=spec.scope.duration_s,
    )
    cams = tuple(
        CamTruth(
            role=cam.role,
            channel=cam.channel,
            sensor=cam.sensor.kind,
            polarity=polarity(cam.sensor),
            shift_deg=cam.shift_deg,
            scatter_deg=cam.scatter_deg,
            edges=cam_edges(cam, signal.transitions, view),
        )
        for cam, signal in zip(spec.cams, signals[1:], strict=True)
    )
    return crank, cams, speed
