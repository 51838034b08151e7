"""Commands of ``crankwise job`` that write down what was seen, said and done at a visit."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Annotated, Final

import typer

from crankwise.cli.grading import DateSeen, Mileage, Unit, mileage_from
from crankwise.cli.job_options import JobName, VisitNumber
from crankwise.cli.options import AsJson, Lang, Quiet, is_quiet
from crankwise.cli.storing import Where, echo_json, one_line, open_for
from crankwise.cli.wording import distance
from crankwise.errors import UsageError
from crankwise.language import say, told

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.model.job import Fact

_SIGNAL: Final = re.compile(r"crank|(?:intake|exhaust|cam)(?:-[1-9])?")
_CODE: Final = re.compile(r"[A-Z][0-9A-F]{4}(?:-[0-9A-F]{2})?")

ComplaintText = Annotated[
    str | None, typer.Option("--complaint", metavar="TEXT", help="What the customer complains of.")
]
Codes = Annotated[
    list[str] | None,
    typer.Option("--code", metavar="CODE", help="Trouble code read: P0016; may be repeated."),
]
Text = Annotated[str, typer.Argument(metavar="TEXT", help="In your words.")]


def add_visit(
    ctx: typer.Context,
    name: JobName,
    *,
    date: DateSeen = None,
    mileage: Mileage = None,
    unit: Unit = None,
    unknown_mileage: Annotated[
        bool,
        typer.Option("--unknown-mileage", help="It can't be read; the history leaves this out."),
    ] = False,
    complaint: ComplaintText = None,
    no_complaint: Annotated[
        bool, typer.Option("--no-complaint", help="The customer has no complaint.")
    ] = False,
    code: Codes = None,
    no_codes: Annotated[
        bool, typer.Option("--no-codes", help="Codes were read, and there are none.")
    ] = False,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Begin a visit: its day and mileage, the complaint, the codes read."""
    facts = [*_complaint(complaint, none=no_complaint), *_codes(code or (), none=no_codes)]
    miles, said_unit = mileage_from(mileage, unit)
    if (miles is None) is not unknown_mileage:
        raise UsageError("say the mileage with --mileage and --unit, or else --unknown-mileage")
    with open_for(ctx, store) as opened:
        from crankwise.workshop.finding import find_job  # noqa: PLC0415  keeps --help fast
        from crankwise.workshop.opening import mileage_doubt, today  # noqa: PLC0415

        file = find_job(opened, name)
        visit = opened.jobs.add_visit(
            file.job.id, date=date or today(), mileage=miles, mileage_unit=said_unit
        )
        for fact in facts:
            opened.jobs.add_fact(fact, job_id=file.job.id, visit_id=visit.id)
        doubt = mileage_doubt(file, visit)
        number = len(find_job(opened, str(name)).visits)
    if as_json:
        echo_json("visit-added", visit=visit, number=number)
    elif not is_quiet(ctx, quiet=quiet):
        typer.echo(
            say(
                "added: visit {number} of {name}, {date}, {mileage}",
                number=number, name=file.vehicle.label, date=told(visit.date),
                mileage=distance(visit.mileage, visit.mileage_unit) or say("mileage unknown"),
            )
        )  # fmt: skip
        if doubt:
            typer.echo(told(doubt))


def _complaint(text: str | None, *, none: bool) -> Sequence[Fact]:
    from crankwise.model.job import Complaint  # noqa: PLC0415  keeps --help fast

    if text is not None and none:
        raise UsageError("give either --complaint or --no-complaint")
    if none:
        return (Complaint(""),)
    return () if text is None else (Complaint(one_line(text, what="--complaint")),)


def _codes(codes: Sequence[str], *, none: bool, note: str = "") -> Sequence[Fact]:
    from crankwise.model.job import CodesRead  # noqa: PLC0415  keeps --help fast

    if codes and none:
        raise UsageError("codes are given, and --no-codes says that there are none")
    if not codes and not none:
        return ()
    read = tuple(dict.fromkeys(code.strip().upper() for code in codes))
    for code in read:
        if not _CODE.fullmatch(code):
            raise UsageError(f"{code!r} is no trouble code: write it as P0016 or P0016-78")
    return (CodesRead(read, note),)


def complaint(
    ctx: typer.Context,
    name: JobName,
    text: Annotated[
        str | None, typer.Argument(metavar="[TEXT]", help="What the customer complains of.")
    ] = None,
    *,
    none: Annotated[bool, typer.Option("--none", help="There is no complaint.")] = False,
    visit: VisitNumber = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Write down what the customer complains of."""
    if text is None and not none:
        raise UsageError("say what the customer complains of, or --none")
    (fact,) = _complaint(text, none=none)
    write(ctx, name, fact, visit=visit, store=store, quiet=quiet)


def codes(
    ctx: typer.Context,
    name: JobName,
    code: Annotated[
        list[str] | None, typer.Argument(metavar="[CODE]...", help="Trouble codes read: P0016.")
    ] = None,
    *,
    none: Annotated[bool, typer.Option("--none", help="Read, and there are none.")] = False,
    note: Annotated[
        str, typer.Option("--note", metavar="TEXT", help="Pending, stored, freeze frame.")
    ] = "",
    visit: VisitNumber = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Write down the trouble codes read."""
    found = _codes(code or (), none=none, note=note)
    if not found:
        raise UsageError("name the codes read, or --none")
    write(ctx, name, found[0], visit=visit, store=store, quiet=quiet)


def hook_up(
    ctx: typer.Context,
    name: JobName,
    *,
    signal: Annotated[
        str, typer.Option("--signal", metavar="ROLE", help="crank, intake, exhaust, intake-1 …")
    ],
    connector: Annotated[
        str, typer.Option("--connector", metavar="NAME", help="Where it was tapped.")
    ] = "",
    pin: Annotated[str, typer.Option("--pin", metavar="PIN", help="Pin of it.")] = "",
    wire: Annotated[str, typer.Option("--wire", metavar="COLOUR", help="Colour of the wire.")] = "",
    probed_at: Annotated[
        str,
        typer.Option("--probed-at", metavar="TEXT", help="At the sensor, at the controller …"),
    ] = "",
    unplugged: Annotated[
        list[str] | None,
        typer.Option(
            "--unplugged", metavar="PART", help="What was unplugged for it; may be repeated."
        ),
    ] = None,
    puncture_sealed: Annotated[
        bool | None,
        typer.Option(
            "--puncture-sealed/--puncture-open", help="Whether a pierced wire was sealed again."
        ),
    ] = None,
    visit: VisitNumber = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Write down where a signal was taken from."""
    from crankwise.model.job import HookUp  # noqa: PLC0415  keeps --help fast

    if not _SIGNAL.fullmatch(signal):
        raise UsageError(
            f"there is no signal {signal!r}: write crank, intake, exhaust, intake-1 or cam-1"
        )

    fact = HookUp(
        signal=one_line(signal, what="--signal"), connector=connector, pin=pin, wire=wire,
        probed_at=probed_at, unplugged=", ".join(unplugged or ()), puncture_sealed=puncture_sealed,
    )  # fmt: skip
    write(ctx, name, fact, visit=visit, store=store, quiet=quiet)


def check(
    ctx: typer.Context,
    name: JobName,
    what: Annotated[
        str, typer.Argument(metavar="TEXT", help="reconnect, clear codes, variation relearn …")
    ],
    *,
    before: Annotated[
        bool | None,
        typer.Option("--before/--after", help="Before or after the recording."),
    ] = None,
    done: Annotated[bool, typer.Option("--done/--not-done", help="Whether it was done.")] = True,
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="What it showed.")] = "",
    visit: VisitNumber = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Write down a check made before or after the recording."""
    from crankwise.model.job import CheckDone  # noqa: PLC0415  keeps --help fast

    if before is None:
        raise UsageError("say when: --before or --after the recording")
    fact = CheckDone(
        when="before" if before else "after", name=one_line(what, what=say("the check")),
        done=done, note=note,
    )  # fmt: skip
    write(ctx, name, fact, visit=visit, store=store, quiet=quiet)


def advised(
    ctx: typer.Context,
    name: JobName,
    text: Text,
    *,
    visit: VisitNumber = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Write down what the owner was advised to do."""
    from crankwise.model.job import Advice  # noqa: PLC0415  keeps --help fast

    fact = Advice(one_line(text, what=say("the advice")))
    write(ctx, name, fact, visit=visit, store=store, quiet=quiet)


def chosen(
    ctx: typer.Context,
    name: JobName,
    text: Text,
    *,
    accepted: Annotated[
        bool | None,
        typer.Option("--accepted/--declined", help="Whether the owner took the advice."),
    ] = None,
    visit: VisitNumber = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Write down what the owner chose."""
    from crankwise.model.job import Choice  # noqa: PLC0415  keeps --help fast

    if accepted is None:
        raise UsageError("say whether the advice was taken: --accepted or --declined")
    fact = Choice(one_line(text, what=say("the choice")), accepted=accepted)
    write(ctx, name, fact, visit=visit, store=store, quiet=quiet)


def repair(
    ctx: typer.Context,
    name: JobName,
    text: Text,
    *,
    chain_replaced: Annotated[
        bool | None,
        typer.Option(
            "--chain-replaced/--chain-kept",
            help="Whether the timing chain or belt is new; the history begins again then.",
        ),
    ] = None,
    visit: VisitNumber = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Write down the repair done."""
    from crankwise.model.job import Repair  # noqa: PLC0415  keeps --help fast

    if chain_replaced is None:
        raise UsageError("say whether the chain is new: --chain-replaced or --chain-kept")
    fact = Repair(one_line(text, what=say("the repair")), chain_replaced=chain_replaced)
    write(ctx, name, fact, visit=visit, store=store, quiet=quiet)


def note(
    ctx: typer.Context,
    name: JobName,
    text: Text,
    *,
    visit: VisitNumber = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Write down anything else."""
    from crankwise.model.job import Note  # noqa: PLC0415  keeps --help fast

    fact = Note(one_line(text, what=say("the note")))
    write(ctx, name, fact, visit=visit, store=store, quiet=quiet)


def write(
    ctx: typer.Context,
    name: str,
    fact: Fact,
    *,
    visit: int | None,
    store: str | None,
    quiet: bool,
) -> None:
    """Add a fact to the visit and say so."""
    with open_for(ctx, store) as opened:
        from crankwise.workshop.finding import find_job, find_visit  # noqa: PLC0415  keeps --help fast

        file = find_job(opened, name)
        at = find_visit(file, visit)
        opened.jobs.add_fact(fact, job_id=file.job.id, visit_id=at.visit.id)
    if not is_quiet(ctx, quiet=quiet):
        from crankwise.cli.fact_words import fact_words  # noqa: PLC0415  keeps --help fast

        label, words = fact_words(fact, unit=at.visit.mileage_unit)
        number = file.visits.index(at) + 1
        typer.echo(
            say(
                "added to visit {number} of {name}: {label}: {words}",
                number=number, name=file.vehicle.label, label=label, words=words,
            )
        )  # fmt: skip


COMMANDS: Final[Mapping[str, Callable[..., None]]] = {
    "complaint": complaint,
    "codes": codes,
    "hook-up": hook_up,
    "check": check,
    "advised": advised,
    "chosen": chosen,
    "repair": repair,
    "note": note,
}
