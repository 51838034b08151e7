"""A comparison in words, each thing said once: for the terminal and the screens alike."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.model.policy import HEALTHY

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from crankwise.model.comparison import Cause, Comparison

_WORTH_TELLING: Final = 0.05
"""Probability from which a fault is named beside a healthy engine."""


def chance_words(probability: float) -> str:
    """Write a probability; never 0 % or 100 %, which nothing measured is.

    >>> chance_words(0.813), chance_words(0.001), chance_words(0.999)
    ('81 %', '< 1 %', '> 99 %')
    """
    if probability < 0.01:
        return "< 1 %"
    return "> 99 %" if probability > 0.99 else f"{100.0 * probability:.0f} %"


def reasons_left(comparison: Comparison) -> list[str]:
    """Return the reasons for the verdict that shifts, separations and limits don't say already."""
    limits = comparison.limits
    said = [cam.words for cam in comparison.cams]
    said += [change.words for change in comparison.separations]
    said += [limits.text, limits.code_limit_source]
    return without(comparison.verdict.reasons, said)


def without(lines: Iterable[str], said: Sequence[str]) -> list[str]:
    """Leave out lines that hold what was said already, in capitals or not.

    >>> without(["Limits rest on a guess.", "It rattles."], ["limits rest on a guess"])
    ['It rattles.']
    """
    known = [words.casefold() for words in said if words]
    return [line for line in lines if not any(words in line.casefold() for words in known)]


def causes_told(causes: Sequence[Cause]) -> tuple[Cause, ...]:
    """Leave out what hardly anything speaks for where the likeliest is that nothing is wrong.

    Beside a healthy engine, a chain grown by 0.01 % at 2 % only makes people look for it.
    """
    if not causes or causes[0].cause != HEALTHY:
        return tuple(causes)
    return (causes[0], *(c for c in causes[1:] if c.probability >= _WORTH_TELLING))
