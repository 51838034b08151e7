"""What came of a batch, as people read it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.cli.console import can_print, console_for_people, named_lines, show_saved
from crankwise.picture.verdicts import SIGNS

if TYPE_CHECKING:
    from crankwise.batch import Summary


def show_batch(summary: Summary) -> None:
    """Print how many were measured, failed and judged, and where the tables are."""
    console = console_for_people()
    before = f", {summary.from_before:,} of them before" if summary.from_before else ""
    failed = sum(summary.failures.values())
    kinds = ", ".join(f"{kind} {count:,}" for kind, count in summary.failures.items())
    signs = can_print(console, "".join(sign.sign for sign in SIGNS.values()))
    verdicts = [
        f"{sign.sign if signs else sign.plain} {level} {summary.verdicts[level]:,}"
        for level, sign in SIGNS.items()
        if level in summary.verdicts
    ]
    lines = [
        ("recordings", f"{summary.recordings:,}{before}"),
        ("measured", f"{summary.measured:,}, {summary.edges:,} cam edges"),
        ("failed", f"{failed:,}: {kinds}" if failed else "none"),
        ("verdicts", "  ".join(verdicts)),
        ("passed over", f"{summary.documents:,} saved documents" if summary.documents else ""),
        ("time", f"{summary.seconds:,.1f} s"),
    ]
    console.print(named_lines((name, words) for name, words in lines if words))
    show_saved(console, (summary.results, summary.failed))
