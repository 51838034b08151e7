"""The recording instrument: coupling, disturbances, range and resolution."""

from __future__ import annotations

import numpy as np

from crankwise.model.recording import EventChannel, FloatArray
from crankwise.testing.simulate.faults import Dropout
from crankwise.testing.simulate.spec import ScopeSpec
from crankwise.testing.simulate.timing import Transitions

SPIKE_HZ = 60e3
"""Ringing frequency of a picked-up ignition spike (from memory: tens of kilohertz)."""


def sample_count(scope: ScopeSpec) -> int:
    """Count the samples from 0 up to the duration, both included."""
    return int(np.floor(scope.duration_s / scope.step_s + 1e-9)) + 1


def through_scope(
    voltage: FloatArray,
    scope: ScopeSpec,
    *,
    firing_s: FloatArray,
    dropouts: tuple[Dropout, ...],
    resting_v: float,
    rng: np.random.Generator,
) -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    """Turn a voltage into what the scope saves, shape (n,), volts.

    Order as in the wire: lost contact, pick-up, coupling, noise of the input, range, converter.
    """
    step_s = scope.step_s
    for gap in dropouts:
        voltage[_stretch(gap, step_s)] = resting_v
    if scope.spike_v > 0:
        _add_spikes(voltage, scope, firing_s=firing_s, rng=rng)
    if scope.coupling == "ac":
        voltage = _high_pass(voltage, corner_hz=scope.corner_hz, interval_s=step_s)
    if scope.drift_v > 0:
        phase = rng.uniform(0, 2 * np.pi)
        time = np.arange(len(voltage)) * step_s
        voltage += scope.drift_v * np.sin(2 * np.pi * scope.drift_hz * time + phase)
    if scope.noise_v > 0:
        voltage += scope.noise_v * rng.standard_normal(len(voltage), dtype=np.float32)
    saved = _convert(voltage, scope).astype(np.float32)
    for gap in dropouts:
        if gap.as_missing:
            saved[_stretch(gap, step_s)] = np.nan
    return saved


def _stretch(gap: Dropout, step_s: float) -> slice:
    first = max(round(gap.start_s / step_s), 0)
    return slice(first, max(round((gap.start_s + gap.duration_s) / step_s), first))


def _add_spikes(
    voltage: FloatArray, scope: ScopeSpec, *, firing_s: FloatArray, rng: np.random.Generator
) -> None:
    """Add a dying oscillation of random height and sign at each firing."""
    reach = int(np.ceil(8 * scope.spike_s / scope.step_s)) + 1
    for moment, height in zip(firing_s, rng.uniform(-1, 1, len(firing_s)), strict=True):
        first = int(np.ceil(moment / scope.step_s))
        sample = np.arange(max(first, 0), min(first + reach, len(voltage)))
        since = sample * scope.step_s - moment
        shape = np.exp(-since / scope.spike_s) * np.cos(2 * np.pi * SPIKE_HZ * since)
        voltage[sample] += scope.spike_v * height * shape


def _high_pass(voltage: FloatArray, *, corner_hz: float, interval_s: float) -> FloatArray:
    """One-pole AC coupling, started as if the mean had been there for ever."""
    from scipy.signal import lfilter  # noqa: PLC0415  (slow to import)

    keep = float(np.exp(-2 * np.pi * corner_hz * interval_s))
    steps = np.diff(voltage, prepend=voltage.mean())
    passed: FloatArray = lfilter([1.0], [1.0, -keep], steps)
    return passed


def _convert(voltage: FloatArray, scope: ScopeSpec) -> FloatArray:
    """Clip to the range and round to the converter's steps."""
    if scope.range_v is None:
        return voltage
    limit = scope.range_v
    beyond = np.abs(voltage) > limit if scope.over_range == "infinite" else None
    shown = np.clip(voltage, -limit, limit)
    if scope.bits is not None:
        step = 2 * limit / 2**scope.bits
        shown = np.minimum(np.round(shown / step) * step, limit - step)
    if beyond is not None:
        shown[beyond] = np.copysign(np.inf, voltage[beyond])
    return shown


def as_events(name: str, transitions: Transitions, scope: ScopeSpec) -> EventChannel:
    """Save the transitions as state changes at the resolution of a logic analyser.

    Pulses shorter than the resolution vanish, as they do in the instrument.
    """
    inside = (transitions.half_s >= 0) & (transitions.half_s <= scope.duration_s)
    earlier = transitions.rising[transitions.half_s < 0]
    initial = bool(earlier[-1]) if len(earlier) else transitions.initial_high
    times, states = transitions.half_s[inside], transitions.rising[inside]
    if scope.resolution_s is not None and len(times):
        times = np.round(times / scope.resolution_s) * scope.resolution_s
        last_of_tie = np.append(np.diff(times) > 0, True)
        times, states = times[last_of_tie], states[last_of_tie]
        changed = states != np.concatenate(([initial], states[:-1]))
        times, states = times[changed], states[changed]
    return EventChannel(name, times + scope.start_s, states, initial)
