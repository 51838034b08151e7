"""Tables of 80 columns and lists that several commands print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from crankwise.cli.guard import printable
from crankwise.language import say

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

    from rich.console import Console, JustifyMethod


def open_table(*titles: str, numbers: Collection[str] = ()) -> Table:
    """Begin a table without rules; columns named in ``numbers`` are set to the right.

    Titles are messages, said in the language spoken; blanks before one set it in.
    """
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim")
    for title in titles:
        words = title.strip()
        shown = title.removesuffix(words) + say(words)
        justify: JustifyMethod = "right" if words in numbers else "left"
        # On a narrow terminal a word goes on below; nothing is cut off.
        table.add_column(shown, justify=justify, overflow="fold")
    return table


def add_row(table: Table, *cells: object) -> None:
    """Add a row of plain words; what a file or a person wrote can't steer the terminal."""
    table.add_row(*(Text(printable(str(cell))) for cell in cells))


def print_title(console: Console, words: str) -> None:
    """Print a heading, with an empty line before it."""
    console.print()
    console.print(Text(printable(words), "bold"))


def print_words(console: Console, words: str, *, indent: int = 0, style: str = "") -> None:
    """Print a paragraph, wrapped at the terminal's width."""
    console.print(Padding(Text(printable(words), style), (0, 0, 0, indent)))


def print_bullets(console: Console, lines: Iterable[str]) -> None:
    """Print a list, each item wrapped beside its dash."""
    table = Table.grid(padding=(0, 1))
    for line in lines:
        table.add_row("  -", Text(printable(line)))
    console.print(table)
