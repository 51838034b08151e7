"""Heading and legend of a picture that compares."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture import limit_track, style, svg, verdicts
from crankwise.picture.furniture import Key, keys, marker_key, zero_words
from crankwise.picture.layout import fitted, text_width, wrapped
from crankwise.picture.words import speed_words

if TYPE_CHECKING:
    from crankwise.model.comparison import Comparison

_LINE: Final = 17.0


def heading(comparison: Comparison, *, width: float) -> tuple[list[svg.Element], float]:
    """Title, verdict, and what was compared; return the elements and the lower end."""
    room = width - 32.0
    verdict, y = _verdict(comparison, 56.0, width=width)
    lines = [words for line in _facts(comparison) for words in wrapped(line, size=12.0, width=room)]
    parts = [
        style.text(say("Valve timing against the known-good"), 16.0, 30.0, size=18.0, bold=True),
        *verdict,
    ]
    for words in lines:
        parts.append(style.text(words, 16.0, y, size=12.0))
        y += _LINE
    return parts, y - _LINE + 10.0


def _verdict(comparison: Comparison, y: float, *, width: float) -> tuple[list[svg.Element], float]:
    level = comparison.verdict.level
    colour, word = verdicts.SIGNS[level].colour, told(level)
    left = 36.0 + text_width(word, size=16.0) * 1.15 + 10.0  # bold letters are wider
    parts = [
        *verdicts.drawn(level, 25.0, y - 5.5),
        style.text(word, 40.0, y, size=16.0, colour=colour, bold=True),
    ]
    for words in wrapped(told(comparison.verdict.summary), size=13.0, width=width - left - 16.0):
        parts.append(style.text(words, left, y, size=13.0))
        y += _LINE
    return parts, y + 5.0


def _facts(comparison: Comparison) -> list[str]:
    subject, known_goods = comparison.subject, comparison.known_goods
    names = ", ".join(
        say("{name} (left out)", name=side.name) if side.set_aside else side.name
        for side in known_goods
    )
    lines = [say("subject: {name}", name=f"{subject.name} · {speed_words(subject.speed_rpm)}")]
    if len(known_goods) == 1:
        names = f"{names} · {speed_words(known_goods[0].speed_rpm)}"
    lines.append(say("known-good: {names}", names=names))
    return [
        *(fitted(line, size=12.0, width=1190) for line in lines),
        *(told(change.words) for change in comparison.separations),
    ]


def legend(
    comparison: Comparison, y: float, *, has_gap: bool, width: float
) -> tuple[list[svg.Element], float]:
    """Say what the shapes mean and what is healthy; return the elements and the lower end."""
    parts, y = shapes(comparison, y, width=width)
    basis = say("healthy: {limits}", limits=told(comparison.limits.text))
    parts += [
        style.text(fitted(basis, size=11.0, width=width - 40.0), 16.0, y),
        style.text(zero_words(has_gap=has_gap), 16.0, y + 18.0),
    ]
    return parts, y + 32.0


def shapes(comparison: Comparison, y: float, *, width: float) -> tuple[list[svg.Element], float]:
    """Say what the shapes mean; return the elements and the next line."""
    limit = say(
        "code limit, {limit} either way", limit=told(f"{comparison.limits.code_limit_deg:g}°")
    )
    edges = (
        Key(28.0, _subject_sign, say("subject")),
        Key(28.0, _known_good_sign, say("known-good")),
        marker_key(say("rising"), rising=True),
        marker_key(say("falling edge of the subject"), rising=False),
        marker_key(say("open: bank 2"), rising=True, is_open=True),
        Key(0.0, lambda _x, _y: [], say("+ later (retarded), - earlier (advanced), ± 95 %")),
    )
    limits = (
        Key(
            28.0,
            lambda x, y: limit_track.bracket(x, x + 28.0, y - 4.0),
            say("healthy engines, about the known-good's edge"),
        ),
        Key(20.0, _place_sign, say("the subject's edge there, ± 95 %")),
        Key(4.0, lambda x, y: limit_track.code_mark(x, y - 4.0, inward=1.0), limit),
    )
    first, y = keys(edges, y, width=width)
    second, y = keys(limits, y + 2.0, width=width)
    return [*first, *second], y


def _subject_sign(x: float, y: float) -> list[svg.Element]:
    return [style.polyline([(x, y - 4), (x + 28, y - 4)], colour=style.INK, width=1.8)]


def _known_good_sign(x: float, y: float) -> list[svg.Element]:
    line = [(x, y - 4), (x + 28, y - 4)]
    return [style.polyline(line, colour=style.FAINT_INK, width=1.8, dashes="6 3")]


def _place_sign(x: float, y: float) -> list[svg.Element]:
    bar = style.line(x, y - 4.0, x + 20.0, y - 4.0, colour=style.INK, width=2.0)
    return [bar, limit_track.place(x + 10.0, y - 4.0, colour=style.INK)]
