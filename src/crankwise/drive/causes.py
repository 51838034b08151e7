"""Which faults explain what was seen, how probably, and why.

Every fault of the engine, every two of them at once, a healthy engine, a wrong known-good and
"none of these" are weighed against each other by Bayes' theorem: prior from the policy, times the
probability of the shifts (:mod:`crankwise.drive.likelihood`), of the scatter, of movement while
recording and of the crank's ripple. Nothing about patterns is written down anywhere: they follow
from the signatures.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.drive.checks import next_check
from crankwise.drive.evidence import CauseEvidence
from crankwise.drive.hypotheses import hypotheses
from crankwise.drive.scoring import posterior
from crankwise.drive.wording import because, likeliest, seen_words, size_words
from crankwise.model.comparison import Cause
from crankwise.model.engine import Engine
from crankwise.model.policy import OTHER_PAIRS

if TYPE_CHECKING:
    from crankwise.drive.hypotheses import Hypothesis
    from crankwise.model.policy import Policy

__all__ = ["CauseEvidence", "next_check", "rank_causes"]

_PAIR_SHOWN_FROM = 0.01


def rank_causes(
    evidence: CauseEvidence, engine: Engine | None, policy: Policy
) -> tuple[Cause, ...]:
    """Weigh all causes against each other.

    Parameters
    ----------
    evidence : CauseEvidence
    engine : Engine or None
        What is known of the engine; ``None`` for nothing.
    policy : Policy
        Its priors and spreads.

    Returns
    -------
    tuple of Cause
        Likeliest first; the probabilities sum to 1. Pairs of faults below one percent each stand
        together as one cause.

    Examples
    --------
    >>> import numpy as np
    >>> from crankwise.drive.engine_file import load_engine
    >>> from crankwise.judge.policy import load_policy
    >>> seen = CauseEvidence(
    ...     roles=("exhaust", "intake"),
    ...     shifts_deg=np.array([3.9, 6.2]),
    ...     measurement_cov=0.01 * np.eye(2),
    ...     build_cov=0.0144 * np.eye(2),
    ...     scatter_ratio=np.array([2.0, 2.1]),
    ...     scatter_dof=(30.0, 30.0),
    ...     moving_deg=np.zeros(2),
    ... )
    >>> likeliest_cause = rank_causes(seen, load_engine("tarn-t20"), load_policy(None))[0]
    >>> likeliest_cause.cause
    'elongated:timing chain'
    >>> likeliest_cause.size
    '0.65 % elongation, 2.5 mm of the tight strands, 5.6 mm of the whole chain'
    """
    known = Engine("unknown") if engine is None else engine
    among = hypotheses(known, roles=evidence.roles, policy=policy.causes)
    chances = posterior(evidence, among, policy.causes)
    shown: list[Cause] = []
    others: list[tuple[Hypothesis, float]] = []
    for hypothesis, chance in zip(among, chances.tolist(), strict=True):
        if len(hypothesis.faults) > 1 and chance < _PAIR_SHOWN_FROM:
            others.append((hypothesis, chance))
        else:
            shown.append(_cause(hypothesis, chance, evidence, known, policy))
    if others:
        shown.append(_together(others, evidence))
    return tuple(sorted(shown, key=lambda cause: -cause.probability))


def _cause(
    hypothesis: Hypothesis, chance: float, evidence: CauseEvidence, engine: Engine, policy: Policy
) -> Cause:
    faults = likeliest(hypothesis, evidence, policy.causes) if hypothesis.faults else []
    return Cause(
        cause=hypothesis.key,
        name=hypothesis.name,
        probability=chance,
        because=because(engine, hypothesis, evidence, policy.causes, faults),
        size=size_words(engine, faults),
    )


def _together(pairs: list[tuple[Hypothesis, float]], evidence: CauseEvidence) -> Cause:
    likeliest_pair = max(pairs, key=lambda pair: pair[1])[0]
    return Cause(
        cause=OTHER_PAIRS,
        name="two other faults at once",
        probability=sum(chance for _, chance in pairs),
        because=(
            f"{seen_words(evidence)}. Two faults together can give almost any shifts; of "
            f"{len(pairs)} pairs, each below 1 %, the likeliest is: {likeliest_pair.name}."
        ),
    )
