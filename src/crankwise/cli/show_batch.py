"""What came of a batch, as people read it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.cli.console import can_print, console_for_people, named_lines, show_saved
from crankwise.language import say, told
from crankwise.picture.verdicts import SIGNS

if TYPE_CHECKING:
    from crankwise.batch import Summary


def show_batch(summary: Summary) -> None:
    """Print how many were measured, failed and judged, and where the tables are."""
    console = console_for_people()
    signs = can_print(console, "".join(sign.sign for sign in SIGNS.values()))
    lines = [
        (say("recordings"), _recordings(summary)),
        (say("measured"), _measured(summary)),
        (say("failed"), _failed(summary)),
        (say("verdicts"), "  ".join(_verdicts(summary, signs=signs))),
        (say("passed over"), _passed_over(summary)),
        (say("time"), told(f"{summary.seconds:,.1f} s")),
    ]
    console.print(named_lines((name, words) for name, words in lines if words))
    show_saved(console, (summary.results, summary.failed))


def _recordings(summary: Summary) -> str:
    words = _many(summary.recordings)
    if summary.from_before:
        words += say(", {count} of them before", count=_many(summary.from_before))
    return words


def _measured(summary: Summary) -> str:
    return say(
        "{count}, {edges} cam edges", count=_many(summary.measured), edges=_many(summary.edges)
    )


def _failed(summary: Summary) -> str:
    if not summary.failures:
        return say("none")
    kinds = [f"{told(kind)} {_many(count)}" for kind, count in summary.failures.items()]
    return f"{_many(sum(summary.failures.values()))}: {', '.join(kinds)}"


def _verdicts(summary: Summary, *, signs: bool) -> list[str]:
    return [
        f"{sign.sign if signs else sign.plain} {told(level)} {_many(summary.verdicts[level])}"
        for level, sign in SIGNS.items()
        if level in summary.verdicts
    ]


def _passed_over(summary: Summary) -> str:
    if not summary.documents:
        return ""
    return say("{count} saved documents", count=_many(summary.documents))


def _many(count: int) -> str:
    return told(f"{count:,}")
