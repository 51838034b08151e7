"""A measurement as people read it on a terminal of 80 columns."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from crankwise.cli.console import (
    can_print,
    console_for_people,
    named_lines,
    show_findings,
    show_saved,
)
from crankwise.cli.guard import printable
from crankwise.cli.tables import add_row, open_table, print_title
from crankwise.language import say, say_many, told
from crankwise.picture.words import decimals_for, rounded_up, shown_angle, speed_words

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from rich.console import Console

    from crankwise.model.measurement import CamMeasurement, CrankMeasurement, Measurement

_SURE, _LIKELY = 0.99, 0.9


def show_measurement(measurement: Measurement, *, saved: Sequence[Path] = ()) -> None:
    """Print the whole measurement on stdout."""
    console = console_for_people()
    console.print(_header(measurement))
    for cam in measurement.cams:
        cycles = say_many("{count} cycle", "{count} cycles", cam.cycles)
        # A channel that is named after its role need not be named twice.
        channel = "" if cam.channel == cam.role else f"{cam.channel}, "
        print_title(console, f"{told(cam.role)}: {channel}{cycles}")
        console.print(cam_table(cam, signs=can_print(console, "▲▼")))
    show_findings(console, measurement.findings)
    _show_roles(console, measurement)
    show_saved(console, saved)


def _header(measurement: Measurement) -> Table:
    info, crank = measurement.recording, measurement.crank
    sampled = (
        say("state changes")
        if info.interval_s is None
        else say("a sample every {time}", time=told(_time(info.interval_s)))
    )
    turns = say_many("{count} revolution", "{count} revolutions", crank.revolutions)
    lasting = told(f"{info.duration_s:.3g} s")
    lines = [
        (say("recording"), f"{info.name}: {lasting}, {sampled}"),
        (say("crank"), _wheel_words(crank)),
        (say("timing edge"), f"{told(crank.timing_edge)}: {told(crank.choice.reason)}"),
        (say("speed"), f"{speed_words(crank.speed_rpm)}, {turns}"),
        (say("cycle"), _cycle_words(crank)),
    ]
    return named_lines(lines)


def _wheel_words(crank: CrankMeasurement) -> str:
    wheel = say("wheel {wheel}, {sure}", wheel=told(crank.wheel), sure=_sure_words(crank))
    if crank.choice.runner_up:
        wheel += say(" (next best: {wheel})", wheel=told(crank.choice.runner_up))
    teeth = say_many(
        "{count} tooth, {pitch} apart", "{count} teeth, {pitch} apart", crank.teeth_per_rev,
        pitch=told(f"{crank.pitch_deg:g}°"),
    )  # fmt: skip
    channel = "" if crank.channel == "crank" else f"{crank.channel}: "
    return f"{channel}{wheel}; {teeth}"


def _sure_words(crank: CrankMeasurement) -> str:
    if crank.choice.confidence >= _SURE:
        return say("sure")
    return say("likely") if crank.choice.confidence >= _LIKELY else say("doubtful")


def _cycle_words(crank: CrankMeasurement) -> str:
    words = told(crank.cycle_origin)
    return words if crank.cycle_known else say("not known: {why}", why=words)


def cam_table(cam: CamMeasurement, *, signs: bool) -> Table:
    """Set a table of a cam's edges; ``signs`` says whether the terminal has the triangles."""
    table = open_table(
        "edge", "angle", "± 95 %", "teeth, counted from the gap", "scatter", "count",
        numbers={"angle", "± 95 %", "scatter", "count"},
    )  # fmt: skip
    for edge in cam.edges:
        decimals = decimals_for(edge.uncertainty_deg)
        sign = {"rising": "▲ ", "falling": "▼ "}[edge.edge] if signs else ""
        add_row(
            table,
            f"  {sign}{told(edge.edge)}",
            told(f"{shown_angle(edge.angle_deg, decimals=decimals)}°"),
            told(f"{rounded_up(edge.uncertainty_deg, decimals=decimals)}°"),
            told(edge.teeth),
            told(f"{edge.scatter_deg:.{decimals}f}°"),
            str(edge.count) + (f" (-{edge.rejected})" if edge.rejected else ""),
        )
    if not cam.edges:
        add_row(table, f"  {say('no edge')}", "", "", "", "", "")
    return table


def _show_roles(console: Console, measurement: Measurement) -> None:
    if not measurement.roles:
        return
    print_title(console, say("roles taken"))
    table = Table.grid(padding=(0, 2))
    for channel, words in measurement.roles.items():
        role, _, why = told(words).partition(": ")
        table.add_row(*(Text(printable(part)) for part in (f"  {channel}", role, why)))
    console.print(table)


def _time(seconds: float) -> str:
    for unit, size in (("s", 1.0), ("ms", 1e-3), ("µs", 1e-6)):
        if seconds >= size:
            return f"{seconds / size:.4g} {unit}"
    return f"{seconds / 1e-9:.4g} ns"
