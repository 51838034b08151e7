"""What a newer measurement of one recording changed, in numbers and in words."""

from __future__ import annotations

from collections.abc import Iterator

from crankwise.model.kept import EdgeChange, KeptMeasurement, KeptRecording, Remeasured
from crankwise.model.measurement import CamMeasurement, Measurement
from crankwise.units import wrap_signed_deg


def remeasured(
    recording: KeptRecording, before: KeptMeasurement | None, after: KeptMeasurement
) -> Remeasured:
    """Compare the newest measurement with the one before it."""
    if before is None:
        return Remeasured(recording, None, after, words=("measured for the first time",))
    if before.id == after.id:
        return Remeasured(recording, before, after)
    old, new = before.measurement, after.measurement
    edges = tuple(_edge_changes(old, new))
    words = (*_crank_words(old, new), *_cam_words(old, new), *_finding_words(old, new))
    moved = tuple(_edge_words(change) for change in edges if _counts(change))
    return Remeasured(recording, before, after, edges, (*words, *moved))


def _counts(change: EdgeChange) -> bool:
    return abs(change.change_deg) > change.uncertainty_deg


def _edge_changes(old: Measurement, new: Measurement) -> Iterator[EdgeChange]:
    for mine in new.cams:
        was = _cam(old, mine.role)
        if was is None or [e.edge for e in was.edges] != [e.edge for e in mine.edges]:
            continue
        for before, after in zip(was.edges, mine.edges, strict=True):
            yield EdgeChange(
                role=mine.role,
                edge=after.edge,
                before_deg=before.angle_deg,
                after_deg=after.angle_deg,
                change_deg=wrap_signed_deg(after.angle_deg - before.angle_deg),
                uncertainty_deg=after.uncertainty_deg,
            )


def _cam(measurement: Measurement, role: str) -> CamMeasurement | None:
    return next((cam for cam in measurement.cams if cam.role == role), None)


def _edge_words(change: EdgeChange) -> str:
    return (
        f"{change.role}, {change.edge} edge at {change.before_deg:.2f}°: moved by "
        f"{change.change_deg:+.2f}°, more than its uncertainty of ± {change.uncertainty_deg:.2f}°"
    )


def _crank_words(old: Measurement, new: Measurement) -> Iterator[str]:
    if old.crank.wheel != new.crank.wheel:
        yield f"crank wheel: {old.crank.wheel} before, {new.crank.wheel} now"
    if old.crank.timing_edge != new.crank.timing_edge:
        yield f"timing edge: {old.crank.timing_edge} before, {new.crank.timing_edge} now"


def _cam_words(old: Measurement, new: Measurement) -> Iterator[str]:
    roles = {cam.role for cam in (*old.cams, *new.cams)}
    for role in sorted(roles):
        was, now = _cam(old, role), _cam(new, role)
        if was is None or now is None:
            yield f"{role}: {'not measured before' if was is None else 'not measured any more'}"
        elif len(was.edges) != len(now.edges):
            yield f"{role}: {len(was.edges)} edges a cycle before, {len(now.edges)} now"
        elif [e.edge for e in was.edges] != [e.edge for e in now.edges]:
            yield f"{role}: its edges come in another order"


def _finding_words(old: Measurement, new: Measurement) -> Iterator[str]:
    before = {finding.code for finding in old.findings}
    after = {finding.code for finding in new.findings}
    for finding in new.findings:
        if finding.code not in before:
            yield f"new finding: {finding.text}"
    for finding in old.findings:
        if finding.code not in after:
            yield f"no longer found: {finding.text}"
