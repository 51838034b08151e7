"""Heading and legend of a picture that compares."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.picture import limit_track, style, svg, verdicts
from crankwise.picture.layout import fitted, text_width, wrapped
from crankwise.picture.words import speed_words

if TYPE_CHECKING:
    from crankwise.model.comparison import Comparison

_TITLE: Final = "Valve timing against the known-good"
_LINE: Final = 17.0


def heading(comparison: Comparison, *, width: float) -> tuple[list[svg.Element], float]:
    """Title, verdict, and what was compared; return the elements and the lower end."""
    room = width - 32.0
    verdict, y = _verdict(comparison, 56.0, width=width)
    lines = [words for line in _facts(comparison) for words in wrapped(line, size=12.0, width=room)]
    parts = [style.text(_TITLE, 16.0, 30.0, size=18.0, bold=True), *verdict]
    for words in lines:
        parts.append(style.text(words, 16.0, y, size=12.0))
        y += _LINE
    return parts, y - _LINE + 10.0


def _verdict(comparison: Comparison, y: float, *, width: float) -> tuple[list[svg.Element], float]:
    level = comparison.verdict.level
    colour = verdicts.SIGNS[level].colour
    left = 36.0 + text_width(level, size=16.0) * 1.15 + 10.0  # bold letters are wider
    parts = [
        *verdicts.drawn(level, 25.0, y - 5.5),
        style.text(level, 40.0, y, size=16.0, colour=colour, bold=True),
    ]
    for words in wrapped(comparison.verdict.summary, size=13.0, width=width - left - 16.0):
        parts.append(style.text(words, left, y, size=13.0))
        y += _LINE
    return parts, y + 5.0


def _facts(comparison: Comparison) -> list[str]:
    subject, known_goods = comparison.subject, comparison.known_goods
    names = ", ".join(side.name + (" (left out)" if side.set_aside else "") for side in known_goods)
    of_known_good = f" · {speed_words(known_goods[0].speed_rpm)}" if len(known_goods) == 1 else ""
    return [
        fitted(
            f"subject: {subject.name} · {speed_words(subject.speed_rpm)}", size=12.0, width=1190
        ),
        fitted(f"known-good: {names}{of_known_good}", size=12.0, width=1190),
        *(change.words for change in comparison.separations),
    ]


def legend(comparison: Comparison, y: float, *, has_gap: bool) -> tuple[list[svg.Element], float]:
    """Say what the shapes mean; return the elements and the lower end."""
    zero = "first tooth after the gap" if has_gap else "tooth chosen to count from"
    ink, pale = style.INK, style.FAINT_INK
    limit = f"code limit, {comparison.limits.code_limit_deg:g}° either way"
    first = [
        style.polyline([(16, y - 4), (44, y - 4)], colour=ink, width=1.8),
        style.text("subject", 52.0, y),
        style.polyline([(116, y - 4), (144, y - 4)], colour=pale, width=1.8, dashes="6 3"),
        style.text("known-good", 152.0, y),
        style.marker(246.0, y - 4.0, rising=True, colour=ink, is_open=False),
        style.text("rising", 256.0, y),
        style.marker(308.0, y - 4.0, rising=False, colour=ink, is_open=False),
        style.text("falling edge of the subject", 318.0, y),
        style.marker(500.0, y - 4.0, rising=True, colour=ink, is_open=True),
        style.text("open: bank 2", 510.0, y),
        style.text("+ later (retarded), - earlier (advanced), ± 95 %", 620.0, y),
    ]
    y += 20.0
    second = [
        *limit_track.bracket(16.0, 44.0, y - 4.0),
        style.text("healthy engines, about the known-good's edge", 52.0, y),
        style.line(340.0, y - 4.0, 360.0, y - 4.0, colour=ink, width=2.0),
        limit_track.place(350.0, y - 4.0, colour=ink),
        style.text("the subject's edge there, ± 95 %", 368.0, y),
        *limit_track.code_mark(606.0, y - 4.0, inward=1.0),
        style.text(limit, 620.0, y),
    ]
    basis = fitted(f"healthy: {comparison.limits.text}", size=11.0, width=1190)
    third = [
        style.text(basis, 16.0, y + 20.0),
        style.text(f"0° is the timing edge of the {zero}", 16.0, y + 38.0),
    ]
    return [*first, *second, *third], y + 52.0
