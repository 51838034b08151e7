"""One panel of a history: the visits of one cam or separation, its line, band and limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.comparison.line import COVERAGE
from crankwise.judge.history import split_series
from crankwise.language import say
from crankwise.picture import style, svg, verdicts
from crankwise.picture.history_axes import line_end
from crankwise.picture.history_words import TWO_SIDED_95, mileage_words, visit_words
from crankwise.picture.scale import Scale, round_steps
from crankwise.picture.words import signed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.judge.history import Forecast, Visit
    from crankwise.model.comparison import Level
    from crankwise.store import History, HistorySeries

RADIUS: Final = 3.6
"""Of a visit's marker, pixels."""
BEYOND: Final = "7 4"
"""Dashes of the line beyond the last visit."""
BEFORE: Final = "1.5 3"
"""Dashes of the line through visits with an earlier chain."""
_CAP: Final = 3.0  # half the width of the ends of a ± bar
_TICK_PX: Final = 22.0
_POINTS: Final = 24  # of the edge of a band

Points = list[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity over the mileage.

    Attributes
    ----------
    series : HistorySeries
    history : History
        Its limits and its unit.
    across, up : Scale
        Of the mileage, and of the shift in crank degrees.
    """

    series: HistorySeries
    history: History
    across: Scale
    up: Scale

    def draw(self) -> list[svg.Element]:
        """Draw axis, limits, band, lines and visits."""
        return [
            *self._axis(),
            *self._limits(),
            *self._band(),
            *self._lines(),
            *self._crossings(),
            *(self._visit(visit) for visit in self.series.visits),
        ]

    @property
    def colour(self) -> str:
        """Colour of the role; a separation has the one of no role."""
        return quantity_colour(self.series)

    def place(self, visit: Visit) -> tuple[float, float]:
        """Where a visit is drawn, pixels."""
        return self.across.at(visit.mileage), self.up.at(visit.shift_deg)

    def reach(self, visit: Visit) -> float:
        """Half the length of a visit's ± bar, pixels."""
        return TWO_SIDED_95 * visit.standard_uncertainty_deg * self.up.px_per_unit

    def former_lines(self) -> Iterator[Points]:
        """Points of the line through the visits of each earlier chain."""
        for visits in former_series(self.series):
            if len(visits) > 1:
                yield [self.place(visit) for visit in visits]

    def lines(self) -> Iterator[tuple[Points, str]]:
        """Ends and dashes of the fitted line: within the visits, and where it goes on."""
        end, trend = line_end(self.series), self.series.worn
        if end is None or trend.line is None:
            return
        first, last = trend.visits[0].mileage, trend.visits[-1].mileage
        for start, stop, dashes in ((first, last, ""), (last, end, BEYOND)):
            if stop > start:
                values = [(at, trend.line.expected(at).value) for at in (start, stop)]
                yield [(self.across.at(at), self._height(value)) for at, value in values], dashes

    def forecasts(self) -> Iterator[tuple[Level, Forecast]]:
        """Limits that are being approached, with when they are reached."""
        if self.series.worn.forecast is not None:
            yield "worn", self.series.worn.forecast
        if self.series.out_of_time.forecast is not None:
            yield "out-of-time", self.series.out_of_time.forecast

    def _axis(self) -> list[svg.Element]:
        up, left = self.up, self.across.start
        parts = [style.line(left, up.start, left, up.end, colour=style.FAINT_INK)]
        most = max(int(abs(up.start - up.end) / _TICK_PX), 1)
        steps = round_steps(up.low, up.high, most=most)
        decimals = 0 if all(step.is_integer() for step in steps) else 1
        for step in steps:
            y, words = up.at(step), f"{signed(step, decimals=decimals)}°"
            parts += [
                style.line(left - 5.0, y, left, y, colour=style.FAINT_INK),
                style.text(words, left - 8.0, y + 3.5, size=10.0, anchor="end"),
            ]
        return parts

    def _limits(self) -> list[svg.Element]:
        """Draw the lines of the known-good and of every limit in view."""
        left, right, nought = self.across.start, self.across.end, self.up.at(0.0)
        return [
            style.polyline(
                [(left, nought), (right, nought)], colour=style.FAINT_INK, width=1.0, dashes="6 3"
            ),
            *(
                limit_line(level, left, right, self.up.at(place))
                for level, limit_deg in limits_of(self.history)
                for place in (limit_deg, -limit_deg)
                if self.up.holds(place)
            ),
        ]

    def _band(self) -> list[svg.Element]:
        """Draw where 95 of 100 readings lie, as far as the line goes."""
        end, line = line_end(self.series), self.series.worn.line
        if end is None or line is None:
            return []
        first = self.series.worn.visits[0].mileage
        own_deg = self.series.reference_standard_uncertainty_deg
        above, below = [], []
        for number in range(_POINTS + 1):
            place = first + (end - first) * number / _POINTS
            band = line.predict(place, standard_uncertainty_deg=own_deg, coverage=COVERAGE)
            above.append((self.across.at(place), self._height(band.high)))
            below.append((self.across.at(place), self._height(band.low)))
        points = " ".join(f"{svg.short(x)},{svg.short(y)}" for x, y in (*above, *reversed(below)))
        return [svg.element("polygon", points=points, fill=self.colour, fill_opacity=0.13)]

    def _height(self, shift_deg: float) -> float:
        return self.up.at(self.up.clipped(shift_deg))

    def _lines(self) -> list[svg.Element]:
        pale = style.lighter(self.colour)
        return [
            *(
                style.polyline(points, colour=pale, width=1.4, dashes=BEFORE)
                for points in self.former_lines()
            ),
            *(
                style.polyline(points, colour=self.colour, width=1.8, dashes=dashes)
                for points, dashes in self.lines()
            ),
        ]

    def _crossings(self) -> list[svg.Element]:
        """Draw on each limit in view the stretch of mileage within which it is reached."""
        end = line_end(self.series)
        return [
            part
            for _, forecast in self.forecasts()
            if end is not None and forecast.remaining > 0.0 and self.up.holds(forecast.limit_deg)
            for part in self._crossing(forecast, end)
        ]

    def _crossing(self, forecast: Forecast, end: float) -> list[svg.Element]:
        if forecast.earliest >= end:
            return []
        latest = end if forecast.latest is None else min(forecast.latest, end)
        y = self.up.at(forecast.limit_deg)
        start, stop = self.across.at(forecast.earliest), self.across.at(latest)
        parts = [style.line(start, y, stop, y, colour=style.INK, width=3.0)]
        if forecast.mileage <= end:
            x = self.across.at(forecast.mileage)
            parts.append(style.line(x, y - 6.0, x, y + 6.0, colour=style.INK, width=2.0))
        return parts

    def _visit(self, visit: Visit) -> svg.Element:
        """Draw a visit; pointing at it shows its name."""
        (x, y), reach = self.place(visit), self.reach(visit)
        words = say(
            "{name}: {shift} at {mileage}", name=visit.name, shift=visit_words(visit),
            mileage=mileage_words(visit.mileage, self.history.mileage_unit),
        )  # fmt: skip
        parts = [svg.element("title", words)]
        if reach > RADIUS + 1.5:
            ends = (y - reach, y + reach)
            parts.append(style.line(x, ends[0], x, ends[1], colour=style.INK, width=1.4))
            parts += [
                style.line(x - _CAP, end, x + _CAP, end, colour=style.INK, width=1.4)
                for end in ends
            ]
        if visit is self.series.worn.set_aside:
            return svg.element("g", *parts, *crossed(x, y))
        is_present = any(visit is own for own in self.series.worn.visits)
        colour = self.colour if is_present else style.lighter(self.colour)
        is_open = style.has_open_markers(self.series.quantity)
        return svg.element("g", *parts, *visit_mark(x, y, colour=colour, is_open=is_open))


def quantity_colour(series: HistorySeries) -> str:
    """Colour of the role of a series; a separation has the one of no role."""
    return style.role_colour(series.quantity) if series.kind == "cam" else style.OTHER


def former_series(series: HistorySeries) -> tuple[tuple[Visit, ...], ...]:
    """Visits of each chain before the present one, in order of mileage."""
    return split_series(series.visits, restarts=series.restarts)[:-1]


def limits_of(history: History) -> tuple[tuple[Level, float], ...]:
    """Limits with the verdict they lead to, crank degrees either way."""
    return ("worn", history.worn_deg), ("out-of-time", history.out_of_time_deg)


def limit_line(level: Level, left: float, right: float, y: float) -> svg.Element:
    """Draw the line of a limit: dash and dot for worn, unbroken for out-of-time."""
    dashes = "9 3 2 3" if level == "worn" else ""
    colour = verdicts.SIGNS[level].colour
    return style.polyline([(left, y), (right, y)], colour=colour, width=1.4, dashes=dashes)


def visit_mark(x: float, y: float, *, colour: str, is_open: bool) -> list[svg.Element]:
    """Draw a visit: a disc, open on the second bank."""
    fill = "#ffffff" if is_open else colour
    return [svg.element("circle", cx=x, cy=y, r=RADIUS, fill=fill, stroke=colour, stroke_width=1.6)]


def crossed(x: float, y: float) -> list[svg.Element]:
    """Draw a visit that was left out of the line."""
    return [
        style.line(x - 4.0, y - rise, x + 4.0, y + rise, colour=style.INK, width=1.8)
        for rise in (4.0, -4.0)
    ]
