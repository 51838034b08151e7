"""``crankwise demo``: the whole job on a built-in scenario, as a list of steps."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Final

import typer

from crankwise.cli.measure import measure_file, save_results
from crankwise.cli.options import Lang, Quiet, is_quiet
from crankwise.errors import UsageError

_PRESET: Final = "t20-worn-guide"
_SEED: Final = 20


def demo(
    ctx: typer.Context,
    *,
    into: Annotated[
        Path, typer.Option("--into", metavar="FOLDER", help="Where the files of the demo go.")
    ] = Path("crankwise-demo"),
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  checked when parsed
) -> None:
    """Show the whole job on a simulated van, from its recording to the result."""
    silent = is_quiet(ctx, quiet=quiet)
    _make_folder(into)
    recording = _record(into / "van.csv", silent=silent)
    _measure(recording, into=into, silent=silent)


def _make_folder(into: Path) -> None:
    try:
        into.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(
            f"{into} can't be a folder ({error.strerror}): choose another with --into"
        ) from error


def _record(path: Path, *, silent: bool) -> Path:
    """Simulate what a scope would save at one van of the workshop."""
    from crankwise.testing.simulate import simulate_to_file  # noqa: PLC0415  keeps --help fast

    if not silent:
        typer.echo("1. Record: a Tarn T20 of Bramblegate Workshop (simulated), guide worn\n")
    simulate_to_file(_PRESET, path, seed=_SEED)
    return path


def _measure(recording: Path, *, into: Path, silent: bool) -> None:
    """Measure the file as any other: nothing the simulator knows is used."""
    if not silent:
        typer.echo(f"2. Measure: crankwise measure {recording}\n")
    measurement = measure_file(recording, progress=not silent)
    saved = save_results(measurement, output=into / "van.json", picture=into / "van.svg")
    if not silent:
        from crankwise.cli.show import show_measurement  # noqa: PLC0415  keeps --help fast

        show_measurement(measurement, saved=[recording, *saved])
