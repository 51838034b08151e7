"""Student's t and the combination of uncertainties after JCGM 100:2008 (GUM)."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import exp, lgamma, log1p, pi, sqrt

import numpy as np

from crankwise.model.measurement import Contribution

_MANY = 50.0
_STEPS = 100


@lru_cache(maxsize=1024)
def student_factor(dof: float, *, coverage: float = 0.95) -> float:
    """Two-sided coverage factor of Student's t (GUM Annex G.3; NIST TN 1297 table B.1).

    Newton's method from below, where the coverage rises ever more slowly and no step goes too far.
    Worked out here since SciPy takes longer to import than a short recording to measure.

    >>> round(student_factor(9.0), 2)
    2.26
    """
    dof = min(dof, 1e6)
    factor = 0.5
    for _ in range(_STEPS):
        step = (coverage - _covered(factor, dof)) / _density(factor, dof)
        factor += step
        if step < 1e-14 * factor:
            break
    return factor


def _covered(factor: float, dof: float) -> float:
    """Probability between both factors, as a regularised incomplete beta function.

    Power series of DLMF 8.17.8, from the side on which it converges fast.
    """
    squared = factor * factor
    share = squared / (dof + squared)
    front = 2.0 * exp(-0.5 * dof * log1p(squared / dof)) * sqrt(share) * _height(dof)
    if squared < dof:
        return front * _series(0.5, 0.5 * dof, share)
    return 1.0 - front / dof * _series(0.5 * dof, 0.5, 1.0 - share)


def _series(first: float, second: float, share: float) -> float:
    total = term = 1.0
    count = 0.0
    while term > 1e-17 * total:
        term *= share * (first + second + count) / (first + 1.0 + count)
        total += term
        count += 1.0
    return total


def _density(factor: float, dof: float) -> float:
    """How fast the probability between both factors grows with them."""
    fall = exp(-0.5 * (dof + 1.0) * log1p(factor * factor / dof))
    return 2.0 * fall * _height(dof) / sqrt(dof)


def _height(dof: float) -> float:
    """Inverse of the beta function of 1/2 and dof/2.

    For large numbers from the ratio of gamma functions by DLMF 5.11.13, since their logarithms
    are too large for the digits of their difference.
    """
    half = 0.5 * dof
    if half < _MANY:
        return exp(lgamma(half + 0.5) - lgamma(half)) / sqrt(pi)
    small = 1.0 / half
    bend = 5.0 / 8.0 - small * (21.0 / 256.0 + small * 399.0 / 2048.0)
    return (1.0 - small / 8.0 * (1.0 - small / 16.0 * (1.0 + small * bend))) * sqrt(half / pi)


def combine(
    budget: Sequence[Contribution], *, coverage: float = 0.95
) -> tuple[float, float, float, float]:
    """Combined standard uncertainty, effective dof, coverage factor, expanded uncertainty.

    Root sum of squares (GUM 5.1.2) with the Welch-Satterthwaite formula (GUM G.4.1), whose
    result is truncated to a whole number as the GUM advises.

    >>> a = Contribution("a", 3.0, "A", 9.0)
    >>> b = Contribution("b", 4.0, "B", None)
    >>> [round(value, 3) for value in combine([a, b])]
    [5.0, 69.0, 1.995, 9.975]
    """
    squares = [item.standard_deg**2 for item in budget]
    total = sum(squares)
    if total == 0.0:
        return 0.0, 1e6, student_factor(1e6, coverage=coverage), 0.0
    weight = sum(
        square**2 / item.dof
        for square, item in zip(squares, budget, strict=True)
        if item.dof is not None
    )
    dof = float(np.floor(min(total**2 / weight, 1e6) + 1e-9)) if weight else 1e6
    factor = student_factor(max(dof, 1.0), coverage=coverage)
    standard = float(np.sqrt(total))
    return standard, max(dof, 1.0), factor, factor * standard
