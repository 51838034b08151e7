"""One bad value among several: which one it is, and whether that can be told at all.

Each value is held against the prediction from all others. Without measurement uncertainty and
without a spread known beforehand this is Grubbs' test in its leave-one-out form: the deleted
residual has Student's t distribution with n - 2 degrees of freedom, and the probability is
multiplied by n because the most extreme value was picked (F. E. Grubbs, Technometrics 11 (1969)
1; NIST/SEMATECH e-Handbook 1.3.5.17.1). The spread known beforehand keeps three values that
agree by chance from condemning a healthy fourth.

Medians stand beside it as a second opinion that several bad values at once can't sway.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from crankwise.comparison.mixture import Estimate
from crankwise.comparison.spread import SpreadPrior, learn_spread

if TYPE_CHECKING:
    from crankwise.model.recording import FloatArray

STRAGGLER, OUTLIER = 0.05, 0.01
"""Probabilities at which ISO 5725-2 calls a value a straggler (named, kept) and an outlier."""

_LEAST_BEYOND_THE_FIT = 3
_FAR = 3.5
_NORMAL_MAD = 0.6744897501960817  # median absolute deviation of a standard normal distribution

Standing = Literal["none", "straggler", "outlier", "cannot-tell"]


@dataclass(frozen=True, slots=True)
class StandOut:
    """The value that lies farthest from the others.

    Attributes
    ----------
    standing : {"none", "straggler", "outlier", "cannot-tell"}
        ``cannot-tell`` if there are too few values to say which one is wrong.
    index : int
        Place of the value among those given.
    probability : float
        Of a value at least so far out, were all healthy (the number of values allowed for).
    others : Estimate
        Where the others would have it, with the 95 % interval for such a value, crank degrees.
    """

    standing: Standing
    index: int
    probability: float
    others: Estimate

    @property
    def disagree(self) -> bool:
        """Whether the values differ more than chance explains, whichever may be wrong."""
        return self.probability < STRAGGLER


def find_stand_out(
    *,
    design: FloatArray,
    values_deg: FloatArray,
    standard_uncertainty_deg: FloatArray,
    prior: SpreadPrior,
) -> StandOut | None:
    """Find the value that fits the others least.

    Parameters are those of :func:`crankwise.comparison.spread.learn_spread`. Returns None where
    nothing is left to hold a value against.
    """
    count, unknowns = design.shape
    if count <= unknowns or prior.dof + count - 1 - unknowns < 1.0:
        return None
    everything = learn_spread(
        design=design, values_deg=values_deg,
        standard_uncertainty_deg=standard_uncertainty_deg, prior=prior,
    )  # fmt: skip
    index = _least_fitting(
        design, values_deg, standard_uncertainty_deg, everything.spread(coverage=0.95).value
    )
    rest = np.arange(count) != index
    if np.linalg.matrix_rank(design[rest]) < unknowns:
        return None
    predicted = learn_spread(
        design=design[rest], values_deg=values_deg[rest],
        standard_uncertainty_deg=standard_uncertainty_deg[rest], prior=prior,
    ).new_value(
        design[index], standard_uncertainty_deg=float(standard_uncertainty_deg[index])
    )  # fmt: skip
    probability = min(1.0, count * predicted.beyond(float(values_deg[index])))
    return StandOut(
        standing=standing(count - unknowns, probability),
        index=index,
        probability=probability,
        others=predicted.estimate(coverage=0.95),
    )


def scaled_mad(values: FloatArray) -> float:
    """Median absolute deviation from the median, as a standard deviation of normal values.

    Divided by 0.67449, the third quartile of the standard normal distribution (F. R. Hampel,
    J. Am. Stat. Assoc. 69 (1974) 383).
    """
    return float(np.median(np.abs(values - np.median(values)))) / _NORMAL_MAD


def far_from_median(values: FloatArray, *, at_least: FloatArray) -> list[int]:
    """Places of values more than 3.5 scaled median absolute deviations from the median.

    The limit is that of B. Iglewicz and D. C. Hoaglin, How to Detect and Handle Outliers (1993).

    Parameters
    ----------
    values : np.ndarray [shape=(n,)]
    at_least : np.ndarray [shape=(n,)]
        Standard deviation below which the one of the values is not believed, so that values that
        agree by chance don't condemn the next.
    """
    scale = np.maximum(scaled_mad(values), at_least)
    return [int(i) for i in np.flatnonzero(np.abs(values - np.median(values)) > _FAR * scale)]


def median_slope(place: FloatArray, values: FloatArray) -> float:
    """Median of the slopes of all pairs of points: the Theil-Sen slope.

    Less than 29 % bad points can't carry it off (P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379).

    Parameters
    ----------
    place, values : np.ndarray [shape=(n,)]
        Pairs at one place have no slope and are left out.
    """
    first, second = np.triu_indices(len(place), k=1)
    run = place[second] - place[first]
    apart = run != 0.0
    return float(np.median((values[second] - values[first])[apart] / run[apart]))


def _least_fitting(
    design: FloatArray, values: FloatArray, uncertainty: FloatArray, spread: float
) -> int:
    """Largest deleted residual, in its own standard deviations, at a common spread."""
    variance = spread**2 + uncertainty**2
    whitened = design / np.sqrt(variance)[:, None]
    basis, _ = np.linalg.qr(whitened)
    scaled = values / np.sqrt(variance)
    residual = scaled - basis @ (basis.T @ scaled)
    # A value that alone fixes a coefficient has no residual and nothing to be held against.
    freedom = 1.0 - (basis**2).sum(axis=1)
    held = freedom > 1e-9
    size = np.abs(residual) / np.sqrt(np.where(held, freedom, 1.0))
    return int(np.argmax(np.where(held, size, 0.0)))


def standing(beyond_the_fit: int, probability: float) -> Standing:
    """What ISO 5725-2 calls a value of this probability, with so many values beyond the fit."""
    if beyond_the_fit < _LEAST_BEYOND_THE_FIT:
        return "cannot-tell"
    if probability < OUTLIER:
        return "outlier"
    return "straggler" if probability < STRAGGLER else "none"
