"""Voltages at the sample times."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from crankwise.model.recording import FloatArray
from crankwise.testing.simulate.motion import BLOCK, Motion
from crankwise.testing.simulate.parts import SensorSpec
from crankwise.testing.simulate.targets import Train
from crankwise.testing.simulate.timing import (
    TEN_TO_NINETY,
    TIME_CONSTANTS,
    Transitions,
    lag_delay_s,
)

SETTLED = 25.0
"""Time constants after which an exponential transition is over (1e-11 of its height)."""


def switching_voltage(
    transitions: Transitions, sensor: SensorSpec, *, interval_s: float, count: int
) -> FloatArray:
    """Voltage of a two-level sensor at ``i * interval_s``, shape (count,).

    Between transitions the level is constant; the few samples inside each transition are
    evaluated from its formula.
    """
    high, low = sensor.high_v, sensor.low_v
    place = _first_sample(transitions, interval_s=interval_s, count=count)
    bounds = np.concatenate(([0], place, [count]))
    states = np.concatenate(([transitions.initial_high], transitions.rising))
    voltage = np.repeat(np.where(states, high, low), np.diff(bounds))
    for rising in (True, False):
        if (sensor.rise_s if rising else sensor.fall_s) > 0:
            _shape(voltage, transitions, sensor, interval_s=interval_s, rising=rising)
    if sensor.ringing > 0:
        _ring(voltage, transitions, sensor, interval_s=interval_s)
    return voltage


def _shape(
    voltage: FloatArray,
    transitions: Transitions,
    sensor: SensorSpec,
    *,
    interval_s: float,
    rising: bool,
) -> None:
    """Overwrite the samples inside the transitions of one direction by their formula."""
    place = _first_sample(transitions, interval_s=interval_s, count=len(voltage))
    which = np.flatnonzero(transitions.rising == rising)
    scale_s = _scale_s(sensor, rising=rising)
    linear = sensor.transition == "linear"
    lasting = int(np.ceil(scale_s * (1.0 if linear else SETTLED) / interval_s)) + 1
    following = np.append(place, len(voltage))[which + 1]
    sample = place[which][:, None] + np.arange(lasting)
    inside = sample < following[:, None]
    since = (sample * interval_s - transitions.start_s[which][:, None])[inside]
    final = sensor.high_v if rising else sensor.low_v
    missing = (final - _levels_at_start(transitions, sensor)[which])[:, None]
    left = _left(since, scale_s=scale_s, linear=linear)
    voltage[sample[inside]] = final - np.broadcast_to(missing, sample.shape)[inside] * left


def _scale_s(sensor: SensorSpec, *, rising: bool) -> float:
    """Length of a linear ramp, or time constant of an exponential transition."""
    length_s = sensor.rise_s if rising else sensor.fall_s
    return length_s / (TEN_TO_NINETY if sensor.transition == "linear" else TIME_CONSTANTS)


def _left(since_s: FloatArray, *, scale_s: float, linear: bool) -> FloatArray:
    """Share of a transition still to go some time after its start."""
    passed = since_s / scale_s
    return np.clip(1.0 - passed, 0.0, 1.0) if linear else np.exp(-passed)


def _levels_at_start(transitions: Transitions, sensor: SensorSpec) -> FloatArray:
    """Voltage at the start of each transition; short pulses may not have settled before."""
    before = np.concatenate(([transitions.initial_high], transitions.rising[:-1]))
    levels = np.where(before, sensor.high_v, sensor.low_v)
    scales = [_scale_s(sensor, rising=rising) for rising in (False, True)]
    lasting = np.diff(transitions.start_s)
    settling = SETTLED * np.where(transitions.rising[:-1], scales[1], scales[0])
    linear = sensor.transition == "linear"
    for place in np.flatnonzero(lasting < settling) + 1:
        scale_s = scales[int(transitions.rising[place - 1])]
        final = levels[place]
        left = _left(lasting[place - 1 : place], scale_s=scale_s, linear=linear)[0]
        levels[place] = final - (final - levels[place - 1]) * left
    return levels


def _ring(
    voltage: FloatArray, transitions: Transitions, sensor: SensorSpec, *, interval_s: float
) -> None:
    """Add the ringing after each transition; it starts in the middle and leaves the edge there."""
    count = len(voltage)
    first = np.clip(np.ceil(transitions.half_s / interval_s), 0, count).astype(np.int64)
    following = _first_sample(transitions, interval_s=interval_s, count=count)[1:]
    lasting = int(np.ceil(sensor.ringing_s * SETTLED / interval_s)) + 1
    sample = first[:, None] + np.arange(lasting)
    inside = sample < np.append(following, count)[:, None]
    since = (sample * interval_s - transitions.half_s[:, None])[inside]
    height = sensor.ringing * (sensor.high_v - sensor.low_v)
    signs = np.broadcast_to(np.where(transitions.rising, height, -height)[:, None], sample.shape)
    swing = np.sin(2 * np.pi * sensor.ringing_hz * since) * np.exp(-since / sensor.ringing_s)
    voltage[sample[inside]] += signs[inside] * swing


def _first_sample(
    transitions: Transitions, *, interval_s: float, count: int
) -> npt.NDArray[np.int64]:
    """Find the first sample after the start of each transition."""
    return np.clip(np.ceil(transitions.start_s / interval_s), 0, count).astype(np.int64)


def _pulse(distance: FloatArray) -> FloatArray:
    """Slope of the flux of one tooth at a distance in units of its reach.

    One period of a sine, odd about the middle of the tooth, so it crosses zero exactly there;
    nothing beyond the reach. Evenly spaced teeth give a pure sine, a gap a flat line.
    """
    shape: FloatArray = -np.sin(np.pi * np.clip(distance, -1.0, 1.0))
    return shape


def reluctance_voltage(
    train: Train,
    motion: Motion,
    sensor: SensorSpec,
    *,
    pitch_deg: float,
    turn_deg: float,
    interval_s: float,
    count: int,
) -> FloatArray:
    """Voltage of a variable reluctance sensor at ``i * interval_s``, shape (count,).

    Positive before the middle of a tooth and negative after it (reversed leads: the other way).
    Proportional to the speed and to the inverse square of the air gap; the L/R pole delays and
    weakens it.

    Parameters
    ----------
    pitch_deg : float
        Tooth pitch: gives the signal's frequency for the lag.
    turn_deg : float
        Crank degrees of one turn of the target, for the runout of the amplitude.
    """
    voltage = np.empty(count)
    peak = sensor.volts_per_1000_rpm / sensor.air_gap_mm**2 / 6000.0
    if sensor.reversed_leads:
        peak = -peak
    for first in range(0, count, BLOCK):
        last = min(first + BLOCK, count)
        time = np.arange(first, last, dtype=np.float64) * interval_s
        _, speed = motion.at(time)
        delay = lag_delay_s(sensor, pitch_deg=pitch_deg, speed_deg_per_s=speed)
        angle, speed = motion.at(time - delay)
        size = peak * speed / np.hypot(1.0, 2 * np.pi * speed / pitch_deg * sensor.lag_s)
        around = 2 * np.pi * (angle - sensor.runout_phase_deg * turn_deg / 360.0) / turn_deg
        size *= 1 + sensor.runout * np.cos(around)
        voltage[first:last] = size * _flux_slope(train, angle)
    return voltage


def _flux_slope(train: Train, angle: FloatArray) -> FloatArray:
    """Sum of the pulses of the tooth before and the tooth after each angle."""
    after = np.searchsorted(train.centre_deg, angle)
    total = np.zeros_like(angle)
    for tooth in (after - 1, after):
        there = (tooth >= 0) & (tooth < len(train.centre_deg))
        which = tooth[there]
        total[there] += _pulse((angle[there] - train.centre_deg[which]) / train.flux_deg[which])
    return total
