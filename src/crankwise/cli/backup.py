"""``crankwise backup``: a copy of the store, while others work with it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crankwise.cli.options import AsJson, Lang, Quiet, is_quiet
from crankwise.cli.storing import Where, echo_json_of, open_existing
from crankwise.errors import UnreadableError
from crankwise.language import say


def backup(
    ctx: typer.Context,
    *,
    output: Annotated[
        Path,
        typer.Option(
            "--output", "-o", metavar="FOLDER", help="New folder for the copy, on another disk."
        ),
    ],
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Copy the store into a new folder, which is a store itself; work may go on meanwhile."""
    from crankwise.cli.progress import Bar  # noqa: PLC0415  keeps --help fast

    silent = is_quiet(ctx, quiet=quiet)
    with (
        open_existing(ctx, store) as opened,
        Bar(say("copying originals"), shown=not silent) as bar,
    ):
        made = opened.back_up(output, progress=bar)
    if as_json:
        echo_json_of("backup", made)
    elif not silent:
        typer.echo(
            say(
                "backed up: the database and {count} originals to {path}",
                count=made.originals,
                path=made.path,
            )
        )
    if made.missing:
        raise UnreadableError(
            f"{output}: not in this backup, as they are missing or damaged in the store: "
            f"{', '.join(made.missing)}"
        )
