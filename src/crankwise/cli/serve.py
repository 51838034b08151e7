"""``crankwise serve``: the screens, in the browser of this computer."""

from __future__ import annotations

from typing import Annotated

import typer

from crankwise.cli.options import Lang, Quiet, Shared, is_quiet
from crankwise.cli.storing import Where
from crankwise.errors import MissingPackageError


def serve(
    ctx: typer.Context,
    *,
    host: Annotated[
        str, typer.Option("--host", metavar="H", help="Address to listen on.")
    ] = "127.0.0.1",
    port: Annotated[
        int, typer.Option("--port", metavar="N", min=0, max=65535, help="Port; 0 takes a free one.")
    ] = 8720,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Open the screens in the browser: the whole visit, at the car."""
    try:
        from crankwise.web.running import run  # noqa: PLC0415  keeps --help fast
        from crankwise.web.settings import Settings  # noqa: PLC0415  keeps --help fast
    except ImportError as error:
        raise MissingPackageError(
            f"the screens need the package {error.name}: install crankwise[web]"
        ) from error
    before = ctx.obj.store if isinstance(ctx.obj, Shared) else None
    settings = Settings(store=store or before, host=host, port=port)
    run(settings, opens_browser=browser, silent=is_quiet(ctx, quiet=quiet))
