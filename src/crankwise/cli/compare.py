"""``crankwise compare``: a subject against its known-goods, to a verdict."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crankwise.cli import complete, measure
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
from crankwise.cli.storing import Where, open_for
from crankwise.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.model.comparison import Comparison
    from crankwise.model.measurement import Measurement


@dataclass(frozen=True, slots=True)
class How:
    """How recordings are read: what was said of their channels, and whether progress is shown."""

    crank: str | None = None
    cams: dict[str, str] | None = None
    interval_s: float | None = None
    progress: bool = False

    @property
    def says_something(self) -> bool:
        """Whether anything was said of the channels."""
        return self.crank is not None or self.cams is not None or self.interval_s is not None


@dataclass(frozen=True, slots=True)
class Against:
    """What the subject is compared with and judged by.

    Attributes
    ----------
    references : tuple of Path
    before : Path or None
        The engine before the repair.
    same_vehicle : bool
    engine : str or None
        A file, or the name of a shipped engine.
    policy : Path or None
        ``None`` for the shipped one.
    limit_deg : float or None
        From service information.
    shelved : tuple of Measurement
        Known-goods of the shelf, before the references.
    """

    references: tuple[Path, ...]
    before: Path | None = None
    same_vehicle: bool = False
    engine: str | None = None
    policy: Path | None = None
    limit_deg: float | None = None
    shelved: tuple[Measurement, ...] = field(default=(), repr=False)


@dataclass(frozen=True, slots=True)
class Compared:
    """The comparison, and the subject's measurement, whose crank a picture shows."""

    comparison: Comparison
    subject: Measurement = field(repr=False)


Family = Annotated[
    str | None,
    typer.Option(
        "--family",
        metavar="NAME",
        help="All known-goods of this engine family on the shelf.",
        autocompletion=complete.families,
    ),
]
References = Annotated[
    list[Path] | None,
    typer.Option(
        "--reference",
        metavar="REF",
        help="Recording or saved measurement of a known-good; may be repeated.",
    ),
]
SameVehicle = Annotated[
    bool,
    typer.Option(
        "--same-vehicle", help="The known-goods are this very vehicle at an earlier time."
    ),
]
Before = Annotated[
    Path | None,
    typer.Option(
        "--before",
        metavar="FILE",
        help="The engine before the repair, if SUBJECT was recorded after it.",
    ),
]
EngineName = Annotated[
    str | None,
    typer.Option(
        "--engine",
        metavar="ENGINE",
        help="Engine file, or the name of a shipped one such as tarn-t20.",
    ),
]
PolicyFile = Annotated[
    Path | None,
    typer.Option("--policy", metavar="FILE", help="The workshop's own policy file."),
]
Limit = Annotated[
    float | None,
    typer.Option(
        "--limit",
        metavar="DEG",
        help="Limit from service information, crank degrees either way.",
    ),
]
Output = Annotated[
    Path | None,
    typer.Option("--output", "-o", metavar="FILE", help="Save the comparison as JSON."),
]


def compare(
    ctx: typer.Context,
    subject: Annotated[
        Path,
        typer.Argument(
            metavar="SUBJECT", help="Recording or saved measurement of the engine to judge."
        ),
    ],
    *,
    reference: References = None,
    family: Family = None,
    same_vehicle: SameVehicle = False,
    before: Before = None,
    engine: EngineName = None,
    policy: PolicyFile = None,
    limit: Limit = None,
    crank: Crank = None,
    cam: Cams = None,
    interval: Interval = None,
    as_json: AsJson = False,
    output: Output = None,
    picture: Picture = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Compare an engine with known-goods: what has moved, and why.

    SUBJECT and REF are recordings or saved measurements. --crank, --cam and --interval are for
    every recording among them.
    """
    silent = is_quiet(ctx, quiet=quiet)
    how = How(crank, parse_cams(cam or ()), parse_interval(interval), progress=not silent)
    against = Against(tuple(reference or ()), before, same_vehicle, engine, policy, limit)
    check_outputs(inputs_of(subject, against), output=output, picture=picture)
    if family is not None:
        against = replace(against, shelved=_from_shelf(ctx, store, family))
    compared = compare_files(subject, against, how)
    saved = save_results(compared, output=output, picture=picture)
    if as_json:
        from crankwise.document import dumps  # noqa: PLC0415  keeps --help fast

        typer.echo(dumps(compared.comparison).encode(), nl=False)
    elif not silent:
        from crankwise.cli.show_comparison import show_comparison  # noqa: PLC0415  keeps --help fast

        pitch_deg = compared.subject.crank.pitch_deg
        show_comparison(compared.comparison, pitch_deg=pitch_deg, saved=saved)


def inputs_of(subject: Path, against: Against) -> list[Path]:
    """Every file that is read, none of which a result may replace."""
    engine = [Path(against.engine)] if against.engine is not None else []
    others = [path for path in (against.before, against.policy) if path is not None]
    return [subject, *against.references, *others, *engine]


def _from_shelf(ctx: typer.Context, where: str | None, family: str) -> tuple[Measurement, ...]:
    from crankwise.workshop.shelving import of_family  # noqa: PLC0415  keeps --help fast

    with open_for(ctx, where) as store:
        return tuple(known_good.measurement for known_good in of_family(store, family))


def compare_files(subject: Path, against: Against, how: How) -> Compared:
    """Read and measure what is not measured yet, and compare.

    Raises
    ------
    UsageError
        Channels are named, but there is no recording they could be of.
    """
    from crankwise import document, pipeline  # noqa: PLC0415  keeps --help fast
    from crankwise.drive.engine_file import load_engine  # noqa: PLC0415  keeps --help fast
    from crankwise.judge.policy import load_policy  # noqa: PLC0415  keeps --help fast

    engine = None if against.engine is None else load_engine(against.engine)
    policy = load_policy(against.policy)
    sides = [subject, *against.references, *([against.before] if against.before else ())]
    if how.says_something and all(map(document.looks_like_document, sides)):
        raise UsageError(
            "--crank, --cam and --interval are for recordings, and every file given is a saved "
            "measurement: leave them out"
        )
    measured = measured_of(sides, how)
    count = len(against.references)
    comparison = pipeline.compare(
        measured[0],
        [*against.shelved, *measured[1 : 1 + count]],
        engine=engine,
        policy=policy,
        same_vehicle=against.same_vehicle,
        service_limit_deg=against.limit_deg,
        before=measured[1 + count] if against.before else None,
    )
    return Compared(comparison, measured[0])


def measured_of(sides: Sequence[Path], how: How) -> list[Measurement]:
    """Load what is a saved measurement, and measure what is a recording."""
    from crankwise import document  # noqa: PLC0415  keeps --help fast

    return [
        document.load(path) if document.looks_like_document(path) else _measure(path, how)
        for path in sides
    ]


def _measure(recording: Path, how: How) -> Measurement:
    try:
        return measure.measure_file(
            recording,
            interval_s=how.interval_s,
            crank=how.crank,
            cams=how.cams,
            progress=how.progress,
        )
    except UsageError as error:
        # What was said of the channels fits another of the recordings, perhaps.
        raise UsageError(
            f"{recording}: {error}; measure a recording with other channels by itself, with -o, "
            "and compare the saved measurement"
        ) from error


def save_results(compared: Compared, *, output: Path | None, picture: Path | None) -> list[Path]:
    """Save what was asked for; return the files written."""
    from crankwise import document  # noqa: PLC0415  keeps --help fast

    saved = []
    if output is not None:
        document.save(compared.comparison, output)
        saved.append(output)
    if picture is not None:
        from crankwise.picture import save_comparison_picture, save_picture  # noqa: PLC0415

        if compared.comparison.cams:
            save_comparison_picture(compared.comparison, picture, crank=compared.subject.crank)
        else:  # bank against bank: there is no known-good to lay the engine over
            save_picture(compared.subject, picture)
        saved.append(picture)
    return saved
