"""What happens to a signal on its way: false pulses, lost contact, channels that aren't sensors."""

from __future__ import annotations

import numpy as np

from crankwise.errors import UsageError
from crankwise.model.recording import FloatArray
from crankwise.testing.simulate.faults import Dropout, ExtraEdges
from crankwise.testing.simulate.motion import Motion
from crankwise.testing.simulate.parts import SensorSpec
from crankwise.testing.simulate.sensors import switching_voltage
from crankwise.testing.simulate.spec import ExtraSpec
from crankwise.testing.simulate.timing import Transitions
from crankwise.units import CYCLE_DEG

INJECTION_DEG = 300.0
"""Crank angle at which the simulated injector opens."""

IGNITION_ADVANCE_DEG = 10.0
KICK_V = 40.0
KICK_S = 4e-4


def pulses(start_s: FloatArray, end_s: FloatArray, *, resting_high: bool) -> Transitions:
    """Transitions of pulses away from a resting level; pulses must not overlap."""
    times = np.column_stack((start_s, end_s)).ravel()
    leaving = np.tile([True, False], len(start_s))
    nowhere = np.full(len(times), -1, dtype=np.int64)
    rising = leaving != resting_high
    return Transitions(
        times, times, np.full(len(times), np.nan), rising, ~leaving, nowhere, nowhere, resting_high
    )


def add_false_pulses(
    transitions: Transitions, fault: ExtraEdges, *, duration_s: float, rng: np.random.Generator
) -> tuple[Transitions, FloatArray]:
    """Put ``count`` short pulses between the transitions; returns also their times (seconds).

    Raises
    ------
    UsageError
        There is no room for so many.
    """
    chosen: list[float] = []
    width = fault.width_s
    taken = transitions.start_s
    for _ in range(200 * fault.count):
        if len(chosen) == fault.count:
            break
        moment = float(rng.uniform(0, duration_s - 2 * width))
        first, last = np.searchsorted(taken, (moment - width, moment + 2 * width))
        if first == last and all(abs(moment - other) > 3 * width for other in chosen):
            chosen.append(moment)
    if len(chosen) < fault.count:
        raise UsageError(
            f"fault extra-edges: no room for {fault.count} pulses of {fault.width_s} s on "
            f"{fault.role}; lower count or width_s"
        )
    start = np.sort(chosen)
    levels = np.concatenate(([transitions.initial_high], transitions.rising))
    high = levels[np.searchsorted(taken, start)]
    added = pulses(start, start + width, resting_high=False)
    added.rising[:] = np.column_stack((~high, high)).ravel()
    return transitions.merge(added), start


def silence(transitions: Transitions, gap: Dropout) -> Transitions:
    """Hold the signal low during a dropout of an event list."""
    start, end = gap.start_s, gap.start_s + gap.duration_s
    before = np.searchsorted(transitions.half_s, (start, end)) - 1
    levels = [
        bool(transitions.rising[place]) if place >= 0 else transitions.initial_high
        for place in before
    ]
    outside = (transitions.half_s < start) | (transitions.half_s > end)
    edges = pulses(np.array([start]), np.array([end]), resting_high=True)
    return transitions.select(outside).merge(edges.select(np.array(levels)))


def firing_times(motion: Motion, *, offsets_deg: tuple[float, ...], tdc_deg: float) -> FloatArray:
    """Find the times of all ignitions during the motion, ascending."""
    first = int(np.floor(motion.angle_deg[0] / CYCLE_DEG)) - 1
    last = int(np.ceil(motion.angle_deg[-1] / CYCLE_DEG)) + 1
    turns = np.arange(first, last + 1)[:, None] * CYCLE_DEG
    angles = (turns + tdc_deg - IGNITION_ADVANCE_DEG + np.asarray(offsets_deg)).ravel()
    times = motion.time_of(np.sort(angles))
    return times[~np.isnan(times)]


def extra_transitions(extra: ExtraSpec, motion: Motion, firing_s: FloatArray) -> Transitions:
    """State changes of a channel that is neither crank nor cam."""
    starts = np.empty(0)
    if extra.kind == "injector":
        first, last = np.floor(motion.angle_deg[[0, -1]] / CYCLE_DEG)
        opened = motion.time_of(np.arange(first, last + 2) * CYCLE_DEG + INJECTION_DEG)
        starts = opened[~np.isnan(opened)]
    elif extra.kind == "ignition":
        starts = firing_s
    room = np.append(np.diff(starts), np.inf)
    ends = starts + np.minimum(extra.pulse_s, 0.9 * room)
    return pulses(starts, ends, resting_high=extra.kind != "ignition")


def extra_voltage(
    extra: ExtraSpec, transitions: Transitions, *, interval_s: float, count: int
) -> FloatArray:
    """Voltage of such a channel, shape (count,)."""
    if extra.kind == "flat":
        return np.full(count, extra.level_v)
    levels = SensorSpec(kind="hall", low_v=0.0, high_v=extra.level_v)
    voltage = switching_voltage(transitions, levels, interval_s=interval_s, count=count)
    if extra.kind == "injector":
        reach = int(np.ceil(8 * KICK_S / interval_s))
        for end in transitions.start_s[transitions.rising]:
            first = int(np.ceil(end / interval_s))
            sample = np.arange(max(first, 0), min(first + reach, count))
            voltage[sample] += KICK_V * np.exp(-(sample * interval_s - end) / KICK_S)
    return voltage
