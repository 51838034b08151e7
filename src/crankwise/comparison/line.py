"""A straight line through values that scatter by their uncertainty and by a spread of their own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crankwise.comparison.spread import SpreadPosterior, SpreadPrior, learn_spread
from crankwise.comparison.tolerance import check_probability

if TYPE_CHECKING:
    from crankwise.comparison.mixture import Estimate, NormalMixture
    from crankwise.model.recording import FloatArray

COVERAGE = 0.95
"""Coverage of every interval that doesn't state another."""


@dataclass(frozen=True, slots=True)
class Axis:
    """Place on a line, moved and scaled so that the columns of its design are alike."""

    middle: float
    scale: float

    @classmethod
    def over(cls, place: FloatArray) -> Axis:
        """Axis for places [shape=(n,)], not all the same."""
        return cls(float(np.mean(place)), float(np.ptp(place)))

    def design(self, place: FloatArray) -> FloatArray:
        """Rows of the design for places [shape=(n,)]."""
        return np.column_stack([np.ones(len(place)), (place - self.middle) / self.scale])

    def row(self, place: float) -> FloatArray:
        """Row of the design for one place."""
        return np.array([1.0, (place - self.middle) / self.scale])


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A line with all that is known of it.

    Attributes
    ----------
    posterior : SpreadPosterior
        Of the line and of the values' own spread.
    axis : Axis
    """

    posterior: SpreadPosterior
    axis: Axis

    def expected(self, place: float) -> Estimate:
        """Value on the line with its 95 % interval, crank degrees."""
        return self.posterior.expected(self.axis.row(place)).estimate(coverage=COVERAGE)

    def predict(
        self, place: float, *, standard_uncertainty_deg: float, coverage: float
    ) -> Estimate:
        """Value that a measurement at this place will give, with its prediction interval.

        ``standard_uncertainty_deg`` is that of the measurement itself.

        Raises
        ------
        UsageError
            A coverage outside 0 to 1.
        """
        check_probability(coverage, "coverage")
        new = self.reading(place, standard_uncertainty_deg=standard_uncertainty_deg)
        return new.estimate(coverage=coverage)

    def reading(self, place: float, *, standard_uncertainty_deg: float) -> NormalMixture:
        """Distribution of the value measured at this place, crank degrees."""
        return self.posterior.new_value(
            self.axis.row(place), standard_uncertainty_deg=standard_uncertainty_deg
        )

    def change(self, *, over: float) -> Estimate:
        """Change over a distance with its 95 % interval, crank degrees."""
        row = np.array([0.0, over / self.axis.scale])
        return self.posterior.expected(row).estimate(coverage=COVERAGE)


def learn_line(
    place: FloatArray,
    values_deg: FloatArray,
    *,
    standard_uncertainty_deg: FloatArray,
    prior: SpreadPrior,
) -> Line:
    """Learn line and spread together.

    Parameters
    ----------
    place, values_deg, standard_uncertainty_deg : np.ndarray [shape=(n,)]
        Points, not all at one place, and the standard uncertainty of each value.
    prior : SpreadPrior
        Spread about the line taken as known beforehand.

    Raises
    ------
    UsageError
        See :func:`crankwise.comparison.spread.learn_spread`.
    """
    axis = Axis.over(place)
    posterior = learn_spread(
        design=axis.design(place), values_deg=values_deg,
        standard_uncertainty_deg=standard_uncertainty_deg, prior=prior,
    )  # fmt: skip
    return Line(posterior, axis)
