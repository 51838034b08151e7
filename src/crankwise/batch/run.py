"""The batch from beginning to end: hand out, gather, keep, finish."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from crankwise.batch.cluster import Workers, workers
from crankwise.batch.plan import Plan
from crankwise.batch.sources import Source
from crankwise.batch.tables import Tables
from crankwise.batch.work import Outcome, failed
from crankwise.errors import UsageError

if TYPE_CHECKING:
    import polars as pl

_MOST_IN_HAND: Final = 16
_MOST_BYTES: Final = 32_000_000
_ROUNDS: Final = 8
"""Each worker's share is handed out in so many handfuls or more, so that all end together."""

_TRIES: Final = 2
_KEEP_S: Final = 5.0
_KILLED: Final = (
    "the process that measured it was killed twice, for want of memory perhaps: measure it by "
    "itself, on a computer with more"
)


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a batch is: recordings done, those of them that failed, all, and seconds left."""

    done: int
    failed: int
    total: int
    left_s: float | None


@dataclass(frozen=True, slots=True)
class Summary:
    """What came of a batch.

    Attributes
    ----------
    recordings, measured, edges : int
        Recordings asked for, those that have edges in the table, and these edges.
    from_before : int
        Recordings that an earlier run had done.
    failures : dict of str to int
        How many failed, by kind.
    verdicts : dict of str to int
        How many recordings have which verdict.
    documents : int
        Saved documents passed over.
    seconds : float
    results, failed : Path
        The two tables.
    """

    recordings: int
    measured: int
    edges: int
    from_before: int
    failures: dict[str, int]
    verdicts: dict[str, int]
    documents: int
    seconds: float
    results: Path
    failed: Path


def run_batch(
    sources: Sequence[Source],
    plan: Plan,
    output: Path,
    *,
    scheduler: str | None = None,
    processes: int | None = None,
    tell: Callable[[Progress], None] | None = None,
    documents: int = 0,
) -> Summary:
    """Measure recordings into a table, and go on where an earlier run stopped.

    Parameters
    ----------
    sources : sequence of Source
    plan : Plan
    output : Path
        The table of results; that of failures lies beside it.
    scheduler, processes
        As for :func:`crankwise.batch.cluster.workers`.
    tell : callable, optional
        Told how far it is, now and then.
    documents : int
        Told on.

    Raises
    ------
    UsageError, MissingPackageError
        The output can't be written, or there are no workers; what was done is kept.
    """
    begun = time.monotonic()
    tables = Tables(output)
    before = tables.begin(sources, plan)
    pending = [source for source in sources if source.path not in before]
    if pending:
        gathering = _Gathering(tables, total=len(sources), done=len(before), tell=tell)
        with workers(plan, scheduler=scheduler, processes=processes) as found, gathering:
            for outcomes in _measured(found, pending, plan):
                gathering.add(outcomes)
    edges, failures = tables.finish()
    return Summary(
        recordings=len(sources),
        measured=edges["path"].n_unique(),
        edges=len(edges),
        from_before=len(before),
        failures=_counted(failures, "kind"),
        verdicts=_counted(edges.unique("path", maintain_order=True), "verdict"),
        documents=documents,
        seconds=time.monotonic() - begun,
        results=tables.output,
        failed=tables.failures,
    )


def _measured(found: Workers, pending: Sequence[Source], plan: Plan) -> Iterator[list[Outcome]]:
    """Outcomes as they come; recordings whose worker was killed come last, one by one.

    A worker takes with it all that it has in hand, and only one of that is to blame: which one
    shows when each is measured by itself.
    """
    suspects: list[Source] = []
    for done in found.measure(_handfuls(pending, found.count)):
        if done.outcomes is None:
            suspects += done.sources
        else:
            yield done.outcomes
    for suspect in suspects:
        yield _by_itself(found, suspect, plan)


def _by_itself(found: Workers, suspect: Source, plan: Plan) -> list[Outcome]:
    for _ in range(_TRIES):
        [done] = found.measure([(suspect,)])
        if done.outcomes is not None:
            return done.outcomes
    return [failed(suspect, plan, "killed", _KILLED)]


def _handfuls(sources: Sequence[Source], count: int) -> list[tuple[Source, ...]]:
    """Small recordings go together, as handing out takes time too."""
    most = max(1, min(_MOST_IN_HAND, len(sources) // (_ROUNDS * count)))
    handfuls: list[tuple[Source, ...]] = []
    held: list[Source] = []
    size = 0
    for source in sources:
        own = source.size_bytes or 0
        if held and (len(held) >= most or size + own > _MOST_BYTES):
            handfuls.append(tuple(held))
            held, size = [], 0
        held.append(source)
        size += own
    return [*handfuls, tuple(held)]


class _Gathering:
    """Outcomes on their way into parts; what was gathered is kept however the batch ends."""

    def __init__(
        self,
        tables: Tables,
        *,
        total: int,
        done: int,
        tell: Callable[[Progress], None] | None,
    ) -> None:
        self._tables = tables
        self._total = total
        self._before = done
        self._done = done
        self._failed = 0
        self._tell = tell or (lambda _progress: None)
        self._begun = self._kept = time.monotonic()
        self._gathered: list[Outcome] = []

    def add(self, outcomes: list[Outcome]) -> None:
        """Gather some outcomes; they are kept in a while."""
        self._gathered += outcomes
        self._done += len(outcomes)
        self._failed += sum(outcome.failure is not None for outcome in outcomes)
        now = time.monotonic()
        if now - self._kept >= _KEEP_S:
            self._keep()
            self._kept = now
        each_s = (now - self._begun) / max(self._done - self._before, 1)
        left_s = each_s * (self._total - self._done)
        self._tell(Progress(self._done, self._failed, self._total, left_s))

    def __enter__(self) -> None:
        self._tell(Progress(self._done, self._failed, self._total, None))

    def __exit__(self, kind: type[BaseException] | None, *_rest: object) -> None:
        try:
            self._keep()
        except UsageError:
            if kind is None:
                raise  # else what ended the batch is told

    def _keep(self) -> None:
        gathered, self._gathered = self._gathered, []
        self._tables.keep(gathered)


def _counted(frame: pl.DataFrame, column: str) -> dict[str, int]:
    values = frame[column].drop_nulls().to_list()
    return dict(sorted(Counter(values).items()))
