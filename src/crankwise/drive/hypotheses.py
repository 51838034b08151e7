"""What may be the matter with an engine: nothing, each fault, two at once, and none of these."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from crankwise.drive.faults import signatures
from crankwise.drive.signature import FreeSize, Signature
from crankwise.model.policy import HEALTHY, NONE_OF_THESE, WRONG_REFERENCE
from crankwise.model.recording import FloatArray

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.model.engine import Engine
    from crankwise.model.policy import CausePolicy

JOINT = " + "
"""Between the keys of two faults at once."""

WITHOUT_FAULT = {
    HEALTHY: "nothing beyond what healthy engines differ by",
    WRONG_REFERENCE: "known-good of another build, another engine or another state",
    NONE_OF_THESE: "none of these causes",
}


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One thing that may be the matter.

    Attributes
    ----------
    key : str
        That of the signature, or one of :data:`WITHOUT_FAULT`; two at once are joined.
    name : str
        In words, for people.
    faults : tuple of Signature
        None, one or two.
    log_prior : float
        Logarithm of its probability beforehand, up to a constant common to all.
    """

    key: str
    name: str
    faults: tuple[Signature, ...]
    log_prior: float

    @property
    def sizes(self) -> tuple[FreeSize, ...]:
        """Free sizes of all its faults."""
        return tuple(size for fault in self.faults for size in fault.sizes)

    def matrix(self, roles: Sequence[str]) -> FloatArray:
        """Shift of each cam for one unit of each size [shape=(len(roles), len(sizes))]."""
        parts = [np.zeros((len(roles), 0)), *(fault.matrix(roles) for fault in self.faults)]
        return np.hstack(parts)

    def scatter_factor(self, role: str) -> float:
        """By how much it lets a cam scatter more; the larger of two faults."""
        return max((fault.scatter_factor.get(role, 1.0) for fault in self.faults), default=1.0)

    def moves(self, role: str) -> bool:
        """Whether it may move a cam while recording."""
        return any(
            fault.is_moving and any(role in size.shift_deg for size in fault.sizes)
            for fault in self.faults
        )


def kinds(key: str) -> tuple[str, ...]:
    """Kinds of the causes behind a key.

    >>> kinds("elongated:timing chain + phaser-off-stop:intake")
    ('elongated', 'phaser-off-stop')
    """
    return tuple(part.partition(":")[0] for part in key.split(JOINT))


def hypotheses(
    engine: Engine, *, roles: Sequence[str], policy: CausePolicy
) -> tuple[Hypothesis, ...]:
    """List all that may be the matter, with the policy's priors.

    Faults that neither shift nor unsettle any of the cams measured are left out: nothing seen
    speaks for or against them.

    Parameters
    ----------
    engine : Engine
    roles : sequence of str
        Cams compared.
    policy : CausePolicy
    """
    faults = [s for s in signatures(engine, roles=roles) if _shows(s, roles)]
    places = Counter(fault.fault for fault in faults)
    prior = {f.key: policy.priors[f.fault] / places[f.fault] for f in faults}
    whole = sum(policy.priors.values())
    found = [
        Hypothesis(key, name, (), math.log(policy.priors[key] / whole))
        for key, name in WITHOUT_FAULT.items()
    ]
    found += [Hypothesis(f.key, f.name, (f,), math.log(prior[f.key] / whole)) for f in faults]
    for first, second in combinations(faults, 2):
        chance = policy.pair_factor * prior[first.key] * prior[second.key] / whole**2
        name = f"{first.name}, and {second.name}"
        key = f"{first.key}{JOINT}{second.key}"
        found.append(Hypothesis(key, name, (first, second), math.log(chance)))
    return tuple(found)


def _shows(fault: Signature, roles: Sequence[str]) -> bool:
    unsettles = any(fault.scatter_factor.get(role, 1.0) != 1.0 for role in roles)
    return unsettles or bool(np.any(fault.matrix(roles)))
