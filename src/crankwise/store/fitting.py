"""Which known-goods a recording fits, told by its pattern alone."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from crankwise.comparison.match import CamMatch, Limits, match
from crankwise.errors import NotMeasurableError
from crankwise.judge.policy import load_policy
from crankwise.model.measurement import Measurement
from crankwise.model.shelf import Fit
from crankwise.store.patterns import Patterns
from crankwise.store.placing import limits_of, match_plain
from crankwise.store.tables import FamilyRow, KnownGoodRow, PatternRow


def fits(session: Session, measurement: Measurement, *, limit: int) -> tuple[Fit, ...]:
    """Every pattern that the measurement fits, the best first.

    The order is that of how well the edges agree, then of how many known-goods say so.
    """
    found = _found(session, measurement, limit)
    return tuple(sorted(found, key=lambda fit: (round(fit.residual_deg, 1), -fit.known_goods)))


def _found(session: Session, measurement: Measurement, limit: int) -> Iterator[Fit]:
    patterns = Patterns(session)
    limits = limits_of(load_policy(None))
    residual_deg = limits.edge_residual_deg
    for pattern_id in patterns.candidates(measurement, residual_deg=residual_deg):
        ids = session.scalars(
            select(KnownGoodRow.id)
            .where(KnownGoodRow.pattern_id == pattern_id, KnownGoodRow.retired_at.is_(None))
            .order_by(KnownGoodRow.added_at.desc(), KnownGoodRow.id)
        ).all()
        if not ids:
            continue
        try:
            cams, remarks = _laid(measurement, patterns.first(pattern_id), limits)
        except NotMeasurableError:
            continue
        family, wheel = session.execute(
            select(FamilyRow.name, PatternRow.wheel)
            .join(FamilyRow, FamilyRow.id == PatternRow.family_id)
            .where(PatternRow.id == pattern_id)
        ).one()
        yield Fit(
            family=family,
            wheel=wheel,
            known_goods=len(ids),
            ids=tuple(ids[:limit]),
            residual_deg=max(float(np.abs(cam.residual_deg).max()) for cam in cams),
            shifts=tuple((cam.known_good.role, cam.shift_deg) for cam in cams),
            remarks=remarks,
        )


def _laid(
    measurement: Measurement, first: Measurement, limits: Limits
) -> tuple[tuple[CamMatch, ...], tuple[str, ...]]:
    """Cams laid over each other, and what had to be resolved; raises NotMeasurableError."""
    plain = match_plain(measurement, first, limits)
    if plain is not None and not plain.is_turned:
        return plain.cams, ()
    found = match(measurement, first, limits)
    return found.cams, found.remarks
