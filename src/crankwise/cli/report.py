"""``crankwise report``: a job or a comparison as pages to print, or as numbers."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from crankwise.cli import complete
from crankwise.cli.compare import EngineName
from crankwise.cli.job_options import VisitNumber
from crankwise.cli.options import Lang, Quiet, is_quiet
from crankwise.cli.storing import Where, open_for, place_of_store
from crankwise.errors import UsageError
from crankwise.language import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crankwise.model.engine import Engine
    from crankwise.report import Dossier, Shop, Wish
    from crankwise.report.making import Form

_FORMS: Final[Mapping[str, Form]] = {".pdf": "pdf", ".html": "html", ".csv": "csv", ".json": "json"}


class For(StrEnum):
    """Who reads it."""

    OWNER = "owner"
    TECHNICIAN = "technician"


class Only(StrEnum):
    """One page instead of the whole report."""

    BEFORE_AFTER = "before-after"
    HOOK_UP = "hook-up"
    CHECKLIST = "checklist"


class PaperSize(StrEnum):
    """Size of the paper."""

    A4 = "A4"
    LETTER = "Letter"


def report(
    ctx: typer.Context,
    subject: Annotated[
        str | None,
        typer.Argument(
            metavar="[JOB|COMPARISON]",
            help="Name of the vehicle, number of the job, or a saved comparison.",
            autocompletion=complete.jobs,
        ),
    ] = None,
    *,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output", "-o", metavar="FILE",
            help="Where to: .pdf or .html; .csv or .json for the numbers alone.",
        ),
    ] = None,
    reader: Annotated[For, typer.Option("--for", help="Who reads it.")] = For.OWNER,
    page: Annotated[
        Only | None, typer.Option("--page", help="This page instead of the whole report.")
    ] = None,
    visit: VisitNumber = None,
    measurement: Annotated[
        Path | None,
        typer.Option(
            "--measurement", metavar="FILE",
            help="Saved measurement of the comparison's subject, for the record.",
        ),
    ] = None,
    engine: EngineName = None,
    paper: Annotated[
        PaperSize | None, typer.Option("--paper", help="Paper; the workshop's if not given.")
    ] = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,
) -> None:  # fmt: skip
    """Make the owner's report or the technician's record.

    A hook-up sheet or a checklist without JOB is one to be filled in by hand.
    """
    from crankwise.document import looks_like_document, write_whole  # noqa: PLC0415  keeps --help fast
    from crankwise.report import Dossier, ensure_installed, made  # noqa: PLC0415  keeps --help fast

    form = _form(output)
    ensure_installed()
    is_file = subject is not None and looks_like_document(subject)
    _check(subject, page, visit=visit, measurement=measurement, engine=engine, is_file=is_file)
    if subject is None:
        dossier = Dossier(_shop(ctx, store))
    elif is_file:
        dossier = _of_file(_shop(ctx, store), Path(subject), measurement, engine)
    else:
        dossier = _of_job(ctx, store, subject, visit)
    data = made(
        dossier, _wish(form, reader, page, paper, lang or ctx.find_root().params.get("lang"))
    )
    write_whole(output or "", data, keep_sha256=_recordings(dossier))
    if not is_quiet(ctx, quiet=quiet):
        typer.echo(say("saved: {path}", path=output))


def _form(output: Path | None) -> Form:
    if output is None:
        raise UsageError("say where the report goes, with -o FILE.pdf or -o FILE.html")
    form = _FORMS.get(output.suffix.lower())
    if form is None:
        raise UsageError(f"{output}: end the name of a report in {', '.join(_FORMS)}")
    return form


def _check(
    subject: str | None,
    page: Only | None,
    *,
    visit: int | None,
    measurement: Path | None,
    engine: str | None,
    is_file: bool,
) -> None:
    """Refuse what makes no sense together before anything is opened."""
    if subject is None and page not in {Only.HOOK_UP, Only.CHECKLIST}:
        raise UsageError("name the job or the comparison to report on")
    if not is_file and (measurement is not None or engine is not None):
        raise UsageError("--measurement and --engine go with a saved comparison, not with a job")
    if visit is not None and (is_file or subject is None):
        raise UsageError("--visit goes with a job")


def _wish(
    form: Form, reader: For, page: Only | None, paper: PaperSize | None, lang: str | None
) -> Wish:
    from crankwise.report import Wish  # noqa: PLC0415  keeps --help fast

    return Wish(
        form=form,
        reader=reader.value,
        page=page.value if page else "report",
        language=lang,
        paper=paper.value if paper else None,
    )


def _shop(ctx: typer.Context, where: str | None) -> Shop:
    """Take name, logo and policy from the store, if there is one; none is made for it."""
    from crankwise.report import Shop  # noqa: PLC0415  keeps --help fast
    from crankwise.store import has_store  # noqa: PLC0415  keeps --help fast

    if not has_store(place_of_store(ctx, where)):
        return Shop.unknown()
    with open_for(ctx, where) as store:
        return Shop.of(store)


def _of_job(ctx: typer.Context, where: str | None, name: str, visit: int | None) -> Dossier:
    from crankwise.report import of_visit  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.finding import find_job, find_visit  # noqa: PLC0415  keeps --help fast

    with open_for(ctx, where) as store:
        file = find_job(store, name)
        return of_visit(store, file, find_visit(file, visit))


def _of_file(shop: Shop, path: Path, measurement: Path | None, engine: str | None) -> Dossier:
    from crankwise import document  # noqa: PLC0415  keeps --help fast
    from crankwise.report import of_comparison  # noqa: PLC0415  keeps --help fast

    return of_comparison(
        document.load_comparison(path),
        shop=shop,
        measurement=document.load(measurement) if measurement else None,
        engine=_engine(engine),
    )


def _engine(name: str | None) -> Engine | None:
    from crankwise.drive.engine_file import load_engine  # noqa: PLC0415  keeps --help fast

    return None if name is None else load_engine(name)


def _recordings(dossier: Dossier) -> set[str]:
    from crankwise.document import recordings_of  # noqa: PLC0415  keeps --help fast

    results = (dossier.comparison, dossier.measurement, dossier.after)
    return {sha256 for result in results if result for sha256 in recordings_of(result)}
