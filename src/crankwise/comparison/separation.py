"""Change of the angle between two cams of one engine."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from crankwise.comparison.shift import COMMON, PairShift
from crankwise.model.measurement import CamMeasurement, Contribution
from crankwise.units import wrap_signed_deg

_LIKE_TARGET_DEG, _ALIKE_DEG = 8.0, 5.0
_HALF_WAY_DEG = 160.0


def pairs_of(roles: list[str]) -> list[tuple[str, str]]:
    """Pairs of cams whose separation says something: those of one bank, else all.

    >>> pairs_of(["exhaust-1", "exhaust-2", "intake-1", "intake-2"])
    [('intake-1', 'exhaust-1'), ('intake-2', 'exhaust-2')]
    >>> pairs_of(["exhaust", "intake"])
    [('intake', 'exhaust')]
    """
    ordered = sorted(roles, key=lambda role: (not role.startswith("intake"), role))
    banks = [role.rsplit("-", 1)[-1] for role in ordered]
    return [
        (first, second)
        for (first, one), (second, other) in combinations(zip(ordered, banks, strict=True), 2)
        if one == other or not (one.isdigit() and other.isdigit())
    ]


def separation_budget(first: PairShift, second: PairShift) -> tuple[Contribution, ...]:
    """Budget of the difference of two shifts of one pair of recordings.

    What the crank side does to both cams alike - the curve, the ripple, the delays of the crank
    sensor - cancels to first order; each cam's own scatter and place among the teeth stays.
    """
    stays = [
        line
        for shift in (first, second)
        for line in (*shift.subject.budget, *shift.known_good.budget)
        if not line.source.startswith(COMMON)
    ]
    delay = float(np.hypot(first.delay_deg, second.delay_deg))
    lines = [*stays, Contribution("sensor delays at unlike speeds", delay, "B", None)]
    return tuple(line for line in lines if line.standard_deg > 0)


def apart_deg(first: CamMeasurement, second: CamMeasurement) -> float | None:
    """Turn that lays the first cam's pattern over the second's, -180..180; None if none does.

    Cams of one engine usually carry like targets; the turn between them is then plain. Of turns
    that fit about equally well the smallest counts, unless two of them lead opposite ways round.
    """
    if len(first.edges) != len(second.edges) or not first.edges:
        return None
    angles = [np.array([edge.angle_deg for edge in cam.edges]) for cam in (first, second)]
    rising = [np.array([edge.edge == "rising" for edge in cam.edges]) for cam in (first, second)]
    fits: list[tuple[float, float]] = []
    for rotation in range(len(angles[1])):
        index = np.roll(np.arange(len(angles[1])), -rotation)
        alike = rising[1][index] == rising[0]
        if alike.all() == (~alike).all():
            continue
        lag = wrap_signed_deg(angles[1][index] - angles[0])
        lag = lag[0] + wrap_signed_deg(lag - lag[0])
        fits.append((float(np.std(lag)), float(wrap_signed_deg(np.mean(lag)))))
    if not fits:
        return None
    best = min(fit for fit, _ in fits)
    near = sorted((abs(lag), lag) for fit, lag in fits if fit < best + _ALIKE_DEG)
    if best > _LIKE_TARGET_DEG or near[0][0] > _HALF_WAY_DEG:
        return None
    if len(near) > 1 and near[1][0] < near[0][0] + _ALIKE_DEG and near[1][1] * near[0][1] < 0:
        return None
    return near[0][1]
