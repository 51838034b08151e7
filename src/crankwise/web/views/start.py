"""What the start page shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.model.job import Choice, Offer, Repair
from crankwise.store import job_state

if TYPE_CHECKING:
    from crankwise.model.comparison import Level
    from crankwise.model.job import JobFile, JobState, Visit, VisitFile
    from crankwise.store import Store

_ROWS: Final = 40
_MOST_DUE: Final = 8
_WAITING: Final = {
    "to-record", "to-measure", "to-compare", "judged", "advised", "accepted", "repaired",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class VehicleRow:
    """One vehicle: its job, its last visit and verdict, and what comes next.

    ``recheck_mileage`` says when to measure again, where the owner chose to wait for that.
    """

    job_id: int
    label: str
    family: str | None
    last_visit: Visit | None
    level: Level | None
    state: JobState
    recheck_mileage: float | None


@dataclass(frozen=True, slots=True)
class StartView:
    """The start page.

    Attributes
    ----------
    vehicles, due : tuple of VehicleRow
        A page of the vehicles, and those of them where something waits to be done.
    search : str
        What was looked for.
    total, page, pages : int
        Vehicles found, and which page of how many is shown.
    is_empty : bool
        Whether the store holds no vehicle at all.
    example_work : str
        Work that fills in the example, if that is going on.
    """

    vehicles: tuple[VehicleRow, ...]
    due: tuple[VehicleRow, ...]
    search: str
    total: int
    page: int
    pages: int
    is_empty: bool
    example_work: str = ""


def start_view(store: Store, *, search: str, page: int) -> StartView:
    """Return a page of the vehicles, the one seen last first."""
    found = store.jobs.seen_last(search=search or None)
    pages = max(1, -(-len(found) // _ROWS))
    shown = min(max(page, 1), pages)
    rows = tuple(_row(store.jobs.file(n)) for n in found[(shown - 1) * _ROWS : shown * _ROWS])
    due = tuple(row for row in rows if _is_due(row))
    return StartView(
        vehicles=rows,
        due=() if search else due[:_MOST_DUE],
        search=search,
        total=len(found),
        page=shown,
        pages=pages,
        is_empty=not found and not search,
    )


def _is_due(row: VehicleRow) -> bool:
    """Whether somebody has to do something: an engine in time asks for nothing."""
    if row.recheck_mileage is not None:
        return True
    settled = row.state.state == "judged" and row.level == "in-time"
    return row.state.state in _WAITING and bool(row.state.next_step) and not settled


def _row(file: JobFile) -> VehicleRow:
    visit = file.visits[-1] if file.visits else None
    compared = [item for v in file.visits for item in v.comparisons]
    return VehicleRow(
        job_id=file.job.id,
        label=file.vehicle.label,
        family=file.vehicle.family,
        last_visit=visit.visit if visit else None,
        level=compared[-1].comparison.verdict.level if compared else None,
        state=job_state(file),
        recheck_mileage=_recheck(visit) if visit else None,
    )


def _recheck(visit: VisitFile) -> float | None:
    """Mileage at which to measure again, unless the repair was ordered or done meanwhile."""
    facts = [kept.fact for kept in visit.facts]
    if any(isinstance(f, Repair) or (isinstance(f, Choice) and f.accepted) for f in facts):
        return None
    watched = [f for f in facts if isinstance(f, Offer) and f.option == "watch"]
    return watched[-1].recheck_mileage if watched else None
