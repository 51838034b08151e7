"""A vehicle over its mileage, as people read it on a terminal of 80 columns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.cli.console import console_for_people
from crankwise.cli.tables import (
    add_row,
    open_table,
    print_bullets,
    print_title,
    print_words,
)
from crankwise.cli.wording import distance, short
from crankwise.language import say, told
from crankwise.picture.history_words import about, trend_words, visit_words
from crankwise.picture.words import signed

if TYPE_CHECKING:
    from rich.console import Console

    from crankwise.judge.history import Forecast, Trend
    from crankwise.store import History, HistorySeries

_MOST_OF_A_NAME: Final = 42


def show_history(history: History, vehicle: str) -> None:
    """Print each cam and separation: its visits, its trend, and how far it is to the limits."""
    console = console_for_people()
    print_words(console, _heading(history, vehicle), style="bold")
    for series in history.series:
        _show_series(console, series, history.mileage_unit)
    if not history.series:
        words = say("No visit has a measurement that can be held against a known-good.")
        print_words(console, words)
    if history.left_out:
        print_title(console, say("left out"))
        print_bullets(console, map(told, history.left_out))


def _heading(history: History, vehicle: str) -> str:
    if not history.known_good_id:
        return say("{name} over its mileage", name=vehicle)
    return say(
        "{name} over its mileage, against known-good {id}",
        name=vehicle, id=short(history.known_good_id),
    )  # fmt: skip


def _show_series(console: Console, series: HistorySeries, unit: str) -> None:
    print_title(console, told(series.quantity + (" cam" if series.kind == "cam" else "")))
    table = open_table("  visit", "mileage", "shift", numbers={"mileage", "shift"})
    # A date, then the file, whose end may go.
    table.columns[0].no_wrap, table.columns[0].max_width = True, _MOST_OF_A_NAME
    for visit in series.visits:
        add_row(table, f"  {visit.name}", distance(visit.mileage, unit), visit_words(visit))
    console.print(table)
    if series.restarts:
        places = ", ".join(distance(restart, unit) for restart in series.restarts)
        words = say("The chain was replaced at {places}: the series begins anew.", places=places)
        print_words(console, words, indent=2)
    print_words(console, trend_words(series, unit), indent=2)
    _show_limits(console, series, unit)
    if series.worn.remarks:
        print_bullets(console, map(told, series.worn.remarks))


def _show_limits(console: Console, series: HistorySeries, unit: str) -> None:
    """Print how far it is from the last visit to each limit, if it goes on like this."""
    pairs = (("worn", series.worn), ("out-of-time", series.out_of_time))
    ahead = [(level, trend, trend.forecast) for level, trend in pairs if trend.forecast]
    if not ahead:
        return
    table = open_table("  until", "limit", "distance", "95 %", numbers={"limit", "distance"})
    for level, trend, forecast in ahead:
        add_row(
            table, f"  {told(level)}", told(f"{signed(forecast.limit_deg, decimals=1)}°"),
            about(forecast.remaining, unit), _between(trend, forecast),
        )  # fmt: skip
    console.print(table)
    if ahead[0][2].extrapolated > 1.0:
        print_words(
            console,
            say(
                "Worn lies {times} times as far ahead as the visits span: measure again before "
                "relying on it.",
                times=told(f"{ahead[0][2].extrapolated:.1f}"),
            ),
            indent=2,
        )


def _between(trend: Trend, forecast: Forecast) -> str:
    last = trend.visits[-1].mileage
    first = about(forecast.earliest - last)
    if forecast.latest is None:
        return say("{first} to no end in sight", first=first)
    return say("{first} to {latest}", first=first, latest=about(forecast.latest - last))
