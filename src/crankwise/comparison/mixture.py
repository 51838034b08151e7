"""A weighted mixture of normal distributions: what is known when the spread itself is uncertain."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from crankwise.comparison.numeric import increasing_root
from crankwise.model.recording import FloatArray


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with the interval it lies in; all in one unit, named by whoever holds it."""

    value: float
    low: float
    high: float

    @property
    def uncertainty(self) -> float:
        """Half the interval: the expanded uncertainty."""
        return 0.5 * (self.high - self.low)


@dataclass(frozen=True, slots=True, eq=False)
class NormalMixture:
    """Normal distributions of various means and widths, each with a probability.

    Attributes
    ----------
    mean, standard_deviation, weight : np.ndarray [shape=(k,)]
        One element for each component; the weights add up to one.
    """

    mean: FloatArray
    standard_deviation: FloatArray
    weight: FloatArray

    @property
    def centre(self) -> float:
        """Mean of the mixture."""
        return float(self.weight @ self.mean)

    def below(self, value: float) -> float:
        """Probability of a value below this one."""
        return float(self.weight @ ndtr((value - self.mean) / self.standard_deviation))

    def above(self, value: float) -> float:
        """Probability of a value above this one; exact far out, where 1 - below is not."""
        return float(self.weight @ ndtr((self.mean - value) / self.standard_deviation))

    def beyond(self, value: float) -> float:
        """Two-sided probability of a value at least as far out as this one."""
        return min(1.0, 2.0 * min(self.below(value), self.above(value)))

    def quantile(self, probability: float) -> float:
        """Value that is not exceeded with this probability."""
        typical = math.exp(float(self.weight @ np.log(self.standard_deviation)))
        return increasing_root(
            lambda value: self.below(value) - probability, start=self.centre, step=typical
        )

    def estimate(self, *, coverage: float) -> Estimate:
        """Centre with the interval that leaves the same probability on either side."""
        tail = 0.5 - coverage / 2.0
        return Estimate(self.centre, self.quantile(tail), self.quantile(1.0 - tail))
