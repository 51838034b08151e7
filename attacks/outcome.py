"""What came of an attack: how often it was tried, how often it got through."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from benchmarks.pages import judged, table, write_between

if TYPE_CHECKING:
    from collections.abc import Sequence

PAGE = Path(__file__).resolve().parents[1] / "docs" / "robustness.md"
HEADER = ("attack", "tried", "got through", "allowed", "result", "seen")


@dataclass(frozen=True, slots=True)
class Outcome:
    """One attack, tried many times.

    Attributes
    ----------
    attack : str
        What was tried.
    tried : int
        How many times.
    through : int
        How many times it got through: a traceback, a lost record, a confident wrong answer.
    seen : str
        What came of the rest, in words.
    allowed : int
        How often it may get through.
    """

    attack: str
    tried: int
    through: int
    seen: str = ""
    allowed: int = 0

    @property
    def holds(self) -> bool:
        """Whether the product held."""
        return self.through <= self.allowed


def as_table(outcomes: Sequence[Outcome]) -> str:
    """All outcomes in Markdown.

    >>> print(as_table([Outcome("one edge", 1200, 0, "all refused")]))
    | attack   | tried | got through | allowed | result | seen        |
    |----------|-------|-------------|---------|--------|-------------|
    | one edge | 1,200 | 0           | 0       | pass   | all refused |
    """
    return table(
        HEADER,
        [
            (
                outcome.attack,
                f"{outcome.tried:,}",
                f"{outcome.through:,}",
                f"{outcome.allowed:,}",
                judged(holds=outcome.holds),
                outcome.seen,
            )
            for outcome in outcomes
        ],
    )


def write_section(name: str, outcomes: Sequence[Outcome], *, note: str = "") -> None:
    """Replace the section ``name`` of docs/robustness.md by these outcomes and a line below.

    Raises
    ------
    UsageError
        The page has no markers of that name.
    """
    write_between(PAGE, name, f"{as_table(outcomes)}\n\n{note}")
