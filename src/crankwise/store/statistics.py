"""What the known-goods of a family say together, with the one that stands out.

Edges are summed by the database. So are cams and separations of a family of more than a thousand;
of a smaller one each cam's shifts are read, as then every value counts on its own.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from crankwise.comparison.moments import learn_from_moments, stand_out_from_moments
from crankwise.comparison.population import (
    KnownGoodValue,
    basis_in_words,
    build_population,
)
from crankwise.comparison.robust import StandOut
from crankwise.comparison.separation import pairs_of
from crankwise.comparison.spread import SpreadPosterior, SpreadPrior
from crankwise.judge.policy import load_policy
from crankwise.model.policy import Policy
from crankwise.model.recording import FloatArray
from crankwise.model.shelf import EdgeSpread, FamilyStatistics, Outlier, Spread
from crankwise.store import sums
from crankwise.store.tables import (
    FamilyRow,
    KnownGoodCamRow,
    KnownGoodRow,
    PatternCamRow,
    PatternRow,
)
from crankwise.units import wrap_cycle_deg

MOST_READ: Final = 1000
"""Known-goods up to which shifts are read one by one; beyond, moments differ by some 0.001°."""

_ONE: Final = np.ones(1)
_CONFIDENCE: Final = 0.95


@dataclass(frozen=True, slots=True)
class _Pattern:
    """One pattern of the family: its cams' numbers by role, and how many known-goods it has."""

    cams: dict[str, int]
    count: int

    @property
    def is_large(self) -> bool:
        """Whether the database sums up the shifts."""
        return self.count > MOST_READ


def family_statistics(
    session: Session, family: FamilyRow, *, policy: Policy | None
) -> tuple[FamilyStatistics, ...]:
    """Statistics of each pattern within the family, the one of most known-goods first."""
    rules = policy or load_policy(None)
    found: list[FamilyStatistics] = []
    for row in session.scalars(select(PatternRow).where(PatternRow.family_id == family.id)).all():
        cams = session.scalars(
            select(PatternCamRow)
            .where(PatternCamRow.pattern_id == row.id)
            .order_by(PatternCamRow.id)
        ).all()
        count = sums.count_of(session, cams[0].id)
        if count:
            pattern = _Pattern({cam.role: cam.id for cam in cams}, count)
            learned = (_from_sums if pattern.is_large else _from_values)(session, pattern, rules)
            found.append(
                FamilyStatistics(
                    family=family.name,
                    wheel=row.wheel,
                    known_goods=count,
                    ids=learned.ids,
                    cams=learned.spreads[: len(cams)],
                    separations=learned.spreads[len(cams) :],
                    edges=tuple(_edges(session, cams)),
                    outliers=learned.outliers,
                )
            )
    return tuple(sorted(found, key=lambda item: -item.known_goods))


@dataclass(frozen=True, slots=True)
class _Learned:
    """Every cam by its role, then every separation; what stands out; ids where values were read."""

    spreads: tuple[Spread, ...]
    outliers: tuple[Outlier, ...]
    ids: tuple[str, ...] = ()

    @classmethod
    def of(cls, made: list[tuple[Spread, Outlier | None]], ids: tuple[str, ...] = ()) -> _Learned:
        """Sort what was made of each quantity."""
        outliers = tuple(outlier for _, outlier in made if outlier is not None)
        return cls(tuple(spread for spread, _ in made), outliers, ids)


def _from_values(session: Session, pattern: _Pattern, policy: Policy) -> _Learned:
    """Learn from the shifts themselves."""
    row = KnownGoodCamRow
    asked = (
        select(row.cam_id, row.known_good_id, row.shift_deg, row.standard_deg)
        .join(KnownGoodRow, KnownGoodRow.id == row.known_good_id)
        .where(row.cam_id.in_(pattern.cams.values()))
        .order_by(KnownGoodRow.added_at, KnownGoodRow.id, row.cam_id)
    )
    found = session.execute(asked).all()
    ids = list(dict.fromkeys(one.known_good_id for one in found))
    of_cam = {
        role: (
            np.array([one.shift_deg for one in found if one.cam_id == cam_id]),
            np.array([one.standard_deg for one in found if one.cam_id == cam_id]),
        )
        for role, cam_id in pattern.cams.items()
    }
    made = [
        _spread(ids, _cam_words(role), *of_cam[role], prior=_cam_prior(policy), policy=policy)
        for role in sorted(of_cam)
    ]
    for one, other in pairs_of(sorted(of_cam)):
        change = of_cam[other][0] - of_cam[one][0]
        standard = np.hypot(of_cam[one][1], of_cam[other][1])
        prior, words = _separation_prior(policy), _separation_words(one, other)
        made.append(_spread(ids, words, change, standard, prior=prior, policy=policy))
    return _Learned.of(made, tuple(ids))


def _from_sums(session: Session, pattern: _Pattern, policy: Policy) -> _Learned:
    """Learn from what the database adds up."""
    made = [
        _summed(
            session,
            _cam_words(role),
            sums.shift_of(pattern.cams[role]),
            policy=policy,
            prior=_cam_prior(policy),
        )
        for role in sorted(pattern.cams)
    ]
    for one, other in pairs_of(sorted(pattern.cams)):
        quantity = sums.separation_of(pattern.cams[one], pattern.cams[other])
        prior, words = _separation_prior(policy), _separation_words(one, other)
        made.append(_summed(session, words, quantity, prior=prior, policy=policy))
    return _Learned.of(made)


def _cam_words(role: str) -> str:
    return f"{role} cam"


def _separation_words(one: str, other: str) -> str:
    return f"{one} to {other}"


def _cam_prior(policy: Policy) -> SpreadPrior:
    return _prior(policy.spread.cam_deg, policy, "spread.cam_deg")


def _separation_prior(policy: Policy) -> SpreadPrior:
    return _prior(policy.spread.separation_deg, policy, "spread.separation_deg")


def _prior(difference_deg: float, policy: Policy, key: str) -> SpreadPrior:
    """Spread of one engine from that of the difference of two, which the policy states."""
    return SpreadPrior(
        spread_deg=difference_deg / float(np.sqrt(2.0)),
        dof=policy.spread.build_dof,
        source=policy.sources[key],
    )


def _spread(
    ids: list[str],
    quantity: str,
    shift: FloatArray,
    standard: FloatArray,
    *,
    prior: SpreadPrior,
    policy: Policy,
) -> tuple[Spread, Outlier | None]:
    population = build_population(
        [
            KnownGoodValue(name, float(value), float(own))
            for name, value, own in zip(ids, shift, standard, strict=True)
        ],
        quantity=quantity,
        prior=prior,
    )
    found = population.stand_out
    outlier = (
        _outlier(ids[found.index], quantity, float(shift[found.index]), found) if found else None
    )
    spread = _told(
        quantity, population.posterior, policy, count=population.count, basis=population.basis,
        remarks=population.remarks, values_deg=tuple(map(float, shift)),
    )  # fmt: skip
    return spread, outlier


def _summed(
    session: Session, words: str, quantity: sums.Quantity, *, prior: SpreadPrior, policy: Policy
) -> tuple[Spread, Outlier | None]:
    moments = sums.moments_of(session, quantity)
    name, value_deg = sums.farthest_of(session, quantity, moments.mean_deg)
    found = stand_out_from_moments(moments, value_deg, prior)
    used = moments.without(value_deg) if found.standing == "outlier" else moments
    outlier = _outlier(name, words, value_deg, found)
    spread = _told(
        words, learn_from_moments(used, prior), policy, count=used.count,
        basis=basis_in_words(used.count, used.excess_spread_deg, prior),
    )  # fmt: skip
    return spread, outlier


def _told(
    quantity: str,
    posterior: SpreadPosterior,
    policy: Policy,
    *,
    count: int,
    basis: str,
    remarks: tuple[str, ...] = (),
    values_deg: tuple[float, ...] = (),
) -> Spread:
    coverage = policy.limits.coverage
    spread = posterior.spread(coverage=0.95)
    next_one = posterior.new_value(_ONE, standard_uncertainty_deg=0.0).estimate(coverage=coverage)
    share = posterior.share(_ONE, coverage=coverage, confidence=_CONFIDENCE)
    return Spread(
        quantity=quantity,
        count=count,
        mean_deg=posterior.expected(_ONE).centre,
        spread_deg=spread.value,
        spread_low_deg=spread.low,
        spread_high_deg=spread.high,
        low_deg=next_one.low,
        high_deg=next_one.high,
        coverage=coverage,
        share_low_deg=share.low,
        share_high_deg=share.high,
        confidence=_CONFIDENCE,
        basis=basis,
        remarks=remarks,
        values_deg=values_deg,
    )


def _outlier(name: str, quantity: str, shift_deg: float, found: StandOut) -> Outlier | None:
    if found.standing not in {"outlier", "straggler"}:
        return None
    fate = "set aside" if found.standing == "outlier" else "kept"
    return Outlier(
        id=name,
        quantity=quantity,
        text=(
            f"{quantity}: {shift_deg:+.1f}°, where the others would have "
            f"{found.others.value:+.1f}° ± {found.others.uncertainty:.1f}°; {fate}"
        ),
    )


def _edges(session: Session, cams: Sequence[PatternCamRow]) -> Iterator[EdgeSpread]:
    summed = sums.edge_sums(session, [cam.id for cam in cams])
    for cam in cams:
        for number, (angle, edge) in enumerate(json.loads(cam.edges)):
            found = summed[cam.id, number]
            lower, median, upper = found.percentiles_deg
            yield EdgeSpread(
                role=cam.role,
                edge=edge,
                angle_deg=float(wrap_cycle_deg(angle + found.mean_deg)),
                spread_deg=found.spread_deg,
                low_deg=angle + found.low_deg,
                high_deg=angle + found.high_deg,
                median_deg=float(wrap_cycle_deg(angle + median)),
                lower_deg=angle + lower,
                upper_deg=angle + upper,
            )
