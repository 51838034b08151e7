"""The one place that chains the steps from a recording to a measurement."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from crankwise.angle.cams import MIN_CYCLES, measure_cam
from crankwise.angle.cycle import Cycle, cycle_origin
from crankwise.angle.fit import crank_angle, cutoff_order
from crankwise.angle.folding import CamAngles, Cluster, cam_angles, clusters
from crankwise.angle.speed import (
    other_firing_shares,
    ripple,
    second_order_share,
    speed_range,
    speed_trace,
)
from crankwise.angle.unseen import unseen_ripple
from crankwise.check import recording_check
from crankwise.check.context import CheckContext
from crankwise.edges import find_all_edges
from crankwise.errors import NotMeasurableError
from crankwise.model.crank_angle import CrankAngle
from crankwise.model.edges import Edges
from crankwise.model.finding import Step
from crankwise.model.measurement import (
    CamMeasurement,
    CrankMeasurement,
    Measurement,
    RecordingInfo,
    RejectedEdges,
)
from crankwise.model.recording import Recording
from crankwise.model.trace import Trace
from crankwise.model.wheel import Wheel
from crankwise.pipeline.tracing import trace_of
from crankwise.roles import Roles, assign
from crankwise.roles.evidence import cam_evidence
from crankwise.roles.naming import name_cams
from crankwise.wheel import catalogue

Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True, eq=False)
class Traced:
    """A measurement, and the trace of the recording it was made from."""

    measurement: Measurement
    trace: Trace


def measure(
    recording: Recording,
    *,
    crank: str | None = None,
    cams: Mapping[str, str] | None = None,
    wheels: Iterable[Wheel] | None = None,
    edges: Mapping[str, Edges] | None = None,
    progress: Progress | None = None,
) -> Measurement:
    """Measure a recording.

    Parameters
    ----------
    recording : Recording
    crank : str, optional
        Channel of the crank; found from names and signals if not given.
    cams : mapping of role to channel, optional
        For example ``{"intake": "B"}``; found if not given.
    wheels : iterable of Wheel, optional
        Wheels to consider; the built-in catalogue and the technician's own if not given.
    edges : mapping of channel to Edges, optional
        Edges of every channel, where they were found while the recording was read; it needs no
        samples then.
    progress : callable, optional
        Called with a step in words and the share done (0 to 1).

    Raises
    ------
    UsageError
        A named channel does not exist.
    NotMeasurableError
        No crank can be followed, or no cam was recorded over enough cycles.
    """
    return measure_traced(
        recording, crank=crank, cams=cams, wheels=wheels, edges=edges, progress=progress
    ).measurement


def measure_traced(
    recording: Recording,
    *,
    crank: str | None = None,
    cams: Mapping[str, str] | None = None,
    wheels: Iterable[Wheel] | None = None,
    edges: Mapping[str, Edges] | None = None,
    progress: Progress | None = None,
) -> Traced:
    """Measure a recording as :func:`measure` does, and keep every cycle for pictures of it."""
    tell = progress or (lambda _step, _share: None)
    tell("finding edges", 0.0)
    edges = find_all_edges(recording) if edges is None else edges
    tell("naming teeth", 0.5)
    known = list(wheels) if wheels is not None else _known_wheels()
    roles = assign(edges, known, crank=crank, cams=cams)
    tell("measuring angles", 0.7)
    angle = crank_angle(roles.teeth)
    sorted_cams = _cams(recording, edges, roles, angle)
    measured = _measure_cams(sorted_cams, angle)
    result = _result(recording, edges, roles, angle, found=sorted_cams, measured=measured)
    trace = trace_of(
        roles.crank, angle, sorted_cams.cycle, cams=sorted_cams.cams, measured=measured
    )
    tell("done", 1.0)
    return Traced(result, trace)


def _known_wheels() -> list[Wheel]:
    return list(catalogue.load(catalogue.own_file()).values())


@dataclass(frozen=True, slots=True, eq=False)
class _Sorted:
    """Cams in the order of their roles with their patterns, and why each channel is what it is."""

    cams: tuple[tuple[str, CamAngles, tuple[Cluster, ...]], ...]
    cycle: Cycle
    why: Mapping[str, str]
    started: int


def _cams(
    recording: Recording, edges: Mapping[str, Edges], roles: Roles, angle: CrankAngle
) -> _Sorted:
    """Tell cams from other channels, name them, and settle the cycle."""
    rest = [name for name in edges if name != roles.crank]
    angles = {
        name: cam_angles(edges[name], angle, recording_start_s=recording.start_s) for name in rest
    }
    why = dict(roles.why)
    chosen: list[str] = []
    for name in rest:
        role = next((key for key, channel in roles.fixed.items() if channel == name), None)
        kind = roles.hints[name].kind
        evidence = cam_evidence(*_longest_run(angles[name], angle))
        if role is not None:
            chosen.append(name)
            why[name] = f"{role}: named by you"
        elif roles.fixed:
            why[name] = "other: not named by you"
        elif kind == "other":
            why[name] = "other: its name says so"
        elif evidence.is_cam:
            chosen.append(name)
            why[name] = f"cam: {evidence.why}"
        else:
            why[name] = f"other: {evidence.why}"
    names = name_cams(chosen, roles.fixed, roles.hints)
    ordered = sorted(names.items(), key=lambda item: item[1])
    cycle = cycle_origin(
        [(role, angles[channel]) for channel, role in ordered],
        runs=len(angle.runs),
        repeats=roles.teeth.wheel.repeats,
    )
    joined = np.where(np.isfinite(cycle.offset_deg), cycle.offset_deg, 0.0)
    cams = tuple(
        (role, angles[channel], tuple(_joined_clusters(angles[channel], cycle, joined)))
        for channel, role in ordered
    )
    for channel, role in names.items():
        why[channel] = f"{role}: " + why[channel].split(": ", 1)[1]
    return _Sorted(cams, cycle, why, sum(angles[channel].started for channel in names))


def _longest_run(cam: CamAngles, angle: CrankAngle) -> tuple[CamAngles, list[Cluster]]:
    """The part of a cam in the longest run of teeth; between runs the count is not known yet."""
    turned = [run.end_deg - run.start_deg for run in angle.runs]
    part = cam.where(cam.run == int(np.argmax(turned)))
    return part, clusters(part, offset_deg=np.zeros(len(turned)))


def _joined_clusters(cam: CamAngles, cycle: Cycle, joined: np.ndarray) -> list[Cluster]:
    """Pattern over the runs whose place in the cycle is known."""
    known = np.isfinite(cycle.offset_deg)[cam.run]
    return clusters(cam.where(known), offset_deg=joined)


def _measure_cams(found: _Sorted, angle: CrankAngle) -> tuple[CamMeasurement, ...]:
    wheel = angle.teeth.wheel
    unseen = unseen_ripple(
        wheel,
        cutoff_order=cutoff_order(wheel.teeth_per_rev),
        second_order_share=second_order_share(angle),
        other_shares=other_firing_shares(angle),
    )
    return tuple(
        measure_cam(cam, pattern, angle, role=role, ripple=unseen)
        for role, cam, pattern in found.cams
    )


def _result(
    recording: Recording,
    edges: Mapping[str, Edges],
    roles: Roles,
    angle: CrankAngle,
    *,
    found: _Sorted,
    measured: Sequence[CamMeasurement],
) -> Measurement:
    crank = _crank_measurement(edges[roles.crank], angle, found.cycle)
    _refuse_too_short(recording, crank, measured)
    context = CheckContext(
        recording,
        edges,
        roles,
        angle,
        crank,
        tuple(measured),
        found.started,
        apart=found.cycle.apart,
        stray={cam.edges.channel: _stray_share(cam, pattern) for _, cam, pattern in found.cams},
    )
    return Measurement(
        recording=RecordingInfo(
            name=recording.name,
            sha256=recording.sha256,
            duration_s=recording.duration_s,
            interval_s=recording.interval_s,
            channels=recording.channel_names,
        ),
        crank=crank,
        cams=tuple(measured),
        findings=recording.findings + roles.findings + recording_check(context),
        history=(*recording.history, *_steps(roles, angle, found)),
        roles=dict(found.why),
    )


def _stray_share(cam: CamAngles, pattern: Sequence[Cluster]) -> float:
    """Share of a cam's edges that belong to no edge of its pattern."""
    within = sum(len(item.cycle) + item.rejected for item in pattern)
    return 1.0 - within / max(len(cam.angle_deg), 1)


def _refuse_too_short(
    recording: Recording, crank: CrankMeasurement, measured: Sequence[CamMeasurement]
) -> None:
    for cam in measured:
        if not cam.edges and cam.cycles == 0:
            raise NotMeasurableError(
                f"{recording.name}: '{cam.channel}' does not come back at the same angles of "
                f"'{crank.channel}', which was taken for the crank; check which channel is which"
            )
        if not cam.edges:
            cycle_s = 120.0 / crank.speed_rpm.mean
            more = max((MIN_CYCLES + 1) * cycle_s - recording.duration_s, cycle_s)
            raise NotMeasurableError(
                f"{recording.name}: '{cam.channel}' was seen over {cam.cycles} cycles; at least "
                f"{MIN_CYCLES} are needed: record {more:.1f} s more at this speed"
            )


def _crank_measurement(edges: Edges, angle: CrankAngle, cycle: Cycle) -> CrankMeasurement:
    teeth = angle.teeth
    wheel = teeth.wheel
    turned = sum(run.end_deg - run.start_deg for run in angle.runs)
    return CrankMeasurement(
        channel=edges.channel,
        wheel=wheel.name,
        sensor=edges.sensor,
        timing_edge=teeth.timing_edge,
        teeth_per_rev=wheel.teeth_per_rev,
        pitch_deg=wheel.pitch_deg,
        intervals_deg=wheel.intervals_deg,
        has_gap=wheel.has_gap,
        revolutions=int(turned // 360.0),
        speed_rpm=speed_range(angle),
        speed_trace=speed_trace(angle),
        ripple=ripple(angle, cycle.offset_deg) if cycle.known else (),
        tooth_error_deg=tuple(float(value) for value in angle.tooth_error_deg),
        tooth_error_sd_deg=angle.tooth_error_sd_deg,
        other_edge_offset_deg=_other_edge_offset_deg(edges, angle),
        rejected=RejectedEdges(
            glitch=edges.rejected.get("glitch", 0),
            dropout=edges.rejected.get("dropout", 0),
            extra=teeth.extra,
            missing=teeth.missing,
        ),
        choice=teeth.choice,
        cycle_origin=cycle.how,
        cycle_known=cycle.known,
        tooth_level=_tooth_level(edges, angle),
        repeats=wheel.repeats,
    )


def _other_edge_offset_deg(edges: Edges, angle: CrankAngle) -> float | None:
    """Median angle from the timing edge to the next edge of the other direction."""
    other = edges.times_s[edges.rising == (angle.teeth.timing_edge == "falling")]
    offsets: list[np.ndarray] = []
    for run, fitted in zip(angle.teeth.runs, angle.runs, strict=True):
        follower = np.searchsorted(other, run.times_s)
        usable = follower < len(other)
        start = fitted.angle_at(run.times_s[usable])
        offsets.append(fitted.angle_at(other[follower[usable]]) - start)
    everything = np.concatenate(offsets)
    everything = everything[np.isfinite(everything)]
    return float(np.median(everything)) if len(everything) else None


def _tooth_level(edges: Edges, angle: CrankAngle) -> str:
    """Level of the teeth: the one that the signal does not hold in the gap."""
    wheel = angle.teeth.wheel
    if not wheel.has_gap or edges.sensor == "variable-reluctance":
        return "unknown"
    shares: list[np.ndarray] = []
    other = edges.times_s[edges.rising == (angle.teeth.timing_edge == "falling")]
    for run in angle.teeth.runs:
        last = np.flatnonzero(run.number % wheel.teeth_per_rev == wheel.teeth_per_rev - 1)
        last = last[last + 1 < run.teeth]
        begin, end = run.times_s[last], run.times_s[last + 1]
        turn = other[np.clip(np.searchsorted(other, begin), 0, len(other) - 1)]
        shares.append((turn - begin) / (end - begin))
    stays = np.concatenate(shares) > 0.5
    if len(stays) == 0 or 0.2 < stays.mean() < 0.8:
        return "unknown"
    # After a falling timing edge the signal is low; if it stays so through the gap, teeth are high.
    is_high = (stays.mean() > 0.5) == (angle.teeth.timing_edge == "falling")
    return "high" if is_high else "low"


def _steps(roles: Roles, angle: CrankAngle, found: _Sorted) -> tuple[Step, ...]:
    teeth = roles.teeth
    return (
        Step("edges", {"channels": len(found.why)}),
        Step(
            "wheel decode",
            {
                "wheel": teeth.wheel.name,
                "learned": teeth.wheel.learned,
                "timing_edge": teeth.timing_edge,
                "runs": len(teeth.runs),
            },
        ),
        Step("angle", {"outlier_teeth": angle.outlier_teeth, "curve": "penalised cubic spline"}),
        Step("cams", {"cycle_known": found.cycle.known, "start_edges_left_out": found.started}),
    )
