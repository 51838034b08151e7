"""What was seen of an engine that speaks for one cause or another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.errors import UsageError
from crankwise.model.recording import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class CauseEvidence:
    """All that the causes are judged by.

    Attributes
    ----------
    roles : tuple of str
        Cams compared.
    shifts_deg : np.ndarray [shape=(n,)]
        Subject less known-good, crank degrees; positive is later.
    measurement_cov : np.ndarray [shape=(n, n)]
        Covariance of the shifts as measured, square degrees.
    build_cov : np.ndarray [shape=(n, n)]
        Covariance by which healthy engines differ beyond measurement: subject and known-good of
        two vehicles, or of one on two visits.
    scatter_ratio : np.ndarray [shape=(n,)]
        Cycle-to-cycle scatter of the subject over the known-good's; NaN where not known.
    scatter_dof : tuple of float
        Degrees of freedom of the subject's scatter and of the known-good's.
    moving_deg : np.ndarray [shape=(n,)]
        Range in which the subject's cam moved while recording, 0 where it stood still, NaN where
        not known.
    ripple_shift_deg, ripple_standard_deg : float or None
        Change of the phase of the crank's own ripple against the gap, and its standard
        uncertainty.

    Raises
    ------
    UsageError
        The parts don't fit together; says which.
    """

    roles: tuple[str, ...]
    shifts_deg: FloatArray
    measurement_cov: FloatArray
    build_cov: FloatArray
    scatter_ratio: FloatArray
    scatter_dof: tuple[float, float]
    moving_deg: FloatArray
    ripple_shift_deg: float | None = None
    ripple_standard_deg: float | None = None

    def __post_init__(self) -> None:
        problem = self._problem()
        if problem:
            raise UsageError(f"causes: {problem}")

    def _problem(self) -> str:
        count = len(self.roles)
        if count == 0 or len(set(self.roles)) != count:
            return f"the cams are '{', '.join(self.roles)}'; give at least one, and each once"
        for name, dimensions in _SHAPES.items():
            shape = np.shape(getattr(self, name))
            if shape != (count,) * dimensions:
                return f"{name} has the shape {shape} for {count} cams"
        if not np.isfinite(self.shifts_deg).all() or not _is_positive_definite(self.covariance):
            return "a shift isn't a number, or their covariance isn't positive definite"
        if np.any(self.scatter_ratio <= 0.0) or min(self.scatter_dof) <= 0.0:
            return "a scatter ratio or its degrees of freedom isn't above 0"
        return self._ripple_problem()

    def _ripple_problem(self) -> str:
        shift, standard = self.ripple_shift_deg, self.ripple_standard_deg
        if shift is None and standard is None:
            return ""
        if shift is None or standard is None or not standard > 0.0:
            return (
                "the ripple's shift needs a standard uncertainty above 0, and the other way round"
            )
        return ""

    @property
    def covariance(self) -> FloatArray:
        """By which the shifts of healthy engines differ as measured, square degrees."""
        return self.measurement_cov + self.build_cov


_SHAPES = {
    "shifts_deg": 1,
    "measurement_cov": 2,
    "build_cov": 2,
    "scatter_ratio": 1,
    "moving_deg": 1,
}


def _is_positive_definite(matrix: FloatArray) -> bool:
    try:
        np.linalg.cholesky(matrix)
    except np.linalg.LinAlgError:
        return False
    return bool(np.isfinite(matrix).all() and np.allclose(matrix, matrix.T))
