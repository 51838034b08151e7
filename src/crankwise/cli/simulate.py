"""``crankwise simulate``: a recording of an engine whose true timing is known."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Final

import typer

from crankwise.cli.options import Lang, Quiet, is_quiet
from crankwise.errors import UsageError
from crankwise.language import say, told

_NAME_ROOM: Final = 22


def simulate(
    ctx: typer.Context,
    spec: Annotated[
        Path | None,
        typer.Argument(metavar="[SPEC]", help="TOML file that describes engine, faults and scope."),
    ] = None,
    *,
    preset: Annotated[
        str | None,
        typer.Option("--preset", metavar="NAME", help="A built-in engine instead of a file."),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            help="The recording to write; the known truth goes beside it.",
        ),
    ] = None,
    seed: Annotated[
        int,
        typer.Option(
            "--seed", metavar="N", min=0, help="Another engine of the same kind; 1 if not given."
        ),
    ] = 1,
    list_presets: Annotated[
        bool, typer.Option("--list", help="List the built-in engines and leave.")
    ] = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Simulate a recording with known truth written beside it."""
    from crankwise.testing import simulate as simulator  # noqa: PLC0415  keeps --help fast

    if list_presets:
        for name, engine in simulator.PRESETS.items():
            typer.echo(f"{name:<{_NAME_ROOM}}{told(engine.about)}")
        return
    chosen = preset if spec is None else spec
    if chosen is None or (spec is not None and preset is not None):
        raise UsageError("give either a SPEC file or --preset NAME; --list shows the names")
    if output is None:
        raise UsageError("say where to write the recording with --output FILE")
    _, truth = simulator.simulate_to_file(chosen, output, seed=seed)
    if not is_quiet(ctx, quiet=quiet):
        for path in (output, truth):
            typer.echo(say("saved: {path}", path=path))
