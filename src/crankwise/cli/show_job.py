"""Jobs as people read them on a terminal of 80 columns."""

from __future__ import annotations

import shlex
from collections import defaultdict
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from rich.table import Table
from rich.text import Text

from crankwise.cli.console import can_print, console_for_people, named_lines
from crankwise.cli.fact_words import fact_words
from crankwise.cli.guard import printable
from crankwise.cli.tables import (
    add_row,
    open_table,
    print_bullets,
    print_title,
    print_words,
)
from crankwise.cli.wording import distance, short
from crankwise.language import say, say_many, told
from crankwise.model.job import PriceItem
from crankwise.picture.verdicts import SIGNS
from crankwise.picture.words import shift_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rich.console import Console

    from crankwise.model.job import JobFile, JobState, KeptComparison, VisitFile
    from crankwise.model.kept import Remeasured
    from crankwise.workshop.folder import Taken

_NEXT: Final[dict[str, str]] = {
    "open": "crankwise job visit add {vehicle} --mileage N --unit UNIT",
    "to-record": "crankwise job record {vehicle} FILE",
    "to-compare": "crankwise job compare {vehicle}",
    "judged": "crankwise job advised {vehicle} TEXT",
    "advised": "crankwise job chosen {vehicle} TEXT --accepted",
    "accepted": "crankwise job repair {vehicle} TEXT --chain-replaced",
    "verified": "crankwise job known-good {vehicle}",
}
"""The command that takes a job on from its state."""


def show_jobs(files: Sequence[JobFile], states: Sequence[JobState]) -> None:
    """Print the list of jobs, and for each what comes next."""
    console = console_for_people()
    if not files:
        words = say("There is no job yet: begin one with crankwise job new VEHICLE.")
        print_words(console, words)
        return
    table = open_table("job", "vehicle", "visits", "last seen", "verdict", "state", numbers={"job"})
    for file, state in zip(files, states, strict=True):
        last = file.visits[-1].visit if file.visits else None
        seen = distance(last.mileage, last.mileage_unit) if last else ""
        add_row(
            table, file.job.id, file.vehicle.label, len(file.visits), seen,
            told(_last_level(file)), told(state.state),
        )  # fmt: skip
    console.print(table)


def _last_level(file: JobFile) -> str:
    levels = [kept.comparison.verdict.level for visit in file.visits for kept in visit.comparisons]
    return levels[-1] if levels else ""


def show_job(file: JobFile, state: JobState) -> None:
    """Print the whole file: the vehicle, each visit in order, and what comes next."""
    console = console_for_people()
    console.print(named_lines(_head(file, state)))
    for number, visit in enumerate(file.visits, 1):
        _show_visit(console, number, visit)
    if file.facts:
        print_title(console, say("of the whole job"))
        print_bullets(console, (": ".join(fact_words(kept.fact)) for kept in file.facts))
    if file.known_goods:
        print_title(console, say("known-goods from this vehicle"))
        print_bullets(console, file.known_goods)
    if state.next_step:
        print_title(console, say("next"))
        print_words(console, told(state.next_step), indent=2)
        if command := _NEXT.get(state.state):
            named = command.format(vehicle=shlex.quote(file.vehicle.label))
            print_words(console, named, indent=2)


def _head(file: JobFile, state: JobState) -> Iterable[tuple[str, str]]:
    vehicle = file.vehicle
    lines = [
        (say("vehicle"), vehicle.label),
        (say("family"), vehicle.family or say("not said")),
        (say("job"), f"{file.job.id}{', ' + file.job.title if file.job.title else ''}"),
        (say("state"), told(state.because)),
    ]
    details = vehicle.details
    private = (
        (say("VIN"), details.vin),
        (say("plate"), details.plate),
        (say("customer"), details.customer),
    )
    return lines + [(name, value) for name, value in private if value]


def _show_visit(console: Console, number: int, visit: VisitFile) -> None:
    seen = distance(visit.visit.mileage, visit.visit.mileage_unit)
    when = ", ".join(filter(None, (told(visit.visit.date), seen)))
    print_title(console, say("visit {number}: {when}", number=number, when=when))
    table = Table.grid(padding=(0, 2))
    for kept in visit.facts:
        _row(table, *fact_words(kept.fact, unit=visit.visit.mileage_unit))
    names = {kept.id: kept.measurement.recording for kept in visit.measurements}
    for recording in visit.recordings:
        purpose = told(recording.purpose)
        _row(table, say("recording"), f"{recording.recording.name} ({purpose})")
    for comparison in visit.comparisons:
        info = names.get(comparison.measurement_id or 0)
        _row(table, say("verdict"), _verdict(console, comparison, info.name if info else ""))
        _row(table, "", _shifts(comparison))
    for currency, total in _totals(visit).items():
        _row(table, say("total"), f"{told(f'{total:,.2f}')} {currency}")
    console.print(table)


def _row(table: Table, name: str, words: str) -> None:
    table.add_row(Text(f"  {name}", "dim"), Text(printable(words)))


def _verdict(console: Console, kept: KeptComparison, recording: str) -> str:
    verdict = kept.comparison.verdict
    sign = SIGNS[verdict.level]
    shape = sign.sign if can_print(console, sign.sign) else sign.plain
    of = f" ({recording})" if recording else ""
    return f"{shape} {told(verdict.level)}{of}: {told(verdict.summary)}"


def _shifts(kept: KeptComparison) -> str:
    return "; ".join(
        f"{told(cam.role)} {shift_words(cam.shift_deg, cam.uncertainty_deg)}"
        for cam in kept.comparison.cams
    )


def _totals(visit: VisitFile) -> dict[str, Decimal]:
    totals: dict[str, Decimal] = defaultdict(Decimal)
    for kept in visit.facts:
        if isinstance(kept.fact, PriceItem):
            totals[kept.fact.currency] += kept.fact.amount
    return totals


def show_taken(taken: Sequence[Taken]) -> None:
    """Print what became of each file of a folder, and how many were understood."""
    console = console_for_people()
    for title, outcome in (
        (say("kept with a visit"), "visit"),
        (say("kept, not with a visit"), "kept"),
        (say("not understood"), "refused"),
    ):
        some = [item for item in taken if item.outcome == outcome]
        if not some:
            continue
        print_title(console, f"{title}: {say_many('{count} file', '{count} files', len(some))}")
        print_bullets(console, (f"{item.name}: {told(item.text)}" for item in some))
    if not taken:
        print_words(console, say("There is no file in this folder."))


def show_remeasured(done: Sequence[Remeasured]) -> None:
    """Print what measuring again changed; nothing is lost, both results are kept."""
    console = console_for_people()
    if not done:
        print_words(console, say("There is no recording to measure again."))
        return
    table = open_table("recording", "method", "largest change", "edge", numbers={"largest change"})
    for item in done:
        before, after = item.before, item.after
        methods = f"{before.method if before else '-'} → {after.method if after else '-'}"
        edge = max(item.edges, key=lambda edge: abs(edge.change_deg), default=None)
        change = shift_words(edge.change_deg, edge.uncertainty_deg) if edge else ""
        where = f"{told(edge.role)} {told(edge.edge)}" if edge else ""
        add_row(table, item.recording.name, methods, change, where)
    console.print(table)
    for item in done:
        lines = [*item.words, *([item.failed] if item.failed else [])]
        if lines:
            print_title(console, f"{item.recording.name} ({short(item.recording.sha256)})")
            print_bullets(console, map(told, lines))
