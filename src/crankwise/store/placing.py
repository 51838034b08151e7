"""Lay a known-good over the first one of its pattern, the quick way where it is plain.

:func:`crankwise.compare.match.match` tries every pairing of cams. Known-goods of one pattern
mostly have the same names, the same crank flank and both signals the right way up; then only the
turn of each cam is open. The quick way is taken where its cost is below that of anything else the
full search could find, so both give the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.compare.match import CamMatch, Limits, match
from crankwise.compare.shift import Spreads, pair_shift
from crankwise.judge.policy import load_policy
from crankwise.model.measurement import CamMeasurement, Measurement
from crankwise.model.policy import Policy
from crankwise.model.recording import FloatArray
from crankwise.units import CYCLE_DEG, REVOLUTION_DEG, wrap_cycle_deg, wrap_signed_deg

_SAME_STEP_DEG = 0.01
_CHEAP = 1.0
"""Half of what an inverted signal costs in the full search; swapped names cost more."""
_SHIFT_SCALE_DEG = 20.0


@dataclass(frozen=True, slots=True)
class Placed:
    """One cam against that of the first known-good, in the first one's order, crank degrees.

    ``standard_deg`` is the standard uncertainty of ``shift_deg`` without that of the first one.
    """

    role: str
    shift_deg: float
    standard_deg: float
    differences_deg: tuple[float, ...]


def limits_of(policy: Policy) -> Limits:
    """How far patterns may be off."""
    return Limits(
        edge_residual_deg=policy.refusal.edge_residual_deg,
        largest_shift_deg=policy.refusal.largest_shift_deg,
        edge_scale_deg=policy.spread.edge_deg,
    )


def place(measurement: Measurement, first: Measurement) -> tuple[Placed, ...]:
    """Every cam of the first known-good, in its order.

    Raises
    ------
    NotMeasurableError
        The patterns don't fit.
    """
    policy = load_policy(None)
    limits = limits_of(policy)
    cams, flank_standard_deg = _quick(measurement, first, limits), 0.0
    if cams is None:
        found = match(measurement, first, limits)
        cams, flank_standard_deg = found.cams, found.edge_standard_deg
    spreads = Spreads(edge_deg=policy.spread.edge_deg, delay_s=policy.spread.delay_s)
    by_channel = {cam.known_good.channel: cam for cam in cams}
    placed: list[Placed] = []
    for cam in first.cams:
        laid = by_channel[cam.channel]
        pair = pair_shift(
            laid,
            subject_rpm=measurement.crank.speed_rpm.mean,
            known_good_rpm=first.crank.speed_rpm.mean,
            spreads=spreads,
            same_vehicle=False,
            flank_standard_deg=flank_standard_deg,
        )
        standard = float(np.hypot(pair.subject.standard_deg, pair.delay_deg))
        edges = tuple(float(value) for value in laid.difference_deg)
        placed.append(Placed(cam.role, pair.shift_deg, standard, edges))
    return tuple(placed)


def _quick(
    measurement: Measurement, first: Measurement, limits: Limits
) -> tuple[CamMatch, ...] | None:
    if not _is_plain(measurement, first):
        return None
    theirs = {cam.role: cam for cam in measurement.cams}
    best: tuple[float, tuple[CamMatch, ...]] | None = None
    for turn_deg in (0.0, REVOLUTION_DEG):
        laid = [_lay(theirs[cam.role], cam, turn_deg, limits) for cam in first.cams]
        found = [item for item in laid if item is not None]
        if len(found) < len(laid):
            continue
        shifts = np.array([cam.shift_deg for _, cam in found])
        apart = float(((shifts - shifts.mean()) ** 2).sum()) / _SHIFT_SCALE_DEG**2
        cost = sum(cost for cost, _ in found) + apart
        if best is None or cost < best[0]:
            best = cost, tuple(cam for _, cam in found)
    if best is None or best[0] >= _CHEAP:
        return None
    worst = max(float(np.abs(cam.residual_deg).max()) for cam in best[1])
    return best[1] if worst <= limits.edge_residual_deg else None


def _is_plain(measurement: Measurement, first: Measurement) -> bool:
    """Same wheel with one gap, same flank, same names that say what the cams are."""
    mine, theirs = measurement.crank, first.crank
    roles = [cam.role for cam in measurement.cams]
    same_crank = (mine.wheel, mine.sensor, mine.timing_edge, mine.tooth_level) == (
        theirs.wheel, theirs.sensor, theirs.timing_edge, theirs.tooth_level,
    )  # fmt: skip
    if not same_crank or len(mine.intervals_deg) != len(theirs.intervals_deg):
        return False
    steps = np.asarray(mine.intervals_deg)
    is_single = int((steps > 1.5 * np.median(steps)).sum()) == 1
    close = np.abs(steps - np.asarray(theirs.intervals_deg)).max() < _SAME_STEP_DEG
    return (
        bool(is_single and close)
        and sorted(roles) == sorted(cam.role for cam in first.cams)
        and len(set(roles)) == len(roles)
        and not any(role.startswith("cam") for role in roles)
    )


def _lay(
    cam: CamMeasurement, first: CamMeasurement, turn_deg: float, limits: Limits
) -> tuple[float, CamMatch] | None:
    """Cheapest turn of one cam over the other, as the full search counts costs."""
    count = len(first.edges)
    if len(cam.edges) != count:
        return None
    mine = _angles(cam) + turn_deg
    order = np.argsort(wrap_cycle_deg(mine), kind="stable")
    index = order[(np.arange(count)[:, None] + np.arange(count)) % count]
    up = np.array([edge.edge == "rising" for edge in cam.edges])
    alike = (up[index] == np.array([edge.edge == "rising" for edge in first.edges])).all(axis=1)
    if not alike.any():
        return None
    index = index[alike]
    difference = wrap_signed_deg(mine[index] - _angles(first))
    start = difference[:, :1]
    difference = start + wrap_signed_deg(difference - start)
    shift = np.median(difference, axis=1)
    residual = np.minimum(np.abs(difference - shift[:, None]) / limits.edge_scale_deg, 12.0)
    cost = (residual**2).mean(axis=1) + (shift / _SHIFT_SCALE_DEG) ** 2
    best = int(np.argmin(cost))
    if abs(shift[best]) > limits.largest_shift_deg:
        return None
    edges = tuple(int(place) for place in index[best])
    laid = CamMatch(cam, first, edges, tuple(range(count)), difference[best], inverted=False)
    return float(cost[best]), laid


def _angles(cam: CamMeasurement) -> FloatArray:
    return np.array([edge.angle_deg for edge in cam.edges], dtype=np.float64)


def spacings_deg(cam: CamMeasurement) -> FloatArray:
    """Angles from edge to edge around the cycle: the same wherever the cam stands."""
    angles = np.sort(_angles(cam))
    return np.diff(np.append(angles, angles[0] + CYCLE_DEG))
