"""One cam of the subject against one of a known-good: shift, uncertainty, consistency."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from crankwise.angle.student import combine
from crankwise.comparison.match import CamMatch
from crankwise.model.measurement import CamEdge, CamMeasurement, Contribution
from crankwise.units import delay_s_to_deg

TOOTH_SPACING = "tooth spacing not told from speed"
SPACING_OR_SPEED = "tooth spacing or speed, with too few teeth to tell"
SCATTER = "scatter over the cycles"
CURVE = "curve, sampling and ripple"
FLANK = "flank of the crank teeth"
ODD_EDGES = 0.001
"""Probability of the edges' disagreement by chance below which they are said to disagree."""
_ROUGHER = 4.0
"""Ratio of variances from which one recording's crank teeth are rougher than the other's: a tooth
that was damaged meanwhile, or another wheel. Below, speed ripple alone makes the estimates differ.
"""
COMMON = (CURVE, FLANK)
"""Contributions that move all cams of a recording alike: a separation does not feel them."""


@dataclass(frozen=True, slots=True)
class Spreads:
    """What the policy assumes about edges and sensors: degrees and seconds, one standard deviation.

    ``edge_deg`` is how far edges of like targets differ from engine to engine, ``delay_s`` how far
    the delays of two sensors may differ.
    """

    edge_deg: float
    delay_s: float


@dataclass(frozen=True, slots=True)
class SideUncertainty:
    """Uncertainty of one cam's place in one recording: budget, standard uncertainty, dof."""

    budget: tuple[Contribution, ...]
    standard_deg: float
    dof: float


@dataclass(frozen=True, slots=True)
class PairShift:
    """Shift of one cam between two recordings.

    Attributes
    ----------
    role : str
        In the known-good.
    match : CamMatch
    shift_deg : float
        Positive = later; corrected for the sensor's delay where that is known.
    subject, known_good : SideUncertainty
    delay_deg : float
        Standard uncertainty from sensor delays at unlike speeds.
    consistency : float
        Probability of the edges disagreeing as much by chance.
    """

    role: str
    match: CamMatch
    shift_deg: float
    subject: SideUncertainty
    known_good: SideUncertainty
    delay_deg: float
    consistency: float


def pair_shift(
    found: CamMatch,
    *,
    subject_rpm: float,
    known_good_rpm: float,
    spreads: Spreads,
    same_vehicle: bool,
    flank_standard_deg: float,
) -> PairShift:
    """Shift of one cam, with its uncertainty by side.

    Parameters
    ----------
    found : CamMatch
    subject_rpm, known_good_rpm : float
        Mean speeds of the two recordings.
    spreads : Spreads
    same_vehicle : bool
        Whether both are recordings of one engine: its crank wheel's tooth errors then cancel,
        unless they have grown.
    flank_standard_deg : float
        Standard uncertainty of the crank flank that both count from.
    """
    correction, delay = _delay(found, subject_rpm - known_good_rpm, spreads)
    consistency = _consistency(found, spreads, same_vehicle=same_vehicle)
    # Where one edge is off, the others tell how far the cam itself has moved.
    centre = np.median if consistency < ODD_EDGES else np.mean
    mine_deg, theirs_deg = _teeth_deg(found, same_vehicle=same_vehicle)
    return PairShift(
        role=found.known_good.role,
        match=found,
        shift_deg=float(centre(found.difference_deg)) - correction,
        subject=_side(
            found.subject,
            "subject",
            teeth_deg=mine_deg,
            more=(Contribution(f"{FLANK}, subject", flank_standard_deg, "B", None),),
        ),
        known_good=_side(found.known_good, "known-good", teeth_deg=theirs_deg),
        delay_deg=delay,
        consistency=consistency,
    )


def _teeth_deg(found: CamMatch, *, same_vehicle: bool) -> tuple[float, float]:
    """Standard uncertainty of each side's place from the spacing of its crank teeth.

    What both wheels have in common cancels: all of it within one vehicle, and between vehicles
    what too few teeth don't tell from speed.
    """
    own, shared = (
        np.array(
            [
                _mean_square(cam, lambda line, source=source: line.source == source)  # type: ignore[misc]
                / len(cam.edges)
                for cam in (found.subject, found.known_good)
            ]
        )
        for source in (TOOTH_SPACING, SPACING_OR_SPEED)
    )
    if same_vehicle:
        own, shared = np.zeros(2), own + shared
    grown = np.where(shared > _ROUGHER * shared[::-1], shared, 0.0)
    mine, theirs = np.sqrt(own + grown)
    return float(mine), float(theirs)


def _side(
    cam: CamMeasurement, side: str, *, teeth_deg: float, more: tuple[Contribution, ...] = ()
) -> SideUncertainty:
    lines = [*_side_budget(cam, side, teeth_deg=teeth_deg), *more]
    budget = tuple(line for line in lines if line.standard_deg > 0)
    standard, dof, _, _ = combine(budget)
    return SideUncertainty(budget, standard, dof)


def _delay(found: CamMatch, speed_difference_rpm: float, spreads: Spreads) -> tuple[float, float]:
    """Correction for the delay between cam and crank sensor, and what stays uncertain, degrees.

    A delay turns into an angle with speed. Where one of the recordings held two speeds it is known
    and taken off; else it is carried in the uncertainty.
    """
    for side in (found.subject, found.known_good):
        if side.delay_s is not None and side.delay_uncertainty_s is not None:
            known_s = side.delay_uncertainty_s / 2.0
            if known_s < spreads.delay_s:
                return (
                    delay_s_to_deg(side.delay_s, speed_rpm=speed_difference_rpm),
                    abs(delay_s_to_deg(known_s, speed_rpm=speed_difference_rpm)),
                )
    return 0.0, abs(delay_s_to_deg(spreads.delay_s, speed_rpm=speed_difference_rpm))


def _side_budget(cam: CamMeasurement, side: str, *, teeth_deg: float) -> list[Contribution]:
    """Budget of the mean over a cam's edges.

    Scatter common to all edges does not average out over them; their own scatter, and the tooth
    errors at their different places, do. What follows from the curve or the ripple is taken as
    common.
    """
    count = len(cam.edges)
    cycles = max(min(edge.count for edge in cam.edges), 2)
    common = cam.common_scatter_deg**2 / cycles
    scatter = _mean_square(cam, lambda line: line.source == SCATTER)
    own = max(scatter - common, 0.0) / count
    told = {SCATTER, TOOTH_SPACING, SPACING_OR_SPEED}
    rest = _mean_square(cam, lambda line: line.source not in told)
    return [
        Contribution(
            f"scatter of the cam, {side}", float(np.sqrt(common + own)), "A", cycles - 1.0
        ),
        Contribution(f"{CURVE}, {side}", float(np.sqrt(rest)), "B", None),
        Contribution(f"crank tooth spacing, {side}", teeth_deg, "B", None),
    ]


def _mean_square(cam: CamMeasurement, wanted: Callable[[Contribution], bool]) -> float:
    return float(
        np.mean(
            [
                sum(line.standard_deg**2 for line in edge.budget if wanted(line))
                for edge in cam.edges
            ]
        )
    )


def _consistency(found: CamMatch, spreads: Spreads, *, same_vehicle: bool) -> float:
    """Chi-square test of the edges against their common shift."""
    count = len(found.difference_deg)
    if count < 2:
        return 1.0
    variance = np.zeros(count)
    for side, chosen in (
        (found.subject, found.subject_edges),
        (found.known_good, found.known_good_edges),
    ):
        common = side.common_scatter_deg**2 / max(min(edge.count for edge in side.edges), 2)
        for position, index in enumerate(chosen):
            variance[position] += max(_variance(side.edges[index]) - common, 1e-6)
    if not same_vehicle:
        variance += spreads.edge_deg**2
    residual = found.difference_deg - np.average(found.difference_deg, weights=1 / variance)
    return float(chdtrc(count - 1.0, float((residual**2 / variance).sum())))


def _variance(edge: CamEdge) -> float:
    return (edge.uncertainty_deg / edge.coverage_factor) ** 2


def scatter_of(cam: CamMeasurement) -> float:
    """Root mean square of the scatter of a cam's edges, degrees."""
    return float(np.sqrt(np.mean([edge.scatter_deg**2 for edge in cam.edges])))
