"""A vehicle over its mileage: one panel for each cam and separation, over one axis of mileage.

All panels are drawn to one scale of crank degrees, so that how steep a line is can be compared
from one panel to the next.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import furniture, style, svg
from crankwise.picture.history_axes import mileages, stretches
from crankwise.picture.history_key import history_key
from crankwise.picture.history_labels import labels
from crankwise.picture.history_panel import Panel, quantity_colour
from crankwise.picture.history_words import (
    mileage_words,
    quantity_words,
    trend_words,
    visit_words,
)
from crankwise.picture.layout import fitted, label_rows, text_width, wrapped
from crankwise.picture.panels import WIDTH
from crankwise.picture.scale import Scale, round_steps

if TYPE_CHECKING:
    from crankwise.store import History, HistorySeries

LEFT: Final = 66.0
"""Left end of the mileage axis."""
RIGHT: Final = WIDTH - 220.0
"""Right end of the mileage axis."""
MOST_PANELS: Final = 6
_ROOM: Final = WIDTH - 32.0
_WORDS: Final = RIGHT - 16.0  # leaves what is written at the limits of the panel above its room
_LINE: Final = 15.0
_TICK_PX: Final = 95.0
_LEFT_OUT: Final = 4  # written out, of the recordings that could not be used


def history_view(history: History, *, vehicle: str = "") -> str:
    """Draw a vehicle's history as an SVG picture.

    Parameters
    ----------
    history : History
    vehicle : str
        What to call the vehicle.

    Returns
    -------
    str
        A complete SVG file, self-contained, on a light background.
    """
    shown = _shown(history)
    head, y = _heading(history, vehicle)
    body, y = _panels(history, shown, y) if shown else _nothing(y)
    foot, y = _remarks(history, len(history.series) - len(shown), y)
    title = say("Valve timing over the mileage")
    return svg.document(
        *furniture.sheet([*head, *body, *foot], width=WIDTH, height=y),
        width=WIDTH,
        height=y,
        title=f"{title}: {vehicle}" if vehicle else title,
        text=_in_words(history),
    )


def _shown(history: History) -> list[HistorySeries]:
    """Cams first; of too many, those that have moved most."""
    with_visits = [series for series in history.series if series.visits]
    by_size = sorted(
        with_visits,
        key=lambda s: (s.kind != "cam", -max(abs(v.shift_deg) for v in s.visits)),
    )[:MOST_PANELS]
    return [series for series in with_visits if series in by_size]


def _heading(history: History, vehicle: str) -> tuple[list[svg.Element], float]:
    title = style.text(say("Valve timing over the mileage"), 16.0, 30.0, size=18.0, bold=True)
    against = say("shift against known-good {name}", name=history.known_good_id[:8])
    words = f"{vehicle} · {against}" if vehicle else against
    line = style.text(fitted(words, size=12.0, width=_ROOM), 16.0, 50.0, size=12.0)
    return [title, line], 62.0


def _nothing(y: float) -> tuple[list[svg.Element], float]:
    words = say("No visit has a measurement that can be held against a known-good.")
    return [style.text(words, 16.0, y + 16.0, size=12.0, bold=True)], y + 30.0


def _panels(
    history: History, shown: list[HistorySeries], y: float
) -> tuple[list[svg.Element], float]:
    low, high = mileages(history, shown)
    across = Scale(low, high, LEFT, RIGHT)
    repairs, y = _repair_names(history, shown, across, y)
    top = y
    parts: list[svg.Element] = []
    sizes, px_per_deg = stretches(history, shown)
    for series, size in zip(shown, sizes, strict=True):
        words, y = _panel_words(series, history.mileage_unit, y)
        bottom = y + size.size_deg * px_per_deg
        up = Scale(size.low_deg, size.high_deg, bottom, y)
        panel = Panel(series, history, across, up)
        parts += [*words, *_inner_ticks(across, bottom), *panel.draw(), *labels(panel)]
        y = bottom + 8.0
    axis, bottom = _mileage_axis(history, across, y)
    drawn = [*_repair_lines(shown, across, top, y), *parts, *repairs, *axis]
    signs, bottom = history_key(shown, bottom + 26.0, left=16.0, right=WIDTH - 16.0)
    return [*drawn, *signs], bottom


def _panel_words(series: HistorySeries, unit: str, y: float) -> tuple[list[svg.Element], float]:
    """Name a panel and say what its visits tell; return the elements and the lower end."""
    name = fitted(quantity_words(series), size=13.0, width=_WORDS / 1.15)
    parts = [style.text(name, 16.0, y + 20.0, size=13.0, colour=quantity_colour(series), bold=True)]
    y += 20.0
    said = [trend_words(series, unit), *(told(remark) for remark in series.worn.remarks)]
    for words in wrapped(" ".join(said), size=11.0, width=_WORDS):
        y += _LINE
        parts += style.backed(style.text(words, 16.0, y))
    return parts, y + 8.0


def _restarts(shown: list[HistorySeries]) -> list[float]:
    return sorted({restart for series in shown for restart in series.restarts})


def _repair_names(
    history: History, shown: list[HistorySeries], across: Scale, y: float
) -> tuple[list[svg.Element], float]:
    """Name each new chain above the panels; return the elements and the lower end."""
    restarts = _restarts(shown)
    if not restarts:
        return [], y
    names = [
        say("new chain at {mileage}", mileage=mileage_words(restart, history.mileage_unit))
        for restart in restarts
    ]
    widths = [text_width(name, size=10.5) + 14.0 for name in names]
    places = [across.at(restart) for restart in restarts]
    rows = label_rows(places, widths)
    bottom = y + 14.0 * (max(rows) + 1) + 6.0
    parts = []
    for x, row, name in zip(places, rows, names, strict=True):
        baseline = bottom - 6.0 - 14.0 * row
        parts += [
            style.polyline([(x, baseline - 9.0), (x, bottom)], colour=style.INK, width=1.2,
                           dashes="2 3"),
            style.text(name, x + 5.0, baseline, size=10.5),
        ]  # fmt: skip
    return parts, bottom


def _repair_lines(
    shown: list[HistorySeries], across: Scale, top: float, bottom: float
) -> list[svg.Element]:
    return [
        style.polyline(
            [(across.at(place), top), (across.at(place), bottom)],
            colour=style.INK, width=1.2, dashes="2 3",
        )
        for place in _restarts(shown)
    ]  # fmt: skip


def _steps(across: Scale) -> tuple[float, ...]:
    return round_steps(across.low, across.high, most=int((across.end - across.start) / _TICK_PX))


def _inner_ticks(across: Scale, y: float) -> list[svg.Element]:
    """Draw the places of the axis below each panel, without their numbers."""
    return [
        style.line(across.at(step), y, across.at(step), y + 4.0, colour=style.FAINT_INK)
        for step in _steps(across)
    ]


def _mileage_axis(history: History, across: Scale, y: float) -> tuple[list[svg.Element], float]:
    parts = [style.line(across.start, y, across.end, y, colour=style.INK)]
    for step in _steps(across):
        x = across.at(step)
        parts += [
            style.line(x, y, x, y + 6.0, colour=style.INK),
            style.text(told(f"{step:,.0f}"), x, y + 18.0, size=10.5, anchor="middle"),
        ]
    words = say("mileage, {unit}", unit=told(history.mileage_unit))
    middle = (across.start + across.end) / 2
    parts.append(
        style.text(words, middle, y + 31.0, size=10.0, colour=style.FAINT_INK, anchor="middle")
    )
    return parts, y + 34.0


def _remarks(history: History, hidden: int, y: float) -> tuple[list[svg.Element], float]:
    """Say what the picture leaves out; return the elements and the lower end."""
    said = []
    if hidden > 0:
        said.append(say("{count} more that have moved less stand in the table.", count=hidden))
    if history.left_out:
        first = "; ".join(map(told, history.left_out[:_LEFT_OUT]))
        more = len(history.left_out) - _LEFT_OUT
        if more > 0:
            first = say("{first}; and {count} more", first=first, count=more)
        said.append(say("Left out: {recordings}.", recordings=first))
    parts = []
    for sentence in said:
        for words in wrapped(sentence, size=11.0, width=_ROOM):
            y += _LINE
            parts.append(style.text(words, 16.0, y))
    return parts, y + 14.0


def _in_words(history: History) -> str:
    """Describe the picture for readers who can't see it."""
    return " ".join(
        say(
            "{quantity}: {trend} Visits: {visits}.",
            quantity=quantity_words(series),
            trend=trend_words(series, history.mileage_unit),
            visits="; ".join(
                say("{mileage} {shift}", mileage=mileage_words(visit.mileage, history.mileage_unit),
                    shift=visit_words(visit))
                for visit in series.visits
            ),
        )
        for series in history.series
    )  # fmt: skip
