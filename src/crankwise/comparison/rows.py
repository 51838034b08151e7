"""One cam's shift as it is told: edge by edge, in degrees, in teeth and in words."""

from __future__ import annotations

import numpy as np

from crankwise.angle.position import from_gap_deg, teeth_in_words
from crankwise.angle.student import combine
from crankwise.comparison.healthy import Reference
from crankwise.comparison.match import Match
from crankwise.comparison.shift import ODD_EDGES, PairShift, scatter_of
from crankwise.comparison.words import direction, shift_in_words
from crankwise.model.comparison import CamShift, EdgeShift
from crankwise.model.measurement import Contribution, CrankMeasurement
from crankwise.units import wrap_cycle_deg


def cam_shift(
    role: str,
    pair: PairShift,
    ref: Reference,
    *,
    known_good_scatter_deg: float,
    crank: CrankMeasurement,
    found: Match,
) -> CamShift:
    """Shift of one cam against the mean of its known-goods, edge by edge and in words.

    Parameters
    ----------
    role : str
    pair : PairShift
        Against the pivot.
    ref : Reference
        Mean and healthy limits.
    known_good_scatter_deg : float
        Cycle-to-cycle scatter of the known-goods.
    crank : CrankMeasurement
        The subject's.
    found : Match
    """
    shift = pair.shift_deg - ref.centre_deg
    budget = (
        *pair.subject.budget,
        *known_goods_budget(ref, pair.known_good.budget),
        Contribution("sensor delays at unlike speeds", pair.delay_deg, "B", None),
    )
    budget = tuple(line for line in budget if line.standard_deg > 0)
    standard, dof, factor, expanded = combine(budget)
    edges = _edge_shifts(
        pair, crank, found, shift_deg=shift, centre_deg=ref.centre_deg, factor=factor
    )
    nearest = min(edges, key=lambda edge: from_gap_deg(edge.known_good_deg))
    return CamShift(
        role=role,
        subject_channel=pair.match.subject.channel,
        known_good_channel=pair.match.known_good.channel,
        shift_deg=shift,
        uncertainty_deg=expanded,
        standard_deg=standard,
        dof=dof,
        shift_teeth=shift / crank.pitch_deg,
        direction=direction(shift, expanded),
        healthy=ref.healthy,
        scatter_ratio=(
            scatter_of(pair.match.subject) / known_good_scatter_deg
            if known_good_scatter_deg > 0
            else None
        ),
        consistency=pair.consistency,
        inverted=pair.match.inverted,
        words=shift_in_words(
            role,
            shift_deg=shift,
            uncertainty_deg=expanded,
            subject=nearest.subject_teeth,
            known_good=nearest.known_good_teeth,
        ),
        edges=edges,
        budget=budget,
    )


def known_goods_budget(ref: Reference, only: tuple[Contribution, ...]) -> tuple[Contribution, ...]:
    """What the known-goods add: the lines of the only one, or the mean of several as one line."""
    if ref.healthy.known_goods == 1:
        return only
    return (Contribution("known-goods as measured", ref.centre_standard_deg, "B", None),)


def _edge_shifts(
    pair: PairShift,
    crank: CrankMeasurement,
    found: Match,
    *,
    shift_deg: float,
    centre_deg: float,
    factor: float,
) -> tuple[EdgeShift, ...]:
    """Every edge; the known-good's place is that of the mean of all known-goods."""
    rows: list[EdgeShift] = []
    centre = np.median if pair.consistency < ODD_EDGES else np.mean
    wrapped = pair.shift_deg - float(centre(pair.match.difference_deg))
    for position, (mine, theirs) in enumerate(
        zip(pair.match.subject_edges, pair.match.known_good_edges, strict=True)
    ):
        subject = pair.match.subject.edges[mine]
        known = pair.match.known_good.edges[theirs]
        own = float(pair.match.difference_deg[position]) + wrapped - centre_deg
        standard = np.hypot(
            subject.uncertainty_deg / subject.coverage_factor,
            known.uncertainty_deg / known.coverage_factor,
        )
        place = float(wrap_cycle_deg(subject.angle_deg + found.turn_deg + found.edge_deg))
        good = float(wrap_cycle_deg(known.angle_deg + centre_deg))
        rows.append(
            EdgeShift(
                edge=known.edge,
                subject_deg=place,
                known_good_deg=good,
                shift_deg=own,
                residual_deg=own - shift_deg,
                uncertainty_deg=float(factor * standard),
                subject_teeth=_teeth(place, crank),
                known_good_teeth=_teeth(good, crank),
            )
        )
    return tuple(rows)


def _teeth(angle_deg: float, crank: CrankMeasurement) -> str:
    return teeth_in_words(
        angle_deg,
        pitch_deg=crank.pitch_deg,
        gap_deg=crank.intervals_deg[-1],
        has_gap=crank.has_gap,
    )
