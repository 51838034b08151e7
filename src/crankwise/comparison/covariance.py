"""Covariance of the shifts: from measuring, and from what healthy engines differ by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from crankwise.comparison.healthy import Reference
from crankwise.comparison.shift import COMMON, PairShift
from crankwise.model.comparison import CamShift
from crankwise.model.recording import FloatArray


def covariances(
    cams: Sequence[CamShift],
    pairs: Mapping[str, PairShift],
    references: Mapping[str, Reference],
    between: Mapping[tuple[str, str], Reference],
) -> tuple[FloatArray, FloatArray]:
    """Covariance of the shifts: from measuring, and from what healthy engines differ by.

    Measuring shares the crank side of the subject. Healthy engines share what the variance of the
    separation leaves of that of the cams.
    """
    roles = [cam.role for cam in cams]
    measured = np.diag([cam.standard_deg**2 for cam in cams])
    build = np.diag([references[role].spread_deg ** 2 for role in roles])
    for i, one in enumerate(roles):
        for j in range(i + 1, len(roles)):
            other = roles[j]
            shared = min(_curve_variance(pairs[one]), _curve_variance(pairs[other]))
            measured[i, j] = measured[j, i] = shared
            ref = between.get((one, other)) or between.get((other, one))
            if ref is not None:
                common = 0.5 * (build[i, i] + build[j, j] - ref.spread_deg**2)
                largest = 0.999 * np.sqrt(build[i, i] * build[j, j])
                build[i, j] = build[j, i] = float(np.clip(common, 0.0, largest))
    return measured, build


def _curve_variance(pair: PairShift) -> float:
    return sum(
        line.standard_deg**2 for line in pair.subject.budget if line.source.startswith(COMMON)
    )
