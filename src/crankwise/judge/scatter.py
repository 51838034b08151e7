"""Cams that scatter more from cycle to cycle than healthy engines differ by."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from crankwise.comparison.against import Against
from crankwise.comparison.shift import scatter_of
from crankwise.model.policy import Policy
from crankwise.roles.naming import cam_name

_LEAST_DEG = 0.3
"""Scatter below this is no slack, whatever the ratio: the normal twist between neighbouring
sprockets alone is 0.5 to 0.8 crank degrees (abstract TEMA20000703416)."""


def loose_cams(result: Against, policy: Policy) -> tuple[str, ...]:
    """One sentence for each cam whose scatter is beyond that of healthy engines.

    The logarithm of the ratio of two standard deviations has the variance 1/(2 dof) from each of
    them (large-sample form of the F test; from memory); the policy adds what healthy engines
    differ by.
    """
    sentences: list[str] = []
    for cam in result.cams:
        match = result.pairs[cam.role].match
        scatter = scatter_of(match.subject)
        if cam.scatter_ratio is None or scatter < _LEAST_DEG:
            continue
        dofs = [
            max(min(edge.count for edge in side.edges) - 1.0, 1.0)
            for side in (match.subject, match.known_good)
        ]
        spread = np.sqrt(policy.causes.scatter_spread**2 + sum(0.5 / dof for dof in dofs))
        limit = float(np.exp(ndtri(policy.limits.coverage) * spread))
        if cam.scatter_ratio > limit:
            sentences.append(
                f"The {cam_name(cam.role)} scatters {cam.scatter_ratio:.1f} times as much from "
                f"cycle to cycle as in the known-good; up to {limit:.1f} times is healthy."
            )
    return tuple(sentences)
