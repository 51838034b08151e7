"""The root command and the list of commands."""

from __future__ import annotations

from typing import Annotated

import typer

from crankwise import __version__
from crankwise.cli import (
    backup,
    batch,
    compare,
    demo,
    job,
    measure,
    reference,
    report,
    serve,
    shop,
    simulate,
    verify,
    watch,
)
from crankwise.cli.guard import guarded
from crankwise.cli.options import Lang, Quiet, Shared
from crankwise.cli.storing import Where

app = typer.Typer(
    name="crankwise",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _show_version(*, wanted: bool) -> None:
    if wanted:
        typer.echo(f"crankwise {__version__}")
        raise typer.Exit


@app.callback()
def root(
    ctx: typer.Context,
    *,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
    quiet: Quiet = False,
    store: Where = None,
    _version: Annotated[
        bool,
        typer.Option(
            "--version",
            callback=lambda value: _show_version(wanted=value),
            is_eager=True,
            help="Print the version and leave.",
        ),
    ] = False,
) -> None:
    """Valve timing in crank degrees, from crankshaft and camshaft sensor recordings."""
    ctx.obj = Shared(quiet=quiet, store=store)


app.command("backup")(guarded(backup.backup))
app.command("batch")(guarded(batch.batch))
app.command("compare")(guarded(compare.compare))
app.command("demo")(guarded(demo.demo))
app.command("measure")(guarded(measure.measure))
app.command("report")(guarded(report.report))
app.command("serve")(guarded(serve.serve))
app.command("simulate")(guarded(simulate.simulate))
app.command("verify")(guarded(verify.verify))
app.command("watch")(guarded(watch.watch))
app.add_typer(job.group, name="job")
app.add_typer(reference.group, name="reference")
app.add_typer(shop.group, name="shop")
