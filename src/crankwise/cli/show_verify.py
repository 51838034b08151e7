"""What checking a store found, as people read it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from crankwise.cli.console import can_print, console_for_people, named_lines
from crankwise.cli.guard import printable
from crankwise.language import say, told

if TYPE_CHECKING:
    from crankwise.model.kept import VerifyReport


def show_verify(where: str, report: VerifyReport) -> None:
    """Print what was checked, then what is wrong, then what is only worth knowing."""
    console = console_for_people()
    counts = (
        (say("originals"), report.recordings),
        (say("measurements"), report.measurements),
        (say("known-goods"), report.known_goods),
        (say("other rows"), report.rows),
    )
    lines = [(say("store"), where), *((name, told(f"{count:,}")) for name, count in counts)]
    console.print(named_lines(lines))
    signs = can_print(console, "✖●")
    for problems, sign, style in (
        (report.problems, "✖" if signs else "X", "bold red"),
        (report.notes, "●" if signs else "-", ""),
    ):
        for problem in problems:
            row = Table.grid(padding=(0, 2))
            row.add_row(
                Text(f"{sign} {told(problem.what)}", style), Text(printable(told(problem.text)))
            )
            console.print(row)
    if report.is_sound:
        console.print(say("sound: nothing is lost or altered"))
