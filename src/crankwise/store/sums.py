"""Sums and percentiles over a pattern's known-goods, taken by the database where they lie.

Both databases do this without sending a value: what comes back is a handful of rows, however many
known-goods there are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import ColumnElement, FromClause, Select, func, literal, select, union_all
from sqlalchemy.orm import Session

from crankwise.comparison.moments import Moments
from crankwise.store.tables import KnownGoodCamRow, KnownGoodEdgeRow

INNER: Final = (0.025, 0.5, 0.975)
"""Percentiles told of each edge: its median, and between which 95 % lie."""

_PARTS: Final = 100
"""Selects joined into one statement; SQLite takes up to 500."""

# As tables: dozens of small selects are put together faster than of mapped classes.
_CAM: Final = KnownGoodCamRow.__table__
_EDGE: Final = KnownGoodEdgeRow.__table__


@dataclass(frozen=True, slots=True)
class EdgeSums:
    """One edge over the known-goods, against that of the first one, crank degrees."""

    mean_deg: float
    spread_deg: float
    low_deg: float
    high_deg: float
    percentiles_deg: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Quantity:
    """Something that every known-good of a pattern has a value of.

    Attributes
    ----------
    rows : FromClause
        One row for each known-good.
    name, value, noise_square : ColumnElement
        Which known-good, its value in crank degrees, and the square of its standard uncertainty.
    """

    rows: FromClause
    name: ColumnElement[str]
    value: ColumnElement[float]
    noise_square: ColumnElement[float]


def shift_of(cam_id: int) -> Quantity:
    """Shift of one cam."""
    cam = select(_CAM).where(_CAM.c.cam_id == cam_id).subquery()
    noise = cam.c.standard_deg * cam.c.standard_deg
    return Quantity(cam, cam.c.known_good_id, cam.c.shift_deg, noise)


def separation_of(one: int, other: int) -> Quantity:
    """Shift of the second cam less that of the first."""
    first, second = _CAM.alias("first"), _CAM.alias("second")
    noise = first.c.standard_deg * first.c.standard_deg
    both = (
        select(
            first.c.known_good_id,
            (second.c.shift_deg - first.c.shift_deg).label("change_deg"),
            (noise + second.c.standard_deg * second.c.standard_deg).label("noise_square"),
        )
        .join(second, second.c.known_good_id == first.c.known_good_id)
        .where(first.c.cam_id == one, second.c.cam_id == other)
        .subquery()
    )
    return Quantity(both, both.c.known_good_id, both.c.change_deg, both.c.noise_square)


def count_of(session: Session, cam_id: int) -> int:
    """Count the known-goods in use that have this cam."""
    return session.execute(select(func.count()).where(_CAM.c.cam_id == cam_id)).scalar_one()


def moments_of(session: Session, quantity: Quantity) -> Moments:
    """Moments of a quantity; there must be two or more known-goods."""
    value = quantity.value
    asked = select(
        func.count(), func.avg(value), func.avg(value * value), func.avg(quantity.noise_square)
    )
    row = session.execute(asked.select_from(quantity.rows)).one()
    return Moments.of(row[0], row[1], row[2], row[3] ** 0.5)


def farthest_of(session: Session, quantity: Quantity, from_deg: float) -> tuple[str, float]:
    """Known-good whose value lies farthest from an angle, and the value."""
    asked = (
        select(quantity.name, quantity.value)
        .select_from(quantity.rows)
        .order_by(func.abs(quantity.value - from_deg).desc(), quantity.name)
        .limit(1)
    )
    row = session.execute(asked).one()
    return row[0], row[1]


def edge_sums(session: Session, cams: Sequence[int]) -> dict[tuple[int, int], EdgeSums]:
    """Every edge of some cams, by cam and place in it."""
    edge = _EDGE.c
    off = edge.difference_deg
    asked = (
        select(
            edge.cam_id, edge.number, func.count(), func.avg(off), func.avg(off * off),
            func.min(off), func.max(off),
        )
        .where(edge.cam_id.in_(cams))
        .group_by(edge.cam_id, edge.number)
    )  # fmt: skip
    summed = {(cam, number): rest for cam, number, *rest in session.execute(asked)}
    percentiles = _percentiles(session, {place: count for place, (count, *_) in summed.items()})
    return {
        place: EdgeSums(
            mean_deg=mean,
            spread_deg=_spread_deg(count, mean, mean_square),
            low_deg=low,
            high_deg=high,
            percentiles_deg=percentiles[place],
        )
        for place, (count, mean, mean_square, low, high) in summed.items()
    }


def _spread_deg(count: int, mean: float, mean_square: float) -> float:
    if count == 1:
        return 0.0
    return float(Moments.of(count, mean, mean_square, 0.0).variance_deg2 ** 0.5)


def _percentiles(
    session: Session, counts: dict[tuple[int, int], int]
) -> dict[tuple[int, int], tuple[float, ...]]:
    """Percentiles of every edge, between neighbours by a straight line.

    This is definition 7 of R. J. Hyndman and Y. Fan, The American Statistician 50 (1996) 361. The
    rows lie in the order of the differences, so that a place is reached by counting along them,
    without sorting.
    """
    wanted = [
        (edge, probability, int(probability * (count - 1)))
        for edge, count in counts.items()
        for probability in INNER
    ]
    found: dict[int, list[float]] = {}
    for start in range(0, len(wanted), _PARTS):
        parts = [
            _neighbours(key, *edge, place)
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


def _neighbours(key: int, cam_id: int, number: int, place: int) -> Select[Any]:
    """Two neighbours in the order of one edge's differences; one at the end."""
    edge = _EDGE.c
    part = (
        select(edge.difference_deg)
        .where(edge.cam_id == cam_id, edge.number == number)
        .order_by(edge.difference_deg)
        .limit(2)
        .offset(place)
        .subquery()
    )
    return select(literal(key), part.c.difference_deg)
