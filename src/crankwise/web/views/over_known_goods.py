"""A comparison laid on the subject's own crank angle, on which its samples are drawn.

A comparison counts from the known-good's zero: the cycle may be turned by a revolution, and the
other flank of the crank teeth may be the timing edge. Shifts are the same either way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.comparison.match import match
from crankwise.errors import NotFoundError, NotMeasurableError
from crankwise.store.placing import limits_of
from crankwise.units import wrap_cycle_deg, wrap_signed_deg

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from crankwise.model.comparison import CamShift, Comparison, EdgeShift
    from crankwise.model.job import KeptComparison
    from crankwise.model.measurement import CamMeasurement, Measurement
    from crankwise.model.shelf import KnownGood
    from crankwise.store import Store

_ROUNDING_DEG: Final = 1e-6
_MOST_SINGLE: Final = 12
"""More known-goods than these are a population: their limits tell more than each of them."""

Key = tuple[str, int]
"""Channel of a cam, and place of the edge in its pattern."""


@dataclass(frozen=True, slots=True)
class OverKnownGoods:
    """What was compared, by the subject's channels and edges.

    Attributes
    ----------
    names : tuple of str
        The known-goods in words.
    cams : Mapping of channel to CamShift
    edges : Mapping of Key to EdgeShift
    each_deg : Mapping of Key to sequence of float
        Places of the single known-goods' edges, crank degrees of the subject.
    """

    names: tuple[str, ...]
    cams: Mapping[str, CamShift]
    edges: Mapping[Key, EdgeShift]
    each_deg: Mapping[Key, Sequence[float]]

    def edge(self, channel: str, number: int) -> tuple[float, float, Sequence[float]] | None:
        """Shift, its uncertainty, and places of the single known-goods of an edge."""
        found = self.edges.get((channel, number))
        if found is None:
            return None
        return found.shift_deg, found.uncertainty_deg, self.each_deg.get((channel, number), ())


def over_known_goods(
    store: Store, subject: Measurement, compared: KeptComparison
) -> OverKnownGoods:
    """Lay a comparison of the subject on its own crank angle."""
    comparison = compared.comparison
    known_goods = _known_goods(store, compared.known_good_ids)
    return OverKnownGoods(
        names=tuple(_name(known_good) for known_good in known_goods)
        or tuple(side.name for side in comparison.known_goods),
        cams={cam.subject_channel: cam for cam in comparison.cams},
        edges=dict(_edges(subject, comparison)),
        each_deg=_each(store, subject, known_goods) if len(known_goods) > 1 else {},
    )


def _known_goods(store: Store, ids: Sequence[str]) -> tuple[KnownGood, ...]:
    """Those still on the shelf; a comparison tells what it needs to know of the others."""
    found: list[KnownGood] = []
    for identifier in ids:
        try:
            found += store.shelf.load([identifier])
        except NotFoundError:
            continue
    return tuple(found)


def _name(known_good: KnownGood) -> str:
    known = known_good.provenance
    words = [known_good.family, known.date or ""]
    if known.mileage is not None:
        words.append(f"{known.mileage:,.0f} {known.mileage_unit or ''}".strip())
    return ", ".join(filter(None, words))


def _edges(subject: Measurement, comparison: Comparison) -> Iterator[tuple[Key, EdgeShift]]:
    turn_deg = _turn_deg(subject, comparison)
    for shift in comparison.cams:
        cam = _cam(subject, shift.subject_channel)
        for number, edge in enumerate(cam.edges if cam else ()):
            place = wrap_cycle_deg(edge.angle_deg + turn_deg)
            for moved in shift.edges:
                if abs(wrap_signed_deg(moved.subject_deg - place)) < _ROUNDING_DEG:
                    yield (shift.subject_channel, number), moved


def _turn_deg(subject: Measurement, comparison: Comparison) -> float:
    """From the subject's own angles to those of the comparison: one turn that fits every cam."""
    shift = comparison.cams[0] if comparison.cams else None
    cam = _cam(subject, shift.subject_channel) if shift else None
    if shift is None or cam is None:
        return 0.0
    turns = [wrap_signed_deg(shift.edges[0].subject_deg - edge.angle_deg) for edge in cam.edges]
    return min(
        sorted(turns, key=abs), key=lambda turn: _misses(subject, comparison, turn), default=0.0
    )


def _misses(subject: Measurement, comparison: Comparison, turn_deg: float) -> int:
    """Edges of the comparison that no edge of the subject meets after this turn."""
    missed = 0
    for shift in comparison.cams:
        cam = _cam(subject, shift.subject_channel)
        places = [edge.angle_deg + turn_deg for edge in cam.edges] if cam else []
        for moved in shift.edges:
            apart = (abs(wrap_signed_deg(moved.subject_deg - place)) for place in places)
            missed += min(apart, default=1.0) >= _ROUNDING_DEG
    return missed


def _cam(subject: Measurement, channel: str) -> CamMeasurement | None:
    return next((cam for cam in subject.cams if cam.channel == channel), None)


def _each(
    store: Store, subject: Measurement, known_goods: Sequence[KnownGood]
) -> dict[Key, list[float]]:
    limits = limits_of(store.shop.policy())
    places: dict[Key, list[float]] = {}
    for known_good in known_goods[:_MOST_SINGLE]:
        try:
            found = match(subject, known_good.measurement, limits)
        except NotMeasurableError:
            continue  # it was left out of the comparison, which says why
        for cam in found.cams:
            for number, apart in zip(cam.subject_edges, cam.difference_deg, strict=True):
                angle = cam.subject.edges[number].angle_deg - float(apart)
                place = float(wrap_cycle_deg(angle))
                places.setdefault((cam.subject.channel, number), []).append(place)
    return places
