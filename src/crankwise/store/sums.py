"""Sums and percentiles over a pattern's known-goods, taken by the database where they lie.

Both databases do this without sending a value: what comes back is a handful of rows, however many
known-goods there are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import ColumnElement, Select, and_, func, literal, select, union_all
from sqlalchemy.orm import Session, aliased

from crankwise.comparison.moments import Moments
from crankwise.store.tables import KnownGoodCamRow, KnownGoodEdgeRow, KnownGoodRow

INNER: Final = (0.025, 0.5, 0.975)
"""Percentiles told of each edge: its median, and between which 95 % lie."""

_PARTS: Final = 100
"""Selects joined into one statement; SQLite takes up to 500."""


@dataclass(frozen=True, slots=True)
class EdgeSums:
    """One edge over the known-goods, against that of the first one, crank degrees."""

    mean_deg: float
    spread_deg: float
    low_deg: float
    high_deg: float
    percentiles_deg: tuple[float, ...]


def known_goods_in(session: Session, pattern_id: int) -> int:
    """Count the known-goods of a pattern that are in use."""
    asked = select(func.count()).where(
        KnownGoodRow.pattern_id == pattern_id, KnownGoodRow.retired_at.is_(None)
    )
    return session.scalars(asked).one()


def cam_moments(session: Session, pattern_id: int, cam_id: int) -> Moments:
    """Moments of one cam's shifts; there must be two or more known-goods."""
    row = KnownGoodCamRow
    asked = _moments(row.shift_deg.expression, row.standard_deg * row.standard_deg).where(
        row.cam_id == cam_id, row.known_good_id.not_in(_retired(pattern_id))
    )
    return _as_moments(session, asked)


def separation_moments(session: Session, pattern_id: int, one: int, other: int) -> Moments:
    """Moments of the shift of the second cam less that of the first."""
    first, second = aliased(KnownGoodCamRow), aliased(KnownGoodCamRow)
    noise = first.standard_deg * first.standard_deg + second.standard_deg * second.standard_deg
    asked = (
        _moments(second.shift_deg - first.shift_deg, noise)
        .join(second, and_(second.known_good_id == first.known_good_id, second.cam_id == other))
        .where(first.cam_id == one, first.known_good_id.not_in(_retired(pattern_id)))
    )
    return _as_moments(session, asked)


def farthest_shift(
    session: Session, pattern_id: int, cam_id: int, from_deg: float
) -> tuple[str, float]:
    """Known-good whose cam lies farthest from an angle, and its shift."""
    row = KnownGoodCamRow
    asked = (
        select(row.known_good_id, row.shift_deg)
        .where(row.cam_id == cam_id, row.known_good_id.not_in(_retired(pattern_id)))
        .order_by(func.abs(row.shift_deg - from_deg).desc(), row.known_good_id)
        .limit(1)
    )
    name, shift_deg = session.execute(asked).one()
    return name, shift_deg


def farthest_separation(
    session: Session, pattern_id: int, one: int, other: int, from_deg: float
) -> tuple[str, float]:
    """Known-good whose separation lies farthest from an angle, and its change."""
    first, second = aliased(KnownGoodCamRow), aliased(KnownGoodCamRow)
    change = second.shift_deg - first.shift_deg
    asked = (
        select(first.known_good_id, change)
        .join(second, and_(second.known_good_id == first.known_good_id, second.cam_id == other))
        .where(first.cam_id == one, first.known_good_id.not_in(_retired(pattern_id)))
        .order_by(func.abs(change - from_deg).desc(), first.known_good_id)
        .limit(1)
    )
    name, change_deg = session.execute(asked).one()
    return name, change_deg


def edge_sums(
    session: Session, pattern_id: int, cams: Sequence[int]
) -> dict[tuple[int, int], EdgeSums]:
    """Every edge of a pattern, by cam and place in it."""
    row = KnownGoodEdgeRow
    off = row.difference_deg
    asked = (
        select(
            row.cam_id, row.number, func.count(), func.avg(off), func.avg(off * off),
            func.min(off), func.max(off),
        )
        .where(row.cam_id.in_(cams), row.known_good_id.not_in(_retired(pattern_id)))
        .group_by(row.cam_id, row.number)
    )  # fmt: skip
    summed = {(cam, number): rest for cam, number, *rest in session.execute(asked)}
    counts = {edge: count for edge, (count, *_) in summed.items()}
    percentiles = _percentiles(session, pattern_id, counts)
    return {
        edge: EdgeSums(
            mean_deg=mean,
            spread_deg=_spread_deg(count, mean, mean_square),
            low_deg=low,
            high_deg=high,
            percentiles_deg=percentiles[edge],
        )
        for edge, (count, mean, mean_square, low, high) in summed.items()
    }


def _spread_deg(count: int, mean: float, mean_square: float) -> float:
    if count == 1:
        return 0.0
    return float(Moments.of(count, mean, mean_square, 0.0).variance_deg2 ** 0.5)


def _percentiles(
    session: Session, pattern_id: int, counts: dict[tuple[int, int], int]
) -> dict[tuple[int, int], tuple[float, ...]]:
    """Percentiles of every edge, between neighbours by a straight line.

    This is definition 7 of R. J. Hyndman and Y. Fan, The American Statistician 50 (1996) 361. The
    rows lie in the order of the differences, so that a place is reached by counting along the
    index, without sorting.
    """
    wanted = [
        (edge, probability, int(probability * (count - 1)))
        for edge, count in counts.items()
        for probability in INNER
    ]
    found: dict[int, list[float]] = {}
    for start in range(0, len(wanted), _PARTS):
        parts = [
            _neighbours(pattern_id, key, *edge, place)
            for key, (edge, _, place) in enumerate(wanted[start : start + _PARTS], start)
        ]
        for row in session.execute(union_all(*parts)):
            found.setdefault(row[0], []).append(row[1])
    values: dict[tuple[int, int], list[float]] = {edge: [] for edge in counts}
    for key, (edge, probability, place) in enumerate(wanted):
        low, high = min(found[key]), max(found[key])
        share = probability * (counts[edge] - 1) - place
        values[edge].append(low + share * (high - low))
    return {edge: tuple(some) for edge, some in values.items()}


def _neighbours(pattern_id: int, key: int, cam_id: int, number: int, place: int) -> Select[Any]:
    """Two neighbours in the order of one edge's differences; one at the end."""
    row = KnownGoodEdgeRow
    part = (
        select(row.difference_deg)
        .where(
            row.cam_id == cam_id,
            row.number == number,
            row.known_good_id.not_in(_retired(pattern_id)),
        )
        .order_by(row.difference_deg)
        .limit(2)
        .offset(place)
        .subquery()
    )
    return select(literal(key), part.c.difference_deg)


def _retired(pattern_id: int) -> Select[Any]:
    """Few of many, so that leaving them out costs less than looking each of the others up."""
    return select(KnownGoodRow.id).where(
        KnownGoodRow.pattern_id == pattern_id, KnownGoodRow.retired_at.is_not(None)
    )


def _moments(value: ColumnElement[float], noise_square: ColumnElement[float]) -> Select[Any]:
    return select(func.count(), func.avg(value), func.avg(value * value), func.avg(noise_square))


def _as_moments(session: Session, asked: Select[Any]) -> Moments:
    row = session.execute(asked).one()
    return Moments.of(row[0], row[1], row[2], row[3] ** 0.5)
