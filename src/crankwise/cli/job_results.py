"""Commands of ``crankwise job`` that measure, compare, follow and keep."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from crankwise.cli import complete
from crankwise.cli.compare import EngineName, Limit, PolicyFile
from crankwise.cli.grading import (
    Conditions,
    FreshChain,
    GradeNote,
    MeasuredBy,
    PhasersParked,
    Sensor,
    VerifiedBy,
    Warm,
    grade_from,
)
from crankwise.cli.job_options import JobName, VisitNumber
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
from crankwise.cli.storing import Where, echo_json, echo_json_of, open_for
from crankwise.language import say, told

if TYPE_CHECKING:
    from crankwise.model.engine import Engine


class Purpose(StrEnum):
    """What a recording was made for."""

    DIAGNOSIS = "diagnosis"
    BEFORE_REPAIR = "before-repair"
    AFTER_REPAIR = "after-repair"
    CHECK = "check"


KnownGoods = Annotated[
    list[str] | None,
    typer.Option(
        "--known-good",
        metavar="ID",
        help="This known-good of the shelf; may be repeated.",
        autocompletion=complete.known_goods,
    ),
]


def record(
    ctx: typer.Context,
    name: JobName,
    recording: Annotated[
        Path, typer.Argument(metavar="RECORDING", help="The file the scope saved.")
    ],
    *,
    purpose: Annotated[
        Purpose, typer.Option("--purpose", help="What it was made for.")
    ] = Purpose.DIAGNOSIS,
    visit: VisitNumber = None,
    crank: Crank = None,
    cam: Cams = None,
    interval: Interval = None,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Measure a recording, and keep both with a visit."""
    from crankwise.cli.progress import Bar  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.finding import find_job, find_visit  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.recording import digest_of, kept_elsewhere, record_visit  # noqa: PLC0415

    cams, interval_s = parse_cams(cam or ()), parse_interval(interval)
    silent = is_quiet(ctx, quiet=quiet)
    with open_for(ctx, store) as opened:
        at = find_visit(find_job(opened, name), visit)
        there = opened.jobs.places_of(digest_of(recording)) if recording.is_file() else ()
        elsewhere = kept_elsewhere(opened, there, besides=at.visit.id)
        with Bar(say("Measuring"), shown=not silent) as bar:
            kept = record_visit(
                opened, at, recording, purpose=purpose.value, crank=crank, cams=cams,
                interval_s=interval_s, progress=bar.step,
            )  # fmt: skip
    if as_json:
        echo_json_of("measurement-kept", kept)
    elif not silent:
        from crankwise.cli.show import show_measurement  # noqa: PLC0415  keeps --help fast

        show_measurement(kept.measurement)
        said = {"name": recording.name, "purpose": told(purpose.value)}
        if (at.visit.id, purpose.value) in there:
            words = say("kept already: {name} as {purpose} recording of this visit", **said)
        else:
            words = say("kept: {name} as {purpose} recording of this visit", **said)
        typer.echo(f"\n{words}")
        for line in elsewhere:
            typer.echo(told(line))


def compare(
    ctx: typer.Context,
    name: JobName,
    *,
    visit: VisitNumber = None,
    family: Annotated[
        str | None,
        typer.Option(
            "--family",
            metavar="NAME",
            help="The known-goods of this engine family, whatever the vehicle has of its own.",
            autocompletion=complete.families,
        ),
    ] = None,
    known_good: KnownGoods = None,
    engine: EngineName = None,
    policy: PolicyFile = None,
    limit: Limit = None,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Compare a visit's newest recording with known-goods.

    The known-good is the vehicle's own where it has one with this chain, else the shelf's of its
    family.
    """
    from crankwise.judge.policy import load_policy  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.finding import find_job, find_visit  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.judging import judge_visit  # noqa: PLC0415  keeps --help fast

    rules, known = load_policy(policy) if policy else None, _engine(engine)
    with open_for(ctx, store) as opened:
        file = find_job(opened, name)
        judged = judge_visit(
            opened, file, find_visit(file, visit), family=family, known_good_ids=known_good or (),
            engine=known, policy=rules, service_limit_deg=limit,
        )  # fmt: skip
    if as_json:
        from crankwise.document import dumps  # noqa: PLC0415  keeps --help fast

        typer.echo(dumps(judged.kept.comparison).encode(), nl=False)
    elif not is_quiet(ctx, quiet=quiet):
        from crankwise.cli.show_comparison import show_comparison  # noqa: PLC0415  keeps --help fast

        pitch_deg = judged.subject.measurement.crank.pitch_deg
        show_comparison(judged.kept.comparison, pitch_deg=pitch_deg)
        typer.echo(f"\n{say('compared with {what}', what=told(judged.chosen.why))}")


def _engine(name: str | None) -> Engine | None:
    from crankwise.drive.engine_file import load_engine  # noqa: PLC0415  keeps --help fast

    return None if name is None else load_engine(name)


def history(
    ctx: typer.Context,
    name: JobName,
    *,
    known_good: Annotated[
        str | None,
        typer.Option(
            "--known-good",
            metavar="ID",
            help="Known-good that every visit is held against.",
            autocompletion=complete.known_goods,
        ),
    ] = None,
    engine: EngineName = None,
    policy: PolicyFile = None,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Show how the timing moves over the mileage."""
    from crankwise.judge.policy import load_policy  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.finding import find_job  # noqa: PLC0415  keeps --help fast

    rules, given = load_policy(policy) if policy else None, _engine(engine)
    with open_for(ctx, store) as opened:
        vehicle = find_job(opened, name).vehicle
        found = opened.history(
            vehicle.id,
            known_good_id=known_good,
            policy=rules or opened.shop.policy(),
            engine=given or opened.shop.engine_of_family(vehicle.family),
        )
    if as_json:
        from crankwise.workshop.history_values import history_values  # noqa: PLC0415  keeps --help fast

        echo_json("history", **history_values(found))
    elif not is_quiet(ctx, quiet=quiet):
        from crankwise.cli.show_history import show_history  # noqa: PLC0415  keeps --help fast

        show_history(found, vehicle.label)


def known_good(
    ctx: typer.Context,
    name: JobName,
    *,
    visit: VisitNumber = None,
    family: Annotated[
        str | None,
        typer.Option(
            "--family",
            metavar="NAME",
            help="Engine family, if the job does not say it.",
            autocompletion=complete.families,
        ),
    ] = None,
    conditions: Conditions = None,
    measured_by: MeasuredBy = None,
    fresh_chain: FreshChain = None,
    verified_by: VerifiedBy = None,
    warm: Warm = None,
    phasers_parked: PhasersParked = None,
    sensor: Sensor = None,
    note: GradeNote = "",
    despite_verdict: Annotated[
        bool,
        typer.Option("--despite-verdict", help="Even if the verdict says that it has moved."),
    ] = False,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Put a visit's newest measurement on the shelf as a known-good."""
    from crankwise.workshop.finding import find_job, find_visit  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.shelving import shelve_visit  # noqa: PLC0415  keeps --help fast

    grade = grade_from(
        fresh_chain=fresh_chain, verified_by=verified_by, warm=warm,
        phasers_parked=phasers_parked, sensor=sensor, note=note,
    )  # fmt: skip
    with open_for(ctx, store) as opened:
        file = find_job(opened, name)
        kept = shelve_visit(
            opened, file, find_visit(file, visit), family=family, grade=grade,
            conditions=conditions, measured_by=measured_by, despite_verdict=despite_verdict,
        )  # fmt: skip
    if as_json:
        echo_json("known-good-added", known_good=kept)
    elif not is_quiet(ctx, quiet=quiet):
        typer.echo(
            say(
                "added: known-good {id} of {family}, from {source}",
                id=kept.id, family=kept.family, source=file.vehicle.label,
            )
        )  # fmt: skip


def remeasure(
    ctx: typer.Context,
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="[JOB]",
            help="Only the recordings of this job; all in the store if not given.",
            autocompletion=complete.jobs,
        ),
    ] = None,
    *,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Measure old recordings again with today's method.

    Both results are kept, and what changed is shown.
    """
    from crankwise.cli.progress import Bar  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.finding import find_job  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.recording import recordings_of  # noqa: PLC0415  keeps --help fast

    silent = is_quiet(ctx, quiet=quiet)
    with open_for(ctx, store) as opened, Bar(say("Measuring"), shown=not silent) as bar:
        shas = None if name is None else recordings_of(find_job(opened, name))
        done = opened.recordings.remeasure(shas, progress=bar.step)
    if as_json:
        echo_json("remeasured", recordings=done)
    elif not silent:
        from crankwise.cli.show_job import show_remeasured  # noqa: PLC0415  keeps --help fast

        show_remeasured(done)


COMMANDS: Final[Mapping[str, Callable[..., None]]] = {
    "record": record,
    "compare": compare,
    "history": history,
    "known-good": known_good,
    "remeasure": remeasure,
}
