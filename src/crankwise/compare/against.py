"""The subject against all its known-goods: one shift for each cam, one change for each pair."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from crankwise.angle.position import teeth_in_words
from crankwise.angle.student import combine
from crankwise.compare.healthy import Reference, reference
from crankwise.compare.match import Limits, Match, match
from crankwise.compare.separation import apart_deg, pairs_of, separation_budget
from crankwise.compare.shift import COMMON, PairShift, Spreads, pair_shift, scatter_of
from crankwise.compare.words import direction, motion, shift_in_words
from crankwise.errors import NotMeasurableError
from crankwise.model.comparison import CamShift, EdgeShift, SeparationChange
from crankwise.model.measurement import Contribution, CrankMeasurement, Measurement
from crankwise.model.policy import Policy
from crankwise.model.recording import FloatArray
from crankwise.units import wrap_cycle_deg


@dataclass(frozen=True, slots=True, eq=False)
class Against:
    """What the subject and its known-goods say, before any judgement.

    Attributes
    ----------
    roles : tuple of str
    match : Match
        Subject over the first known-good.
    pairs : Mapping of role to PairShift
    references : Mapping of role to Reference
    cams : tuple of CamShift
    separations : tuple of SeparationChange
    measurement_cov, build_cov : np.ndarray [shape=(n, n)]
        Covariance of the shifts from measuring, and of a healthy engine; square degrees.
    misfits : tuple of str
        Known-goods that did not fit, with the reason.
    set_aside : tuple of str
    """

    roles: tuple[str, ...]
    match: Match
    pairs: Mapping[str, PairShift]
    references: Mapping[str, Reference]
    cams: tuple[CamShift, ...]
    separations: tuple[SeparationChange, ...]
    measurement_cov: FloatArray
    build_cov: FloatArray
    misfits: tuple[str, ...]
    set_aside: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Shelf:
    """Known-goods that fit, each with its shifts against the first one."""

    first: Measurement
    values: Mapping[str, list[tuple[str, float, float]]]
    scatter: Mapping[str, float]
    misfits: tuple[str, ...]


def against(
    subject: Measurement,
    known_goods: Sequence[Measurement],
    *,
    policy: Policy,
    same_vehicle: bool,
) -> Against:
    """Compare the subject with its known-goods.

    Raises
    ------
    NotMeasurableError
        No known-good fits the subject; the first one's reason is told.
    """
    limits = Limits(
        edge_residual_deg=policy.refusal.edge_residual_deg,
        largest_shift_deg=policy.refusal.largest_shift_deg,
        edge_scale_deg=policy.spread.edge_deg,
    )
    spreads = Spreads(edge_deg=policy.spread.edge_deg, delay_s=policy.spread.delay_s)
    fitting, misfits = _fitting(subject, known_goods, limits)
    first = fitting[0]
    found = match(subject, first, limits)
    pairs = {
        _role(cam.known_good.role, cam.subject.role): pair_shift(
            cam,
            subject_rpm=subject.crank.speed_rpm.mean,
            known_good_rpm=first.crank.speed_rpm.mean,
            spreads=spreads,
            same_vehicle=same_vehicle,
            flank_standard_deg=found.edge_standard_deg,
        )
        for cam in found.cams
    }
    shelf = _shelf(first, fitting[1:], pairs, limits, spreads, same_vehicle, misfits)
    references = {
        role: _cam_reference(role, shelf, pairs[role], policy, same_vehicle) for role in pairs
    }
    cams = tuple(
        _cam_shift(role, pairs[role], references[role], shelf, subject.crank, found)
        for role in sorted(pairs)
    )
    separations, between = _separations(pairs, shelf, policy, same_vehicle)
    measured, build = _covariances(cams, pairs, references, between)
    return Against(
        roles=tuple(cam.role for cam in cams),
        match=found,
        pairs=pairs,
        references=references,
        cams=cams,
        separations=separations,
        measurement_cov=measured,
        build_cov=build,
        misfits=shelf.misfits,
        set_aside=tuple(sorted({name for ref in references.values() for name in ref.set_aside})),
    )


def _role(known_good: str, subject: str) -> str:
    """The known-good's role, unless only the subject's says what the cam is."""
    return subject if known_good.startswith("cam") and not subject.startswith("cam") else known_good


def _fitting(
    subject: Measurement, known_goods: Sequence[Measurement], limits: Limits
) -> tuple[list[Measurement], tuple[str, ...]]:
    fitting: list[Measurement] = []
    reasons: list[NotMeasurableError] = []
    for known_good in known_goods:
        try:
            match(subject, known_good, limits)
        except NotMeasurableError as error:
            reasons.append(error)
        else:
            fitting.append(known_good)
    if not fitting:
        raise reasons[0]
    return fitting, tuple(str(reason) for reason in reasons)


def _shelf(
    first: Measurement,
    others: Sequence[Measurement],
    pairs: Mapping[str, PairShift],
    limits: Limits,
    spreads: Spreads,
    same_vehicle: bool,  # noqa: FBT001  (private)
    misfits: tuple[str, ...],
) -> _Shelf:
    by_channel = {pair.match.known_good.channel: role for role, pair in pairs.items()}
    values = {
        role: [(first.recording.name, 0.0, pair.known_good.standard_deg)]
        for role, pair in pairs.items()
    }
    squares = {role: [scatter_of(pair.match.known_good) ** 2] for role, pair in pairs.items()}
    refused = list(misfits)
    for other in others:
        try:
            found = match(other, first, limits)
        except NotMeasurableError as error:
            refused.append(str(error))
            continue
        for cam in found.cams:
            role = by_channel.get(cam.known_good.channel)
            if role is None:
                continue
            pair = pair_shift(
                cam,
                subject_rpm=other.crank.speed_rpm.mean,
                known_good_rpm=first.crank.speed_rpm.mean,
                spreads=spreads,
                same_vehicle=same_vehicle,
                flank_standard_deg=found.edge_standard_deg,
            )
            own = float(np.hypot(pair.subject.standard_deg, pair.delay_deg))
            values[role].append((other.recording.name, pair.shift_deg, own))
            squares[role].append(scatter_of(cam.subject) ** 2)
    scatter = {role: float(np.sqrt(np.mean(items))) for role, items in squares.items()}
    return _Shelf(first, values, scatter, tuple(refused))


def _cam_reference(
    role: str,
    shelf: _Shelf,
    pair: PairShift,
    policy: Policy,
    same_vehicle: bool,  # noqa: FBT001  (private)
) -> Reference:
    spread = policy.spread
    return reference(
        shelf.values[role],
        quantity=f"{role} cam",
        difference_deg=spread.visit_deg if same_vehicle else spread.cam_deg,
        dof=spread.visit_dof if same_vehicle else spread.build_dof,
        source=_spread_source(policy, same_vehicle),
        subject_standard_deg=float(np.hypot(pair.subject.standard_deg, pair.delay_deg)),
        coverage=policy.limits.coverage,
        same_vehicle=same_vehicle,
    )


def _spread_source(policy: Policy, same_vehicle: bool) -> str:  # noqa: FBT001  (private)
    if same_vehicle:
        return f"±{policy.spread.visit_deg:g}° from visit to visit, assumed"
    return f"standard deviation {policy.spread.cam_deg:g}° for a cam, assumed"


def _cam_shift(
    role: str,
    pair: PairShift,
    ref: Reference,
    shelf: _Shelf,
    crank: CrankMeasurement,
    found: Match,
) -> CamShift:
    shift = pair.shift_deg - ref.centre_deg
    budget = (
        *pair.subject.budget,
        Contribution("known-goods as measured", ref.centre_standard_deg, "B", None),
        Contribution("sensor delays at unlike speeds", pair.delay_deg, "B", None),
    )
    budget = tuple(line for line in budget if line.standard_deg > 0)
    standard, dof, factor, expanded = combine(budget)
    edges = _edge_shifts(pair, shift, ref.centre_deg, crank, found, factor)
    nearest = min(edges, key=lambda edge: _from_gap(edge.known_good_deg))
    theirs = shelf.scatter[role]
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
        scatter_ratio=scatter_of(pair.match.subject) / theirs if theirs > 0 else None,
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


def _from_gap(angle_deg: float) -> float:
    turn = angle_deg % 360.0
    return min(turn, 360.0 - turn)


def _edge_shifts(
    pair: PairShift,
    shift_deg: float,
    centre_deg: float,
    crank: CrankMeasurement,
    found: Match,
    factor: float,
) -> tuple[EdgeShift, ...]:
    """Every edge; the known-good's place is that of the mean of all known-goods."""
    rows: list[EdgeShift] = []
    wrapped = pair.shift_deg - float(np.mean(pair.match.difference_deg))
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


def _separations(
    pairs: Mapping[str, PairShift],
    shelf: _Shelf,
    policy: Policy,
    same_vehicle: bool,  # noqa: FBT001  (private)
) -> tuple[tuple[SeparationChange, ...], dict[tuple[str, str], Reference]]:
    changes: list[SeparationChange] = []
    references: dict[tuple[str, str], Reference] = {}
    for one, other in pairs_of(sorted(pairs)):
        first, second = pairs[one], pairs[other]
        budget = separation_budget(first, second)
        own = tuple(line for line in budget if not line.source.endswith("known-good"))
        subject_standard = combine(own)[0] if own else 0.0
        rows = [
            (a[0], b[1] - a[1], float(np.hypot(a[2], b[2])))
            for a, b in zip(shelf.values[one], shelf.values[other], strict=False)
        ]
        spread = policy.spread
        ref = reference(
            rows,
            quantity=f"{one} to {other}",
            difference_deg=spread.visit_deg if same_vehicle else spread.separation_deg,
            dof=spread.visit_dof if same_vehicle else spread.build_dof,
            source=(
                _spread_source(policy, same_vehicle)
                if same_vehicle
                else f"standard deviation {spread.separation_deg:g}° for two cams, assumed"
            ),
            subject_standard_deg=subject_standard,
            coverage=policy.limits.coverage,
            same_vehicle=same_vehicle,
        )
        references[one, other] = ref
        changes.append(_separation_change(one, other, first, second, ref, own))
    return tuple(changes), references


def _separation_change(
    one: str,
    other: str,
    first: PairShift,
    second: PairShift,
    ref: Reference,
    own: tuple[Contribution, ...],
) -> SeparationChange:
    known = Contribution("known-goods as measured", ref.centre_standard_deg, "B", None)
    standard, dof, _, expanded = combine((*own, known))
    change = second.shift_deg - first.shift_deg - ref.centre_deg
    moves = motion(
        change, expanded, apart_deg=apart_deg(first.match.known_good, second.match.known_good)
    )
    verb = {"closing": "close", "opening": "open", "unchanged": "keep their distance"}[moves]
    amount = "" if moves == "unchanged" else f" by {abs(change):.1f}°"
    return SeparationChange(
        between=(one, other),
        change_deg=change,
        uncertainty_deg=expanded,
        standard_deg=standard,
        dof=dof,
        motion=moves,
        healthy=ref.healthy,
        words=f"{one} and {other} cam {verb}{amount} (± {expanded:.1f}°)",
    )


def _covariances(
    cams: Sequence[CamShift],
    pairs: Mapping[str, PairShift],
    references: Mapping[str, Reference],
    between: Mapping[tuple[str, str], Reference],
) -> tuple[FloatArray, FloatArray]:
    """Covariance of the shifts: from measuring, and from what healthy engines differ by.

    Measuring shares the crank side of the subject. Healthy engines share what the variance of the
    separation leaves of that of the cams.
    """
    roles = [cam.role for cam in cams]
    measured = np.diag([cam.standard_deg**2 for cam in cams])
    build = np.diag([references[role].spread_deg ** 2 for role in roles])
    for i, one in enumerate(roles):
        for j in range(i + 1, len(roles)):
            other = roles[j]
            shared = min(_curve_variance(pairs[one]), _curve_variance(pairs[other]))
            measured[i, j] = measured[j, i] = shared
            ref = between.get((one, other)) or between.get((other, one))
            if ref is not None:
                common = 0.5 * (build[i, i] + build[j, j] - ref.spread_deg**2)
                largest = 0.999 * np.sqrt(build[i, i] * build[j, j])
                build[i, j] = build[j, i] = float(np.clip(common, 0.0, largest))
    return measured, build


def _curve_variance(pair: PairShift) -> float:
    return sum(
        line.standard_deg**2 for line in pair.subject.budget if line.source.startswith(COMMON)
    )
