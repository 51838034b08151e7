"""What stretch of mileage and of shift a history is drawn over, and to which scale."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.picture.history_words import TWO_SIDED_95

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.store import History, HistorySeries

_MOST_PX_PER_DEG: Final = 36.0
_TALLEST: Final = 240.0  # pixels of one panel
_LEAST: Final = 96.0
_TALLEST_TOGETHER: Final = 1000.0
_ALWAYS_DEG: Final = 6.0  # worn is in view up to here, and up to
_FAR: Final = 4.0  # so many times as far out as anything measured;
_NEAR: Final = 1.6  # out of time, once something measured comes so near
_AIR: Final = 26.0  # pixels for words above what lies highest and below what lies lowest


@dataclass(frozen=True, slots=True)
class Stretch:
    """Shifts that one panel shows, crank degrees."""

    low_deg: float
    high_deg: float

    @property
    def size_deg(self) -> float:
        """Height of the panel in crank degrees."""
        return self.high_deg - self.low_deg


def line_end(series: HistorySeries) -> float | None:
    """Mileage to which the line is drawn; None where there is no line.

    Beyond the last visit only a trend is drawn on, until the next limit is passed for sure, and
    only as far again as the visits reach: farther out the line would be taken on trust.
    """
    visits = series.worn.visits
    if series.worn.line is None:
        return None
    first, last = visits[0].mileage, visits[-1].mileage
    forecasts = (series.worn.forecast, series.out_of_time.forecast)
    ahead = [forecast for forecast in forecasts if forecast and forecast.remaining > 0.0]
    if not ahead:
        return last
    farthest = last + (last - first)
    latest = ahead[0].latest
    return farthest if latest is None else min(latest, farthest)


def mileages(history: History, shown: Sequence[HistorySeries]) -> tuple[float, float]:
    """Stretch of mileage that holds every visit, repair and line, with a margin."""
    places = [visit.mileage for series in history.series for visit in series.visits]
    places += [restart for series in shown for restart in series.restarts]
    places += [end for series in shown if (end := line_end(series)) is not None]
    low, high = min(places), max(places)
    margin = 0.04 * (high - low) if high > low else max(0.1 * high, 500.0)
    return max(low - margin, 0.0), high + margin


def stretches(history: History, shown: Sequence[HistorySeries]) -> tuple[list[Stretch], float]:
    """Stretch of shift of each panel, and the pixels for a degree that are the same in all.

    A limit that is not too far off is brought into view, on the side to which the quantity moves.
    """
    needed = [_needed(series, history.worn_deg, history.out_of_time_deg) for series in shown]
    tallest = max(stretch.size_deg for stretch in needed)
    together = sum(stretch.size_deg for stretch in needed)
    px_per_deg = min(_MOST_PX_PER_DEG, _TALLEST / tallest, _TALLEST_TOGETHER / together)
    return [_with_air(stretch, px_per_deg) for stretch in needed], px_per_deg


def side_of(series: HistorySeries) -> float:
    """Way a quantity moves or, failing that, lies off: 1 later, -1 earlier."""
    if series.worn.forecast is not None:
        return math.copysign(1.0, series.worn.forecast.limit_deg)
    return math.copysign(1.0, max((v.shift_deg for v in series.visits), key=abs))


def _needed(series: HistorySeries, worn_deg: float, out_of_time_deg: float) -> Stretch:
    places = [0.0]
    for visit in series.visits:
        half = TWO_SIDED_95 * visit.standard_uncertainty_deg
        places += [visit.shift_deg - half, visit.shift_deg + half]
    end, line = line_end(series), series.worn.line
    if end is not None and line is not None:
        places.append(line.expected(end).value)
    farthest, side = max(map(abs, places)), side_of(series)
    if worn_deg <= max(_ALWAYS_DEG, _FAR * farthest):
        places.append(side * worn_deg)
    if out_of_time_deg <= _NEAR * farthest:
        places.append(side * out_of_time_deg)
    return Stretch(min(places), max(places))


def _with_air(stretch: Stretch, px_per_deg: float) -> Stretch:
    air = _AIR / px_per_deg
    missing = max(_LEAST / px_per_deg - stretch.size_deg - 2 * air, 0.0)
    return Stretch(stretch.low_deg - air - missing / 2, stretch.high_deg + air + missing / 2)
