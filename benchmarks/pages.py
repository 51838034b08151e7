"""Tables in Markdown, and the pages in docs/ that hold them between markers."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from crankwise.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


def table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """One table in Markdown, its columns padded so that it reads in a terminal too.

    >>> print(table(["edge", "error"], [["rising", "0.02"], ["falling", "0.1"]]))
    | edge    | error |
    |---------|-------|
    | rising  | 0.02  |
    | falling | 0.1   |
    """
    widths = [max(len(cell) for cell in column) for column in zip(header, *rows, strict=True)]
    lines = [
        "| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) + " |"
        for row in (header, *rows)
    ]
    lines.insert(1, "|" + "|".join("-" * (width + 2) for width in widths) + "|")
    return "\n".join(lines)


def judged(*, holds: bool) -> str:
    """Say in words whether a goal is reached."""
    return "pass" if holds else "**miss**"


def write_between(page: Path, name: str, text: str) -> None:
    """Replace what stands between the markers ``name`` of a page.

    Raises
    ------
    UsageError
        The page has no such markers.
    """
    begin, end = f"<!-- {name}: begin -->", f"<!-- {name}: end -->"
    before = page.read_text(encoding="utf-8")
    pattern = re.compile(f"{re.escape(begin)}.*?{re.escape(end)}", re.DOTALL)
    if not pattern.search(before):
        raise UsageError(f"{page.name}: no markers '{begin}' and '{end}'; put them back")
    after = pattern.sub(lambda _: f"{begin}\n\n{text.strip()}\n\n{end}", before)
    page.write_text(after, encoding="utf-8")
