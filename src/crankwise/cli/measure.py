"""``crankwise measure``: one recording to a measurement."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crankwise.cli.options import (
    AsJson,
    Cams,
    Crank,
    Interval,
    Lang,
    Picture,
    Quiet,
    check_outputs,
    is_quiet,
    parse_cams,
    parse_interval,
)
from crankwise.language import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crankwise.model.measurement import Measurement


def measure(
    ctx: typer.Context,
    recording: Annotated[
        Path, typer.Argument(metavar="RECORDING", help="The file the scope saved.")
    ],
    *,
    crank: Crank = None,
    cam: Cams = None,
    interval: Interval = None,
    as_json: AsJson = False,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help="Save the measurement as JSON."),
    ] = None,
    picture: Picture = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Measure the valve timing in a recording, in crank degrees.

    Without --crank and --cam the roles come from the channel names, else from the signals.
    """
    cams, interval_s = parse_cams(cam or ()), parse_interval(interval)
    check_outputs([recording], output=output, picture=picture)
    silent = is_quiet(ctx, quiet=quiet)
    measurement = measure_file(
        recording, interval_s=interval_s, crank=crank, cams=cams, progress=not silent
    )
    saved = save_results(measurement, output=output, picture=picture)
    if as_json:
        from crankwise.document import dumps  # noqa: PLC0415  keeps --help fast

        typer.echo(dumps(measurement).encode(), nl=False)
    elif not silent:
        from crankwise.cli.show import show_measurement  # noqa: PLC0415  keeps --help fast

        show_measurement(measurement, saved=saved)


def measure_file(
    recording: Path,
    *,
    interval_s: float | None = None,
    crank: str | None = None,
    cams: Mapping[str, str] | None = None,
    progress: bool,
) -> Measurement:
    """Read and measure a file, with progress on the terminal if asked."""
    from crankwise.cli.progress import Bar  # noqa: PLC0415  keeps --help fast
    from crankwise.readers.measuring import measure_file as measured  # noqa: PLC0415  as above

    with Bar(say("Reading {name}", name=recording.name), shown=progress) as bar:
        return measured(recording, interval_s=interval_s, crank=crank, cams=cams, progress=bar.step)


def save_results(
    measurement: Measurement, *, output: Path | None, picture: Path | None
) -> list[Path]:
    """Save what was asked for; return the files written."""
    from crankwise import document  # noqa: PLC0415  keeps --help fast

    saved = []
    if output is not None:
        document.save(measurement, output)
        saved.append(output)
    if picture is not None:
        from crankwise.picture import save_picture  # noqa: PLC0415  keeps --help fast

        save_picture(measurement, picture)
        saved.append(picture)
    return saved
