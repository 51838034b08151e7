"""What the pages of the watched folder show."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from crankwise.watch.lines import Line, line_of
from crankwise.web.views.comparison import ComparisonView, comparison_view

if TYPE_CHECKING:
    from crankwise.model.seen import Seen
    from crankwise.store import Store
    from crankwise.web.watching import Watching

MOST: Final = 50
"""Files shown, the newest."""


@dataclass(frozen=True, slots=True)
class SeenRow:
    """One file: what was seen, its line, and the address of its result, empty if it has none."""

    seen: Seen
    line: Line
    address: str


@dataclass(frozen=True, slots=True)
class WatchingView:
    """The page of the watched folder.

    Attributes
    ----------
    folder : Path or None
        What this server watches.
    trouble : str
        Why it can't, at the moment.
    rows : tuple of SeenRow
        The newest first.
    """

    folder: Path | None
    trouble: str
    rows: tuple[SeenRow, ...]

    @property
    def last(self) -> int:
        """Number of the newest file shown."""
        return self.rows[0].seen.id if self.rows else 0


@dataclass(frozen=True, slots=True)
class SeenView:
    """The page of one result: its line, and the comparison laid out where there is one."""

    row: SeenRow
    comparison: ComparisonView | None


def watching_view(store: Store, watching: Watching) -> WatchingView:
    """Gather what the page of the watched folder shows."""
    rows = tuple(seen_row(seen) for seen in store.watched.newest(MOST))
    return WatchingView(watching.folder, watching.trouble, rows)


def seen_row(seen: Seen) -> SeenRow:
    """Lay out one file."""
    if seen.visit_id is not None:
        address = f"/visits/{seen.visit_id}"
    else:
        address = f"/watching/{seen.id}" if seen.measurement else ""
    return SeenRow(seen, line_of(seen), address)


def seen_view(store: Store, number: int) -> SeenView:
    """Gather the page of one result; raises NotFoundError where there is none."""
    seen = store.watched.get(number)
    found = seen.comparison
    return SeenView(seen_row(seen), comparison_view(found) if found else None)
