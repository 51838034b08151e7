"""``crankwise simulate``: a recording of an engine whose true timing is known."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003  typer reads the annotations
from typing import Annotated

import typer

from crankwise.cli.options import Lang, Quiet, is_quiet
from crankwise.errors import UsageError


def simulate(
    ctx: typer.Context,
    spec: Annotated[
        Path | None, typer.Argument(help="TOML file that describes engine, faults and scope.")
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
        int | None,
        typer.Option("--seed", metavar="N", help="Another engine of the same kind."),
    ] = None,
    list_presets: Annotated[
        bool, typer.Option("--list", help="List the built-in engines and leave.")
    ] = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  checked when parsed
) -> None:
    """Simulate a recording with known truth written beside it."""
    from crankwise.testing import simulate as simulator  # noqa: PLC0415  keeps --help fast

    if list_presets:
        for name in simulator.PRESETS:
            typer.echo(name)
        return
    if (spec is None) == (preset is None):
        raise UsageError("give either a SPEC file or --preset NAME; --list shows the names")
    if output is None:
        raise UsageError("say where to write the recording with --output FILE")
    made = simulator.simulate_to_file(
        preset if spec is None else simulator.load_spec(spec), output, seed=seed
    )
    if not is_quiet(ctx, quiet=quiet):
        typer.echo(f"saved: {made}")
