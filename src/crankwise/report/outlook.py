"""How far it may go until when: told from the vehicle's own history, or that it can't be told."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.judge.history import chance_at
from crankwise.language import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.report.written import Written
    from crankwise.store import History, HistorySeries


def series_of(history: History | None, roles: Sequence[str]) -> HistorySeries | None:
    """Return the series of a cam, or of the separation of two, whichever way round."""
    if history is None:
        return None
    wanted = set(roles)
    return next(
        (item for item in history.series if set(item.quantity.split(" to ")) == wanted), None
    )


def is_trending(history: History | None, roles: Sequence[str]) -> bool:
    """Whether the visits tell that it moves."""
    series = series_of(history, roles)
    return series is not None and series.worn.outcome == "trending"


def outlook(history: History | None, roles: Sequence[str], written: Written) -> str:
    """Say when wear would be looked for, if it goes on as over the visits so far."""
    series = series_of(history, roles)
    if history is None or series is None:
        return say("How fast it goes on. That takes several visits to tell.")
    trend, count = series.worn, len(series.worn.visits)
    if trend.outcome == "too-few-visits":
        return _too_few(count)
    if trend.forecast is None:
        return say(
            "How fast it goes on. Over {count} visits no change can be told for sure.", count=count
        )
    ahead, unit = trend.forecast, history.mileage_unit
    if ahead.remaining == 0.0:
        return say("How fast it goes on. The point where we look for wear is reached already.")
    places = {
        "count": count,
        "limit": written.degrees(history.worn_deg),
        "about": written.about(ahead.mileage, unit),
        "least": written.about(ahead.earliest, unit),
    }
    if ahead.latest is None:
        text = say(
            "How fast it goes on, for sure. At the pace of the last {count} visits it comes to "
            "{limit} at about {about}, at {least} at the earliest.", **places,
        )  # fmt: skip
    else:
        text = say(
            "How fast it goes on, for sure. At the pace of the last {count} visits it comes to "
            "{limit} at about {about} ({least} to {most}).",
            **places, most=written.about(ahead.latest, unit),
        )  # fmt: skip
    if ahead.extrapolated > 1.0:
        text += " " + say("That is further ahead than the visits reach back.")
    return text


def chance(
    history: History | None, roles: Sequence[str], mileage: float | None, written: Written
) -> str:
    """Say how likely wear is to be looked for by a mileage; empty without a mileage."""
    if mileage is None:
        return ""
    series = series_of(history, roles)
    if history is None or series is None:
        return say("How far it will have moved by then can't be told.")
    count = len(series.worn.visits)
    probability = chance_at(
        series.worn, mileage,
        reference_standard_uncertainty_deg=series.reference_standard_uncertainty_deg,
    )  # fmt: skip
    if probability is None:
        return (
            say("How far it will have moved by then can't be told from one visit.")
            if count == 1
            else say(
                "How far it will have moved by then can't be told from {count} visits.", count=count
            )
        )
    return say(
        "Chance that it has come to {limit} by then: {share}, told from {count} visits.",
        limit=written.degrees(history.worn_deg), share=written.share(probability), count=count,
    )  # fmt: skip


def _too_few(count: int) -> str:
    if count == 1:
        return say("How fast it goes on. That can't be told from one visit; it takes three.")
    return say(
        "How fast it goes on. That can't be told from {count} visits; it takes three.", count=count
    )
