"""The numbers of a report for other programs: CSV, a row for each number, and JSON."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import astuple, dataclass, fields
from typing import TYPE_CHECKING, Any, Final

from crankwise.document import to_json
from crankwise.document.text import plain
from crankwise.model.job import Offer
from crankwise.report.prices import priced
from crankwise.report.written import TWO_SIDED_95
from crankwise.workshop.history_values import history_values

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.model.comparison import Comparison
    from crankwise.model.measurement import Measurement
    from crankwise.report.dossier import Dossier
    from crankwise.store import History

FORMAT: Final = "crankwise.report/1"
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class Number:
    """One number.

    Attributes
    ----------
    of : str
        ``found`` or ``after`` the repair, or ``history``.
    what : str
        What it is of: a cam, two cams, a cause.
    at : str
        Edge of the cam with its place in the cycle, or the visit, if it is of one.
    quantity : str
    value : float
    uncertainty : float or None
        Expanded, 95 %.
    unit : str
    """

    of: str
    what: str
    at: str
    quantity: str
    value: float
    uncertainty: float | None
    unit: str


def to_csv(dossier: Dossier) -> str:
    """Write every number of a report, a row each, with its uncertainty and unit."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(field.name for field in fields(Number))
    for number in numbers(dossier):
        writer.writerow(_cell(value) for value in astuple(number))
    return out.getvalue()


def to_json_text(dossier: Dossier) -> str:
    """Write the documents behind a report, its history and prices as one JSON document."""
    visit, vehicle = dossier.visit, dossier.vehicle
    values: dict[str, Any] = {
        "format": FORMAT,
        "vehicle": vehicle.label if vehicle else None,
        "date": dossier.day or None,
        "mileage": visit.mileage if visit else None,
        "mileage_unit": visit.mileage_unit if visit else None,
        "comparison": _document(dossier.comparison),
        "measurement": _document(dossier.measurement),
        "comparison_after": _document(dossier.after if dossier.is_repaired else None),
        "measurement_after": _document(dossier.after_measurement if dossier.is_repaired else None),
        "history": plain(history_values(dossier.history)) if dossier.history else None,
        "prices": [
            {
                "option": price.option,
                "currency": price.currency,
                "total_low": str(price.total.low),
                "total_high": str(price.total.high),
            }
            for price in priced(dossier.facts(Offer))
        ],
    }
    return json.dumps(values, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def numbers(dossier: Dossier) -> Iterator[Number]:
    """Yield every number of a report."""
    if dossier.comparison is not None:
        yield from _compared("found", dossier.comparison)
    if dossier.measurement is not None:
        yield from _measured("found", dossier.measurement)
    if dossier.is_repaired and dossier.after is not None:
        yield from _compared("after", dossier.after)
        if dossier.after_measurement is not None:
            yield from _measured("after", dossier.after_measurement)
    if dossier.history is not None:
        yield from _history(dossier.history)


def _compared(of: str, comparison: Comparison) -> Iterator[Number]:
    for cam in comparison.cams:
        yield Number(of, cam.role, "", "shift", cam.shift_deg, cam.uncertainty_deg, "deg")
        if cam.healthy is not None:
            yield Number(of, cam.role, "", "healthy from", cam.healthy.low_deg, None, "deg")
            yield Number(of, cam.role, "", "healthy to", cam.healthy.high_deg, None, "deg")
        for edge in cam.edges:
            name = f"{edge.edge} {edge.known_good_deg:.1f}"
            yield Number(
                of, cam.role, name, "edge shift", edge.shift_deg, edge.uncertainty_deg, "deg"
            )
    for change in comparison.separations:
        between = " to ".join(change.between)
        yield Number(
            of,
            between,
            "",
            "change of separation",
            change.change_deg,
            change.uncertainty_deg,
            "deg",
        )
    if comparison.ripple is not None:
        ripple = comparison.ripple
        yield Number(
            of, "crank", "", "ripple shift", ripple.shift_deg, ripple.uncertainty_deg, "deg"
        )
    limits = comparison.limits
    yield Number(of, "limits", "", "worn from", limits.worn_from_deg, None, "deg")
    yield Number(of, "limits", "", "code limit", limits.code_limit_deg, None, "deg")
    for cause in comparison.causes:
        yield Number(of, cause.cause, "", "probability", cause.probability, None, "1")


def _measured(of: str, measurement: Measurement) -> Iterator[Number]:
    speed = measurement.crank.speed_rpm
    for name, value in (("mean", speed.mean), ("least", speed.min), ("most", speed.max)):
        yield Number(of, "crank", "", f"{name} speed", value, None, "rpm")
    for cam in measurement.cams:
        for edge in cam.edges:
            name = f"{edge.edge} {edge.angle_deg:.1f}"
            yield Number(
                of, cam.role, name, "edge angle", edge.angle_deg, edge.uncertainty_deg, "deg"
            )
            yield Number(of, cam.role, name, "scatter", edge.scatter_deg, None, "deg")
            yield Number(of, cam.role, name, "count", edge.count, None, "1")


def _history(history: History) -> Iterator[Number]:
    for series in history.series:
        for visit in series.visits:
            expanded = TWO_SIDED_95 * visit.standard_uncertainty_deg
            what = f"shift at {visit.mileage:g} {history.mileage_unit}"
            yield Number(
                "history", series.quantity, visit.name, what, visit.shift_deg, expanded, "deg"
            )


def _document(result: Measurement | Comparison | None) -> dict[str, Any] | None:
    return None if result is None else to_json(result)


def _cell(value: str | float | None) -> str:
    """Write a cell; a text that a spreadsheet would run as a formula is marked as a text."""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) else value
    return "" if value is None else repr(value)
