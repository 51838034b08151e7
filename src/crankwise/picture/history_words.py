"""A vehicle over its mileage, in words: for its picture and for the terminal alike."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture.words import shift_words, signed
from crankwise.roles.naming import cam_name

if TYPE_CHECKING:
    from crankwise.judge.history import Forecast, Visit
    from crankwise.store import HistorySeries

TWO_SIDED_95: Final = 1.96
"""Standard normal, for a standard uncertainty of many degrees of freedom."""
_ROUNDED_MORE: Final = 10_000.0


def quantity_words(series: HistorySeries) -> str:
    """Name what a series is of."""
    return told(cam_name(series.quantity) if series.kind == "cam" else series.quantity)


def visit_words(visit: Visit) -> str:
    """Write the shift of a visit with its expanded uncertainty."""
    return told(shift_words(visit.shift_deg, TWO_SIDED_95 * visit.standard_uncertainty_deg))


def trend_words(series: HistorySeries, unit: str) -> str:
    """Say how it moves; a separation has no direction of its own, so its sign stands for it."""
    trend, change = series.worn, series.worn.change_per_10000
    if series.kind == "cam" or trend.outcome != "trending" or change is None:
        return told(trend.reason)
    return say(
        "The angle between them changes by {change}° per 10,000 {unit} ({low}° to {high}°), over "
        "{count} visits.",
        change=told(signed(change.value, decimals=2)), unit=told(unit),
        low=told(signed(change.low, decimals=2)), high=told(signed(change.high, decimals=2)),
        count=len(trend.visits),
    )  # fmt: skip


def mileage_words(mileage: float, unit: str) -> str:
    """Write a mileage as one reads it from the clock.

    >>> mileage_words(98_400, "miles")
    '98,400 miles'
    """
    return told(f"{mileage:,.0f} {unit}")


def about(distance: float, unit: str = "") -> str:
    """Round a distance to what a forecast is good for.

    >>> about(98_412.0, "miles"), about(3_456.0), about(0.0, "km")
    ('98,000 miles', '3,500', '0 km')
    """
    step = 1000.0 if distance >= _ROUNDED_MORE else 100.0
    return told(f"{step * round(distance / step):,.0f} {unit}".rstrip())


def forecast_lines(forecast: Forecast, unit: str) -> list[str]:
    """Say at which mileage a limit is reached, in short lines."""
    if forecast.remaining == 0.0:
        return [say("reached")]
    lines = [say("at about {mileage}", mileage=about(forecast.mileage, unit))]
    earliest = about(forecast.earliest)
    if forecast.latest is None:
        lines.append(say("({earliest} at the earliest)", earliest=earliest))
    else:
        latest = about(forecast.latest)
        lines.append(say("({earliest} to {latest})", earliest=earliest, latest=latest))
    if forecast.extrapolated > 1.0:
        lines.append(say("far off: measure again first"))
    return lines
