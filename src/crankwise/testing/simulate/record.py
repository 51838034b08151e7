"""Every channel through the scope into a recording."""

from __future__ import annotations

import hashlib
import json

from crankwise.model.finding import Step
from crankwise.model.recording import EventChannel, FloatArray, Recording, SampledChannel
from crankwise.testing.simulate.convert import to_plain
from crankwise.testing.simulate.disturb import extra_transitions, extra_voltage, firing_times
from crankwise.testing.simulate.faults import Dropout
from crankwise.testing.simulate.motion import Motion
from crankwise.testing.simulate.scope import as_events, sample_count, through_scope
from crankwise.testing.simulate.sensors import reluctance_voltage, switching_voltage
from crankwise.testing.simulate.signals import Signal
from crankwise.testing.simulate.spec import ExtraSpec, SimulationSpec
from crankwise.testing.simulate.streams import stream


def record(spec: SimulationSpec, signals: list[Signal], motion: Motion, *, seed: int) -> Recording:
    """Record all channels in file order."""
    firing = firing_times(
        motion,
        offsets_deg=spec.engine.firing_offsets_deg,
        tdc_deg=spec.crank.zero_before_tdc_deg,
    )
    scope = spec.scope
    channels: dict[str, SampledChannel | EventChannel] = {
        signal.channel: _sensor(spec, signal, motion, firing, seed=seed) for signal in signals
    }
    for extra in spec.extras:
        channels[extra.channel] = _extra(spec, extra, motion, firing, seed=seed)
    sampled = scope.kind == "sampled"
    return Recording(
        name=spec.name,
        sha256=_fingerprint(spec, seed),
        channels=tuple(channels[name] for name in scope.order or spec.channel_names),  # type: ignore[arg-type]
        start_s=scope.start_s,
        duration_s=(sample_count(scope) - 1) * scope.step_s if sampled else scope.duration_s,
        interval_s=scope.step_s if sampled else None,
        history=(Step("simulate", {"name": spec.name, "seed": seed}),),
    )


def _extra(
    spec: SimulationSpec, extra: ExtraSpec, motion: Motion, firing: FloatArray, *, seed: int
) -> SampledChannel | EventChannel:
    """Record a channel that is neither crank nor cam."""
    scope = spec.scope
    transitions = extra_transitions(extra, motion, firing)
    if scope.kind == "events":
        return as_events(extra.channel, transitions, scope)
    voltage = extra_voltage(extra, transitions, interval_s=scope.step_s, count=sample_count(scope))
    rng = stream(seed, spec.vehicle, "scope", extra.channel)
    saved = through_scope(voltage, scope, firing_s=firing, dropouts=(), resting_v=0.0, rng=rng)
    return SampledChannel(extra.channel, "V", saved)


def _sensor(
    spec: SimulationSpec,
    signal: Signal,
    motion: Motion,
    firing: FloatArray,
    *,
    seed: int,
) -> SampledChannel | EventChannel:
    """Record one sensor."""
    scope = spec.scope
    if scope.kind == "events":
        return as_events(signal.channel, signal.transitions, scope)
    count = sample_count(scope)
    if signal.sensor.is_switching:
        voltage = switching_voltage(
            signal.transitions, signal.sensor, interval_s=scope.step_s, count=count
        )
    else:
        voltage = reluctance_voltage(
            signal.train,
            motion,
            signal.sensor,
            pitch_deg=signal.pitch_deg,
            turn_deg=signal.turn_deg,
            interval_s=scope.step_s,
            count=count,
        )
    gaps = tuple(
        fault for fault in spec.faults if isinstance(fault, Dropout) and fault.role == signal.role
    )
    rng = stream(seed, spec.vehicle, "scope", signal.role)
    saved = through_scope(voltage, scope, firing_s=firing, dropouts=gaps, resting_v=0.0, rng=rng)
    return SampledChannel(signal.channel, "V", saved)


def _fingerprint(spec: SimulationSpec, seed: int) -> str:
    """Stand-in for the hash of a file: names specification and seed, which fix the samples."""
    text = json.dumps([to_plain(spec), seed], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()
