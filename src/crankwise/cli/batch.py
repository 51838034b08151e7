"""``crankwise batch``: thousands of recordings into one table."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final, Self

import typer

from crankwise.cli import complete
from crankwise.cli.compare import (
    Against,
    EngineName,
    Family,
    How,
    Limit,
    PolicyFile,
    References,
    measured_of,
)
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
from crankwise.cli.storing import Where, echo_json_of, open_for
from crankwise.errors import NotMeasurableError, UsageError
from crankwise.language import say, told

if TYPE_CHECKING:
    from types import TracebackType

    from crankwise.batch import Plan, Progress, Summary

_SUFFIX: Final = ".parquet"
_EVERY_S: Final = 10.0
_SECONDS_UP_TO: Final = 90.0

Files = Annotated[
    list[str],
    typer.Argument(
        metavar="FILE",
        help="Recordings, folders of them, patterns, or URLs such as s3://bucket/path.",
    ),
]
Results = Annotated[
    Path,
    typer.Option("--output", "-o", metavar="FILE", help="The table to write, a .parquet file."),
]
Scheduler = Annotated[
    str | None,
    typer.Option(
        "--scheduler",
        metavar="ADDRESS",
        help="Dask scheduler whose workers measure, e.g. tcp://host:8786; else this computer.",
    ),
]
Processes = Annotated[
    int | None,
    typer.Option(
        "--workers",
        metavar="N",
        min=1,
        max=1024,
        help="Processes of this computer; else all cores.",
    ),
]
KnownGoods = Annotated[
    list[str] | None,
    typer.Option(
        "--known-good",
        metavar="ID",
        help="Known-good of the shelf; may be repeated.",
        autocompletion=complete.known_goods,
    ),
]


@dataclass(frozen=True, slots=True)
class Asked:
    """Known-goods of the shelf that were asked for: a family's, and single ones."""

    family: str | None
    ids: tuple[str, ...]

    @property
    def any(self) -> bool:
        """Whether there are any."""
        return self.family is not None or bool(self.ids)


def batch(
    ctx: typer.Context,
    files: Files,
    *,
    output: Results,
    scheduler: Scheduler = None,
    workers: Processes = None,
    reference: References = None,
    family: Family = None,
    known_good: KnownGoods = None,
    engine: EngineName = None,
    policy: PolicyFile = None,
    limit: Limit = None,
    crank: Crank = None,
    cam: Cams = None,
    interval: Interval = None,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  checked when parsed
) -> None:
    """Measure thousands of recordings into one Parquet table.

    It has a row for each cam edge. What fails goes into a second table beside it. Given again, the
    same command goes on where it stopped, and measures only what is new or has changed.
    """
    from crankwise.batch import find_sources, run_batch  # noqa: PLC0415  keeps --help fast

    if scheduler is not None and workers is not None:
        raise UsageError("--workers is for this computer: a scheduler has workers of its own")
    _check_output(output)
    how = How(crank, parse_cams(cam or ()), parse_interval(interval))
    against = Against(tuple(reference or ()), engine=engine, policy=policy, limit_deg=limit)
    plan = _plan(ctx, store, against, Asked(family, tuple(known_good or ())), how)
    found = find_sources(files)
    silent = is_quiet(ctx, quiet=quiet)
    with _Teller(shown=not silent) as tell, _told_when_stopped(shown=not silent):
        summary = run_batch(
            found.sources, plan, output, scheduler=scheduler, processes=workers, tell=tell,
            documents=found.documents,
        )  # fmt: skip
    if as_json:
        echo_json_of("batch", summary)
    elif not silent:
        from crankwise.cli.show_batch import show_batch  # noqa: PLC0415  keeps --help fast

        show_batch(summary)
    _refuse_none(summary)


@contextmanager
def _told_when_stopped(*, shown: bool) -> Iterator[None]:
    try:
        yield
    except KeyboardInterrupt:
        if shown:
            words = say("stopped: what was done is kept, and the same command goes on from there")
            print(words, file=sys.stderr)
        raise


def _check_output(output: Path) -> None:
    if output.suffix.lower() != _SUFFIX:
        raise UsageError(f"--output {output}: end the name in {_SUFFIX}")
    if "://" in str(output) or ":/" in str(output)[2:]:
        raise UsageError(f"--output {output}: the table is written on this computer; name a file")
    if not output.absolute().parent.is_dir():
        raise UsageError(f"{output}: its folder does not exist; make it first")


def _plan(ctx: typer.Context, where: str | None, against: Against, asked: Asked, how: How) -> Plan:
    """Gather what is done to every recording.

    Raises
    ------
    UsageError
        Something is said of comparing, but not what to compare with.
    """
    from crankwise.batch import Plan  # noqa: PLC0415  keeps --help fast
    from crankwise.drive.engine_file import load_engine  # noqa: PLC0415  keeps --help fast
    from crankwise.judge.policy import load_policy  # noqa: PLC0415  keeps --help fast

    judged = against.engine or against.policy or against.limit_deg is not None
    if judged and not (against.references or asked.any):
        raise UsageError(
            "--engine, --policy and --limit are for comparing: say with what, by --reference, "
            "--family or --known-good"
        )
    plan = Plan(
        crank=how.crank,
        cams=how.cams,
        interval_s=how.interval_s,
        known_goods=tuple(measured_of(against.references, how)),
        engine=None if against.engine is None else load_engine(against.engine),
        policy=None if against.policy is None else load_policy(against.policy),
        service_limit_deg=against.limit_deg,
    )
    return _from_shelf(ctx, where, plan, asked) if asked.any else plan


def _from_shelf(ctx: typer.Context, where: str | None, plan: Plan, asked: Asked) -> Plan:
    """Add known-goods of the shelf, and the workshop's own engine and policy if none was given."""
    from crankwise.workshop.shelving import of_family  # noqa: PLC0415  keeps --help fast

    with open_for(ctx, where) as opened:
        of_it = of_family(opened, asked.family) if asked.family is not None else ()
        found = (*of_it, *opened.shelf.load(asked.ids))
        engine = plan.engine or opened.shop.engine_of_family(found[0].family)
        policy = plan.policy or opened.shop.policy()
    unique = {known_good.id: known_good.measurement for known_good in found}
    known_goods = (*unique.values(), *plan.known_goods)
    return replace(plan, known_goods=known_goods, engine=engine, policy=policy)


def _refuse_none(summary: Summary) -> None:
    if summary.measured == 0:
        raise NotMeasurableError(
            f"none of {summary.recordings} recordings could be measured; {summary.failed} says why"
        )


class _Teller:
    """Progress on stderr: a bar where someone watches, else a line now and then."""

    def __init__(self, *, shown: bool) -> None:
        from crankwise.cli.progress import Bar  # noqa: PLC0415  keeps --help fast

        self._bar = Bar(say("Measuring"), shown=shown)
        self._writes_lines = shown and not sys.stderr.isatty()
        self._told = time.monotonic()

    def __enter__(self) -> Self:
        self._bar.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._bar.__exit__(kind, error, trace)

    def __call__(self, progress: Progress) -> None:
        """Tell how far it is."""
        words = say(
            "{done} of {total} recordings", done=_many(progress.done), total=_many(progress.total)
        )
        if progress.failed:
            words += say(", {count} failed", count=_many(progress.failed))
        self._bar.step(words, progress.done / progress.total)
        now = time.monotonic()
        if self._writes_lines and now - self._told >= _EVERY_S:
            self._told = now
            print(f"{words}{_left(progress.left_s)}", file=sys.stderr, flush=True)


def _many(count: int) -> str:
    return told(f"{count:,}")


def _left(seconds: float | None) -> str:
    if seconds is None:
        return ""
    if seconds < _SECONDS_UP_TO:
        return say(", about {count} s left", count=f"{seconds:.0f}")
    return say(", about {count} min left", count=f"{seconds / 60:.0f}")
