"""A vehicle over its mileage, as people read it on a terminal of 80 columns."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.cli.console import console_for_people
from crankwise.cli.tables import (
    add_row,
    open_table,
    print_bullets,
    print_title,
    print_words,
)
from crankwise.cli.wording import distance, short
from crankwise.picture.words import shift_words

if TYPE_CHECKING:
    from rich.console import Console

    from crankwise.judge.history import Trend
    from crankwise.store import History, HistorySeries

_TWO_SIDED_95 = 1.96  # standard normal, for a standard uncertainty of many degrees of freedom


def show_history(history: History, vehicle: str) -> None:
    """Print each cam and separation: its visits, its trend, and how far it is to the limits."""
    console = console_for_people()
    print_words(console, _heading(history, vehicle), style="bold")
    for series in history.series:
        _show_series(console, series, history.mileage_unit)
    if not history.series:
        print_words(console, "No visit has a measurement that can be held against a known-good.")
    if history.left_out:
        print_title(console, "left out")
        print_bullets(console, history.left_out)


def _heading(history: History, vehicle: str) -> str:
    against = (
        f", against known-good {short(history.known_good_id)}" if history.known_good_id else ""
    )
    return f"{vehicle} over its mileage{against}"


def _show_series(console: Console, series: HistorySeries, unit: str) -> None:
    print_title(console, f"{series.quantity}{' cam' if series.kind == 'cam' else ''}")
    table = open_table("  visit", "mileage", "shift", numbers={"mileage", "shift"})
    for visit in series.visits:
        shift = shift_words(visit.shift_deg, _TWO_SIDED_95 * visit.standard_uncertainty_deg)
        add_row(table, f"  {visit.name}", distance(visit.mileage, unit), shift)
    console.print(table)
    if series.restarts:
        places = ", ".join(distance(restart, unit) for restart in series.restarts)
        print_words(
            console, f"The chain was replaced at {places}: the series begins anew.", indent=2
        )
    print_words(console, series.worn.reason, indent=2)
    _show_forecast(console, "worn", series.worn)
    _show_forecast(console, "out-of-time", series.out_of_time)
    if series.worn.remarks:
        print_bullets(console, series.worn.remarks)


def _show_forecast(console: Console, level: str, trend: Trend) -> None:
    if trend.forecast is not None:
        print_words(console, f"{level}: {trend.forecast.text}", indent=2)
