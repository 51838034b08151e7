"""``crankwise job``: one vehicle's file, from the first visit to its history."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Final

import typer

from crankwise.cli import complete, job_facts, job_money, job_results
from crankwise.cli.guard import guarded
from crankwise.cli.job_options import JobName
from crankwise.cli.options import AsJson, Lang, Quiet, is_quiet
from crankwise.cli.storing import Where, echo_json, one_line, open_for, remember_store
from crankwise.language import say

group = typer.Typer(no_args_is_help=True, rich_markup_mode=None)
visit_group = typer.Typer(no_args_is_help=True, rich_markup_mode=None)


@group.callback()
def job(ctx: typer.Context, *, store: Where = None) -> None:
    """Keep each vehicle's file, from its first visit to its history."""
    remember_store(ctx, store)


@visit_group.callback()
def visit() -> None:
    """Keep what was done on one day at one mileage."""


def new(
    ctx: typer.Context,
    vehicle: Annotated[
        str, typer.Argument(metavar="VEHICLE", help="What the workshop calls the vehicle: van-3.")
    ],
    *,
    family: Annotated[
        str | None,
        typer.Option(
            "--family", metavar="NAME", help="Engine family.", autocompletion=complete.families
        ),
    ] = None,
    title: Annotated[
        str, typer.Option("--title", metavar="TEXT", help="What the job is about.")
    ] = "",
    workshop: Annotated[
        str | None, typer.Option("--workshop", metavar="NAME", help="Which workshop it belongs to.")
    ] = None,
    vin: Annotated[
        str | None, typer.Option("--vin", metavar="VIN", help="Never leaves with an export.")
    ] = None,
    plate: Annotated[
        str | None, typer.Option("--plate", metavar="PLATE", help="Never leaves with an export.")
    ] = None,
    customer: Annotated[
        str | None, typer.Option("--customer", metavar="NAME", help="Never leaves with an export.")
    ] = None,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Begin the file of a vehicle."""
    name = one_line(vehicle, what=say("the vehicle's name"))
    with open_for(ctx, store) as opened:
        from crankwise.model.job import VehicleDetails  # noqa: PLC0415  keeps --help fast
        from crankwise.workshop.opening import open_job  # noqa: PLC0415  keeps --help fast

        file = open_job(
            opened,
            name,
            family=family,
            title=title,
            workshop=workshop,
            details=VehicleDetails(vin=vin, plate=plate, customer=customer),
        )
    if as_json:
        echo_json("job-added", job=file.job, vehicle=file.vehicle)
    elif not is_quiet(ctx, quiet=quiet):
        typer.echo(say("added: job {id}, {name}", id=file.job.id, name=file.vehicle.label))


def name_family(
    ctx: typer.Context,
    name: JobName,
    family: Annotated[
        str,
        typer.Argument(metavar="FAMILY", help="Engine family.", autocompletion=complete.families),
    ],
    *,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Say which engine family a vehicle is of."""
    from crankwise.workshop import finding, opening  # noqa: PLC0415  keeps --help fast

    with open_for(ctx, store) as opened:
        file = finding.find_job(opened, name)
        opening.name_family(opened, file, one_line(family, what=say("engine family")))
    if not is_quiet(ctx, quiet=quiet):
        typer.echo(say("{name} is a {family}", name=file.vehicle.label, family=family))


def list_jobs(
    ctx: typer.Context,
    *,
    search: Annotated[
        str | None,
        typer.Option("--search", metavar="TEXT", help="Only jobs that hold these words."),
    ] = None,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """List the jobs, and where each stands."""
    from crankwise.store import job_state  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.finding import by_vehicle  # noqa: PLC0415  keeps --help fast

    with open_for(ctx, store) as opened:
        files = by_vehicle(opened.jobs.list(search=search))
    states = [job_state(file) for file in files]
    if as_json:
        jobs = [
            {"job": file.job, "vehicle": file.vehicle, "visits": len(file.visits), "state": state}
            for file, state in zip(files, states, strict=True)
        ]
        echo_json("jobs", jobs=jobs)
    elif not is_quiet(ctx, quiet=quiet):
        from crankwise.cli.show_job import show_jobs  # noqa: PLC0415  keeps --help fast

        show_jobs(files, states)


def show(
    ctx: typer.Context,
    name: JobName,
    *,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Show a vehicle's file: what was found, advised and done."""
    from crankwise.store import job_state  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.finding import find_job  # noqa: PLC0415  keeps --help fast

    with open_for(ctx, store) as opened:
        file = find_job(opened, name)
    state = job_state(file)
    if as_json:
        echo_json("job", state=state, file=file)
    elif not is_quiet(ctx, quiet=quiet):
        from crankwise.cli.show_job import show_job  # noqa: PLC0415  keeps --help fast

        show_job(file, state)


def import_folder(
    ctx: typer.Context,
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Folder of old recordings, with its folders.")
    ],
    *,
    family: Annotated[
        str | None,
        typer.Option(
            "--family",
            metavar="NAME",
            help="Engine family of vehicles that have no job yet.",
            autocompletion=complete.families,
        ),
    ] = None,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Take in a folder of old recordings.

    What was understood of each is told.

    The folder a recording lies in names its vehicle; date and mileage with its unit are read
    from its name: van-3/2024-04-09 20000 miles.csv.
    """
    from crankwise.cli.progress import Bar  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.folder import import_recordings  # noqa: PLC0415  keeps --help fast

    silent = is_quiet(ctx, quiet=quiet)
    with open_for(ctx, store) as opened, Bar(say("Reading the folder"), shown=not silent) as bar:
        taken = import_recordings(opened, folder, family=family, progress=bar)
    if as_json:
        echo_json("folder-import", files=taken)
    elif not silent:
        from crankwise.cli.show_job import show_taken  # noqa: PLC0415  keeps --help fast

        show_taken(taken)


_COMMANDS: Final[Mapping[str, Callable[..., None]]] = {
    "new": new,
    "list": list_jobs,
    "show": show,
    "family": name_family,
    **job_results.COMMANDS,
    **job_facts.COMMANDS,
    **job_money.COMMANDS,
    "import": import_folder,
}
for _name, _command in _COMMANDS.items():
    group.command(_name)(guarded(_command))
visit_group.command("add")(guarded(job_facts.add_visit))
group.add_typer(visit_group, name="visit")
