"""How many standard deviations a limit lies from the mean of n healthy engines.

A *prediction* factor bounds the next single engine; a *tolerance* factor bounds a share of all
engines, with a stated confidence in the bound itself. Both grow steeply for few engines, and
that is meant: with few engines little is known.

The sources: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3 (tolerance intervals of a
normal distribution); W. G. Howe, J. Am. Stat. Assoc. 64 (1969) 610 (two-sided formula);
ISO 16269-6 (the exact one-sided factor from the noncentral t distribution).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import chdtrc, chdtri, nctdtrit, ndtr, ndtri

from crankwise.angle.student import student_factor
from crankwise.comparison.numeric import halve, increasing_root
from crankwise.errors import NotMeasurableError, UsageError

if TYPE_CHECKING:
    from crankwise.model.recording import FloatArray

# Standard normal abscissae of the trapezium rule in the exact two-sided factor: the integrand is
# smooth, even and below 1e-17 at the end, where that rule converges faster than any power.
_NORMAL_STEP = 0.05
_NORMAL = np.arange(0.0, 9.0, _NORMAL_STEP)
_NORMAL_WEIGHT = 2.0 * _NORMAL_STEP * np.exp(-0.5 * _NORMAL**2) / math.sqrt(2.0 * math.pi)
_NORMAL_WEIGHT[0] *= 0.5


def prediction_factor(*, count: float, coverage: float, dof: float | None = None) -> float:
    """Two-sided factor for one new value: Student's t times sqrt(1 + 1/n).

    Parameters
    ----------
    count : float
        Values the mean comes from, n.
    coverage : float
        Probability (0 to 1) that the next value lies inside.
    dof : float, optional
        Degrees of freedom of the standard deviation; n - 1 if it comes from the same values.

    Raises
    ------
    UsageError
        A probability outside 0 to 1.
    NotMeasurableError
        Fewer than two values and no ``dof``.

    Examples
    --------
    >>> round(prediction_factor(count=10, coverage=0.95), 4)
    2.3726
    """
    check_probability(coverage, "coverage")
    freedom = _degrees_of_freedom(count, dof)
    return student_factor(freedom, coverage=coverage) * math.sqrt(1.0 + 1.0 / count)


def one_sided_factor(
    *, count: float, coverage: float, confidence: float, dof: float | None = None
) -> float:
    """Exact one-sided tolerance factor, from the noncentral t distribution (ISO 16269-6).

    ``mean + factor * s`` lies above a share ``coverage`` of all engines with probability
    ``confidence``. Parameters and errors as for :func:`two_sided_factor`.

    Examples
    --------
    >>> round(one_sided_factor(count=10, coverage=0.95, confidence=0.95), 4)
    2.911
    """
    check_probability(coverage, "coverage")
    check_probability(confidence, "confidence")
    freedom = _degrees_of_freedom(count, dof)
    root = math.sqrt(count)
    return float(nctdtrit(freedom, float(ndtri(coverage)) * root, confidence)) / root


def one_sided_factor_formula(*, count: float, coverage: float, confidence: float) -> float:
    """One-sided tolerance factor by the closed formula of NIST/SEMATECH 7.2.6.3.

    A check on the exact factor that can be done by hand. Parameters as for
    :func:`two_sided_factor`.

    Raises
    ------
    NotMeasurableError
        So few values that the formula has no solution.

    Examples
    --------
    >>> round(one_sided_factor_formula(count=43, coverage=0.90, confidence=0.99), 4)
    1.8752
    """
    check_probability(coverage, "coverage")
    check_probability(confidence, "confidence")
    freedom = _degrees_of_freedom(count, None)
    share, sure = float(ndtri(coverage)), float(ndtri(confidence))
    a = 1.0 - sure**2 / (2.0 * freedom)
    b = share**2 - sure**2 / count
    if a <= 0.0:
        raise NotMeasurableError(
            f"the closed formula of the one-sided tolerance factor does not hold for {count:g} "
            f"values at {confidence:.0%} confidence; use the exact factor"
        )
    return (share + math.sqrt(share**2 - a * b)) / a


def two_sided_factor(
    *, count: float, coverage: float, confidence: float, dof: float | None = None
) -> float:
    """Exact two-sided tolerance factor of a normal distribution, by integration.

    ``mean - factor * s`` to ``mean + factor * s`` holds a share ``coverage`` of all engines with
    probability ``confidence``. For each place the mean may have, the standard deviation that
    would just do follows from :func:`covering_radius`; its chi-square probability is integrated
    over those places.

    Parameters
    ----------
    count : float
        Values the mean comes from, n.
    coverage : float
        Share (0 to 1) of all engines to be held.
    confidence : float
        Probability (0 to 1) that the interval does hold that share.
    dof : float, optional
        Degrees of freedom of the standard deviation; n - 1 if it comes from the same values.

    Raises
    ------
    UsageError
        A probability outside 0 to 1.
    NotMeasurableError
        Fewer than two values and no ``dof``.

    Examples
    --------
    >>> round(two_sided_factor(count=10, coverage=0.95, confidence=0.95), 2)
    3.39
    """
    check_probability(coverage, "coverage")
    check_probability(confidence, "confidence")
    freedom = _degrees_of_freedom(count, dof)
    square = freedom * covering_radius(_NORMAL / math.sqrt(count), coverage=coverage) ** 2

    def short_of(log_factor: float) -> float:
        held = chdtrc(freedom, square / math.exp(2.0 * log_factor))
        return float(_NORMAL_WEIGHT @ held) - confidence

    return math.exp(increasing_root(short_of, start=math.log(2.0), step=0.5))


def two_sided_factor_formula(
    *, count: float, coverage: float, confidence: float, dof: float | None = None
) -> float:
    """Two-sided tolerance factor by Howe's formula (1969; NIST/SEMATECH 7.2.6.3).

    A check on the exact factor that can be done by hand. Parameters and errors as for
    :func:`two_sided_factor`.

    Examples
    --------
    >>> round(two_sided_factor_formula(count=43, coverage=0.90, confidence=0.99), 4)
    2.2173
    """
    check_probability(coverage, "coverage")
    check_probability(confidence, "confidence")
    freedom = _degrees_of_freedom(count, dof)
    share = float(ndtri(0.5 + coverage / 2.0))
    return share * math.sqrt(freedom * (1.0 + 1.0 / count) / float(chdtri(freedom, confidence)))


def covering_radius(offset: FloatArray, *, coverage: float) -> FloatArray:
    """Half-width about a displaced centre that still holds a share of a normal distribution.

    Parameters
    ----------
    offset : np.ndarray
        Distance of the centre from the true mean, in standard deviations.
    coverage : float
        Share to be held.

    Returns
    -------
    np.ndarray
        Half-widths in standard deviations, of the shape of ``offset``.
    """
    distance = np.abs(np.asarray(offset, dtype=np.float64))
    centred = float(ndtri(0.5 + coverage / 2.0))

    def short_of(radius: FloatArray) -> FloatArray:
        return np.asarray(ndtr(radius - distance) - ndtr(-radius - distance) - coverage)

    return halve(short_of, low=np.full_like(distance, centred), high=distance + centred)


def covering_offset(radius: FloatArray, *, coverage: float) -> FloatArray:
    """How far the centre may be displaced: the inverse of :func:`covering_radius`.

    Returns NaN where the half-width would be too small even if centred.
    """
    wide = np.asarray(radius, dtype=np.float64)
    enough = wide >= float(ndtri(0.5 + coverage / 2.0))
    # A one-sided bound: the far tail only takes away from what is held.
    farthest = np.where(enough, wide - float(ndtri(coverage)), 0.0)

    def too_far(offset: FloatArray) -> FloatArray:
        return np.asarray(coverage - ndtr(wide - offset) + ndtr(-wide - offset))

    found = halve(too_far, low=np.zeros_like(wide), high=farthest)
    return np.where(enough, found, np.nan)


def check_probability(value: float, name: str) -> None:
    """Refuse what is no probability strictly between 0 and 1 (UsageError)."""
    if not 0.0 < value < 1.0:
        raise UsageError(f"{name} is {value:g}; give a probability above 0 and below 1, e.g. 0.95")


def _degrees_of_freedom(count: float, dof: float | None) -> float:
    freedom = count - 1.0 if dof is None else dof
    if count < 1.0 or freedom < 1.0:
        raise NotMeasurableError(
            f"a spread can't be told from {count:g} known-good; give two or more, "
            "or a build spread with its degrees of freedom"
        )
    return freedom
