"""A comparison laid out for a page: sentences said once, numbers with their uncertainty.

Numbers are in the language spoken; sentences are the core's, which the page tells.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.comparison.words import signed
from crankwise.language import told
from crankwise.picture.comparison_words import causes_told, chance_words, reasons_left, without
from crankwise.picture.words import bounds_words, shift_words

if TYPE_CHECKING:
    from crankwise.model.comparison import Cause, Comparison, HealthyLimits

_MOST_CAUSES: Final = 4
_SCATTER_WORTH_SAYING: Final = 1.5


@dataclass(frozen=True, slots=True)
class ShiftRow:
    """A line of the table: one cam or separation, its change, and what healthy ones do."""

    role: str
    other: str
    shift: str
    teeth: str
    healthy: str
    is_healthy: bool | None
    direction: str
    scatter_ratio: float | None


@dataclass(frozen=True, slots=True)
class ComparisonView:
    """One comparison as the visit page shows it.

    Attributes
    ----------
    comparison : Comparison
    cams, separations : tuple of ShiftRow
    causes : tuple of (Cause, str)
        The likeliest ones, each with its probability in words.
    why, to_do : tuple of str
        Reasons and advice that don't stand elsewhere on the page.
    next_check : str
        The check that tells the likeliest causes apart; empty for an engine in time.
    """

    comparison: Comparison
    cams: tuple[ShiftRow, ...]
    separations: tuple[ShiftRow, ...]
    causes: tuple[tuple[Cause, str], ...]
    why: tuple[str, ...]
    to_do: tuple[str, ...]
    next_check: str


def comparison_view(found: Comparison) -> ComparisonView:
    """Lay out one comparison."""
    in_time = found.verdict.level == "in-time"
    check = found.next_check.text if found.next_check and not in_time else ""
    return ComparisonView(
        comparison=found,
        cams=_cams(found),
        separations=_separations(found),
        causes=tuple(
            (c, chance_words(c.probability)) for c in causes_told(found.causes)[:_MOST_CAUSES]
        ),
        why=tuple(reasons_left(found)),
        to_do=tuple(without(found.verdict.advice, [check])),
        next_check=check,
    )


def _cams(found: Comparison) -> tuple[ShiftRow, ...]:
    return tuple(
        ShiftRow(
            role=cam.role,
            other="",
            shift=shift_words(cam.shift_deg, cam.uncertainty_deg),
            teeth=told(signed(cam.shift_teeth, decimals=2).removesuffix("°")),
            healthy=_bounds(cam.healthy),
            is_healthy=cam.healthy.contains(cam.shift_deg) if cam.healthy else None,
            direction=cam.direction,
            scatter_ratio=_worth_saying(cam.scatter_ratio),
        )
        for cam in found.cams
    )


def _separations(found: Comparison) -> tuple[ShiftRow, ...]:
    return tuple(
        ShiftRow(
            role=change.between[0],
            other=change.between[1],
            shift=shift_words(change.change_deg, change.uncertainty_deg),
            teeth="",
            healthy=_bounds(change.healthy),
            is_healthy=change.healthy.contains(change.change_deg) if change.healthy else None,
            direction=change.motion,
            scatter_ratio=None,
        )
        for change in found.separations
    )


def _bounds(limits: HealthyLimits | None) -> str:
    return bounds_words(limits.low_deg, limits.high_deg) if limits else ""


def _worth_saying(ratio: float | None) -> float | None:
    return ratio if ratio is not None and ratio >= _SCATTER_WORTH_SAYING else None
