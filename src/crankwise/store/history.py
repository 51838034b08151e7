"""A vehicle over its mileage: every recording of its visits against one known-good."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from crankwise.comparison.against import shifts_against
from crankwise.comparison.separation import pairs_of, separation_budget
from crankwise.comparison.shift import PairShift
from crankwise.comparison.spread import SpreadPrior
from crankwise.errors import NotMeasurableError, UsageError
from crankwise.judge.code_limit import code_limit
from crankwise.judge.history import Trend, Visit, judge_series, split_series
from crankwise.judge.policy import load_policy
from crankwise.model.engine import Engine
from crankwise.model.job import JobFile, MileageUnit, Repair, VisitFile
from crankwise.model.kept import KeptMeasurement
from crankwise.model.policy import Policy
from crankwise.model.shelf import KnownGood
from crankwise.store import codec
from crankwise.store.jobs import Jobs
from crankwise.store.remembered import Remembered
from crankwise.store.shelf import Shelf

_KM_IN_A_MILE: Final = 1.609344
"""Exact by definition (international yard and pound agreement, 1959)."""


@dataclass(frozen=True, slots=True, eq=False)
class HistorySeries:
    """One cam or separation over the mileage.

    Attributes
    ----------
    quantity : str
        ``intake``, or ``intake to exhaust``.
    kind : {"cam", "separation"}
    visits : tuple of Visit
        All, also those before the last chain.
    restarts : tuple of float
        Mileages at which the chain was replaced.
    worn, out_of_time : Trend
        Of the visits since the last chain, towards either limit.
    reference_standard_uncertainty_deg : float
        Standard uncertainty of the known-good, common to all visits, crank degrees.
    """

    quantity: str
    kind: Literal["cam", "separation"]
    visits: tuple[Visit, ...]
    restarts: tuple[float, ...]
    worn: Trend
    out_of_time: Trend
    reference_standard_uncertainty_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class History:
    """A vehicle's timing over its mileage.

    Attributes
    ----------
    vehicle_id : int
    mileage_unit : {"km", "miles"}
    known_good_id : str
    series : tuple of HistorySeries
    left_out : tuple of str
        Which recordings could not be used, and why.
    worn_deg, out_of_time_deg : float
        Shift either way from which it is worn, and out of time, crank degrees.
    """

    vehicle_id: int
    mileage_unit: MileageUnit
    known_good_id: str
    series: tuple[HistorySeries, ...]
    left_out: tuple[str, ...]
    worn_deg: float
    out_of_time_deg: float


@dataclass(frozen=True, slots=True)
class _Point:
    """One measured recording of a visit, at its mileage in the unit of the history."""

    name: str
    mileage: float
    before_repair: bool
    kept: KeptMeasurement


def vehicle_history(
    jobs: Jobs,
    shelf: Shelf,
    vehicle_id: int,
    *,
    known_good_id: str | None = None,
    policy: Policy | None = None,
    engine: Engine | None = None,
    remembered: Remembered[History] | None = None,
) -> History:
    """Shifts of every visit against one and the same known-good, and where they lead.

    Parameters
    ----------
    jobs : Jobs
    shelf : Shelf
    vehicle_id : int
    known_good_id : str, optional
        If not given: the one of the last comparison, else the vehicle's own newest, else the
        oldest of its engine family.
    policy : Policy, optional
        The built-in one if not given.
    engine : Engine, optional
        May state a smaller limit.
    remembered : Remembered, optional
        Histories of this store that were worked out before.

    Raises
    ------
    UsageError
        No such vehicle or known-good, or none to compare with.
    """
    rules = policy or load_policy(None)
    files = sorted(jobs.list(vehicle_id=vehicle_id), key=lambda file: file.job.id)
    family = jobs.vehicle(vehicle_id).family
    known_good = _known_good(shelf, files, family, known_good_id)
    is_own = known_good.measurement.recording.sha256 in _digests(files) or (
        known_good.id in {row.id for row in shelf.list(family=known_good.family)
                          if row.vehicle_id == vehicle_id}
    )  # fmt: skip
    limit = code_limit(engine, rules, None).degrees
    rests_on = (vehicle_id, _rows(files), known_good.id, is_own, codec.dump(rules), limit)
    return (remembered or Remembered(0)).get(
        rests_on,
        lambda: _worked_out(
            vehicle_id, files, known_good, rules, same_vehicle=is_own, limit_deg=limit
        ),
    )


def _rows(files: Sequence[JobFile]) -> str:
    """Numbers of all rows that a history is read from; a row never changes."""
    return repr(
        [
            (visit.visit.id, *([one.id for one in some]
             for some in (visit.recordings, visit.measurements, visit.facts)))
            for visit in _all_visits(files)
        ]
    )  # fmt: skip


def _worked_out(
    vehicle_id: int,
    files: Sequence[JobFile],
    known_good: KnownGood,
    rules: Policy,
    *,
    same_vehicle: bool,
    limit_deg: float,
) -> History:
    unit = _unit(files)
    points, left_out = _points(files, unit)
    restarts = tuple(sorted(_restarts(files, unit)))
    values, misfits = _shifts(points, known_good, rules, same_vehicle=same_vehicle)
    worn_deg = limit_deg * rules.limits.worn_share
    prior = SpreadPrior(
        spread_deg=rules.spread.visit_deg / float(np.sqrt(2.0)),
        dof=rules.spread.visit_dof,
        source=rules.sources["spread.visit_deg"],
    )
    series = tuple(
        _series(
            key, visits, restarts, unit=unit, prior=prior, reference_deg=reference,
            limits_deg=(worn_deg, limit_deg),
        )
        for key, (visits, reference) in sorted(values.items())
    )  # fmt: skip
    return History(
        vehicle_id, unit, known_good.id, series, (*left_out, *misfits), worn_deg, limit_deg
    )


_Key = tuple[Literal["cam", "separation"], str]


def _series(
    key: _Key,
    visits: Sequence[Visit],
    restarts: tuple[float, ...],
    *,
    unit: MileageUnit,
    prior: SpreadPrior,
    reference_deg: float,
    limits_deg: tuple[float, float],
) -> HistorySeries:
    present = split_series(visits, restarts=restarts)[-1]
    worn, out_of_time = (
        judge_series(
            present,
            mileage_unit=unit,
            prior=prior,
            limit_deg=limit,
            reference_standard_uncertainty_deg=reference_deg,
        )
        for limit in limits_deg
    )
    return HistorySeries(key[1], key[0], tuple(visits), restarts, worn, out_of_time, reference_deg)


def _known_good(
    shelf: Shelf, files: Sequence[JobFile], family: str | None, wanted: str | None
) -> KnownGood:
    if wanted is not None:
        return shelf.get(wanted)
    compared = [kept for file in files for visit in file.visits for kept in visit.comparisons]
    for kept in sorted(compared, key=lambda kept: -kept.id):
        if kept.known_good_ids:
            return shelf.get(kept.known_good_ids[0])
    own = [identifier for file in files for identifier in file.known_goods]
    if own:
        return shelf.get(own[-1])
    known = {summary.name.casefold(): summary for summary in shelf.families()}
    if family is not None and family.casefold() in known:
        of_family = shelf.of_family(family)
        if of_family:
            return of_family[0]
    raise UsageError(
        "there is no known-good to hold this vehicle against: add one of its engine family to the "
        "shelf, or name one"
    )


def _digests(files: Sequence[JobFile]) -> set[str]:
    return {
        item.recording.sha256
        for file in files
        for visit in file.visits
        for item in visit.recordings
    }


def _all_visits(files: Sequence[JobFile]) -> list[VisitFile]:
    visits = [visit for file in files for visit in file.visits]
    return sorted(visits, key=lambda file: (file.visit.date, file.visit.id))


def _unit(files: Sequence[JobFile]) -> MileageUnit:
    """Unit of the last visit that has one."""
    units = [file.visit.mileage_unit for file in _all_visits(files) if file.visit.mileage_unit]
    return units[-1] if units else "km"


def _mileage(mileage: float, of: MileageUnit | None, unit: MileageUnit) -> float:
    if of is None or of == unit:
        return mileage
    return mileage * _KM_IN_A_MILE if unit == "km" else mileage / _KM_IN_A_MILE


def _restarts(files: Sequence[JobFile], unit: MileageUnit) -> Iterator[float]:
    for file in _all_visits(files):
        for kept in file.facts:
            fact = kept.fact
            if isinstance(fact, Repair) and fact.chain_replaced:
                mileage = fact.mileage if fact.mileage is not None else file.visit.mileage
                if mileage is not None:
                    yield _mileage(mileage, file.visit.mileage_unit, unit)


def _points(
    files: Sequence[JobFile], unit: MileageUnit
) -> tuple[tuple[_Point, ...], tuple[str, ...]]:
    points: list[_Point] = []
    left_out: list[str] = []
    for file in _all_visits(files):
        newest = {kept.recording_sha256: kept for kept in file.measurements}
        for item in file.recordings:
            name = f"{file.visit.date}, {item.recording.name}"
            kept = newest.get(item.recording.sha256)
            if kept is None:
                left_out.append(f"{name}: it is not measured")
            elif file.visit.mileage is None:
                left_out.append(f"{name}: the visit has no mileage")
            else:
                mileage = _mileage(file.visit.mileage, file.visit.mileage_unit, unit)
                points.append(_Point(name, mileage, item.purpose != "after-repair", kept))
    return tuple(points), tuple(left_out)


def _shifts(
    points: Sequence[_Point], known_good: KnownGood, policy: Policy, *, same_vehicle: bool
) -> tuple[dict[_Key, tuple[list[Visit], float]], tuple[str, ...]]:
    """Visits of each quantity, and the known-good's own standard uncertainty in it."""
    values: dict[_Key, tuple[list[Visit], float]] = {}
    left_out: list[str] = []
    for point in points:
        try:
            pairs = shifts_against(
                point.kept.measurement,
                known_good.measurement,
                policy=policy,
                same_vehicle=same_vehicle,
            )
        except NotMeasurableError as error:
            left_out.append(f"{point.name}: {error}")
            continue
        for key, shift, own, reference in _quantities(pairs):
            visits, before = values.setdefault(key, ([], 0.0))
            visits.append(Visit(point.name, point.mileage, shift, own, point.before_repair))
            values[key] = visits, max(before, reference)
    return values, tuple(left_out)


def _quantities(pairs: Mapping[str, PairShift]) -> Iterator[tuple[_Key, float, float, float]]:
    """Shift, standard uncertainty of the visit, and that of the known-good, crank degrees."""
    for role, pair in pairs.items():
        own = float(np.hypot(pair.subject.standard_deg, pair.delay_deg))
        yield ("cam", role), pair.shift_deg, own, pair.known_good.standard_deg
    for one, other in pairs_of(sorted(pairs)):
        first, second = pairs[one], pairs[other]
        lines = separation_budget(first, second)
        theirs = [line for line in lines if line.source.endswith("known-good")]
        mine = [line for line in lines if not line.source.endswith("known-good")]
        yield (
            ("separation", f"{one} to {other}"),
            second.shift_deg - first.shift_deg,
            _root_sum(line.standard_deg for line in mine),
            _root_sum(line.standard_deg for line in theirs),
        )


def _root_sum(standards: Iterable[float]) -> float:
    return float(np.sqrt(sum(value**2 for value in standards)))
