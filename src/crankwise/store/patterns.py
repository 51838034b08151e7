"""Patterns of the shelf: known-goods of one family that lie over each other.

A recording is sought by its pattern alone. What doesn't depend on names, polarity, the revolution
the cycle starts with, or where a cam stands, is the cyclic order of the spacings of a cam's edges.
The index narrows down by tooth count, edge count and the widest spacing; the spacings themselves
and at last :func:`crankwise.comparison.match.match` decide.
"""

from __future__ import annotations

import json
from collections import defaultdict

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from crankwise.errors import NotMeasurableError
from crankwise.judge.policy import load_policy
from crankwise.model.measurement import CamMeasurement, Measurement
from crankwise.model.recording import FloatArray
from crankwise.model.shelf import KnownGood
from crankwise.store import codec
from crankwise.store.placing import Placed, place, spacings_deg
from crankwise.store.tables import KnownGoodRow, PatternCamRow, PatternRow
from crankwise.units import CYCLE_DEG


class Patterns:
    """Patterns within one session; keeps the first known-goods it has read."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._policy = load_policy(None)
        self._firsts: dict[int, Measurement] = {}
        self._cams: dict[int, list[int]] = {}
        self._of_family: dict[tuple[int, int, int], list[int]] = {}

    def assign(
        self, family_id: int, known_good_id: str, measurement: Measurement
    ) -> tuple[int, tuple[Placed, ...]]:
        """Pattern that a new known-good belongs to, made if there is none, and its place in it."""
        key = (family_id, measurement.crank.teeth_per_rev, len(measurement.cams))
        if key not in self._of_family:
            self._of_family[key] = self._stored(*key)
        for pattern_id in self._of_family[key]:
            try:
                return pattern_id, place(measurement, self.first(pattern_id), policy=self._policy)
            except NotMeasurableError:
                continue
        pattern_id = self._make(family_id, known_good_id, measurement)
        self._of_family[key].append(pattern_id)
        self._firsts[pattern_id] = measurement
        return pattern_id, place(measurement, measurement, policy=self._policy)

    def first(self, pattern_id: int) -> Measurement:
        """Return the measurement that others of the pattern are held against."""
        if pattern_id not in self._firsts:
            text = self._session.scalars(
                select(KnownGoodRow.document)
                .join(PatternRow, PatternRow.first_id == KnownGoodRow.id)
                .where(PatternRow.id == pattern_id)
            ).one()
            self._firsts[pattern_id] = codec.load(text, KnownGood).measurement
        return self._firsts[pattern_id]

    def cams(self, pattern_id: int) -> list[int]:
        """Return the numbers of a pattern's cams, in the order of its first known-good."""
        if pattern_id not in self._cams:
            asked = select(PatternCamRow.id).where(PatternCamRow.pattern_id == pattern_id)
            self._cams[pattern_id] = list(self._session.scalars(asked.order_by(PatternCamRow.id)))
        return self._cams[pattern_id]

    def candidates(self, measurement: Measurement, *, residual_deg: float) -> list[int]:
        """Patterns that a measurement may fit, by the spacings of its edges."""
        teeth = measurement.crank.teeth_per_rev
        hit: dict[int, set[int]] = defaultdict(set)
        met: dict[int, set[str]] = defaultdict(set)
        for number, cam in enumerate(measurement.cams):
            for pattern_id, role in self._like(cam, teeth, 2.0 * residual_deg):
                hit[pattern_id].add(number)
                met[pattern_id].add(role)
        if not hit:
            return []
        asked = select(PatternRow.id, PatternRow.cams).where(PatternRow.id.in_(hit))
        cams = {row.id: row.cams for row in self._session.execute(asked)}
        # As many as both have must find their like.
        return sorted(
            pattern_id
            for pattern_id, count in cams.items()
            if min(len(hit[pattern_id]), len(met[pattern_id])) >= min(len(measurement.cams), count)
        )

    def _like(self, cam: CamMeasurement, teeth: int, tolerance: float) -> list[tuple[int, str]]:
        mine = spacings_deg(cam)
        row = PatternCamRow
        found = self._session.execute(
            select(row.pattern_id, row.role, row.edges).where(
                row.teeth_per_rev == teeth,
                row.edge_count == len(mine),
                row.widest_deg.between(mine.max() - tolerance, mine.max() + tolerance),
                row.narrowest_deg.between(mine.min() - tolerance, mine.min() + tolerance),
            )
        )
        return [
            (pattern_id, role)
            for pattern_id, role, edges in found
            if _turns_alike(mine, _stored_spacings(edges), tolerance)
        ]

    def _stored(self, family_id: int, teeth: int, cams: int) -> list[int]:
        return list(
            self._session.scalars(
                select(PatternRow.id)
                .join(PatternCamRow)
                .where(
                    PatternRow.family_id == family_id,
                    PatternRow.cams == cams,
                    PatternCamRow.teeth_per_rev == teeth,
                )
                .distinct()
                .order_by(PatternRow.id)
            )
        )

    def _make(self, family_id: int, known_good_id: str, measurement: Measurement) -> int:
        pattern = PatternRow(
            family_id=family_id,
            first_id=known_good_id,
            wheel=measurement.crank.wheel,
            cams=len(measurement.cams),
        )
        self._session.add(pattern)
        self._session.flush()
        for cam in measurement.cams:
            steps = spacings_deg(cam)
            edges = [[edge.angle_deg, edge.edge] for edge in cam.edges]
            self._session.add(
                PatternCamRow(
                    pattern_id=pattern.id,
                    role=cam.role,
                    teeth_per_rev=measurement.crank.teeth_per_rev,
                    edge_count=len(cam.edges),
                    widest_deg=float(steps.max()),
                    narrowest_deg=float(steps.min()),
                    edges=json.dumps(edges),
                )
            )
            self._session.flush()  # one by one: their numbers keep the order
        return pattern.id


def _stored_spacings(edges: str) -> FloatArray:
    angles = np.sort([angle for angle, _ in json.loads(edges)])
    return np.diff(np.append(angles, angles[0] + CYCLE_DEG))


def _turns_alike(mine: FloatArray, theirs: FloatArray, tolerance: float) -> bool:
    """Whether the spacings agree in some turn; an odd turn is a signal upside down."""
    count = len(mine)
    turned = mine[(np.arange(count)[:, None] + np.arange(count)) % count]
    return bool((np.abs(turned - theirs).max(axis=1) <= tolerance).any())
