"""A history as it is answered: the document ``crankwise.history/1``."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict

from crankwise.comparison.mixture import Estimate
from crankwise.judge.history import Forecast, Outcome
from crankwise.model.job import MileageUnit
from crankwise.store import History
from crankwise.workshop.history_values import history_values


class _Found(BaseModel):
    """Read from what was found."""

    model_config = ConfigDict(from_attributes=True)


class VisitShift(_Found):
    """One cam's shift at one visit, crank degrees, against the same known-good at every visit."""

    name: str
    mileage: float
    shift_deg: float
    standard_uncertainty_deg: float
    before_repair: bool


class TrendAnswer(_Found):
    """What the visits since the last chain say, towards one limit."""

    outcome: Outcome
    reason: str
    set_aside: VisitShift | None
    remarks: tuple[str, ...]
    change_per_10000: Estimate | None
    spread: Estimate | None
    forecast: Forecast | None


class SeriesAnswer(_Found):
    """One cam or separation over the mileage."""

    quantity: str
    kind: Literal["cam", "separation"]
    restarts: tuple[float, ...]
    known_good_standard_uncertainty_deg: float
    visits: tuple[VisitShift, ...]
    worn: TrendAnswer
    out_of_time: TrendAnswer


class HistoryAnswer(BaseModel):
    """A vehicle's timing over its mileage; ``left_out`` says what could not be used, and why."""

    format: Literal["crankwise.history/1"] = "crankwise.history/1"
    mileage_unit: MileageUnit
    known_good_id: str
    worn_deg: float
    out_of_time_deg: float
    series: tuple[SeriesAnswer, ...]
    left_out: tuple[str, ...]


def history_answer(history: History) -> HistoryAnswer:
    """A history without the fitted line itself, which is no document."""
    return HistoryAnswer.model_validate(history_values(history))
