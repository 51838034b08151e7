"""One row of the table of speeds: our time, the yardstick's time, the ratio, memory, the goal."""

from __future__ import annotations

from dataclasses import dataclass

from benchmarks.pages import judged, table

MB = 1e6
HEADER = ("work", "ours", "yardstick", "its time", "ratio", "peak memory", "goal", "result")


@dataclass(frozen=True, slots=True)
class Row:
    """A piece of work, timed in turns with its yardstick.

    Attributes
    ----------
    work : str
    ours_s : float
        Median time.
    yardstick : str
        What it is held against; empty where there is nothing to hold it against.
    yardstick_s : float or None
        Its median time.
    ratio : float or None
        Median of the ratios of runs that followed each other.
    peak_bytes : int or None
        Largest peak of resident memory of a process of its own.
    goal : str
        In words; empty where there is none.
    holds : bool or None
        Whether the goal is reached.
    """

    work: str
    ours_s: float
    yardstick: str = ""
    yardstick_s: float | None = None
    ratio: float | None = None
    peak_bytes: int | None = None
    goal: str = ""
    holds: bool | None = None


def as_table(rows: list[Row]) -> str:
    """All rows in Markdown."""
    return table(HEADER, [_cells(row) for row in rows])


def _cells(row: Row) -> list[str]:
    return [
        row.work,
        seconds(row.ours_s),
        row.yardstick,
        "" if row.yardstick_s is None else seconds(row.yardstick_s),
        "" if row.ratio is None else f"{row.ratio:.2f}",
        "" if row.peak_bytes is None else f"{row.peak_bytes / MB:.0f} MB",
        row.goal,
        "" if row.holds is None else judged(holds=row.holds),
    ]


def seconds(time_s: float) -> str:
    """Write a time with three digits that count.

    >>> seconds(0.0481), seconds(2.0), seconds(123.4)
    ('0.0481 s', '2.00 s', '123 s')
    """
    digits = 2 if time_s >= 1.0 else 3 if time_s >= 0.1 else 4
    return f"{time_s:.0f} s" if time_s >= 100.0 else f"{time_s:.{digits}f} s"
