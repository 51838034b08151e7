"""What is written into a panel of a history: the shift at each visit, and what each line is."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import style, verdicts
from crankwise.picture.boxes import Box, text_box
from crankwise.picture.history_axes import side_of
from crankwise.picture.history_panel import RADIUS, former_series, limits_of
from crankwise.picture.history_words import forecast_lines, visit_words
from crankwise.picture.layout import fitted, stacked, text_width
from crankwise.picture.words import signed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.judge.history import Visit
    from crankwise.model.comparison import Level
    from crankwise.picture import svg
    from crankwise.picture.history_panel import Panel, Points
    from crankwise.store import HistorySeries

_SIZE: Final = 9.5
_LINE: Final = 12.5  # of the labels at the right
_ROOM: Final = 188.0
_MANY: Final = 8  # visits; of more than that only the ends of each chain are written at


def labels(panel: Panel) -> list[svg.Element]:
    """Write the shift at each visit, and at the right end of each line what it is."""
    return [*_values(panel), *_limit_labels(panel)]


def _values(panel: Panel) -> list[svg.Element]:
    """Write the shift at each visit where it covers nothing, the newest first."""
    taken = list(_obstacles(panel))
    parts = []
    for visit in _told(panel.series):
        words = visit_words(visit)
        for x, baseline in _places(panel, visit, text_width(words, size=_SIZE)):
            box = text_box(words, x, baseline, size=_SIZE)
            if _is_inside(panel, box) and not any(map(box.overlaps, taken)):
                parts.append(style.text(words, x, baseline, size=_SIZE))
                taken.append(box)
                break
    return parts


def _told(series: HistorySeries) -> list[Visit]:
    """Visits to write at, the newest first: all, or the ends of each chain and the odd one."""
    newest_first = sorted(series.visits, key=lambda v: (-v.mileage, v.before_repair))
    if len(newest_first) <= _MANY:
        return newest_first
    chains = [part for part in (*former_series(series), series.worn.visits) if part]
    ends = [visit for part in chains for visit in (part[0], part[-1])]
    kept = {id(visit) for visit in (*ends, series.worn.set_aside)}
    return [visit for visit in newest_first if id(visit) in kept]


def _places(panel: Panel, visit: Visit, width: float) -> Iterator[tuple[float, float]]:
    """Left end and baseline of the words at a visit: above, below, beside it."""
    (x, y), away = panel.place(visit), max(panel.reach(visit), RADIUS)
    centred = min(max(x - width / 2, panel.across.start + 3.0), panel.across.end - width)
    yield centred, y - away - 5.0
    yield centred, y + away + 12.0
    for baseline in (y + 3.5, y - 6.0, y + 13.0):
        yield x + RADIUS + 4.0, baseline
        yield x - RADIUS - 4.0 - width, baseline


def _is_inside(panel: Panel, box: Box) -> bool:
    return (
        panel.across.start + 2.0 <= box.left
        and box.right <= panel.across.end
        and panel.up.end <= box.top
        and box.bottom <= panel.up.start
    )


def _obstacles(panel: Panel) -> Iterator[Box]:
    """What no number may cover: lines, repairs, limits and the visits."""
    left, right = panel.across.start, panel.across.end
    limits = [side * limit for _, limit in limits_of(panel.history) for side in (1.0, -1.0)]
    for place in (0.0, *limits):
        y = panel.up.at(place)
        yield Box(left, y - 1.5, right, y + 1.5)
    for restart in panel.series.restarts:
        x = panel.across.at(restart)
        yield Box(x - 2.0, panel.up.end, x + 2.0, panel.up.start)
    for visit in panel.series.visits:
        (x, y), half = panel.place(visit), max(panel.reach(visit), RADIUS) + 1.0
        yield Box(x - RADIUS - 1.0, y - half, x + RADIUS + 1.0, y + half)
    for points in (*panel.former_lines(), *(points for points, _ in panel.lines())):
        yield from _along(points)


def _along(points: Points) -> Iterator[Box]:
    """Small boxes along a line of straight pieces."""
    for (x1, y1), (x2, y2) in itertools.pairwise(points):
        count = max(int(max(abs(x2 - x1), abs(y2 - y1)) / 4.0), 1)
        for number in range(count + 1):
            x = x1 + (x2 - x1) * number / count
            y = y1 + (y2 - y1) * number / count
            yield Box(x - 1.5, y - 1.5, x + 1.5, y + 1.5)


@dataclass(frozen=True, slots=True)
class _Label:
    """What stands at the right end of a line; ``is_below`` where that is below the panel."""

    y: float
    level: Level | None
    lines: list[str]
    is_below: bool = False


def _limit_labels(panel: Panel) -> list[svg.Element]:
    """Write what each line is and, of a limit, when it is reached."""
    found = [_Label(panel.up.at(0.0), None, [say("known-good")])]
    for level, limit_deg in limits_of(panel.history):
        found += [
            _limit_label(panel, level, place)
            for place in (limit_deg, -limit_deg)
            if panel.up.holds(place) or place == side_of(panel.series) * limit_deg
        ]
    ordered = sorted(found, key=lambda label: (label.is_below, label.y))
    beside = [label for label in ordered if not label.is_below]
    heights = [_LINE * len(label.lines) + 4.0 for label in beside]
    wanted = [label.y - _LINE / 2 for label in beside]
    tops = stacked(wanted, heights, top=panel.up.end - 8.0, bottom=panel.up.start + 24.0)
    below = max(panel.up.start - _LINE / 2, tops[-1] + heights[-1])
    x = panel.across.end + 12.0
    return [
        part
        for label, top in zip(ordered, [*tops, below], strict=False)
        for part in _drawn(label, x, top + 10.0)
    ]


def _limit_label(panel: Panel, level: Level, place: float) -> _Label:
    """Name a limit; when it is reached is said where its line is in view."""
    shift = told(f"{signed(place, decimals=1)}°")
    name = say("{level} from {shift}", level=told(level), shift=shift)
    if not panel.up.holds(place):
        y = panel.up.at(panel.up.clipped(place))
        arrow = "↑" if place > 0.0 else "↓"
        return _Label(y, level, [f"{name} {arrow}"], is_below=place < 0.0)
    lines = [name]
    for of, forecast in panel.forecasts():
        if of == level and forecast.limit_deg == place:
            lines += forecast_lines(forecast, panel.history.mileage_unit)
    return _Label(panel.up.at(place), level, lines)


def _drawn(label: _Label, x: float, baseline: float) -> list[svg.Element]:
    parts = []
    if label.level is not None:
        parts += verdicts.drawn(label.level, x + 5.0, baseline - 3.5, radius=4.5)
    for number, words in enumerate(label.lines):
        colour = style.FAINT_INK if number or label.level is None else style.INK
        shown = fitted(words, size=10.0, width=_ROOM)
        y = baseline + number * _LINE
        parts.append(style.text(shown, x + 15.0, y, size=10.0, colour=colour))
    return parts
