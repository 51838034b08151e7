"""Change of the angle between two cams of one engine."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from crankwise.angle.student import combine
from crankwise.compare.shift import COMMON, PairShift
from crankwise.model.measurement import CamMeasurement, Contribution
from crankwise.units import wrap_signed_deg


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


def separation_standard(first: PairShift, second: PairShift) -> tuple[float, float, float]:
    """Standard uncertainty, degrees of freedom and expanded uncertainty of a separation's change."""
    standard, dof, _, expanded = combine(separation_budget(first, second))
    return standard, dof, expanded


def apart_deg(first: CamMeasurement, second: CamMeasurement) -> float:
    """Angle from the middle of one pattern to that of the other, by the shorter way.

    The middle is that of the widest pulse, which both cams of an engine usually share.
    """
    return float(wrap_signed_deg(_middle(second) - _middle(first), period_deg=360.0))


def _middle(cam: CamMeasurement) -> float:
    angles = np.array([edge.angle_deg for edge in cam.edges])
    if len(angles) < 2:
        return float(angles[0])
    gaps = np.diff(np.append(angles, angles[0] + 720.0))
    widest = int(np.argmax(gaps))
    return float(angles[widest] + gaps[widest] / 2)
