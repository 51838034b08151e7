"""The check whose outcome would tell the likeliest cause from its likeliest rival.

A rival does without the likeliest cause; the same cause with a second fault beside it is none.
Where the likeliest is as good as settled, the check is aimed at it, to confirm it.
The checks themselves stand in ``checks.toml``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import entr

from crankwise.drive.hypotheses import JOINT, kinds
from crankwise.model.comparison import NextCheck
from crankwise.model.policy import HEALTHY, OTHER_PAIRS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.model.comparison import Cause
    from crankwise.model.policy import Policy

_ABOUT_AS_MUCH = 0.7
"""Checks that tell at least this share of the most telling one are chosen by effort."""


@dataclass(frozen=True, slots=True)
class Check:
    """One check.

    Attributes
    ----------
    key, aims_at : str
        Its name, and the kind of cause that it looks for.
    if_so, otherwise : float
        Chance of the finding if that is the cause, and if it is another.
    elsewhere : Mapping of str to float
        Chance of the finding for kinds of cause for which ``otherwise`` is wrong.
    effort : int
        1 to 3.
    safety, look, found, source : str
        What to mind, to do, to find; where the procedure comes from.
    """

    key: str
    aims_at: str
    if_so: float
    otherwise: float
    elsewhere: Mapping[str, float]
    effort: int
    safety: str
    look: str
    found: str
    source: str

    def chance(self, part: str, *, cause: str) -> float:
        """Chance of the finding under a cause, the check being aimed at ``part``.

        Of two faults at once either may bring it about.
        """
        missed = 1.0
        for fault in cause.split(JOINT):
            kind = kinds(fault)[0]
            other = self.elsewhere.get(kind, self.otherwise)
            missed *= 1.0 - (self.if_so if fault == part else other)
        return 1.0 - missed


@cache
def checks() -> tuple[Check, ...]:
    """All checks, in file order."""
    text = resources.files("crankwise.drive").joinpath("checks.toml").read_text("utf-8")
    values = tomllib.loads(text)
    safety = {"": "", **values["safety"]}
    return tuple(
        Check(
            **{
                **entry,
                "elsewhere": entry.get("elsewhere", {}),
                "safety": safety[entry.get("safety", "")],
            }
        )
        for entry in values["check"]
    )


def next_check(causes: Sequence[Cause], policy: Policy) -> NextCheck | None:
    """Choose the check that tells the likeliest cause from its likeliest rival.

    Parameters
    ----------
    causes : sequence of Cause
        As :func:`~crankwise.drive.causes.rank_causes` gives them, likeliest first.
    policy : Policy

    Returns
    -------
    NextCheck or None
        ``None`` where the engine is as good as surely healthy, or where it probably is and only
        taking covers off would tell.
    """
    named = [cause for cause in causes if cause.cause != OTHER_PAIRS]
    if not named:
        return None
    first = named[0]
    second = next((cause for cause in named[1:] if _is_rival(cause, first)), None)
    is_settled = first.probability >= policy.causes.settled_from
    if second is None or (is_settled and first.cause == HEALTHY):
        return None
    aimed = [
        (check, part, _information(check, part, first, second))
        for check in checks()
        for part in (first.cause.split(JOINT) if is_settled else _parts_of_one(first, second))
        if kinds(part)[0] == check.aims_at
        if first.cause != HEALTHY or check.effort == 1
    ]
    if not aimed:
        return None
    most = max(information for _, _, information in aimed)
    telling = [entry for entry in aimed if entry[2] >= _ABOUT_AS_MUCH * most]
    check, part, _ = min(telling, key=lambda entry: (entry[0].effort, -entry[2]))
    return NextCheck(between=(first.cause, second.cause), text=_text(check, part, first, second))


def _is_rival(cause: Cause, first: Cause) -> bool:
    """Whether a cause does without the likeliest one, instead of adding to it."""
    one, other = set(first.cause.split(JOINT)), set(cause.cause.split(JOINT))
    return not (one <= other or other <= one)


def _parts_of_one(first: Cause, second: Cause) -> list[str]:
    """Faults that only one of the two causes holds."""
    one, other = first.cause.split(JOINT), second.cause.split(JOINT)
    return [part for part in one if part not in other] + [p for p in other if p not in one]


def _information(check: Check, part: str, first: Cause, second: Cause) -> float:
    """Expected information of the outcome about which of the two it is (mutual information).

    Source: T. M. Cover and J. A. Thomas, Elements of Information Theory, section 2.3.
    """
    prior = np.array([first.probability, second.probability])
    prior = prior / prior.sum()
    found = np.array([check.chance(part, cause=cause.cause) for cause in (first, second)])
    joint = np.array([found * prior, (1.0 - found) * prior])
    return float(entr(joint.sum(axis=1)).sum() + entr(prior).sum() - entr(joint).sum())


def _text(check: Check, part: str, first: Cause, second: Cause) -> str:
    """Say what to do and what each outcome speaks for."""
    found = np.array([check.chance(part, cause=cause.cause) for cause in (first, second)])
    for_it, against = (first, second) if found[0] >= found[1] else (second, first)
    place = _place(part)
    look = f"{check.safety} {check.look.format(place=place)}".strip()
    return (
        f"{look} If {check.found.format(place=place)}, that speaks for: {for_it.name}; if not, "
        f"for: {against.name}."
    )


def _place(part: str) -> str:
    place = part.rpartition(":")[2]
    return "timing drive" if place == "unknown drive" or ":unknown drive:" in part else place
