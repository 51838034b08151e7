"""Healthy engines of one family against each other: what is build, and what stands out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import furniture, style, svg
from crankwise.picture.key import SIGN, Entry, key
from crankwise.picture.layout import fitted, wrapped
from crankwise.picture.panels import WIDTH
from crankwise.picture.population_edges import draw_edges
from crankwise.picture.population_rows import (
    Row,
    bracket,
    dot,
    draw_rows,
    mean_and_spread,
    ring,
    rows_of,
    set_aside,
)
from crankwise.picture.words import bounds_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from crankwise.model.shelf import FamilyStatistics

_ROOM: Final = WIDTH - 32.0
_LINE: Final = 15.0


def population_view(statistics: FamilyStatistics) -> str:
    """Draw the known-goods of a family as an SVG picture.

    Parameters
    ----------
    statistics : FamilyStatistics
        Of one pattern, as the shelf gives it.

    Returns
    -------
    str
        A complete SVG file, self-contained, on a light background.
    """
    rows = rows_of(statistics)
    parts, y = _heading(statistics)
    for drawn, end in _sections(statistics, rows, y):
        parts, y = [*parts, *drawn], end
    title = say("Healthy engines against each other")
    return svg.document(
        *furniture.sheet(parts, width=WIDTH, height=y),
        width=WIDTH,
        height=y,
        title=f"{title}: {statistics.family}",
        text=_in_words(statistics, rows),
    )


def _heading(statistics: FamilyStatistics) -> tuple[list[svg.Element], float]:
    title = say("Healthy engines against each other")
    facts = say(
        "{family} · {wheel} wheel · known-goods: {count}",
        family=statistics.family, wheel=statistics.wheel, count=statistics.known_goods,
    )  # fmt: skip
    return [
        style.text(title, 16.0, 30.0, size=18.0, bold=True),
        style.text(fitted(facts, size=12.0, width=_ROOM), 16.0, 50.0, size=12.0),
    ], 62.0


def _sections(
    statistics: FamilyStatistics, rows: Sequence[Row], y: float
) -> Iterator[tuple[list[svg.Element], float]]:
    """Parts of the picture from top to bottom, each with its lower end."""
    drawn, y = draw_rows(rows, y)
    yield drawn, y
    drawn, y = key(list(_entries(rows)), y + 22.0, left=16.0, right=WIDTH - 16.0)
    yield drawn, y
    drawn, y = _sentences(_remarks(statistics, rows), y)
    yield drawn, y
    drawn, y = _sentences(_bases(rows), y - 8.0, size=10.0, colour=style.FAINT_INK)
    yield drawn, y
    heading = style.text(say("Each edge"), 16.0, y + 28.0, size=14.0, bold=True)
    drawn, y = draw_edges(statistics, y + 38.0)
    yield [heading, *drawn], y
    yield _sentences([_edge_words(statistics)], y - 8.0)


def _entries(rows: Sequence[Row]) -> Iterator[Entry]:
    yield Entry(say("a known-good"), _dot)
    if any(row.is_open for row in rows):
        yield Entry(say("open: bank 2"), _open)
    share = told(f"{100.0 * rows[0].spread.coverage:g}")
    yield Entry(say("where the next healthy engine lies, {share} %", share=share), _bracket)
    yield Entry(say("mean, and build spread (one standard deviation) either way"), _mean)
    fates = {row.has_set_aside for row in rows if row.odd}
    if True in fates:
        yield Entry(say("stands out, set aside"), _set_aside)
    if False in fates:
        yield Entry(say("stands out, kept"), _ring)


def _dot(x: float, y: float) -> list[svg.Element]:
    return [dot(x + SIGN / 2, y, 3.6, colour=style.FAINT_INK, is_open=False)]


def _open(x: float, y: float) -> list[svg.Element]:
    return [dot(x + SIGN / 2, y, 3.6, colour=style.FAINT_INK, is_open=True)]


def _bracket(x: float, y: float) -> list[svg.Element]:
    return bracket(x, x + SIGN, y - 7.0, y + 7.0)


def _mean(x: float, y: float) -> list[svg.Element]:
    return mean_and_spread(x + SIGN / 2, x, x + SIGN, y)


def _set_aside(x: float, y: float) -> list[svg.Element]:
    return set_aside(x + SIGN / 2, y)


def _ring(x: float, y: float) -> list[svg.Element]:
    return [*_dot(x, y), ring(x + SIGN / 2, y)]


def _remarks(statistics: FamilyStatistics, rows: Sequence[Row]) -> list[str]:
    """What stands out, and what else there is to say."""
    odd = [
        say("{id} stands out, {what}.", id=item.id[:8], what=told(item.text))
        for item in statistics.outliers
    ]
    remarks = dict.fromkeys(
        told(remark)
        for row in rows
        for remark in row.spread.remarks
        if not any(item.id in remark for item in statistics.outliers)
    )
    return [*odd, *remarks]


def _bases(rows: Sequence[Row]) -> list[str]:
    return [
        say("{quantity} rests on: {basis}.", quantity=row.name, basis=told(row.spread.basis))
        for row in rows
    ]


def _edge_words(statistics: FamilyStatistics) -> str:
    if statistics.known_goods == 1:
        return say("These are the edges of the one known-good; they have no spread yet.")
    words = say("Spread: standard deviation of the place of the edge over all known-goods.")
    if statistics.outliers:
        words += " " + say("Those that stand out are counted in here.")
    return words


def _sentences(
    sentences: Sequence[str], y: float, *, size: float = 11.0, colour: str = style.INK
) -> tuple[list[svg.Element], float]:
    parts = []
    for sentence in sentences:
        for words in wrapped(sentence, size=size, width=_ROOM):
            y += _LINE
            parts.append(style.text(words, 16.0, y, size=size, colour=colour))
    return parts, y + 12.0


def _in_words(statistics: FamilyStatistics, rows: Sequence[Row]) -> str:
    """Describe the picture for readers who can't see it."""
    said = [
        say(
            "{quantity}: {count} known-goods, spread {spread}°, healthy {bounds}.",
            quantity=row.name, count=row.spread.count, spread=told(f"{row.spread.spread_deg:.2f}"),
            bounds=bounds_words(row.spread.low_deg, row.spread.high_deg),
        )
        for row in rows
    ]  # fmt: skip
    return " ".join([*said, *_remarks(statistics, rows), *_bases(rows)])
