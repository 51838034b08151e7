"""How probable each hypothesis is after what was seen (Bayes' theorem, in logarithms)."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import logsumexp

from crankwise.drive.likelihood import log_marginal, log_normal_density
from crankwise.model.policy import NONE_OF_THESE, WRONG_REFERENCE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.drive.evidence import CauseEvidence
    from crankwise.drive.hypotheses import Hypothesis
    from crankwise.model.policy import CausePolicy
    from crankwise.model.recording import FloatArray

WEAR = ("elongated", "guide-worn")
_CRANK_TARGET = "crank-target"


def posterior(
    evidence: CauseEvidence, among: Sequence[Hypothesis], policy: CausePolicy
) -> FloatArray:
    """Probability of each hypothesis; they sum to 1.

    Parameters
    ----------
    evidence : CauseEvidence
    among : sequence of Hypothesis
    policy : CausePolicy

    Returns
    -------
    np.ndarray [shape=(len(among),)]
    """
    log = np.array(
        [
            hypothesis.log_prior
            + _of_shifts(hypothesis, evidence, policy)
            + _of_scatter(hypothesis, evidence, policy)
            + _of_movement(hypothesis, evidence, policy)
            for hypothesis in among
        ]
    )
    return np.asarray(np.exp(log - logsumexp(log)))


def observed(evidence: CauseEvidence) -> FloatArray:
    """Shifts of the cams, then that of the crank's ripple if it is known."""
    ripple = evidence.ripple_shift_deg
    return np.append(evidence.shifts_deg, [] if ripple is None else [ripple])


def effect(hypothesis: Hypothesis, evidence: CauseEvidence) -> FloatArray:
    """Matrix of the sizes on all that was observed.

    The ripple is the crank's own against its gap, so only the crank's target takes it along: as
    far as the cams, and the same way.
    """
    matrix = hypothesis.matrix(evidence.roles)
    if evidence.ripple_shift_deg is None:
        return matrix
    follows = [float(f.fault == _CRANK_TARGET) for f in hypothesis.faults for _ in f.sizes]
    return np.vstack([matrix, follows])


def uncertainty(hypothesis: Hypothesis, evidence: CauseEvidence, policy: CausePolicy) -> FloatArray:
    """Covariance of all that was observed about the mark of the hypothesis."""
    cams = evidence.covariance
    each, common, ripple = 0.0, 0.0, 0.0
    if hypothesis.key == WRONG_REFERENCE:
        each, common = policy.wrong_each_deg, policy.wrong_common_deg
        ripple = common
    elif hypothesis.key == NONE_OF_THESE:
        each = ripple = policy.none_deg
    elif any(fault.fault in WEAR for fault in hypothesis.faults):
        each = policy.wear_deg
    cams = cams + each**2 * np.eye(len(cams)) + common**2
    if evidence.ripple_standard_deg is None:
        return cams
    whole = np.zeros((len(cams) + 1, len(cams) + 1))
    whole[:-1, :-1] = cams
    whole[-1, -1] = evidence.ripple_standard_deg**2 + ripple**2
    return whole


def _of_shifts(hypothesis: Hypothesis, evidence: CauseEvidence, policy: CausePolicy) -> float:
    seen = observed(evidence)
    covariance = uncertainty(hypothesis, evidence, policy)
    if not hypothesis.sizes:
        return float(log_normal_density(seen[None, :], covariance)[0])
    return log_marginal(
        seen,
        matrix=effect(hypothesis, evidence),
        covariance=covariance,
        sizes=hypothesis.sizes,
    )


def _of_scatter(hypothesis: Hypothesis, evidence: CauseEvidence, policy: CausePolicy) -> float:
    """Log-density of the logarithms of the scatter ratios.

    That of a standard deviation from ``f`` degrees of freedom has the variance ``1 / (2 f)``
    (JCGM 100:2008, E.4.3).
    """
    is_known = np.isfinite(evidence.scatter_ratio)
    expected = np.array([hypothesis.scatter_factor(role) for role in evidence.roles])
    off = np.log(evidence.scatter_ratio[is_known] / expected[is_known])
    is_vague = hypothesis.key in {WRONG_REFERENCE, NONE_OF_THESE}
    spread = policy.scatter_spread_unknown if is_vague else policy.scatter_spread
    variance = spread**2 + sum(0.5 / dof for dof in evidence.scatter_dof)
    return float(-0.5 * np.sum(off**2 / variance + math.log(variance)))


def _of_movement(hypothesis: Hypothesis, evidence: CauseEvidence, policy: CausePolicy) -> float:
    total = 0.0
    for role, moving_deg in zip(evidence.roles, evidence.moving_deg, strict=True):
        if math.isnan(moving_deg):
            continue
        is_loose = hypothesis.moves(role)
        chance = policy.moving_if_loose if is_loose else policy.moving_otherwise
        total += math.log(chance if moving_deg > 0.0 else 1.0 - chance)
    return total
