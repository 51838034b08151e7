"""The terminal for people: what it can print, and what every command prints alike."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Final

from rich.console import Console
from rich.table import Table
from rich.text import Text

from crankwise.cli.guard import printable
from crankwise.language import say, told

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from crankwise.model.finding import Finding

_LEVELS: Final = (
    ("fault", "✖", "X", "bold red"),
    ("caution", "▲", "!", "yellow"),
    ("note", "●", "-", ""),
)


class _Console(Console):
    """A console that leaves a closed pipe to the one place where failures are handled."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


def console_for_people() -> Console:
    """Open stdout for people: no guessed colours in numbers, nothing it can't print."""
    reconfigure = getattr(sys.stdout, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors="replace")
    return _Console(highlight=False, markup=False, emoji=False)


def can_print(console: Console, signs: str) -> bool:
    """Whether the terminal's encoding has these characters."""
    try:
        signs.encode(console.encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def named_lines(lines: Iterable[tuple[str, str]]) -> Table:
    """Set names in bold beside what they are."""
    table = Table.grid(padding=(0, 2))
    for name, words in lines:
        table.add_row(Text(name, "bold"), Text(printable(words)))
    return table


def show_findings(console: Console, findings: Sequence[Finding]) -> None:
    """Print findings, the worst first; the word and a shape say the level, not the colour."""
    signs = can_print(console, "✖▲●")
    for level, sign, plain, style in _LEVELS:
        for finding in findings:
            if finding.level == level:
                console.print()
                head = Text(f"{sign if signs else plain} {told(level)}", style)
                row = Table.grid(padding=(0, 2))
                row.add_row(head, Text(printable(told(finding.text))))
                console.print(row)


def show_saved(console: Console, saved: Iterable[Path]) -> None:
    """Name the files written, each on one line however long."""
    for path in saved:
        console.print(Text(say("saved: {path}", path=printable(str(path)))), soft_wrap=True)
