"""Lay a known-good over the first one of its pattern, the quick way where it is plain.

:func:`crankwise.comparison.match.match` tries every pairing of cams. Known-goods of one pattern
mostly have the same names, the same crank flank and both signals the right way up; then only the
turn of each cam is open. The quick way is taken where its cost is below that of anything else the
full search could find, so both give the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.comparison.match import CamMatch, Limits, match
from crankwise.comparison.shift import Spreads, pair_shift
from crankwise.model.measurement import CamMeasurement, Measurement
from crankwise.model.policy import Policy
from crankwise.model.recording import FloatArray
from crankwise.model.teeth import IntArray
from crankwise.units import CYCLE_DEG, REVOLUTION_DEG, wrap_signed_deg

_SAME_STEP_DEG = 0.01
_CHEAP = 1.0
"""Half of what an inverted signal costs in the full search; swapped names cost more."""
_SHIFT_SCALE_DEG = 20.0
_TURNS_DEG = np.array([0.0, REVOLUTION_DEG])


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


def place(measurement: Measurement, first: Measurement, *, policy: Policy) -> tuple[Placed, ...]:
    """Every cam of the first known-good, in its order.

    Raises
    ------
    NotMeasurableError
        The patterns don't fit.
    """
    limits = limits_of(policy)
    quick = match_plain(measurement, first, limits)
    if quick is not None:
        cams, flank_standard_deg = quick.cams, 0.0
    else:
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


@dataclass(frozen=True, slots=True, eq=False)
class PlainMatch:
    """Cams laid over each other, and whether the cycle had to be turned by one revolution."""

    cams: tuple[CamMatch, ...]
    is_turned: bool


def match_plain(measurement: Measurement, first: Measurement, limits: Limits) -> PlainMatch | None:
    """Lay cams over each other the quick way; ``None`` leaves it to the full search."""
    if not _is_plain(measurement, first):
        return None
    theirs = {cam.role: cam for cam in measurement.cams}
    laid = [_lay(theirs[cam.role], cam, limits) for cam in first.cams]
    found = [item for item in laid if item is not None]
    if len(found) < len(laid):
        return None
    shifts = np.array([item.shift_deg for item in found])
    apart = ((shifts - shifts.mean(axis=0)) ** 2).sum(axis=0) / _SHIFT_SCALE_DEG**2
    cost = np.sum([item.cost for item in found], axis=0) + apart
    turn = int(np.argmin(cost))
    worst = max(float(item.worst_deg[turn]) for item in found)
    if cost[turn] >= _CHEAP or worst > limits.edge_residual_deg:
        return None
    return PlainMatch(tuple(item.match(turn) for item in found), is_turned=turn > 0)


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


@dataclass(frozen=True, slots=True, eq=False)
class _Laid:
    """One cam over the other, for both turns of the cycle: the arrays begin with the turn."""

    cam: CamMeasurement
    first: CamMeasurement
    index: IntArray
    difference_deg: FloatArray
    shift_deg: FloatArray
    worst_deg: FloatArray
    cost: FloatArray

    def match(self, turn: int) -> CamMatch:
        """As the full search would say it."""
        edges = tuple(int(place) for place in self.index[turn])
        order = tuple(range(len(edges)))
        difference = self.difference_deg[turn]
        return CamMatch(self.cam, self.first, edges, order, difference, inverted=False)


def _lay(cam: CamMeasurement, first: CamMeasurement, limits: Limits) -> _Laid | None:
    """Cheapest order of the edges for either turn, as the full search counts costs."""
    count = len(first.edges)
    if len(cam.edges) != count:
        return None
    mine = _angles(cam)
    order = np.argsort(mine, kind="stable")
    index = order[(np.arange(count)[:, None] + np.arange(count)) % count]
    up = np.array([edge.edge == "rising" for edge in cam.edges])
    alike = (up[index] == np.array([edge.edge == "rising" for edge in first.edges])).all(axis=1)
    if not alike.any():
        return None
    index = index[alike]
    # Axes: turn of the cycle, order of the edges, edge.
    difference = wrap_signed_deg(mine[index] + _TURNS_DEG[:, None, None] - _angles(first))
    start = difference[..., :1]
    difference = start + wrap_signed_deg(difference - start)
    ranked = np.sort(difference, axis=-1)
    shift = 0.5 * (ranked[..., (count - 1) // 2] + ranked[..., count // 2])  # the median
    off = np.abs(difference - shift[..., None])
    residual = np.minimum(off / limits.edge_scale_deg, 12.0)
    cost = (residual**2).mean(axis=-1) + (shift / _SHIFT_SCALE_DEG) ** 2
    cost[np.abs(shift) > limits.largest_shift_deg] = np.inf
    best = np.argmin(cost, axis=1)
    turn = np.arange(len(_TURNS_DEG))
    return _Laid(
        cam=cam,
        first=first,
        index=index[best],
        difference_deg=difference[turn, best],
        shift_deg=shift[turn, best],
        worst_deg=off[turn, best].max(axis=-1),
        cost=cost[turn, best],
    )


def _angles(cam: CamMeasurement) -> FloatArray:
    return np.array([edge.angle_deg for edge in cam.edges], dtype=np.float64)


def spacings_deg(cam: CamMeasurement) -> FloatArray:
    """Angles from edge to edge around the cycle: the same wherever the cam stands."""
    angles = np.sort(_angles(cam))
    return np.diff(np.append(angles, angles[0] + CYCLE_DEG))
