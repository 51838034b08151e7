r"""How much healthy things differ beyond measurement noise, learned from few of them.

Values :math:`y_i` scatter about a mean or a line :math:`x_i \beta` by a common spread
:math:`\tau` and, on top, by their own known measurement uncertainty :math:`u_i`:

.. math:: y_i \sim N(x_i \beta,\; \tau^2 + u_i^2).

For :math:`\beta` nothing is assumed. For :math:`\tau^2` a scaled inverse chi-square distribution
is taken as known beforehand: a spread from the policy that counts as ``dof`` further values.
So one value gives honest limits, a few give limits between the policy's and their own, and many
outvote the policy. Without measurement uncertainty and with a policy that counts for nothing this
is exactly Student's t. The integration over :math:`\tau` is done on a grid.

Source: A. Gelman et al., Bayesian Data Analysis, 3rd ed., sections 2.6, 3.2 and 5.4 (the normal
model with unknown variance, the scaled inverse chi-square prior, the hierarchical normal model).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr

from crankwise.comparison.mixture import Estimate, NormalMixture
from crankwise.comparison.numeric import increasing_root
from crankwise.comparison.tolerance import covering_offset
from crankwise.errors import UsageError
from crankwise.model.recording import FloatArray

if TYPE_CHECKING:
    from collections.abc import Callable

_COARSE, _FINE = 400, 320  # nodes; halving them changes no limit by more than 1e-6 of itself
_NEGLIGIBLE = 36.0  # a log-density this far below the peak (2e-16) adds nothing


@dataclass(frozen=True, slots=True)
class SpreadPrior:
    """Spread taken as known before any value is seen.

    Attributes
    ----------
    spread_deg : float
        Standard deviation, crank degrees; above 0.
    dof : float
        How many further values it counts as; above 0.
    source : str
        Where it comes from, in words for the report (``policy: our assumption``).
    """

    spread_deg: float
    dof: float
    source: str

    def __post_init__(self) -> None:
        for value, name in ((self.spread_deg, "spread"), (self.dof, "degrees of freedom")):
            if not (math.isfinite(value) and value > 0.0):
                raise UsageError(f"{name} from {self.source} is {value:g}; give a number above 0")


@dataclass(frozen=True, slots=True, eq=False)
class WeightedFit:
    """Least squares with given variances, for k sets of variances at once.

    Attributes
    ----------
    coefficients : np.ndarray [shape=(k, p)]
    covariance : np.ndarray [shape=(k, p, p)]
        Of the coefficients, if the variances given are right.
    chi_square : np.ndarray [shape=(k,)]
        Weighted sum of squared residuals.
    """

    coefficients: FloatArray
    covariance: FloatArray
    chi_square: FloatArray


def weighted_fit(design: FloatArray, values: FloatArray, variance: FloatArray) -> WeightedFit:
    """Fit ``design @ coefficients`` to values of known variance.

    Parameters
    ----------
    design : np.ndarray [shape=(n, p)]
        One row for each value; columns of like size.
    values : np.ndarray [shape=(n,)]
    variance : np.ndarray [shape=(k, n)]
        Above 0.
    """
    weight = 1.0 / variance
    weighted = weight[:, :, None] * design
    covariance = np.linalg.inv(np.swapaxes(weighted, 1, 2) @ design)
    coefficients = (covariance @ (np.swapaxes(weighted, 1, 2) @ values)[:, :, None])[:, :, 0]
    residual = values - coefficients @ design.T
    chi_square = (weight * residual**2).sum(axis=1)
    return WeightedFit(coefficients, np.asarray(covariance), np.asarray(chi_square))


@dataclass(frozen=True, slots=True, eq=False)
class SpreadPosterior:
    """What is known of the spread, and of the mean or line, after the values.

    Attributes
    ----------
    spread_deg, weight : np.ndarray [shape=(k,)]
        Possible spreads, crank degrees, and their probabilities.
    fit : WeightedFit
        The mean or line under each of them.
    """

    spread_deg: FloatArray
    weight: FloatArray
    fit: WeightedFit

    def expected(self, row: FloatArray) -> NormalMixture:
        """Mean or line at ``row`` [shape=(p,)] of the design, without spread about it."""
        variance = np.einsum("p,kpq,q->k", row, self.fit.covariance, row)
        return NormalMixture(self.fit.coefficients @ row, np.sqrt(variance), self.weight)

    def new_value(self, row: FloatArray, *, standard_uncertainty_deg: float) -> NormalMixture:
        """One further value at ``row``, measured with this standard uncertainty."""
        line = self.expected(row)
        extra = self.spread_deg**2 + standard_uncertainty_deg**2
        width = np.sqrt(line.standard_deviation**2 + extra)
        return NormalMixture(line.mean, width, self.weight)

    def spread(self, *, coverage: float) -> Estimate:
        """Median spread with its interval, crank degrees."""
        # The middle of each node's share, so that a coarse grid has no bias.
        reached = np.cumsum(self.weight) - 0.5 * self.weight
        tail = 0.5 - coverage / 2.0
        low, middle, high = np.exp(
            np.interp([tail, 0.5, 1.0 - tail], reached, np.log(self.spread_deg))
        )
        return Estimate(float(middle), float(low), float(high))

    def share(self, row: FloatArray, *, coverage: float, confidence: float) -> Estimate:
        """Bounds at ``row`` that hold a share of all values, with a stated confidence.

        For true values, without measurement noise: a tolerance interval. ``value`` is its centre.

        Parameters
        ----------
        row : np.ndarray [shape=(p,)]
            Of the design.
        coverage, confidence : float
            Share of all values, and how sure it is that the bounds hold it; 0 to 1.
        """
        mean = self.expected(row)
        offset = mean.mean - mean.centre

        def short_of(log_half_width: float) -> float:
            # How far the true mean may lie off the centre, for each possible spread.
            reach = math.exp(log_half_width) / self.spread_deg
            room = self.spread_deg * covering_offset(reach, coverage=coverage)
            above = ndtr((room - offset) / mean.standard_deviation)
            below = ndtr((-room - offset) / mean.standard_deviation)
            held = np.where(np.isnan(room), 0.0, above - below)
            return float(mean.weight @ held) - confidence

        widest = self.spread(coverage=0.95).high
        half = math.exp(increasing_root(short_of, start=math.log(widest), step=0.5))
        return Estimate(mean.centre, mean.centre - half, mean.centre + half)


def learn_spread(
    *,
    design: FloatArray,
    values_deg: FloatArray,
    standard_uncertainty_deg: FloatArray,
    prior: SpreadPrior,
) -> SpreadPosterior:
    """Combine values with what was known of their spread.

    Parameters
    ----------
    design : np.ndarray [shape=(n, p)]
        One row for each value: a 1 for a mean, a 1 and the place for a line.
    values_deg, standard_uncertainty_deg : np.ndarray [shape=(n,)]
        Values, and the standard uncertainty (one standard deviation, 0 allowed) of each.
    prior : SpreadPrior
        Spread taken as known, and for how many values it counts.

    Raises
    ------
    UsageError
        A value that is no number, a negative uncertainty, or fewer than one degree of freedom
        in values and prior together.
    """
    count, unknowns = design.shape
    dof = prior.dof + count - unknowns
    if not np.isfinite(values_deg).all():
        raise UsageError("a value of a known-good or a visit is not a number; leave it out")
    if not (np.isfinite(standard_uncertainty_deg) & (standard_uncertainty_deg >= 0.0)).all():
        raise UsageError("an uncertainty is negative or not a number; give one of 0 or above")
    if count < unknowns or dof < 1.0:
        raise UsageError(
            f"{count} value(s) with a spread that counts as {prior.dof:g} leave nothing to tell "
            "the spread from; give more values or a spread that counts for more"
        )

    def at(log_spread: FloatArray) -> tuple[FloatArray, WeightedFit]:
        spread = np.exp(log_spread)
        variance = spread[:, None] ** 2 + standard_uncertainty_deg**2
        fit = weighted_fit(design, values_deg, variance)
        _, log_precision = np.linalg.slogdet(fit.covariance)
        density = -0.5 * (np.log(variance).sum(axis=1) - log_precision + fit.chi_square)
        return density, fit

    squares = len(values_deg) * float(np.ptp(values_deg)) ** 2
    return weighed(at, prior=prior, dof=dof, squares_deg2=squares)


def weighed(
    at: Callable[[FloatArray], tuple[FloatArray, WeightedFit]],
    *,
    prior: SpreadPrior,
    dof: float,
    squares_deg2: float,
) -> SpreadPosterior:
    """Weigh the possible spreads by values and prior together.

    Parameters
    ----------
    at : callable
        Told logarithms of spreads [shape=(k,)], returns the logarithm of the values' density
        under each, with the mean or line integrated out, and the mean or line itself.
    prior : SpreadPrior
    dof : float
        Degrees of freedom of values and prior together.
    squares_deg2 : float
        No less than the sum of the values' squared residuals.
    """

    def with_prior(log_spread: FloatArray) -> tuple[FloatArray, WeightedFit]:
        density, fit = at(log_spread)
        known = (prior.spread_deg / np.exp(log_spread)) ** 2
        return density - prior.dof * (log_spread + 0.5 * known), fit

    log_spread = _grid(lambda nodes: with_prior(nodes)[0], _range(squares_deg2, prior, dof))
    density, fit = with_prior(log_spread)
    weight = np.exp(density - density.max())
    return SpreadPosterior(np.exp(log_spread), weight / weight.sum(), fit)


def _range(squares_deg2: float, prior: SpreadPrior, dof: float) -> tuple[float, float]:
    """Logarithms of spreads outside which the density is negligible."""
    # Against its peak at p, an inverse chi-square density of d degrees of freedom over x = ln(t/p)
    # has the logarithm -d (x + (exp(-2 x) - 1) / 2). Below the peak that is under -c for
    # exp(-2 x) = 1 + 2 c/d + 2 sqrt(c/d), since exp(s) >= 1 + s + s^2 / 2; above it for
    # x = c/d + 1/2. The peak is lowest if the values agree entirely.
    known = prior.dof * prior.spread_deg**2
    lowest = known / (dof + 2.0 * _NEGLIGIBLE + 2.0 * math.sqrt(_NEGLIGIBLE * dof))
    highest = (known + squares_deg2) / dof
    return 0.5 * math.log(lowest), 0.5 * math.log(highest) + _NEGLIGIBLE / dof + 0.5


def _grid(density: Callable[[FloatArray], FloatArray], ends: tuple[float, float]) -> FloatArray:
    """Even nodes over the part of the range that matters."""
    coarse = np.linspace(*ends, _COARSE)
    height = density(coarse)
    matters = np.flatnonzero(height > height.max() - _NEGLIGIBLE)
    first, last = max(matters[0] - 1, 0), min(matters[-1] + 1, _COARSE - 1)
    return np.linspace(coarse[first], coarse[last], _FINE)
