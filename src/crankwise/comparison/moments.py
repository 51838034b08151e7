"""What very many known-goods say, learned from their count, mean and variance alone.

The model is that of :mod:`crankwise.comparison.spread`. Where all values are measured equally well
these three tell as much about it as the values themselves (A. Gelman et al., Bayesian Data
Analysis, 3rd ed., section 3.2: they are sufficient), so a database can add them up and no value has
to be read. Measurement noise is taken as alike, with the root mean square of the standard
uncertainties; among a thousand known-goods its differences average out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from crankwise.comparison.robust import StandOut, standing
from crankwise.comparison.spread import SpreadPosterior, SpreadPrior, WeightedFit, weighed

if TYPE_CHECKING:
    from crankwise.model.recording import FloatArray

_ONE: Final = np.ones(1)


@dataclass(frozen=True, slots=True)
class Moments:
    """Values added up.

    Attributes
    ----------
    count : int
        Two or more.
    mean_deg : float
    variance_deg2 : float
        About the mean, over ``count - 1``.
    noise_deg : float
        Root mean square of the values' standard uncertainties.
    """

    count: int
    mean_deg: float
    variance_deg2: float
    noise_deg: float

    @classmethod
    def of(cls, count: int, mean_deg: float, mean_square_deg2: float, noise_deg: float) -> Moments:
        """Moments from means of values and of their squares.

        >>> round(Moments.of(3, 2.0, (1.0 + 4.0 + 9.0) / 3.0, 0.1).variance_deg2, 9)
        1.0
        """
        about = max(mean_square_deg2 - mean_deg**2, 0.0)
        return cls(count, mean_deg, about * count / (count - 1), noise_deg)

    @property
    def excess_spread_deg(self) -> float:
        """What the noise leaves of the standard deviation seen."""
        return math.sqrt(max(0.0, self.variance_deg2 - self.noise_deg**2))

    def without(self, value_deg: float) -> Moments:
        """Moments of all others; there must be two or more of them.

        >>> Moments(3, 2.0, 1.0, 0.1).without(3.0)
        Moments(count=2, mean_deg=1.5, variance_deg2=0.5, noise_deg=0.1)
        """
        away = value_deg - self.mean_deg
        left = self.count - 1
        squares = left * self.variance_deg2 - away**2 * self.count / left
        variance = max(squares, 0.0) / (left - 1)
        return replace(
            self, count=left, mean_deg=self.mean_deg - away / left, variance_deg2=variance
        )


def learn_from_moments(moments: Moments, prior: SpreadPrior) -> SpreadPosterior:
    """Combine moments with what was known of the spread."""
    count = moments.count
    squares = (count - 1) * moments.variance_deg2

    def at(log_spread: FloatArray) -> tuple[FloatArray, WeightedFit]:
        variance = np.exp(2.0 * log_spread) + moments.noise_deg**2
        of_mean = variance / count
        density = -0.5 * (count * np.log(variance) - np.log(of_mean) + squares / variance)
        fit = WeightedFit(
            coefficients=np.full((len(variance), 1), moments.mean_deg),
            covariance=of_mean[:, None, None],
            chi_square=squares / variance,
        )
        return density, fit

    return weighed(at, prior=prior, dof=prior.dof + count - 1, squares_deg2=squares)


def stand_out_from_moments(moments: Moments, farthest_deg: float, prior: SpreadPrior) -> StandOut:
    """How far out the value farthest from the mean lies; its place is told as 0.

    The test is that of :func:`crankwise.comparison.robust.find_stand_out`.
    """
    others = learn_from_moments(moments.without(farthest_deg), prior)
    predicted = others.new_value(_ONE, standard_uncertainty_deg=moments.noise_deg)
    probability = min(1.0, moments.count * predicted.beyond(farthest_deg))
    return StandOut(
        standing=standing(moments.count - 1, probability),
        index=0,
        probability=probability,
        others=predicted.estimate(coverage=0.95),
    )
