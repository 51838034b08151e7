"""A measurement as people read it on a terminal of 80 columns."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Final

from rich.console import Console
from rich.table import Table
from rich.text import Text

from crankwise.cli.guard import printable
from crankwise.picture.words import decimals_for, rounded_up, shown_angle, speed_words

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from crankwise.model.finding import Finding
    from crankwise.model.measurement import CamMeasurement, CrankMeasurement, Measurement

_LEVELS: Final = (
    ("fault", "✖", "X", "bold red"),
    ("caution", "▲", "!", "yellow"),
    ("note", "●", "-", ""),
)
_SURE: Final = ((0.99, "sure"), (0.9, "likely"), (0.0, "doubtful"))


def show_measurement(measurement: Measurement, *, saved: Sequence[Path] = ()) -> None:
    """Print the whole measurement on stdout."""
    console = console_for_people()
    console.print(_header(measurement))
    for cam in measurement.cams:
        console.print()
        console.print(
            Text(printable(f"{cam.role}: {cam.channel}, {_count(cam.cycles, 'cycle')}"), "bold")
        )
        console.print(_cam_table(cam, signs=_can_print(console, "▲▼")))
    _show_findings(console, measurement.findings)
    _show_roles(console, measurement)
    for path in saved:
        console.print(Text(f"saved: {printable(str(path))}"), soft_wrap=True)


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


def _header(measurement: Measurement) -> Table:
    info, crank = measurement.recording, measurement.crank
    sampled = (
        "state changes" if info.interval_s is None else f"a sample every {_time(info.interval_s)}"
    )
    lines = [
        ("recording", f"{info.name}: {info.duration_s:.3g} s, {sampled}"),
        ("crank", _wheel_words(crank)),
        ("timing edge", f"{crank.timing_edge}: {crank.choice.reason}"),
        ("speed", f"{speed_words(crank.speed_rpm)}, {_count(crank.revolutions, 'revolution')}"),
        ("cycle", _cycle_words(crank)),
    ]
    table = Table.grid(padding=(0, 2))
    for name, words in lines:
        table.add_row(Text(name, "bold"), Text(printable(words)))
    return table


def _wheel_words(crank: CrankMeasurement) -> str:
    sure = next(word for least, word in _SURE if crank.choice.confidence >= least)
    other = f" (next best: {crank.choice.runner_up})" if crank.choice.runner_up else ""
    teeth = f"{_count(crank.teeth_per_rev, 'tooth', 'teeth')}, {crank.pitch_deg:g}° apart"
    return f"{crank.channel}: wheel {crank.wheel}, {sure}{other}; {teeth}"


def _cycle_words(crank: CrankMeasurement) -> str:
    return crank.cycle_origin if crank.cycle_known else f"not known: {crank.cycle_origin}"


def _cam_table(cam: CamMeasurement, *, signs: bool) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim")
    for title in ("edge", "angle", "± 95 %", "teeth, counted from the gap", "scatter", "count"):
        table.add_column(title, justify="right" if title in _NUMBERS else "left")
    for edge in cam.edges:
        decimals = decimals_for(edge.uncertainty_deg)
        sign = {"rising": "▲ ", "falling": "▼ "}[edge.edge] if signs else ""
        table.add_row(
            f"  {sign}{edge.edge}",
            f"{shown_angle(edge.angle_deg, decimals=decimals)}°",
            f"{rounded_up(edge.uncertainty_deg, decimals=decimals)}°",
            printable(edge.teeth),
            f"{edge.scatter_deg:.{decimals}f}°",
            str(edge.count) + (f" (-{edge.rejected})" if edge.rejected else ""),
        )
    if not cam.edges:
        table.add_row("  no edge", "", "", "", "", "")
    return table


_NUMBERS: Final = {"angle", "± 95 %", "scatter", "count"}


def _show_findings(console: Console, findings: Sequence[Finding]) -> None:
    """Print findings, the worst first; the word and a shape say the level, not the colour."""
    signs = _can_print(console, "✖▲●")
    for level, sign, plain, style in _LEVELS:
        for finding in findings:
            if finding.level == level:
                console.print()
                head = Text(f"{sign if signs else plain} {level}", style)
                row = Table.grid(padding=(0, 2))
                row.add_row(head, Text(printable(finding.text)))
                console.print(row)


def _show_roles(console: Console, measurement: Measurement) -> None:
    if not measurement.roles:
        return
    console.print()
    console.print(Text("roles taken", "bold"))
    table = Table.grid(padding=(0, 2))
    for channel, words in measurement.roles.items():
        role, _, why = words.partition(": ")
        table.add_row(*(Text(printable(part)) for part in (f"  {channel}", role, why)))
    console.print(table)


def _can_print(console: Console, signs: str) -> bool:
    try:
        signs.encode(console.encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


def _time(seconds: float) -> str:
    for unit, size in (("s", 1.0), ("ms", 1e-3), ("µs", 1e-6)):
        if seconds >= size:
            return f"{seconds / size:.4g} {unit}"
    return f"{seconds / 1e-9:.4g} ns"
