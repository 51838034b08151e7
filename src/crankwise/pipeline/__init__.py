"""The steps chained: a recording to a measurement, measurements to a comparison."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from crankwise.pipeline.measuring import Progress, Traced, measure, measure_traced

if TYPE_CHECKING:
    from crankwise.pipeline.comparing import compare

__all__ = ["Progress", "Traced", "compare", "measure", "measure_traced"]


def __getattr__(name: str) -> Any:
    # Measuring alone does not pay for what only a comparison needs.
    if name != "compare":
        raise AttributeError(f"module 'crankwise.pipeline' has no attribute '{name}'")
    from crankwise.pipeline import comparing  # noqa: PLC0415

    return comparing.compare
