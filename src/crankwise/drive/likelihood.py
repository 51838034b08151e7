r"""How well a fault whose sizes aren't known explains what was seen.

Shifts :math:`y \sim N(A s, V)` with sizes :math:`s` that are unknown but not free: each has a
normal prior about 0 cut to its range, or whole steps. The marginal likelihood
:math:`\int N(y; A s, V)\, p(s)\, ds` is the likelihood of the normal prior without its cuts times
the share of the sizes' posterior inside the range over that of the prior; whole steps and ranges
with a hole in the middle are summed over. Only the share of a normal distribution inside a box has
no closed form beyond one size. It is taken one size after the other at fixed quasi-random points,
all in logarithms, so that a size far outside its range gets the tiny likelihood it deserves.

Sources: A. Gelman et al., Bayesian Data Analysis, 3rd ed., section 7.4 (marginal likelihoods);
A. Genz, Numerical computation of multivariate normal probabilities, J. Comput. Graph. Stat. 1
(1992) 141 (the box, one variable after the other).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import log_ndtr, logsumexp, ndtri_exp

from crankwise.model.recording import FloatArray

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.drive.signature import FreeSize

_POINTS = 256
_PRIMES = np.array([2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0, 19.0, 23.0, 29.0, 31.0])
_SWEEPS = 200
_LOG_2PI = math.log(2.0 * math.pi)


@dataclass(frozen=True, slots=True)
class _Range:
    """Values of one size: between ``low`` and ``high``, or exactly one where both are equal.

    ``log_weight`` is that of a whole step; 0 for a true range.
    """

    low: float
    high: float
    log_weight: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Split:
    """The combinations of ranges of all sizes, those in whole steps apart from the others."""

    stepped: list[int]
    smooth: list[int]
    steps: FloatArray  # (k, number of stepped sizes)
    low: FloatArray  # (k, number of smooth sizes)
    high: FloatArray
    log_weight: FloatArray  # (k,): prior of the steps, share of the prior in the ranges


def log_normal_density(values: FloatArray, covariance: FloatArray) -> FloatArray:
    """Logarithm of the normal density about 0.

    Parameters
    ----------
    values : np.ndarray [shape=(k, n)]
    covariance : np.ndarray [shape=(n, n)]
        Positive definite.

    Returns
    -------
    np.ndarray [shape=(k,)]
    """
    factor = cho_factor(covariance, lower=True)
    distance = np.einsum("kn,nk->k", values, cho_solve(factor, values.T))
    log_root = np.log(np.diag(factor[0])).sum()
    return np.asarray(-0.5 * (distance + values.shape[1] * _LOG_2PI) - log_root)


def log_marginal(
    seen: FloatArray, *, matrix: FloatArray, covariance: FloatArray, sizes: Sequence[FreeSize]
) -> float:
    """Logarithm of the probability density of what was seen, over all sizes.

    Parameters
    ----------
    seen : np.ndarray [shape=(n,)]
        Crank degrees.
    matrix : np.ndarray [shape=(n, d)]
        What one unit of each size does to each value.
    covariance : np.ndarray [shape=(n, n)]
        Of what was seen about the fault's own mark; positive definite.
    sizes : sequence of FreeSize [shape=(d,)]

    Examples
    --------
    A size that can only grow explains what comes late far better than what comes early:

    >>> from crankwise.drive.signature import FreeSize
    >>> lag = FreeSize("lag", "crank deg", {"intake": 1.0}, low=0.0, high=20.0, typical=4.0)
    >>> one = np.ones((1, 1))
    >>> late = log_marginal(np.array([3.0]), matrix=one, covariance=0.01 * one, sizes=[lag])
    >>> early = log_marginal(np.array([-3.0]), matrix=one, covariance=0.01 * one, sizes=[lag])
    >>> round(late - early)
    454
    """
    split = _split(sizes)
    rest = seen - split.steps @ matrix[:, split.stepped].T
    smooth = matrix[:, split.smooth]
    typical = np.array([sizes[i].typical for i in split.smooth])
    spread = covariance + (smooth * typical**2) @ smooth.T
    found = log_normal_density(rest, spread) + split.log_weight
    if split.smooth:
        mean, posterior = _posterior(rest, smooth, covariance, typical)
        found = found + log_box(mean, posterior, low=split.low, high=split.high)
    return float(logsumexp(found))


def likeliest_sizes(
    seen: FloatArray, *, matrix: FloatArray, covariance: FloatArray, sizes: Sequence[FreeSize]
) -> FloatArray:
    """Sizes at which likelihood times prior is greatest.

    Parameters
    ----------
    seen, matrix, covariance, sizes
        As for :func:`log_marginal`.

    Returns
    -------
    np.ndarray [shape=(d,)]
        In the units of the sizes.
    """
    split = _split(sizes)
    typical = np.array([size.typical for size in sizes])
    inverse = np.linalg.inv(covariance)
    hessian = matrix.T @ inverse @ matrix + np.diag(typical**-2.0)
    pull = matrix.T @ inverse @ seen
    best, least = np.zeros(len(sizes)), math.inf
    for step, low, high in zip(split.steps, split.low, split.high, strict=True):
        bounds = np.zeros((2, len(sizes)))
        bounds[:, split.stepped] = step
        bounds[:, split.smooth] = low, high
        found = _inside_box(hessian, pull, bounds)
        cost = float(0.5 * found @ hessian @ found - pull @ found)
        if cost < least:
            best, least = found, cost
    return best


def _inside_box(hessian: FloatArray, pull: FloatArray, bounds: FloatArray) -> FloatArray:
    """Minimum of a quadratic inside a box, size by size until nothing moves (it is convex)."""
    found = np.clip(np.zeros(len(pull)), *bounds)
    for _ in range(_SWEEPS):
        before = found.copy()
        for i in range(len(pull)):
            free = found[i] + (pull[i] - hessian[i] @ found) / hessian[i, i]
            found[i] = min(max(free, bounds[0, i]), bounds[1, i])
        if np.allclose(found, before, rtol=1e-9, atol=1e-12):
            break
    return found


def _split(sizes: Sequence[FreeSize]) -> _Split:
    ranges = [_ranges(size) for size in sizes]
    stepped = [i for i, size in enumerate(sizes) if size.whole]
    smooth = [i for i, size in enumerate(sizes) if not size.whole]
    combinations = list(product(*ranges))

    def table(which: list[int], bound: str) -> FloatArray:
        rows = [[getattr(c[i], bound) for i in which] for c in combinations]
        return np.array(rows, dtype=np.float64).reshape(len(combinations), len(which))

    prior = sum(_log_share(sizes[i], ranges[i]) for i in smooth)
    steps = np.array([sum(r.log_weight for r in c) for c in combinations])
    return _Split(
        stepped=stepped,
        smooth=smooth,
        steps=table(stepped, "low"),
        low=table(smooth, "low"),
        high=table(smooth, "high"),
        log_weight=steps - prior,
    )


def _ranges(size: FreeSize) -> list[_Range]:
    """Ranges or whole steps of one size."""
    if size.whole:
        steps = np.array(size.steps())
        log_weight = -0.5 * (steps / size.typical) ** 2
        log_weight -= logsumexp(log_weight)
        return [_Range(s, s, w) for s, w in zip(steps.tolist(), log_weight.tolist(), strict=True)]
    if size.least == 0.0:
        return [_Range(size.low, size.high)]
    below, above = _Range(size.low, -size.least), _Range(size.least, size.high)
    return [r for r in (below, above) if r.low < r.high]


def _log_share(size: FreeSize, ranges: Sequence[_Range]) -> float:
    """Share of the uncut prior that lies in the size's ranges."""
    low = np.array([r.low for r in ranges]) / size.typical
    high = np.array([r.high for r in ranges]) / size.typical
    return float(logsumexp(_log_between(low, high)))


def _posterior(
    rest: FloatArray, matrix: FloatArray, covariance: FloatArray, typical: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean [shape=(k, d)] and covariance of the uncut sizes, given what was seen."""
    pulled = np.linalg.solve(covariance, matrix)
    spread = np.linalg.inv(matrix.T @ pulled + np.diag(typical**-2.0))
    return rest @ pulled @ spread, spread


def log_box(
    mean: FloatArray, covariance: FloatArray, *, low: FloatArray, high: FloatArray
) -> FloatArray:
    """Logarithm of the share of normal distributions inside boxes.

    Exact for one dimension; beyond it good to about one percent of the share.

    Parameters
    ----------
    mean : np.ndarray [shape=(k, d)]
    covariance : np.ndarray [shape=(d, d)]
        The same for all.
    low, high : np.ndarray [shape=(k, d)]

    Returns
    -------
    np.ndarray [shape=(k,)]

    Examples
    --------
    The positive quarter of two independent ones:

    >>> zero, wide = np.zeros((1, 2)), np.full((1, 2), 99.0)
    >>> float(np.exp(log_box(zero, np.eye(2), low=zero, high=wide)).round(6)[0])
    0.25
    """
    root = np.linalg.cholesky(covariance)
    count, dimensions = mean.shape
    points = _points(dimensions - 1)  # (q, d - 1)
    drawn = np.zeros((count, len(points), dimensions))
    total = np.zeros((count, len(points)))
    for i in range(dimensions):
        shift = mean[:, None, i] + drawn[:, :, :i] @ root[i, :i]
        below = (low[:, None, i] - shift) / root[i, i]
        above = (high[:, None, i] - shift) / root[i, i]
        total += _log_between(below, above)
        if i < dimensions - 1:
            drawn[:, :, i] = _inside(below, above, points[:, i])
    return np.asarray(logsumexp(total, axis=1) - math.log(len(points)))


def _points(dimensions: int) -> FloatArray:
    """Evenly filling points in the unit cube: multiples of the roots of primes, folded."""
    if dimensions == 0:
        return np.zeros((1, 0))
    number = np.arange(_POINTS)[:, None] + 0.5
    return np.asarray(np.abs(2.0 * ((number * np.sqrt(_PRIMES[:dimensions])) % 1.0) - 1.0))


def _log_between(low: FloatArray, high: FloatArray) -> FloatArray:
    """Logarithm of the standard normal share between two bounds, also far out in a tail."""
    is_right = low + high > 0.0  # mirrored to the left, where the shares are small but not 1
    near = log_ndtr(np.where(is_right, -low, high))
    far = log_ndtr(np.where(is_right, -high, low))
    return np.asarray(near + np.log1p(-np.exp(np.minimum(far - near, -1e-15))))


def _inside(low: FloatArray, high: FloatArray, share: FloatArray) -> FloatArray:
    """Quantile of the standard normal distribution cut to between two bounds."""
    is_right = low + high > 0.0
    start = np.where(is_right, -high, low)
    log_share = np.log(np.where(is_right, 1.0 - share, share))
    log_place = np.logaddexp(log_ndtr(start), log_share + _log_between(low, high))
    place = ndtri_exp(np.minimum(log_place, -1e-15))
    return np.asarray(np.where(is_right, -place, place))
