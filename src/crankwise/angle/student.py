"""Student's t and the combination of uncertainties after JCGM 100:2008 (GUM)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import stdtrit

from crankwise.model.measurement import Contribution


def student_factor(dof: float, *, coverage: float = 0.95) -> float:
    """Two-sided coverage factor of Student's t (GUM Annex G.3; NIST TN 1297 table B.1).

    >>> round(student_factor(9.0), 2)
    2.26
    """
    return float(stdtrit(min(dof, 1e6), 0.5 + coverage / 2))


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
