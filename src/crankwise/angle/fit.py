"""Named teeth to crank angle: smooth curve, learned tooth errors, what stays uncertain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.angle.sparse import spacing_sd_deg
from crankwise.angle.spline import fit, knot_step_deg
from crankwise.model.crank_angle import AngleRun, CrankAngle
from crankwise.model.recording import FloatArray
from crankwise.model.teeth import IntArray, Teeth, ToothRun
from crankwise.model.wheel import Wheel

_DENSE_TEETH = 24
CUTOFF_ORDER = 18.0
"""Orders of the revolution that the curve follows. Firing ripple of a four-stroke engine lies in
orders up to about 10, compression on the starter up to about 14 (common practice, no source);
what is above is tooth-to-tooth jitter."""
COARSE_ORDER = 12.0
_LEARNING_ROUNDS = 6
_MIN_LEARNING_REVOLUTIONS = 3
_OUTLIER_SD = 6.0
_FASTEST_SHARE = 0.4
"""Least time a degree takes on the curve, as a share of the least between two teeth."""
_LEAST_ORDER = 0.3
_LEAST_TEETH = 4
"""So many teeth hold the curve of a run; the penalty alone leaves it three freedoms."""
_MOST_ERROR_SHARE = 0.4
"""A tooth off by more of a pitch would be counted as another; neighbours must keep their order."""


def crank_angle(teeth: Teeth) -> CrankAngle:
    """Crank angle over time from named teeth.

    Where the wheel has enough teeth, the place of each is learned: what repeats every revolution
    and is too quick for the engine's speed can only be the tooth. Slower repeating deviations
    can't be told from speed ripple; they stay, with an uncertainty.
    """
    wheel = teeth.wheel
    is_dense = wheel.teeth_per_rev >= _DENSE_TEETH
    cutoff = cutoff_order(wheel.teeth_per_rev)
    coarse = COARSE_ORDER if is_dense else 0.7 * wheel.teeth_per_rev
    named = [_Named.of(run, wheel) for run in teeth.runs]
    weights = [np.ones(run.teeth) for run in teeth.runs]
    error = np.zeros(wheel.teeth_per_rev)
    most = _MOST_ERROR_SHARE * min(wheel.intervals_deg)
    learns = is_dense and _revolutions(teeth) >= _MIN_LEARNING_REVOLUTIONS
    rounds = _LEARNING_ROUNDS if learns else 2
    for round_number in range(rounds):
        runs = _fit_runs(named, error, weights, cutoff)
        residuals = _residuals_deg(named, error, runs)
        if round_number == 1:
            weights = _drop_outliers(residuals)
        if learns:
            error = error + _mean_by_tooth(named, residuals, weights, len(error))
            error = np.clip(error, -most, most)
    runs = _fit_runs(named, error, weights, cutoff)
    coarse_runs = _fit_runs(named, error, weights, coarse)
    residuals = _residuals_deg(named, error, runs)
    good = np.concatenate(weights) > 0
    scatter = float(np.sqrt(np.mean(np.concatenate(residuals)[good] ** 2)))
    sd, unlearned, share = _what_stays(error, learns=learns)
    if not is_dense:
        unlearned = spacing_sd_deg(teeth)
    return CrankAngle(
        teeth=teeth,
        runs=tuple(runs),
        coarse_runs=tuple(coarse_runs),
        tooth_error_deg=error if learns else np.empty(0),
        tooth_error_sd_deg=sd,
        learned_share=share,
        unlearned_sd_deg=unlearned,
        unlearned_dof=max(share * wheel.teeth_per_rev, 1.0) if learns else np.inf,
        residual_sd_deg=scatter,
        outlier_teeth=int((~good).sum()),
    )


def cutoff_order(teeth_per_rev: int) -> float:
    """Order of the revolution up to which the curve follows a wheel's teeth."""
    return CUTOFF_ORDER if teeth_per_rev >= _DENSE_TEETH else float(teeth_per_rev)


def _revolutions(teeth: Teeth) -> float:
    return sum(run.teeth for run in teeth.runs) / teeth.wheel.teeth_per_rev


@dataclass(frozen=True, slots=True, eq=False)
class _Named:
    """The teeth of a run: when, where they should be, and which they are."""

    times_s: FloatArray
    nominal_deg: FloatArray
    tooth: IntArray

    @classmethod
    def of(cls, run: ToothRun, wheel: Wheel) -> _Named:
        return cls(run.times_s, run.angles_deg(wheel), run.number % wheel.teeth_per_rev)

    def placed_deg(self, error: FloatArray) -> FloatArray:
        """Where they are, given the error of each tooth."""
        return np.asarray(self.nominal_deg + error[self.tooth])


def _fit_runs(
    runs: list[_Named], error: FloatArray, weights: list[FloatArray], cutoff: float
) -> list[AngleRun]:
    return [_fit_run(*each, error, cutoff) for each in zip(runs, weights, strict=True)]


def _fit_run(run: _Named, weight: FloatArray, error: FloatArray, cutoff: float) -> AngleRun:
    """Fit one run, following its teeth less closely where they would have time run backwards.

    Between few teeth a curve that follows a hard change of speed overshoots; an engine can't.
    """
    per_rev = len(error)
    angle = run.placed_deg(error)
    fastest = _FASTEST_SHARE * float(np.min(np.diff(run.times_s) / np.diff(angle)))
    while True:
        fitted = fit(
            angle,
            run.times_s,
            weight,
            step_deg=knot_step_deg(per_rev),
            cutoff_order=cutoff,
            teeth_per_rev=per_rev,
        )
        if cutoff < _LEAST_ORDER or fitted.least_slowness() > fastest:
            return fitted
        cutoff *= 0.7


def _residuals_deg(
    runs: list[_Named], error: FloatArray, fitted: list[AngleRun]
) -> list[FloatArray]:
    """How far each tooth lies before (-) or behind (+) its place, degrees."""
    residuals = []
    for run, curve in zip(runs, fitted, strict=True):
        time_s, slowness = curve.time_and_slowness_at(run.placed_deg(error))
        residuals.append(np.asarray((run.times_s - time_s) / slowness))
    return residuals


def _drop_outliers(residuals: list[FloatArray]) -> list[FloatArray]:
    """Weight 0 for teeth far off the curve (median absolute deviation, 1.4826).

    A short run whose teeth are all but a few far off keeps every one: none is known to be better.
    """
    everything = np.concatenate(residuals)
    spread = 1.482602 * float(np.median(np.abs(everything)))
    limit = max(_OUTLIER_SD * spread, 0.3)
    near = [np.abs(residual) < limit for residual in residuals]
    return [
        (good if good.sum() >= _LEAST_TEETH else np.ones_like(good)).astype(np.float64)
        for good in near
    ]


def _mean_by_tooth(
    runs: list[_Named], residuals: list[FloatArray], weights: list[FloatArray], count: int
) -> FloatArray:
    """Mean residual of each tooth, less their common mean: the grid keeps its zero."""
    tooth = np.concatenate([run.tooth for run in runs])
    weight = np.concatenate(weights)
    value = np.concatenate(residuals)
    total = np.bincount(tooth, weight * value, minlength=count)
    seen = np.bincount(tooth, weight, minlength=count)
    mean = np.divide(total, seen, out=np.zeros(count), where=seen > 0)
    return np.asarray(mean - mean.mean())


def _what_stays(error: FloatArray, *, learns: bool) -> tuple[float, float, float]:
    """How large the tooth errors are, what of them stays in an angle, what share is learned.

    Returns their standard deviation, the standard uncertainty of an angle from the part that
    stays (both degrees), and the share of a lone tooth's error that learning shows.

    If the errors of neighbouring teeth are independent, their power spreads evenly over the
    orders. Learning takes the share above the border order, where the gain of the curve to the
    power of the rounds is one half; the share below it passes into the angles.
    """
    count = len(error)
    if not learns:
        return 0.0, 0.0, 0.0
    border = CUTOFF_ORDER * (2.0 ** (1.0 / _LEARNING_ROUNDS) - 1.0) ** (1.0 / 6.0)
    passed = min((2.0 * border + 1.0) / count, 0.9)
    learned = 1.0 - passed
    sd = float(np.sqrt((error**2).sum() / max(learned * count, 1.0)))
    return sd, sd * float(np.sqrt(passed)), learned
