"""A history as JSON values: everything but the fitted line itself, which is no document."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from crankwise.judge.history import Trend
    from crankwise.store import History


def history_values(history: History) -> dict[str, object]:
    """Return the fields of the document ``crankwise.history/1``."""
    return {
        "mileage_unit": history.mileage_unit,
        "known_good_id": history.known_good_id,
        "worn_deg": history.worn_deg,
        "out_of_time_deg": history.out_of_time_deg,
        "series": [
            {
                "quantity": series.quantity,
                "kind": series.kind,
                "restarts": series.restarts,
                "known_good_standard_uncertainty_deg": series.reference_standard_uncertainty_deg,
                "visits": series.visits,
                "worn": _trend(series.worn),
                "out_of_time": _trend(series.out_of_time),
            }
            for series in history.series
        ],
        "left_out": history.left_out,
    }


def _trend(trend: Trend) -> dict[str, object]:
    names = [field.name for field in fields(trend) if field.name not in {"line", "visits"}]
    return {name: getattr(trend, name) for name in names}
