"""What the known-goods of a family say together, with the one that stands out."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from crankwise.comparison.population import KnownGoodValue, Population, build_population
from crankwise.comparison.separation import pairs_of
from crankwise.comparison.spread import SpreadPrior
from crankwise.judge.policy import load_policy
from crankwise.model.policy import Policy
from crankwise.model.recording import FloatArray
from crankwise.model.shelf import EdgeSpread, FamilyStatistics, Outlier, Spread
from crankwise.store.tables import FamilyRow, KnownGoodRow, PatternCamRow, PatternRow
from crankwise.units import wrap_cycle_deg


@dataclass(frozen=True, slots=True, eq=False)
class _Cam:
    """One cam over the known-goods: edges of the first one, and all against it.

    ``shift_deg`` and ``standard_deg`` have shape (known-goods,), ``edges_deg`` (known-goods,
    edges).
    """

    role: str
    first: tuple[tuple[float, str], ...]
    shift_deg: FloatArray
    standard_deg: FloatArray
    edges_deg: FloatArray


def family_statistics(
    session: Session, family: FamilyRow, *, policy: Policy | None
) -> tuple[FamilyStatistics, ...]:
    """Statistics of each pattern within the family, the one of most known-goods first."""
    rules = policy or load_policy(None)
    patterns = session.scalars(select(PatternRow).where(PatternRow.family_id == family.id)).all()
    found: list[FamilyStatistics] = []
    for pattern in patterns:
        ids, cams = _read(session, pattern.id)
        if ids:
            found.append(_statistics(family.name, pattern.wheel, ids, cams, rules))
    return tuple(sorted(found, key=lambda item: -item.known_goods))


def _read(session: Session, pattern_id: int) -> tuple[list[str], tuple[_Cam, ...]]:
    rows = session.execute(
        select(KnownGoodRow.id, KnownGoodRow.against_first)
        .where(KnownGoodRow.pattern_id == pattern_id, KnownGoodRow.retired_at.is_(None))
        .order_by(KnownGoodRow.added_at, KnownGoodRow.id)
    ).all()
    placed = [json.loads(row.against_first) for row in rows]
    columns = session.execute(
        select(PatternCamRow.role, PatternCamRow.edges)
        .where(PatternCamRow.pattern_id == pattern_id)
        .order_by(PatternCamRow.id)
    )
    cams = tuple(
        _Cam(
            role=role,
            first=tuple((float(angle), str(edge)) for angle, edge in json.loads(edges)),
            shift_deg=np.array([item[number][0] for item in placed]),
            standard_deg=np.array([item[number][1] for item in placed]),
            edges_deg=np.array([item[number][2] for item in placed]),
        )
        for number, (role, edges) in enumerate(columns)
    )
    return [row.id for row in rows], cams


def _statistics(
    family: str, wheel: str, ids: Sequence[str], cams: Sequence[_Cam], policy: Policy
) -> FamilyStatistics:
    outliers: list[Outlier] = []
    by_role = {cam.role: cam for cam in cams}
    spreads = [
        _spread(
            ids,
            f"{cam.role} cam",
            shift=cam.shift_deg,
            standard=cam.standard_deg,
            prior=_prior(policy.spread.cam_deg, policy, "spread.cam_deg"),
            coverage=policy.limits.coverage,
            outliers=outliers,
        )
        for cam in sorted(cams, key=lambda cam: cam.role)
    ]
    separations = [
        _spread(
            ids,
            f"{one} to {other}",
            shift=by_role[other].shift_deg - by_role[one].shift_deg,
            standard=np.hypot(by_role[one].standard_deg, by_role[other].standard_deg),
            prior=_prior(policy.spread.separation_deg, policy, "spread.separation_deg"),
            coverage=policy.limits.coverage,
            outliers=outliers,
        )
        for one, other in pairs_of(sorted(by_role))
    ]
    return FamilyStatistics(
        family=family,
        wheel=wheel,
        known_goods=len(ids),
        ids=tuple(ids),
        cams=tuple(spreads),
        separations=tuple(separations),
        edges=tuple(edge for cam in cams for edge in _edges(cam)),
        outliers=tuple(outliers),
    )


def _prior(difference_deg: float, policy: Policy, key: str) -> SpreadPrior:
    """Spread of one engine from that of the difference of two, which the policy states."""
    return SpreadPrior(
        spread_deg=difference_deg / float(np.sqrt(2.0)),
        dof=policy.spread.build_dof,
        source=policy.sources[key],
    )


def _spread(
    ids: Sequence[str],
    quantity: str,
    *,
    shift: FloatArray,
    standard: FloatArray,
    prior: SpreadPrior,
    coverage: float,
    outliers: list[Outlier],
) -> Spread:
    population = build_population(
        [
            KnownGoodValue(name, float(value), float(own))
            for name, value, own in zip(ids, shift, standard, strict=True)
        ],
        quantity=quantity,
        prior=prior,
    )
    outliers.extend(_outliers(ids, shift, population))
    bounds = population.prediction_limits(standard_uncertainty_deg=0.0, coverage=coverage)
    return Spread(
        quantity=quantity,
        count=len(population.used),
        mean_deg=population.mean.value,
        spread_deg=population.spread.value,
        spread_low_deg=population.spread.low,
        spread_high_deg=population.spread.high,
        low_deg=bounds.low_deg,
        high_deg=bounds.high_deg,
        coverage=coverage,
        basis=population.basis,
        remarks=population.remarks,
        values_deg=tuple(map(float, shift)),
    )


def _outliers(ids: Sequence[str], shift: FloatArray, population: Population) -> Iterator[Outlier]:
    stand_out = population.stand_out
    if stand_out is None or stand_out.standing not in {"outlier", "straggler"}:
        return
    fate = "set aside" if stand_out.standing == "outlier" else "kept"
    yield Outlier(
        id=ids[stand_out.index],
        quantity=population.quantity,
        text=(
            f"{population.quantity}: {shift[stand_out.index]:+.1f}°, where the others would have "
            f"{stand_out.others.value:+.1f}° ± {stand_out.others.uncertainty:.1f}°; {fate}"
        ),
    )


def _edges(cam: _Cam) -> Iterator[EdgeSpread]:
    for number, (angle, edge) in enumerate(cam.first):
        off = cam.edges_deg[:, number]
        yield EdgeSpread(
            role=cam.role,
            edge=edge,
            angle_deg=float(wrap_cycle_deg(angle + float(off.mean()))),
            spread_deg=float(off.std(ddof=1)) if len(off) > 1 else 0.0,
            low_deg=angle + float(off.min()),
            high_deg=angle + float(off.max()),
        )
