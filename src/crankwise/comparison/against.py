"""The subject against all its known-goods: one shift for each cam, one change for each pair."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from crankwise.angle.student import combine
from crankwise.comparison.covariance import covariances
from crankwise.comparison.healthy import Reference, reference
from crankwise.comparison.match import CamMatch, Limits, Match, match
from crankwise.comparison.rows import cam_shift, known_goods_budget
from crankwise.comparison.separation import apart_deg, pairs_of, separation_budget
from crankwise.comparison.shift import PairShift, Spreads, pair_shift, scatter_of
from crankwise.comparison.words import both_cams, motion, separation_in_words
from crankwise.errors import NotMeasurableError
from crankwise.model.comparison import CamShift, SeparationChange
from crankwise.model.measurement import Contribution, Measurement
from crankwise.model.policy import Policy
from crankwise.model.recording import FloatArray
from crankwise.roles.naming import cam_name


@dataclass(frozen=True, slots=True, eq=False)
class Against:
    """What the subject and its known-goods say, before any judgement.

    Attributes
    ----------
    roles : tuple of str
    pivot : Measurement
        The known-good that all others are laid over.
    match : Match
        Subject over the pivot.
    pairs : Mapping of role to PairShift
    references : Mapping of role to Reference
    cams : tuple of CamShift
    separations : tuple of SeparationChange
    measurement_cov, build_cov : np.ndarray [shape=(n, n)]
        Covariance of the shifts from measuring, and of a healthy engine; square degrees.
    left_out : tuple of (name, reason)
        Known-goods that did not fit or stood out.
    alone : tuple of str
        Cams of the subject that no known-good has.
    """

    roles: tuple[str, ...]
    pivot: Measurement
    match: Match
    pairs: Mapping[str, PairShift]
    references: Mapping[str, Reference]
    cams: tuple[CamShift, ...]
    separations: tuple[SeparationChange, ...]
    measurement_cov: FloatArray
    build_cov: FloatArray
    left_out: tuple[tuple[str, str], ...]
    alone: tuple[str, ...]


_Row = tuple[str, float, float]
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True, eq=False)
class _Shelf:
    """Known-goods that fit, with their shifts against the pivot.

    ``values`` holds for each role and each known-good (by its place) name, shift and standard
    uncertainty; ``scatter_squares`` the squared scatter.
    """

    pivot: Measurement
    values: Mapping[str, Mapping[int, _Row]]
    scatter_squares: Mapping[str, Mapping[int, float]]

    def scatter_deg(self, role: str) -> float:
        """Scatter of a cam over all known-goods, root mean square."""
        return float(np.sqrt(np.mean(list(self.scatter_squares[role].values()))))

    def without(self, names: set[str]) -> _Shelf:
        """The shelf without the known-goods of these names."""
        places = {
            place
            for row in self.values.values()
            for place, (name, _, _) in row.items()
            if name in names
        }
        return replace(
            self,
            values=_pruned(self.values, places),
            scatter_squares=_pruned(self.scatter_squares, places),
        )


def _pruned(table: Mapping[str, Mapping[int, _T]], places: set[int]) -> dict[str, dict[int, _T]]:
    return {
        role: {place: value for place, value in row.items() if place not in places}
        for role, row in table.items()
    }


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
    limits = _limits(policy)
    rules = _Rules(policy, same_vehicle)
    fitting, left_out = _fitting(subject, known_goods, limits)
    pivot, found = max(fitting, key=lambda item: len(item[1].cams))
    pairs = rules.pairs(found, subject, pivot)
    shelf, refused = _shelf(pivot, [item for item, _ in fitting], pairs, limits, rules)
    references, between = _references(pairs, shelf, rules)
    stand_out = _stand_out(references, between)
    if stand_out:
        # One bad known-good leaves all quantities, so that they go on belonging together.
        shelf = shelf.without(set(stand_out))
        references, between = _references(pairs, shelf, rules)
    cams = tuple(
        cam_shift(
            role,
            pairs[role],
            references[role],
            known_good_scatter_deg=shelf.scatter_deg(role),
            crank=subject.crank,
            found=found,
        )
        for role in sorted(pairs)
    )
    measured, build = covariances(cams, pairs, references, between)
    matched = {cam.subject.channel for cam in found.cams}
    return Against(
        roles=tuple(cam.role for cam in cams),
        pivot=pivot,
        match=found,
        pairs=pairs,
        references=references,
        cams=cams,
        separations=tuple(
            _separation_change(pair, pairs[pair[0]], pairs[pair[1]], ref)
            for pair, ref in between.items()
        ),
        measurement_cov=measured,
        build_cov=build,
        left_out=(*left_out, *refused, *stand_out.items()),
        alone=tuple(cam.role for cam in subject.cams if cam.channel not in matched),
    )


def shifts_against(
    subject: Measurement, known_good: Measurement, *, policy: Policy, same_vehicle: bool
) -> dict[str, PairShift]:
    """Shift of each cam against one known-good by its role, without what a healthy engine's may be.

    Raises
    ------
    NotMeasurableError
        It does not fit the subject.
    """
    found = match(subject, known_good, _limits(policy))
    return _Rules(policy, same_vehicle).pairs(found, subject, known_good)


def _limits(policy: Policy) -> Limits:
    return Limits(
        edge_residual_deg=policy.refusal.edge_residual_deg,
        largest_shift_deg=policy.refusal.largest_shift_deg,
        edge_scale_deg=policy.spread.edge_deg,
    )


@dataclass(frozen=True, slots=True)
class _Rules:
    """The policy as it applies to this comparison."""

    policy: Policy
    same_vehicle: bool

    def pairs(
        self, found: Match, subject: Measurement, known_good: Measurement
    ) -> dict[str, PairShift]:
        return {
            _role(cam.known_good.role, cam.subject.role): self.pair(cam, found, subject, known_good)
            for cam in found.cams
        }

    def pair(
        self, cam: CamMatch, found: Match, subject: Measurement, known_good: Measurement
    ) -> PairShift:
        spread = self.policy.spread
        return pair_shift(
            cam,
            subject_rpm=subject.crank.speed_rpm.mean,
            known_good_rpm=known_good.crank.speed_rpm.mean,
            spreads=Spreads(edge_deg=spread.edge_deg, delay_s=spread.delay_s),
            same_vehicle=self.same_vehicle,
            flank_standard_deg=found.edge_standard_deg,
        )

    def reference(
        self,
        rows: Sequence[_Row],
        *,
        quantity: str,
        between_vehicles_deg: float,
        visit_deg: float,
        own_deg: float,
    ) -> Reference:
        spread = self.policy.spread
        if self.same_vehicle:
            difference, dof = visit_deg, spread.visit_dof
            source = f"standard deviation {difference:.2g}° from visit to visit, assumed"
        else:
            difference, dof = between_vehicles_deg, spread.build_dof
            source = f"standard deviation {difference:g}° for the {quantity}, assumed"
        return reference(
            rows,
            quantity=quantity,
            difference_deg=difference,
            dof=dof,
            source=source,
            subject_standard_deg=own_deg,
            coverage=self.policy.limits.coverage,
            same_vehicle=self.same_vehicle,
        )


def _role(known_good: str, subject: str) -> str:
    """The known-good's role, unless only the subject's says what the cam is."""
    return subject if known_good.startswith("cam") and not subject.startswith("cam") else known_good


def _fitting(
    subject: Measurement, known_goods: Sequence[Measurement], limits: Limits
) -> tuple[list[tuple[Measurement, Match]], list[tuple[str, str]]]:
    fitting: list[tuple[Measurement, Match]] = []
    errors: list[NotMeasurableError] = []
    left_out: list[tuple[str, str]] = []
    for known_good in known_goods:
        try:
            fitting.append((known_good, match(subject, known_good, limits)))
        except NotMeasurableError as error:
            errors.append(error)
            left_out.append((known_good.recording.name, str(error)))
    if not fitting:
        raise errors[0]
    return fitting, left_out


def _shelf(
    pivot: Measurement,
    fitting: Sequence[Measurement],
    pairs: Mapping[str, PairShift],
    limits: Limits,
    rules: _Rules,
) -> tuple[_Shelf, list[tuple[str, str]]]:
    by_channel = {pair.match.known_good.channel: role for role, pair in pairs.items()}
    values: dict[str, dict[int, _Row]] = {role: {} for role in pairs}
    squares: dict[str, dict[int, float]] = {role: {} for role in pairs}
    refused: list[tuple[str, str]] = []
    for place, other in enumerate(fitting):
        name = other.recording.name
        if other is pivot:
            for role, pair in pairs.items():
                values[role][place] = (name, 0.0, pair.known_good.standard_deg)
                squares[role][place] = scatter_of(pair.match.known_good) ** 2
            continue
        try:
            found = match(other, pivot, limits)
        except NotMeasurableError as error:
            refused.append((name, str(error)))
            continue
        for cam in found.cams:
            role_of = by_channel.get(cam.known_good.channel)
            if role_of is None:
                continue
            pair = rules.pair(cam, found, other, pivot)
            own = float(np.hypot(pair.subject.standard_deg, pair.delay_deg))
            values[role_of][place] = (name, pair.shift_deg, own)
            squares[role_of][place] = scatter_of(cam.subject) ** 2
    return _Shelf(pivot, values, squares), refused


_Between = dict[tuple[str, str], Reference]


def _references(
    pairs: Mapping[str, PairShift], shelf: _Shelf, rules: _Rules
) -> tuple[dict[str, Reference], _Between]:
    spread = rules.policy.spread
    references = {
        role: rules.reference(
            list(shelf.values[role].values()),
            quantity=cam_name(role),
            between_vehicles_deg=spread.cam_deg,
            visit_deg=spread.visit_deg,
            own_deg=float(np.hypot(pair.subject.standard_deg, pair.delay_deg)),
        )
        for role, pair in pairs.items()
    }
    between: _Between = {}
    for one, other in pairs_of(sorted(pairs)):
        first, second = shelf.values[one], shelf.values[other]
        rows = [
            (first[place][0], second[place][1] - first[place][1], _both(first, second, place))
            for place in first
            if place in second
        ]
        if rows:
            own = combine(_own_budget(pairs[one], pairs[other]))[0]
            between[one, other] = rules.reference(
                rows,
                quantity=f"angle between {both_cams(one, other)}",
                between_vehicles_deg=spread.separation_deg,
                # from visit to visit two cams vary each for itself
                visit_deg=spread.visit_deg * math.sqrt(2.0),
                own_deg=own,
            )
    return references, between


def _both(first: Mapping[int, _Row], second: Mapping[int, _Row], place: int) -> float:
    return float(np.hypot(first[place][2], second[place][2]))


def _own_budget(first: PairShift, second: PairShift) -> tuple[Contribution, ...]:
    """Budget of a separation's change, without the known-good's part."""
    return tuple(
        line for line in separation_budget(first, second) if not line.source.endswith("known-good")
    )


def _stand_out(references: Mapping[str, Reference], between: _Between) -> dict[str, str]:
    """Known-goods that stand out, each with the quantity in which it does first."""
    found: dict[str, str] = {}
    for ref in (*references.values(), *between.values()):
        for name in ref.set_aside:
            found.setdefault(name, f"it stands out from the others in the {ref.quantity}")
    return found


def _separation_change(
    between: tuple[str, str], first: PairShift, second: PairShift, ref: Reference
) -> SeparationChange:
    both = separation_budget(first, second)
    only = tuple(line for line in both if line.source.endswith("known-good"))
    budget = (*_own_budget(first, second), *known_goods_budget(ref, only))
    standard, dof, _, expanded = combine(budget)
    change = second.shift_deg - first.shift_deg - ref.centre_deg
    moves = motion(
        change, expanded, apart_deg=apart_deg(first.match.known_good, second.match.known_good)
    )
    return SeparationChange(
        between=between,
        change_deg=change,
        uncertainty_deg=expanded,
        standard_deg=standard,
        dof=dof,
        motion=moves,
        healthy=ref.healthy,
        words=separation_in_words(
            *between, motion=moves, change_deg=change, uncertainty_deg=expanded
        ),
    )
