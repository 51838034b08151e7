"""What the signs in a history mean: only of those that are drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.language import say
from crankwise.picture import style, svg
from crankwise.picture.history_axes import line_end
from crankwise.picture.history_panel import BEFORE, BEYOND, crossed, former_series, visit_mark
from crankwise.picture.key import SIGN, Entry, key

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.store import HistorySeries


def history_key(
    shown: list[HistorySeries], y: float, *, left: float, right: float
) -> tuple[list[svg.Element], float]:
    """Draw the key from the baseline ``y`` on; return the elements and the lower end."""
    return key(list(_entries(shown)), y, left=left, right=right)


def _entries(shown: list[HistorySeries]) -> Iterator[Entry]:
    yield Entry(say("visit, ± 95 % where wide enough to see"), _visit)
    if any(style.has_open_markers(series.quantity) for series in shown):
        yield Entry(say("open: bank 2"), _open)
    if any(any(former_series(series)) for series in shown):
        yield Entry(say("with an earlier chain"), _former)
    if any(series.worn.line is not None for series in shown):
        yield Entry(say("line through the visits with this chain"), _line)
        yield Entry(say("where 95 of 100 measurements lie"), _band)
    if any(_goes_on(series) for series in shown):
        yield Entry(say("beyond the last visit, only as far ahead as the visits span"), _beyond)
    if any(_is_reached(series) for series in shown):
        yield Entry(say("where the limit is reached, 95 %"), _reached)
    if any(series.worn.set_aside is not None for series in shown):
        yield Entry(say("left out of the line"), _left_out)
    yield Entry(say("+ later (retarded), - earlier (advanced)"))


def _goes_on(series: HistorySeries) -> bool:
    end = line_end(series)
    return end is not None and end > series.worn.visits[-1].mileage


def _is_reached(series: HistorySeries) -> bool:
    """Whether the line goes as far as a limit may be reached."""
    end = line_end(series)
    forecasts = (series.worn.forecast, series.out_of_time.forecast)
    return any(
        end is not None and forecast.earliest < end
        for forecast in forecasts
        if forecast is not None and forecast.remaining > 0.0
    )


def _visit(x: float, y: float) -> list[svg.Element]:
    middle = x + SIGN / 2
    bar = style.line(middle, y - 8.0, middle, y + 8.0, colour=style.INK, width=1.4)
    return [bar, *visit_mark(middle, y, colour=style.FAINT_INK, is_open=False)]


def _open(x: float, y: float) -> list[svg.Element]:
    return visit_mark(x + SIGN / 2, y, colour=style.FAINT_INK, is_open=True)


def _former(x: float, y: float) -> list[svg.Element]:
    pale = style.lighter(style.FAINT_INK)
    line = style.polyline([(x, y), (x + SIGN, y)], colour=pale, width=1.4, dashes=BEFORE)
    return [line, *visit_mark(x + SIGN / 2, y, colour=pale, is_open=False)]


def _line(x: float, y: float) -> list[svg.Element]:
    return [style.line(x, y, x + SIGN, y, colour=style.FAINT_INK, width=1.8)]


def _band(x: float, y: float) -> list[svg.Element]:
    return [
        svg.element("rect", x=x, y=y - 6.0, width=SIGN, height=12.0, fill=style.FAINT_INK,
                    fill_opacity=0.2)
    ]  # fmt: skip


def _beyond(x: float, y: float) -> list[svg.Element]:
    return [
        style.polyline([(x, y), (x + SIGN, y)], colour=style.FAINT_INK, width=1.8, dashes=BEYOND)
    ]


def _reached(x: float, y: float) -> list[svg.Element]:
    middle = x + SIGN / 2
    return [
        style.line(x, y, x + SIGN, y, colour=style.INK, width=3.0),
        style.line(middle, y - 6.0, middle, y + 6.0, colour=style.INK, width=2.0),
    ]


def _left_out(x: float, y: float) -> list[svg.Element]:
    return crossed(x + SIGN / 2, y)
