"""``crankwise reference``: the shelf of known-goods."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from crankwise.cli import complete, measure
from crankwise.cli.grading import (
    Conditions,
    DateSeen,
    FreshChain,
    GradeNote,
    MeasuredBy,
    Mileage,
    PhasersParked,
    Sensor,
    Unit,
    VerifiedBy,
    Warm,
    grade_from,
    mileage_from,
)
from crankwise.cli.guard import guarded
from crankwise.cli.options import (
    AsJson,
    Cams,
    Crank,
    Interval,
    Lang,
    Quiet,
    is_quiet,
    parse_cams,
    parse_interval,
)
from crankwise.cli.storing import Where, echo_json, echo_json_of, one_line, open_for, remember_store
from crankwise.errors import NotMeasurableError, UsageError
from crankwise.language import say, told

if TYPE_CHECKING:
    from crankwise.model.measurement import Measurement
    from crankwise.model.shelf import ImportReport

group = typer.Typer(no_args_is_help=True, rich_markup_mode=None)

Family = Annotated[
    str | None,
    typer.Option(
        "--family", metavar="NAME", help="Engine family.", autocompletion=complete.families
    ),
]
Identifier = Annotated[
    str,
    typer.Argument(
        metavar="ID",
        help="Identifier of the known-good, or its first digits.",
        autocompletion=complete.known_goods,
    ),
]
Retired = Annotated[bool, typer.Option("--retired", help="Retired known-goods as well.")]


@group.callback()
def reference(ctx: typer.Context, *, store: Where = None) -> None:
    """Keep known-goods on a shelf: add, find, study, share them."""
    remember_store(ctx, store)


def add(
    ctx: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Recording or saved measurement.")],
    *,
    family: Annotated[
        str,
        typer.Option(
            "--family", metavar="NAME", help="Engine family.", autocompletion=complete.families
        ),
    ],
    mileage: Mileage = None,
    unit: Unit = None,
    date: DateSeen = None,
    conditions: Conditions = None,
    measured_by: MeasuredBy = None,
    fresh_chain: FreshChain = None,
    verified_by: VerifiedBy = None,
    warm: Warm = None,
    phasers_parked: PhasersParked = None,
    sensor: Sensor = None,
    note: GradeNote = "",
    crank: Crank = None,
    cam: Cams = None,
    interval: Interval = None,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Add a known-good to the shelf."""
    from crankwise.model.measurement import Provenance  # noqa: PLC0415  keeps --help fast

    name = one_line(family, what="--family")
    miles, said_unit = mileage_from(mileage, unit)
    grade = grade_from(
        fresh_chain=fresh_chain, verified_by=verified_by, warm=warm,
        phasers_parked=phasers_parked, sensor=sensor, note=note,
    )  # fmt: skip
    given = Provenance(name, miles, said_unit, date, conditions, measured_by)
    cams, interval_s = parse_cams(cam or ()), parse_interval(interval)
    silent = is_quiet(ctx, quiet=quiet)
    with open_for(ctx, store) as opened:
        from crankwise.workshop.shelving import shelve_file  # noqa: PLC0415  keeps --help fast

        known_good = shelve_file(
            opened, file, family=name, provenance=given, grade=grade,
            crank=crank, cams=cams, interval_s=interval_s,
        )  # fmt: skip
    if as_json:
        echo_json("known-good-added", known_good=known_good)
    elif not silent:
        typer.echo(
            say(
                "added: known-good {id} of {family}, wheel {wheel}, from {source}",
                id=known_good.id, family=known_good.family, source=file.name,
                wheel=told(known_good.measurement.crank.wheel),
            )
        )  # fmt: skip


def list_known_goods(
    ctx: typer.Context,
    *,
    family: Family = None,
    wheel: Annotated[
        str | None, typer.Option("--wheel", metavar="NAME", help="Crank wheel, e.g. 60-2.")
    ] = None,
    fits: Annotated[
        Path | None,
        typer.Option(
            "--fits",
            metavar="FILE",
            help="Only families that this recording or measurement fits, by its pattern alone.",
        ),
    ] = None,
    retired: Retired = False,
    crank: Crank = None,
    cam: Cams = None,
    interval: Interval = None,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """List the known-goods on the shelf, or those a recording fits."""
    silent = is_quiet(ctx, quiet=quiet)
    if fits is not None and (family is not None or wheel is not None or retired):
        raise UsageError(
            "--fits searches by the pattern alone: leave out --family, --wheel, --retired"
        )
    if fits is None:
        if crank is not None or cam or interval is not None:
            raise UsageError(
                "--crank, --cam and --interval are for the recording given with --fits"
            )
        with open_for(ctx, store) as opened:
            rows = opened.shelf.list(family=family, wheel=wheel, include_retired=retired)
        if as_json:
            echo_json("known-goods", known_goods=rows)
        elif not silent:
            from crankwise.cli.show_reference import show_rows  # noqa: PLC0415  keeps --help fast

            show_rows(rows)
        return
    subject = measured(
        fits, crank=crank, cams=parse_cams(cam or ()), interval_s=parse_interval(interval),
        progress=not silent,
    )  # fmt: skip
    with open_for(ctx, store) as opened:
        found = opened.shelf.fits(subject)
    if as_json:
        echo_json("fits", fits=found)
    elif not silent:
        from crankwise.cli.show_reference import show_fits  # noqa: PLC0415  keeps --help fast

        show_fits(found, subject)


def measured(
    file: Path,
    *,
    crank: str | None,
    cams: dict[str, str] | None,
    interval_s: float | None,
    progress: bool,
) -> Measurement:
    """Load a saved measurement, or measure a recording."""
    from crankwise import document  # noqa: PLC0415  keeps --help fast

    if document.looks_like_document(file):
        return document.load(file)
    return measure.measure_file(
        file, interval_s=interval_s, crank=crank, cams=cams, progress=progress
    )


def show(
    ctx: typer.Context,
    identifier: Identifier,
    *,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output", "-o", metavar="FILE", help="Save its measurement as JSON, to compare with."
        ),
    ] = None,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Show one known-good: its origin, its grade and its edges."""
    with open_for(ctx, store) as opened:
        known_good = opened.shelf.get(identifier)
    if output is not None:
        from crankwise import document  # noqa: PLC0415  keeps --help fast

        document.save(known_good.measurement, output)
    if as_json:
        echo_json("known-good-shown", known_good=known_good)
    elif not is_quiet(ctx, quiet=quiet):
        from crankwise.cli.show_reference import show_known_good  # noqa: PLC0415  keeps --help fast

        show_known_good(known_good, saved=[output] if output else [])


def retire(
    ctx: typer.Context,
    identifier: Identifier,
    *,
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="Why it is used no more.")],
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Take a known-good out of use without losing it."""
    reason = one_line(why, what="--why")
    with open_for(ctx, store) as opened:
        known_good = opened.shelf.retire(identifier, why=reason)
    if not is_quiet(ctx, quiet=quiet):
        typer.echo(
            say("retired: known-good {id} of {family}", id=known_good.id, family=known_good.family)
        )


def population(
    ctx: typer.Context,
    *,
    family: Annotated[
        str,
        typer.Option(
            "--family", metavar="NAME", help="Engine family.", autocompletion=complete.families
        ),
    ],
    policy: Annotated[
        Path | None,
        typer.Option("--policy", metavar="FILE", help="The workshop's own policy file."),
    ] = None,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Show how healthy engines of a family differ."""
    from crankwise.judge.policy import load_policy  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.shelving import of_family  # noqa: PLC0415  keeps --help fast

    rules = load_policy(policy)
    with open_for(ctx, store) as opened:
        patterns = opened.shelf.statistics(family, policy=rules)
        if not patterns:
            of_family(opened, family)  # says what there is instead
    if as_json:
        echo_json("population", family=family, patterns=patterns)
    elif not is_quiet(ctx, quiet=quiet):
        from crankwise.cli.show_reference import show_population  # noqa: PLC0415  keeps --help fast

        show_population(family, patterns)


def export(
    ctx: typer.Context,
    *,
    output: Annotated[
        Path,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            help="The file to write: .json for one known-good, .zip for many.",
        ),
    ],
    family: Family = None,
    known_good: Annotated[
        list[str] | None,
        typer.Option(
            "--id",
            metavar="ID",
            help="This known-good; may be repeated.",
            autocompletion=complete.known_goods,
        ),
    ] = None,
    retired: Retired = False,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Write known-goods into one file for other workshops.

    Vehicle and owner stay here.
    """
    with open_for(ctx, store) as opened:
        report = opened.shelf.export(
            output, family=family, ids=known_good or None, include_retired=retired
        )
    if as_json:
        echo_json_of("export", report)
    elif not is_quiet(ctx, quiet=quiet):
        for identifier, reason in report.withheld:
            typer.echo(say("withheld: known-good {id}: {why}", id=identifier, why=told(reason)))
        count = len(report.exported)
        typer.echo(say("exported: {count} to {path}", count=count, path=report.path))


def import_file(
    ctx: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="What another workshop exported.")],
    *,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Take known-goods from a file onto the shelf.

    What is there already is left as it is.
    """
    with open_for(ctx, store) as opened:
        report = opened.shelf.import_file(file)
    if as_json:
        echo_json_of("import", report)
    elif not is_quiet(ctx, quiet=quiet):
        added, present = len(report.added), len(report.present)
        typer.echo(say("added: {added}, there already: {present}", added=added, present=present))
        for conflict in report.conflicts:
            typer.echo(say("conflict: {name}: {why}", name=conflict.name, why=told(conflict.why)))
    _refuse_if_all_conflict(report, file)


def _refuse_if_all_conflict(report: ImportReport, file: Path) -> None:
    if report.conflicts and not (report.added or report.present):
        raise NotMeasurableError(f"{file}: nothing was taken, all of it conflicts with the shelf")


_COMMANDS: Final[Mapping[str, Callable[..., None]]] = {
    "add": add,
    "export": export,
    "import": import_file,
    "list": list_known_goods,
    "population": population,
    "retire": retire,
    "show": show,
}
for _name, _command in _COMMANDS.items():
    group.command(_name)(guarded(_command))
