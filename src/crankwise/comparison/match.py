"""Lay the subject's pattern over the known-good's.

Names may be swapped, sensors inverted, the two revolutions of the cycle exchanged: the pattern of
all edges together decides. What fits in no way is refused, never forced.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np

from crankwise.comparison.flank import flank_between
from crankwise.errors import NotMeasurableError
from crankwise.model.measurement import CamMeasurement, CrankMeasurement, Measurement
from crankwise.model.recording import FloatArray
from crankwise.roles.naming import cam_name
from crankwise.units import CYCLE_DEG, wrap_cycle_deg, wrap_signed_deg

_SAME_STEP_LOG = 0.04
_SAME_LEARNED_LOG = 0.25
"""Spacing of two wheels may differ by so much in ln(interval): learned spacing holds the ripple
of its recording."""
_OTHER_NAME_COST = 4.0
_INVERTED_COST = 2.0
_FEW_CYCLES, _MORE_CYCLES = 5, 12
"""Below, edges may be seen too seldom to be measured; and cycles that are enough for all."""

_SHIFT_SCALE_DEG = 20.0


@dataclass(frozen=True, slots=True)
class Limits:
    """How far a pattern may be off before it is another one, crank degrees."""

    edge_residual_deg: float
    largest_shift_deg: float
    edge_scale_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class CamMatch:
    """One cam of the subject laid over one of the known-good.

    Attributes
    ----------
    subject, known_good : CamMeasurement
    subject_edges, known_good_edges : tuple of int
        Index pairs of edges that belong together.
    difference_deg : np.ndarray [shape=(m,)]
        Subject less known-good for each pair.
    inverted : bool
    """

    subject: CamMeasurement
    known_good: CamMeasurement
    subject_edges: tuple[int, ...]
    known_good_edges: tuple[int, ...]
    difference_deg: FloatArray
    inverted: bool

    @property
    def shift_deg(self) -> float:
        """Median difference, which one odd edge can't move."""
        return float(np.median(self.difference_deg))

    @property
    def residual_deg(self) -> FloatArray:
        """What each edge is off the common shift."""
        return self.difference_deg - self.shift_deg


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """The whole match.

    Attributes
    ----------
    cams : tuple of CamMatch
    turn_deg : float
        Added to the subject's angles for the origin of the cycle.
    edge_deg, edge_standard_deg : float
        Added for another flank of the crank teeth, and its standard uncertainty.
    remarks : tuple of str
        What had to be resolved.
    """

    cams: tuple[CamMatch, ...]
    turn_deg: float
    edge_deg: float
    edge_standard_deg: float
    remarks: tuple[str, ...]


def match(subject: Measurement, known_good: Measurement, limits: Limits) -> Match:
    """Find which cam is which, which way up, and which revolution starts the cycle.

    Raises
    ------
    NotMeasurableError
        Another wheel, another cam pattern, a damaged target, or nothing in common; says which.
    """
    _same_wheel(subject.crank, known_good.crank)
    if not subject.cams or not known_good.cams:
        side = subject if not subject.cams else known_good
        raise NotMeasurableError(
            f"{side.recording.name}: no cam was measured, so there is nothing to compare"
        )
    flank = flank_between(subject.crank, known_good.crank)
    turns = _turns(subject.crank, known_good.crank)
    best: tuple[float, Match] | None = None
    for pairs in _assignments(subject.cams, known_good.cams):
        for turn in turns:
            tried = _try(pairs, turn + flank.turn_deg, limits)
            if tried is None:
                continue
            cost, cams = tried
            if best is None or cost < best[0]:
                best = (
                    cost,
                    Match(cams, float(turn), flank.turn_deg, flank.standard_deg, flank.remarks),
                )
    if best is None:
        raise NotMeasurableError(_why_not(subject, known_good))
    _refuse_misfit(subject, known_good, best[1], limits)
    return _with_remarks(best[1])


def _same_wheel(subject: CrankMeasurement, known_good: CrankMeasurement) -> None:
    mine, theirs = np.asarray(subject.intervals_deg), np.asarray(known_good.intervals_deg)
    is_learned = any(side.wheel.startswith("learned") for side in (subject, known_good))
    limit = _SAME_LEARNED_LOG if is_learned else _SAME_STEP_LOG
    if len(mine) != len(theirs) or np.abs(np.log(mine / theirs)).max() > limit:
        raise NotMeasurableError(
            f"the crank wheels differ: the subject has {subject.wheel} "
            f"({subject.teeth_per_rev} teeth), the known-good {known_good.wheel} "
            f"({known_good.teeth_per_rev} teeth); choose a known-good of the same engine"
        )


def _turns(subject: CrankMeasurement, known_good: CrankMeasurement) -> FloatArray:
    """Turns of the cycle that lay the crank wheel over itself, degrees.

    A wheel coded in the widths of its teeth may look even by the spacing alone: what the decoder
    said of it counts first.
    """
    repeats = min((side.repeats for side in (subject, known_good) if side.repeats), default=0)
    if repeats:
        return np.arange(0.0, CYCLE_DEG, 360.0 / repeats)
    steps = np.asarray(known_good.intervals_deg)
    teeth = len(steps)
    for period in range(1, teeth + 1):
        if teeth % period == 0 and np.allclose(np.roll(steps, period), steps, rtol=0.04):
            return np.arange(0.0, CYCLE_DEG, 360.0 * period / teeth)
    return np.array([0.0, 360.0])


_Pairs = tuple[tuple[CamMeasurement, CamMeasurement], ...]


def _assignments(
    subject: Sequence[CamMeasurement], known_good: Sequence[CamMeasurement]
) -> Iterator[_Pairs]:
    """Every way to pair as many cams as both have."""
    if len(subject) <= len(known_good):
        for chosen in permutations(known_good, len(subject)):
            yield tuple(zip(subject, chosen, strict=True))
    else:
        for chosen in permutations(subject, len(known_good)):
            yield tuple(zip(chosen, known_good, strict=True))


def _try(
    pairs: _Pairs, turn_deg: float, limits: Limits
) -> tuple[float, tuple[CamMatch, ...]] | None:
    total = 0.0
    found: list[CamMatch] = []
    for subject, known_good in pairs:
        cost, matched = _best_lay(subject, known_good, turn_deg, limits)
        if matched is None:
            return None
        total += cost
        if _names_clash(subject.role, known_good.role):
            total += _OTHER_NAME_COST
        found.append(matched)
    shifts = np.array([item.shift_deg for item in found])
    # Cams of one engine move together more readily than each by itself.
    total += float(((shifts - shifts.mean()) ** 2).sum()) / _SHIFT_SCALE_DEG**2
    return total, tuple(found)


def _names_clash(mine: str, theirs: str) -> bool:
    return mine != theirs and not mine.startswith("cam") and not theirs.startswith("cam")


def _best_lay(
    subject: CamMeasurement, known_good: CamMeasurement, turn_deg: float, limits: Limits
) -> tuple[float, CamMatch | None]:
    best: tuple[float, CamMatch | None] = (np.inf, None)
    if len(subject.edges) != len(known_good.edges):
        return best
    count = len(subject.edges)
    mine = np.array([edge.angle_deg for edge in subject.edges]) + turn_deg
    theirs = np.array([edge.angle_deg for edge in known_good.edges])
    mine_up = np.array([edge.edge == "rising" for edge in subject.edges])
    theirs_up = np.array([edge.edge == "rising" for edge in known_good.edges])
    order = np.argsort(wrap_cycle_deg(mine), kind="stable")
    for rotation in range(count):
        index = np.roll(order, -rotation)
        alike = mine_up[index] == theirs_up
        if alike.all() == (~alike).all():
            continue
        inverted = bool((~alike).all())
        difference = wrap_signed_deg(mine[index] - theirs)
        centre = difference[0]
        difference = centre + wrap_signed_deg(difference - centre)
        tried = CamMatch(
            subject,
            known_good,
            tuple(int(i) for i in index),
            tuple(range(count)),
            difference,
            inverted,
        )
        if abs(tried.shift_deg) > limits.largest_shift_deg:
            continue
        cost = _lay_cost(tried, limits) + (_INVERTED_COST if inverted else 0.0)
        if cost < best[0]:
            best = cost, tried
    return best


def _lay_cost(tried: CamMatch, limits: Limits) -> float:
    """Misfit of the edges in their usual spread, and the size of the shift in its own."""
    residual = np.minimum(np.abs(tried.residual_deg) / limits.edge_scale_deg, 12.0)
    return float((residual**2).mean()) + (tried.shift_deg / _SHIFT_SCALE_DEG) ** 2


def _edges(side: Measurement) -> int:
    return sum(len(cam.edges) for cam in side.cams)


def _why_not(subject: Measurement, known_good: Measurement) -> str:
    sides = (subject, known_good)
    counts = [", ".join(f"{cam.role} {len(cam.edges)}" for cam in side.cams) for side in sides]
    for name, side, other in (
        ("subject", subject, known_good),
        ("known-good", known_good, subject),
    ):
        cycles = max((cam.cycles for cam in side.cams), default=0)
        if 0 < cycles <= _FEW_CYCLES and _edges(side) < _edges(other):
            return (
                f"only {cycles} cycles of the {name} were recorded, so that cam edges are missing "
                f"(edges a cycle are {counts[0]} in the subject and {counts[1]} in the "
                f"known-good): record for {_MORE_CYCLES * 120.0 / side.crank.speed_rpm.mean:.0f} s "
                "or more at this speed"
            )
    return (
        f"the cam patterns differ: edges a cycle are {counts[0]} in the subject and {counts[1]} "
        "in the known-good; this is another engine, another cam wheel, or a cam sensor that "
        "misses edges: choose a known-good of the same engine"
    )


def _refuse_misfit(
    subject: Measurement, known_good: Measurement, found: Match, limits: Limits
) -> None:
    for cam in found.cams:
        off = np.abs(cam.residual_deg)
        if off.max() <= limits.edge_residual_deg:
            continue
        others = np.sort(off)[:-2] if len(off) > 4 else np.sort(off)[:-1]
        role = cam.known_good.role
        if len(others) >= 2 and others.max() < 0.5 * limits.edge_residual_deg:
            edge = cam.subject.edges[cam.subject_edges[int(np.argmax(off))]]
            raise NotMeasurableError(
                f"{subject.recording.name}: the {edge.edge} edge of the {cam_name(role)} at "
                f"{edge.angle_deg:.1f}° is {off.max():.1f}° off its place while the others agree: "
                "a damaged cam wheel, debris on it, or a wrong known-good; look at the wheel"
            )
        raise NotMeasurableError(
            f"the pattern of the {cam_name(role)} does not fit the known-good "
            f"{known_good.recording.name} (edges are up to {off.max():.1f}° off, "
            f"{limits.edge_residual_deg:g}° are allowed): another engine or another cam wheel; "
            "choose a known-good of the same engine"
        )


def _with_remarks(found: Match) -> Match:
    remarks = list(found.remarks)
    for cam in found.cams:
        mine, theirs = cam.subject.role, cam.known_good.role
        if _names_clash(mine, theirs):
            remarks.append(
                f"channel '{cam.subject.channel}' is named {mine}, but its pattern is that of the "
                f"{cam_name(theirs)} of the known-good: the pattern was believed"
            )
        if cam.inverted:
            remarks.append(f"the {cam_name(theirs)}'s signal is upside down against the known-good")
    if found.turn_deg:
        remarks.append(
            f"the cycle was turned by {found.turn_deg:g}° so that the patterns lie over each other"
        )
    return replace(found, remarks=tuple(remarks))
