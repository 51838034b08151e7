"""What the page of a vehicle shows: its visits, and its timing over the mileage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from crankwise.errors import CrankwiseError
from crankwise.language import say
from crankwise.picture.history_words import forecast_lines, quantity_words, trend_words
from crankwise.store import job_state

if TYPE_CHECKING:
    from crankwise.model.comparison import Level
    from crankwise.model.job import JobFile, JobState, VisitFile
    from crankwise.store import History, Store


@dataclass(frozen=True, slots=True)
class VisitRow:
    """A visit: its number, what was found and what was done."""

    number: int
    file: VisitFile
    level: Level | None
    words: str


@dataclass(frozen=True, slots=True)
class VehicleView:
    """The page of a vehicle; ``history`` where there is one, else ``no_history`` says why not."""

    file: JobFile
    state: JobState
    visits: tuple[VisitRow, ...]
    history: History | None
    no_history: str

    @property
    def outlook(self) -> tuple[str, ...]:
        """What the history says of each quantity, a sentence each."""
        return outlook(self.history)


def vehicle_view(store: Store, job_id: int) -> VehicleView:
    """Gather a vehicle's file; raises UsageError where there is no such job."""
    file = store.jobs.file(job_id)
    history, why = history_of(store, file)
    rows = [_row(number, visit) for number, visit in enumerate(file.visits, 1)]
    return VehicleView(file, job_state(file), tuple(reversed(rows)), history, why)


def history_of(store: Store, file: JobFile) -> tuple[History | None, str]:
    """Return the history of a vehicle, or why there is none."""
    try:
        found = store.history(
            file.vehicle.id,
            policy=store.shop.policy(),
            engine=store.shop.engine_of_family(file.vehicle.family),
        )
    except CrankwiseError as error:
        return None, str(error)
    return (found, "") if found.series else (None, "")


def outlook(history: History | None) -> tuple[str, ...]:
    """Say how each cam and separation moves, and at which mileage it would be worn.

    In the language spoken, so it is made when the page is.
    """
    if history is None:
        return ()
    said: dict[str, str] = {}
    for series in history.series:
        lines = [trend_words(series, history.mileage_unit).rstrip(".")]
        if series.worn.forecast:
            reached = ", ".join(forecast_lines(series.worn.forecast, history.mileage_unit))
            lines.append(say("worn {when}", when=reached))
        said[quantity_words(series)] = "; ".join(lines)
    if len(set(said.values())) == 1:
        return tuple(said.values())[:1]  # of all alike, such as too few visits
    return tuple(f"{what}: {words}" for what, words in said.items())


def _row(number: int, visit: VisitFile) -> VisitRow:
    compared = visit.comparisons[-1].comparison.verdict if visit.comparisons else None
    return VisitRow(
        number, visit, compared.level if compared else None, compared.summary if compared else ""
    )
