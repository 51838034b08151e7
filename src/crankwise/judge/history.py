"""One vehicle over its mileage: does the timing drift, how fast, and when does it reach a limit.

A straight line is fitted to shift against mileage. Visits scatter about it by their measurement
uncertainty and by a spread of their own (a sensor re-seated, another oil temperature) that is
learned as in :mod:`crankwise.comparison.spread`, with a spread from the policy to begin with. A
chain replaced begins a new series.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from crankwise.comparison.line import COVERAGE, Axis, Line, learn_line
from crankwise.comparison.mixture import Estimate
from crankwise.comparison.numeric import increasing_root
from crankwise.comparison.robust import StandOut, find_stand_out, median_slope
from crankwise.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.comparison.spread import SpreadPrior
    from crankwise.model.recording import FloatArray

PER_MILEAGE = 10_000.0
"""Mileage to which a change is referred."""

_FEWEST = 3
_FARTHEST = 1000.0  # spans of the visits; a crossing beyond that is as good as never

MileageUnit = Literal["km", "miles"]
Outcome = Literal["trending", "not-trending", "too-few-visits"]


@dataclass(frozen=True, slots=True)
class Visit:
    """One cam's shift at one visit.

    Attributes
    ----------
    name : str
        The visit, as the technician knows it (a date, a file).
    mileage : float
        In the unit of the history.
    shift_deg : float
        Against the same known-good at every visit, crank degrees, positive = retarded.
    standard_uncertainty_deg : float
        Standard uncertainty of this visit's own measurement, without that of the known-good.
    before_repair : bool
        Measured at the very mileage of a restart, before the work.
    """

    name: str
    mileage: float
    shift_deg: float
    standard_uncertainty_deg: float
    before_repair: bool = False


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the limit is reached, if it goes on as it has.

    Attributes
    ----------
    limit_deg : float
        Limit on the side the shift is moving to, with its sign, crank degrees.
    mileage : float
        Where the line reaches it; not before the last visit.
    earliest : float
        From where a reading may be at the limit (2.5 % probability).
    latest : float or None
        From where nearly every reading is (97.5 %); None if that is not in sight.
    remaining : float
        From the last visit to ``mileage``; 0 if the line is there already.
    extrapolated : float
        ``remaining`` in spans of the visits: beyond 1 the line is taken on trust.
    text : str
        The same in words.
    """

    limit_deg: float
    mileage: float
    earliest: float
    latest: float | None
    remaining: float
    extrapolated: float
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Trend:
    """What one series of visits says.

    Attributes
    ----------
    outcome : {"trending", "not-trending", "too-few-visits"}
    reason : str
        Why, in words.
    visits : tuple of Visit
        In order of mileage, all of the series.
    set_aside : Visit or None
        The one bad visit, left out.
    remarks : tuple of str
        What a good colleague would add.
    line : Line or None
        Over mileage; its ``predict`` gives the prediction band.
    change_per_10000 : Estimate or None
        Crank degrees over 10,000 of the mileage unit, with the 95 % interval.
    spread : Estimate or None
        Visit-to-visit spread beyond measurement uncertainty, crank degrees.
    forecast : Forecast or None
        Only of a trend.
    """

    outcome: Outcome
    reason: str
    visits: tuple[Visit, ...]
    set_aside: Visit | None = None
    remarks: tuple[str, ...] = ()
    line: Line | None = None
    change_per_10000: Estimate | None = None
    spread: Estimate | None = None
    forecast: Forecast | None = None


def split_series(
    visits: Sequence[Visit], *, restarts: Sequence[float]
) -> tuple[tuple[Visit, ...], ...]:
    """Split visits where a chain was replaced; the last series is the present one.

    Parameters
    ----------
    visits : sequence of Visit
        In any order.
    restarts : sequence of float
        Mileages at which the chain was replaced. A visit at that very mileage belongs to the new
        series unless it says ``before_repair``.

    Returns
    -------
    tuple of tuple of Visit
        One for each chain, in order of mileage, empty where no visit was made.
    """
    edges = sorted(restarts)

    def series_of(visit: Visit) -> int:
        replaced = [
            edge < visit.mileage or (edge == visit.mileage and not visit.before_repair)
            for edge in edges
        ]
        return sum(replaced)

    ordered = sorted(visits, key=lambda visit: visit.mileage)
    return tuple(
        tuple(visit for visit in ordered if series_of(visit) == number)
        for number in range(len(edges) + 1)
    )


def judge_series(
    visits: Sequence[Visit],
    *,
    mileage_unit: MileageUnit,
    prior: SpreadPrior,
    limit_deg: float,
    reference_standard_uncertainty_deg: float,
) -> Trend:
    """Fit one series of visits (one chain) and forecast.

    Parameters
    ----------
    visits : sequence of Visit
        Of one series (:func:`split_series`), one cam, against one known-good.
    mileage_unit : {"km", "miles"}
        Of all mileages.
    prior : SpreadPrior
        Visit-to-visit spread of a healthy vehicle from the policy, beyond measurement
        uncertainty.
    limit_deg : float
        Size of the shift that counts as the limit, above 0, crank degrees.
    reference_standard_uncertainty_deg : float
        Standard uncertainty of the known-good, common to all visits: it moves the whole line,
        so it counts towards the limit but not in the change.

    Raises
    ------
    UsageError
        A limit not above 0, a negative uncertainty, or a number that isn't one.
    """
    ordered = tuple(sorted(visits, key=lambda visit: visit.mileage))
    _check(ordered, limit_deg, reference_standard_uncertainty_deg)
    lacking = _too_few(ordered, mileage_unit)
    if lacking:
        return Trend("too-few-visits", lacking, ordered)
    stand_out = _stand_out(ordered, prior)
    set_aside = None
    if stand_out is not None and stand_out.standing == "outlier":
        set_aside = ordered[stand_out.index]
    used = tuple(visit for visit in ordered if visit is not set_aside)
    line = _learn(used, prior)
    change = line.change(over=PER_MILEAGE)
    moving = change.low > 0.0 or change.high < 0.0
    forecast = None
    if moving:
        limit = math.copysign(limit_deg, change.value)
        forecast = _forecast(line, ordered, limit, reference_standard_uncertainty_deg, mileage_unit)
    return Trend(
        outcome="trending" if moving else "not-trending",
        reason=_reason(change, used, mileage_unit, moving=moving),
        visits=ordered,
        set_aside=set_aside,
        remarks=_remarks(ordered, used, stand_out, change, mileage_unit),
        line=line,
        change_per_10000=change,
        spread=line.posterior.spread(coverage=COVERAGE),
        forecast=forecast,
    )


def chance_at(
    trend: Trend, mileage: float, *, reference_standard_uncertainty_deg: float
) -> float | None:
    """Probability that a reading at this mileage is at the limit of the forecast or beyond.

    Parameters
    ----------
    trend : Trend
    mileage : float
        In the unit of the history.
    reference_standard_uncertainty_deg : float
        As for :func:`judge_series`.

    Returns
    -------
    float or None
        ``None`` where the visits tell no trend.
    """
    if trend.line is None or trend.forecast is None:
        return None
    return _reached(
        trend.line, mileage, trend.forecast.limit_deg, reference_standard_uncertainty_deg
    )


def _reached(line: Line, mileage: float, limit_deg: float, reference_deg: float) -> float:
    """Probability that a reading is at the limit, which has its sign, or beyond."""
    new = line.reading(mileage, standard_uncertainty_deg=reference_deg)
    return new.above(limit_deg) if limit_deg > 0.0 else new.below(limit_deg)


def _check(visits: tuple[Visit, ...], limit_deg: float, reference_deg: float) -> None:
    if not (math.isfinite(limit_deg) and limit_deg > 0.0):
        raise UsageError(f"the limit is {limit_deg:g}°; give its size, above 0")
    if not (math.isfinite(reference_deg) and reference_deg >= 0.0):
        raise UsageError(
            f"the known-good's uncertainty is {reference_deg:g}°; give one of 0 or above"
        )
    for visit in visits:
        if not (math.isfinite(visit.mileage) and visit.mileage >= 0.0):
            raise UsageError(
                f"visit {visit.name}: the mileage is {visit.mileage:g}; give one of 0 or above"
            )
        if not math.isfinite(visit.shift_deg):
            raise UsageError(f"visit {visit.name}: the shift is not a number; leave it out")
        uncertainty = visit.standard_uncertainty_deg
        if not (math.isfinite(uncertainty) and uncertainty >= 0.0):
            raise UsageError(
                f"visit {visit.name}: the uncertainty is {uncertainty:g}°; give one of 0 or above"
            )


def _too_few(visits: tuple[Visit, ...], unit: MileageUnit) -> str:
    if len(visits) < _FEWEST:
        seen = "no visit" if not visits else f"{len(visits)} visit{'s' if len(visits) > 1 else ''}"
        return f"Too few visits: {seen} with this chain, a trend needs {_FEWEST} or more."
    if visits[0].mileage == visits[-1].mileage:
        return (
            f"Too few visits: all {len(visits)} were made at {_distance(visits[0].mileage, unit)}; "
            "a trend needs another mileage."
        )
    return ""


def _arrays(visits: tuple[Visit, ...]) -> tuple[FloatArray, FloatArray, FloatArray]:
    mileage = np.array([visit.mileage for visit in visits], dtype=np.float64)
    shift = np.array([visit.shift_deg for visit in visits], dtype=np.float64)
    uncertainty = np.array([visit.standard_uncertainty_deg for visit in visits], dtype=np.float64)
    return mileage, shift, uncertainty


def _learn(visits: tuple[Visit, ...], prior: SpreadPrior) -> Line:
    mileage, shift, uncertainty = _arrays(visits)
    return learn_line(mileage, shift, standard_uncertainty_deg=uncertainty, prior=prior)


def _stand_out(visits: tuple[Visit, ...], prior: SpreadPrior) -> StandOut | None:
    mileage, shift, uncertainty = _arrays(visits)
    return find_stand_out(
        design=Axis.over(mileage).design(mileage), values_deg=shift,
        standard_uncertainty_deg=uncertainty, prior=prior,
    )  # fmt: skip


def _forecast(
    line: Line,
    visits: tuple[Visit, ...],
    limit_deg: float,
    reference_deg: float,
    unit: MileageUnit,
) -> Forecast:
    """Invert the line and its prediction band (with the known-good's uncertainty)."""
    last = visits[-1].mileage
    span = last - visits[0].mileage

    def reached(mileage: float) -> float:
        return _reached(line, mileage, limit_deg, reference_deg)

    def crossing(probability: float) -> float | None:
        if reached(last) >= probability:
            return last
        if reached(last + _FARTHEST * span) < probability:
            return None
        return increasing_root(
            lambda mileage: reached(mileage) - probability, start=last, step=0.1 * span
        )

    tail = 0.5 - COVERAGE / 2.0
    per_mileage = line.change(over=PER_MILEAGE).value / PER_MILEAGE
    remaining = max(0.0, (limit_deg - line.expected(last).value) / per_mileage)
    first, latest = crossing(tail), crossing(1.0 - tail)
    earliest = last + remaining if first is None else first
    return Forecast(
        limit_deg=limit_deg,
        mileage=last + remaining,
        earliest=earliest,
        latest=latest,
        remaining=remaining,
        extrapolated=remaining / span,
        text=_forecast_text(limit_deg, (last, remaining, span), (earliest, latest), unit),
    )


def _forecast_text(
    limit_deg: float,
    way: tuple[float, float, float],
    band: tuple[float, float | None],
    unit: MileageUnit,
) -> str:
    last, remaining, span = way
    earliest, latest = band
    if remaining == 0.0:
        return f"The line is at or beyond the limit of {limit_deg:+.1f}° already."
    until = "with no end in sight" if latest is None else f"{_distance(latest, unit)} at the latest"
    text = (
        f"At this rate the limit of {limit_deg:+.1f}° is reached in "
        f"{_distance(remaining, unit)}, at about {_distance(last + remaining, unit)} "
        f"({_distance(earliest, unit)} at the earliest, {until})."
    )
    if remaining > span:
        text += (
            f" That lies {remaining / span:.1f} times as far ahead as the visits span: "
            "measure again before relying on it."
        )
    return text


def _reason(change: Estimate, used: tuple[Visit, ...], unit: MileageUnit, *, moving: bool) -> str:
    first, last = (_exactly(visit.mileage, unit) for visit in (used[0], used[-1]))
    seen = f"over {len(used)} visits, {first} to {last}"
    rate = _rate(change, unit)
    if not moving:
        return f"No trend can be told: the shift changes by {rate}, which may be nothing, {seen}."
    return f"The cam comes {'later' if change.value > 0.0 else 'earlier'} by {rate}, {seen}."


def _remarks(
    ordered: tuple[Visit, ...],
    used: tuple[Visit, ...],
    stand_out: StandOut | None,
    change: Estimate,
    unit: MileageUnit,
) -> tuple[str, ...]:
    said = []
    if stand_out is not None and stand_out.disagree:
        said.append(_stand_out_text(ordered, stand_out))
    mileage, shift, _ = _arrays(used)
    median = PER_MILEAGE * median_slope(mileage, shift)
    if not change.low <= median <= change.high:
        said.append(
            f"The median slope between pairs of visits is {median:+.2f}° per 10,000 {unit}, "
            "outside that: a few visits pull the line, or it is bent. Look at the picture."
        )
    return tuple(said)


def _stand_out_text(visits: tuple[Visit, ...], stand_out: StandOut) -> str:
    if stand_out.standing == "cannot-tell":
        return (
            f"The {len(visits)} visits lie off a line by more than their uncertainty explains, "
            "and with fewer than 5 it can't be told which one is wrong: measure again."
        )
    odd = visits[stand_out.index]
    fate = (
        "left out of the line" if stand_out.standing == "outlier" else "kept, and widens the band"
    )
    return (
        f"Visit {odd.name} stands out: {odd.shift_deg:+.1f}° where the others would have "
        f"{stand_out.others.value:+.1f}° ± {stand_out.others.uncertainty:.1f}°. It is {fate}; "
        "check its recording and its mileage."
    )


def _rate(change: Estimate, unit: MileageUnit) -> str:
    return f"{change.value:+.2f}° per 10,000 {unit} ({change.low:+.2f}° to {change.high:+.2f}°)"


def _exactly(mileage: float, unit: MileageUnit) -> str:
    return f"{mileage:,.0f} {unit}"


def _distance(mileage: float, unit: MileageUnit) -> str:
    step = 1000.0 if mileage >= PER_MILEAGE else 100.0
    return f"{step * round(mileage / step):,.0f} {unit}"
