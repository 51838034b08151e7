"""Crank speed over time and over the cycle, and the ripple the teeth are too few to show."""

from __future__ import annotations

import numpy as np

from crankwise.angle.student import student_factor
from crankwise.model.crank_angle import AngleRun, CrankAngle
from crankwise.model.measurement import RippleOrder, SpeedRange, SpeedTrace
from crankwise.model.recording import FloatArray
from crankwise.units import CYCLE_DEG, deg_per_s_to_rpm

_ORDERS = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0)
_TRACE_STEP_DEG = 180.0
_CYCLE_STEP_DEG = 7.5
_IDLE_RIPPLE, _STARTER_RIPPLE = 0.094, 0.3
"""Second-order amplitude of the speed as a share of its mean where it can't be seen: 18.75 % peak
to peak at idle (J. Venter, 'Doing the twist'); on the starter 2:1 within a turn."""
_STARTER_RPM = 400.0
_OTHER_FIRING_ORDERS = (1.5, 2.5, 3.0, 4.0)
"""Three, five, six and eight cylinders, four strokes."""
_SHOWS_ALL_TEETH = 24


def speed_range(crank: CrankAngle) -> SpeedRange:
    """Mean, least and greatest crank speed, rpm; least and greatest ten degrees inside each run."""
    speeds = np.concatenate([run.speed_rpm_at(_inner(run, 2.0)) for run in crank.runs])
    turned = sum(run.end_deg - run.start_deg for run in crank.runs)
    lasted = sum(run.times_s[-1] - run.times_s[0] for run in crank.teeth.runs)
    return SpeedRange(
        mean=float(deg_per_s_to_rpm(turned / lasted)),
        min=float(speeds.min()),
        max=float(speeds.max()),
    )


def speed_trace(crank: CrankAngle) -> SpeedTrace:
    """Mean speed of each half revolution."""
    times: list[FloatArray] = []
    speeds: list[FloatArray] = []
    for run in crank.runs:
        marks = np.arange(run.start_deg, run.end_deg, _TRACE_STEP_DEG)
        at = run.time_at(marks)
        times.append((at[1:] + at[:-1]) / 2)
        speeds.append(deg_per_s_to_rpm(_TRACE_STEP_DEG / np.diff(at)))
    return SpeedTrace(
        tuple(round(float(value), 6) for value in np.concatenate(times)),
        tuple(round(float(value), 3) for value in np.concatenate(speeds)),
    )


def _inner(run: AngleRun, step_deg: float) -> FloatArray:
    margin = min(10.0, (run.end_deg - run.start_deg) / 4)
    return np.arange(run.start_deg + margin, run.end_deg - margin, step_deg)


def ripple(crank: CrankAngle, offset_deg: FloatArray) -> tuple[RippleOrder, ...]:
    """Orders of the speed ripple over the cycle, locked to the zero.

    Each whole cycle is analysed by itself; the spread over the cycles gives the uncertainty of
    the phase. Orders that the teeth can't show, and those lost in the spread, are left out.

    Parameters
    ----------
    crank : CrankAngle
    offset_deg : np.ndarray [shape=(runs,)]
        From each run's count of degrees to the cycle.
    """
    # One step more than the cycle: its last value begins the next one.
    grid = np.arange(0.0, CYCLE_DEG + _CYCLE_STEP_DEG / 2, _CYCLE_STEP_DEG)
    rows = [
        run.speed_rpm_at(CYCLE_DEG * number - shift + grid)
        for run, shift in zip(crank.runs, offset_deg, strict=True)
        if np.isfinite(shift)
        for number in _whole_cycles(run, shift)
    ]
    if len(rows) < 3:
        return ()
    table = np.stack(rows)
    # A steady run-up leaks into every order: take the straight line of each cycle off.
    ramp = (table[:, -1:] - table[:, :1]) * (grid / grid[-1])
    table, grid = (table - ramp)[:, :-1], grid[:-1]
    finest = 0.4 * crank.teeth.wheel.teeth_per_rev
    found = [_order(table, grid, order) for order in _ORDERS if order <= finest]
    return tuple(item for item in found if item is not None)


def _whole_cycles(run: AngleRun, shift_deg: float) -> range:
    first = int(np.ceil((run.start_deg + shift_deg + 10.0) / CYCLE_DEG))
    last = int(np.floor((run.end_deg + shift_deg - 10.0) / CYCLE_DEG))
    return range(first, last)


def _order(table: FloatArray, grid: FloatArray, order: float) -> RippleOrder | None:
    count = len(table)
    wave = np.exp(-1j * np.deg2rad(order * grid))
    each = 2.0 * (table * wave).mean(axis=1)
    mean = complex(each.mean())
    amplitude = abs(mean)
    if amplitude == 0.0:
        return None
    # Only the part of the spread across the vector turns its phase.
    across = (each * np.conj(mean) / amplitude).imag
    standard = float(np.std(across, ddof=1)) / np.sqrt(count) / amplitude
    expanded = student_factor(count - 1.0) * np.rad2deg(standard) / order
    if expanded > 60.0 / order:
        return None
    phase = float(np.rad2deg(np.angle(mean)) / -order) % (360.0 / order)
    return RippleOrder(order, float(amplitude), phase, float(expanded))


def second_order_share(crank: CrankAngle) -> float:
    """Amplitude of the second order of the speed as a share of the mean speed.

    Measured where the wheel has teeth enough to show it; else what is usual.
    """
    return _share(crank, 2.0)


def other_firing_shares(crank: CrankAngle) -> dict[float, float]:
    """The same for the orders at which engines of another number of cylinders fire, by order.

    Empty for a wheel whose teeth are close enough to show every one of them.
    """
    if crank.teeth.wheel.teeth_per_rev >= _SHOWS_ALL_TEETH:
        return {}
    return {order: _share(crank, order) for order in _OTHER_FIRING_ORDERS}


def _share(crank: CrankAngle, order: float) -> float:
    """Amplitude of one order; what is usual falls with the square of the order."""
    mean = speed_range(crank).mean
    usual = _STARTER_RIPPLE if mean < _STARTER_RPM else _IDLE_RIPPLE
    usual *= min((2.0 / order) ** 2, 1.0)
    if crank.teeth.wheel.teeth_per_rev < 8:
        return usual
    run = max(crank.runs, key=lambda item: item.end_deg - item.start_deg)
    turns = int((run.end_deg - run.start_deg - 20.0) // 360.0)
    # Half orders come out over whole cycles only.
    turns -= turns % 2 if order % 1.0 else 0
    if turns < 1:
        return usual
    grid = run.start_deg + 10.0 + np.arange(0.0, 360.0 * turns, 5.0)
    speed = run.speed_rpm_at(grid)
    wave = np.exp(-1j * order * np.deg2rad(grid))
    return float(abs(2.0 * (speed * wave).mean()) / speed.mean())
