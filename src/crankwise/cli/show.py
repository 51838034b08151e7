"""A measurement as people read it on a terminal of 80 columns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich.table import Table
from rich.text import Text

from crankwise.cli.console import (
    can_print,
    console_for_people,
    count,
    named_lines,
    show_findings,
    show_saved,
)
from crankwise.cli.guard import printable
from crankwise.picture.words import decimals_for, rounded_up, shown_angle, speed_words

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from rich.console import Console

    from crankwise.model.measurement import CamMeasurement, CrankMeasurement, Measurement

_SURE: Final = ((0.99, "sure"), (0.9, "likely"), (0.0, "doubtful"))


def show_measurement(measurement: Measurement, *, saved: Sequence[Path] = ()) -> None:
    """Print the whole measurement on stdout."""
    console = console_for_people()
    console.print(_header(measurement))
    for cam in measurement.cams:
        console.print()
        console.print(
            Text(printable(f"{cam.role}: {cam.channel}, {count(cam.cycles, 'cycle')}"), "bold")
        )
        console.print(cam_table(cam, signs=can_print(console, "▲▼")))
    show_findings(console, measurement.findings)
    _show_roles(console, measurement)
    show_saved(console, saved)


def _header(measurement: Measurement) -> Table:
    info, crank = measurement.recording, measurement.crank
    sampled = (
        "state changes" if info.interval_s is None else f"a sample every {_time(info.interval_s)}"
    )
    lines = [
        ("recording", f"{info.name}: {info.duration_s:.3g} s, {sampled}"),
        ("crank", _wheel_words(crank)),
        ("timing edge", f"{crank.timing_edge}: {crank.choice.reason}"),
        ("speed", f"{speed_words(crank.speed_rpm)}, {count(crank.revolutions, 'revolution')}"),
        ("cycle", _cycle_words(crank)),
    ]
    return named_lines(lines)


def _wheel_words(crank: CrankMeasurement) -> str:
    sure = next(word for least, word in _SURE if crank.choice.confidence >= least)
    other = f" (next best: {crank.choice.runner_up})" if crank.choice.runner_up else ""
    teeth = f"{count(crank.teeth_per_rev, 'tooth', 'teeth')}, {crank.pitch_deg:g}° apart"
    return f"{crank.channel}: wheel {crank.wheel}, {sure}{other}; {teeth}"


def _cycle_words(crank: CrankMeasurement) -> str:
    return crank.cycle_origin if crank.cycle_known else f"not known: {crank.cycle_origin}"


def cam_table(cam: CamMeasurement, *, signs: bool) -> Table:
    """Set a table of a cam's edges; ``signs`` says whether the terminal has the triangles."""
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


def _time(seconds: float) -> str:
    for unit, size in (("s", 1.0), ("ms", 1e-3), ("µs", 1e-6)):
        if seconds >= size:
            return f"{seconds / size:.4g} {unit}"
    return f"{seconds / 1e-9:.4g} ns"
