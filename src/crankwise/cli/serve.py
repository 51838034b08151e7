"""``crankwise serve``: the screens, in the browser of this computer."""

from __future__ import annotations

import getpass
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from crankwise.cli.options import Lang, Quiet, Shared, is_quiet
from crankwise.cli.storing import Where
from crankwise.cli.watch import Poll, check_folder
from crankwise.errors import MissingPackageError, UsageError

Host = Annotated[
    str,
    typer.Option(
        "--host",
        metavar="H",
        help="Address to listen on; others reach any but 127.0.0.1, and need a pass-phrase.",
    ),
]
Port = Annotated[
    int, typer.Option("--port", metavar="N", min=0, max=65535, help="Port; 0 takes a free one.")
]
Names = Annotated[
    list[str] | None,
    typer.Option(
        "--name", metavar="HOST", help="Further name that it is asked by; may be repeated."
    ),
]
NewPhrase = Annotated[
    bool, typer.Option("--pass-phrase", help="Ask for a new pass-phrase, which is kept as a hash.")
]
Watched = Annotated[
    Path | None,
    typer.Option(
        "--watch", metavar="FOLDER", help="Watch a folder and show what the scope saves there."
    ),
]
Browser = Annotated[
    bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
]


def serve(
    ctx: typer.Context,
    *,
    host: Host = "127.0.0.1",
    port: Port = 8720,
    name: Names = None,
    pass_phrase: NewPhrase = False,
    watch: Watched = None,
    poll: Poll = False,
    browser: Browser = True,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  checked when parsed
) -> None:
    """Open the screens in the browser: the whole visit, at the car."""
    try:
        from crankwise.web.running import run  # noqa: PLC0415  keeps --help fast
        from crankwise.web.settings import (  # noqa: PLC0415  keeps --help fast
            PASS_PHRASE_VARIABLE,
            Settings,
        )
    except ImportError as error:
        raise MissingPackageError(
            f"the screens need the package {error.name}: install crankwise[web]"
        ) from error
    before = ctx.obj.store if isinstance(ctx.obj, Shared) else None
    if watch is not None:
        check_folder(watch)
    settings = Settings(
        store=store or before,
        host=host,
        port=port,
        names=tuple(name or ()),
        watch=None if watch is None else str(watch),
        watch_polls=poll,
    )
    run(
        settings,
        opens_browser=browser,
        silent=is_quiet(ctx, quiet=quiet),
        pass_phrase=_asked() if pass_phrase else os.environ.get(PASS_PHRASE_VARIABLE) or None,
    )


def _asked() -> str:
    """Ask for a pass-phrase twice, without showing it."""
    if not sys.stdin.isatty():
        raise UsageError(
            "there is no terminal to ask for the pass-phrase at: set CRANKWISE_PASS_PHRASE instead"
        )
    first = getpass.getpass("Pass-phrase: ")
    if getpass.getpass("Once more: ") != first:
        raise UsageError("the two were not alike: start again")
    return first
