"""How far healthy engines differ: a row of dots for each cam and each separation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.language import say, say_many, told
from crankwise.picture import style, svg
from crankwise.picture.layout import fitted
from crankwise.picture.scale import Scale, round_steps
from crankwise.picture.words import bounds_words, signed
from crankwise.roles.naming import cam_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from crankwise.model.shelf import FamilyStatistics, Spread

LEFT: Final = 210.0
"""Left end of the axis of differences."""
RIGHT: Final = 930.0
"""Right end of it."""
_TEXT_LEFT: Final = 954.0
_TEXT_ROOM: Final = 260.0
_NAME_ROOM: Final = 178.0
_AIR: Final = 9.0
_BELOW: Final = 15.0  # from the foot of the dots to the bar of mean and spread
_SERIF: Final = 5.0
_TICK_PX: Final = 60.0
_MANY: Final = 60  # known-goods, from where on the dots are small


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity.

    Attributes
    ----------
    spread : Spread
    name, colour : str
    ids : tuple of str
        Of the known-goods, in the order of the spread's values.
    odd : frozenset of str
        Ids of those that stand out in this quantity.
    is_open : bool
        Whether it belongs to the second bank.
    """

    spread: Spread
    name: str
    colour: str
    ids: tuple[str, ...]
    odd: frozenset[str]
    is_open: bool

    @property
    def radius(self) -> float:
        """Radius of a dot, pixels."""
        return 2.2 if len(self.ids) > _MANY else 3.6

    @property
    def has_set_aside(self) -> bool:
        """Whether the one that stands out was left out of mean and spread."""
        return self.spread.count < len(self.ids)


def rows_of(statistics: FamilyStatistics) -> list[Row]:
    """A row for each cam, then for each separation."""
    rows = []
    for spread in (*statistics.cams, *statistics.separations):
        role = spread.quantity.removesuffix(" cam")
        is_cam = spread in statistics.cams
        odd = {item.id for item in statistics.outliers if item.quantity == spread.quantity}
        rows.append(
            Row(
                spread=spread,
                name=told(cam_name(role) if is_cam else spread.quantity),
                colour=style.role_colour(role) if is_cam else style.OTHER,
                ids=statistics.ids,
                odd=frozenset(odd),
                is_open=style.has_open_markers(role),
            )
        )
    return rows


def draw_rows(rows: Sequence[Row], y: float) -> tuple[list[svg.Element], float]:
    """Draw the rows from ``y`` on, over one axis; return the elements and the lower end."""
    across = _scale(rows)
    top, parts = y, []
    for row in rows:
        drawn, y = _row(row, across, y)
        parts += drawn
    nought = across.at(0.0)
    zero = style.polyline(
        [(nought, top), (nought, y)], colour=style.FAINT_INK, width=1.0, dashes="6 3"
    )
    axis, y = _axis(across, y)
    return [zero, *parts, *axis], y


def swarm(places: Sequence[float], *, apart: float) -> list[int]:
    """Level of each dot, so that dots on one level are at least ``apart``; the lowest first.

    >>> swarm([0.0, 3.0, 10.0, 4.0], apart=5.0)
    [0, 1, 0, 2]
    """
    last: list[float] = []  # rightmost place on each level
    levels = [0] * len(places)
    for index in sorted(range(len(places)), key=lambda i: places[i]):
        place = places[index]
        free = next((k for k, right in enumerate(last) if place - right >= apart), len(last))
        if free == len(last):
            last.append(place)
        last[free] = place
        levels[index] = free
    return levels


def _scale(rows: Sequence[Row]) -> Scale:
    places = [0.0]
    for row in rows:
        places += [row.spread.low_deg, row.spread.high_deg, *row.spread.values_deg]
    low, high = min(places), max(places)
    margin = (0.11 if any(row.odd for row in rows) else 0.03) * (high - low)
    return Scale(low - margin, high + margin, LEFT, RIGHT)


def _row(row: Row, across: Scale, y: float) -> tuple[list[svg.Element], float]:
    """Draw dots, mean with spread, and where the next one lies; return also the lower end."""
    places = [across.at(value) for value in row.spread.values_deg]
    levels = swarm(places, apart=2 * row.radius + 1.0)
    top = y + _AIR
    foot = top + max(2 * row.radius * (max(levels, default=0) + 1), 16.0)
    bottom = foot + _BELOW + 7.0
    middle = across.at(row.spread.mean_deg)
    dots = [
        part
        for identifier, x, level in zip(row.ids, places, levels, strict=True)
        for part in _dot(
            row, identifier, x, foot - row.radius * (2 * level + 1), on_left=x < middle
        )
    ]
    marks = _bar(row, across, foot + _BELOW / 2 + 3.0)
    ends = across.at(row.spread.low_deg), across.at(row.spread.high_deg)
    words = _words(row, (top + bottom) / 2)
    return [*bracket(*ends, top, bottom), *marks, *dots, *words], bottom + _AIR


def _dot(row: Row, identifier: str, x: float, y: float, *, on_left: bool) -> Iterator[svg.Element]:
    """Draw a known-good; one that stands out has its name on the side away from the others."""
    if identifier not in row.odd:
        yield dot(x, y, row.radius, colour=row.colour, is_open=row.is_open)
        return
    if row.has_set_aside:
        yield from set_aside(x, y)
    else:
        yield dot(x, y, row.radius, colour=row.colour, is_open=row.is_open)
        yield ring(x, y)
    yield from style.backed(
        style.text(
            identifier[:8], x + (-10.0 if on_left else 10.0), y + 3.5, size=10.0,
            anchor="end" if on_left else "start",
        )
    )  # fmt: skip


def dot(x: float, y: float, radius: float, *, colour: str, is_open: bool) -> svg.Element:
    """Draw one known-good; open on the second bank."""
    fill = "#ffffff" if is_open else colour
    return svg.element("circle", cx=x, cy=y, r=radius, fill=fill, stroke=colour, stroke_width=1.2)


def ring(x: float, y: float) -> svg.Element:
    """Draw a ring around one that stands out and is kept."""
    return svg.element("circle", cx=x, cy=y, r=6.5, fill="none", stroke=style.INK, stroke_width=1.4)


def set_aside(x: float, y: float) -> list[svg.Element]:
    """Draw one that stands out and was left out of mean and spread."""
    return [
        style.line(x - 4.0, y - rise, x + 4.0, y + rise, colour=style.INK, width=1.8)
        for rise in (4.0, -4.0)
    ]


def _bar(row: Row, across: Scale, y: float) -> list[svg.Element]:
    spread = row.spread
    low = across.at(spread.mean_deg - spread.spread_deg)
    high = across.at(spread.mean_deg + spread.spread_deg)
    return mean_and_spread(across.at(spread.mean_deg), low, high, y)


def mean_and_spread(mean: float, low: float, high: float, y: float) -> list[svg.Element]:
    """Draw a bar one standard deviation either way, and the mean as a stroke across it."""
    return [
        style.line(low, y, high, y, colour=style.FAINT_INK, width=3.0),
        style.line(mean, y - 6.0, mean, y + 6.0, colour=style.INK, width=2.0),
    ]


def bracket(low: float, high: float, top: float, bottom: float) -> list[svg.Element]:
    """Draw where the next healthy engine lies: brackets with a tint between them."""
    inside = svg.element(
        "rect", x=low, y=top, width=high - low, height=bottom - top, fill=style.INK,
        fill_opacity=0.05,
    )  # fmt: skip
    ends = [
        style.polyline(
            [(x + turn, top), (x, top), (x, bottom), (x + turn, bottom)],
            colour=style.INK, width=1.4,
        )
        for x, turn in ((low, _SERIF), (high, -_SERIF))
    ]  # fmt: skip
    return [inside, *ends]


def _words(row: Row, y: float) -> list[svg.Element]:
    spread = row.spread
    name = fitted(row.name, size=13.0, width=_NAME_ROOM / 1.15)
    counted = say_many("{count} known-good", "{count} known-goods", spread.count)
    right = [
        say("healthy {bounds}", bounds=bounds_words(spread.low_deg, spread.high_deg)),
        say(
            "mean {mean}°, spread {spread}° ({low}° to {high}°)",
            mean=told(signed(spread.mean_deg, decimals=2)), spread=told(f"{spread.spread_deg:.2f}"),
            low=told(f"{spread.spread_low_deg:.2f}"), high=told(f"{spread.spread_high_deg:.2f}"),
        ),
    ]  # fmt: skip
    return [
        style.text(name, 16.0, y - 1.0, size=13.0, colour=row.colour, bold=True),
        style.text(
            fitted(counted, size=10.0, width=_NAME_ROOM), 16.0, y + 14.0, size=10.0,
            colour=style.FAINT_INK,
        ),
        style.text(fitted(right[0], size=11.0, width=_TEXT_ROOM), _TEXT_LEFT, y - 1.0),
        style.text(
            fitted(right[1], size=10.0, width=_TEXT_ROOM), _TEXT_LEFT, y + 14.0, size=10.0,
            colour=style.FAINT_INK,
        ),
    ]  # fmt: skip


def _axis(across: Scale, y: float) -> tuple[list[svg.Element], float]:
    parts = [style.line(across.start, y, across.end, y, colour=style.INK)]
    steps = round_steps(across.low, across.high, most=int((RIGHT - LEFT) / _TICK_PX))
    decimals = 0 if all(step.is_integer() for step in steps) else 1
    for step in steps:
        x = across.at(step)
        parts += [
            style.line(x, y, x, y + 6.0, colour=style.INK),
            style.text(
                told(f"{signed(step, decimals=decimals)}°"), x, y + 18.0, size=10.5, anchor="middle"
            ),
        ]
    words = say("crank degrees against the first known-good, + later, - earlier")
    parts.append(
        style.text(
            words, (LEFT + RIGHT) / 2, y + 31.0, size=10.0, colour=style.FAINT_INK, anchor="middle"
        )
    )
    return parts, y + 36.0
