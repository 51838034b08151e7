"""What is true of a simulated recording, in the terms of a measurement."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

import numpy as np

from crankwise.model.recording import BoolArray, FloatArray
from crankwise.testing.simulate.convert import build, to_plain
from crankwise.testing.simulate.motion import Motion
from crankwise.testing.simulate.parts import CamSpec, SensorSpec
from crankwise.testing.simulate.targets import Target
from crankwise.testing.simulate.timing import Transitions, half_delay_s, lag_delay_s
from crankwise.units import CYCLE_DEG, deg_per_s_to_rpm, wrap_cycle_deg

FORMAT = "crankwise.truth/1"


@dataclass(frozen=True, slots=True)
class EdgeTruth:
    """One edge of a cam over the cycle; all angles crank degrees after the zero.

    Attributes
    ----------
    edge : str
        ``rising`` or ``falling``, as recorded.
    tooth : int
        Which tooth of the target, from 1.
    nominal_deg : float
        As specified, without any shift or error.
    geometric_deg : float
        Mean of where the flank truly passed, without the delays of sensors.
    angle_deg : float
        Mean angle against the timing edges of the crank signal, both sensors' delays included:
        what a perfect measurement finds.
    angle_by_crank_edge_deg : Mapping of str to float
        The same, counted by the rising and by the falling crank edges.
    scatter_deg : float
        Standard deviation over the cycles of this recording; 0 for fewer than two.
    cycle_angles_deg : tuple of float
        The angle in each cycle, unwrapped around ``angle_deg``.
    """

    edge: str
    tooth: int
    nominal_deg: float
    geometric_deg: float
    angle_deg: float
    angle_by_crank_edge_deg: Mapping[str, float]
    scatter_deg: float
    cycle_angles_deg: tuple[float, ...]

    @property
    def count(self) -> int:
        """Cycles in which the edge stands in the recording."""
        return len(self.cycle_angles_deg)


@dataclass(frozen=True, slots=True)
class CamTruth:
    """One cam: ``shift_deg`` is all that turned the whole target, faults included."""

    role: str
    channel: str
    sensor: str
    polarity: str
    shift_deg: float
    scatter_deg: float
    edges: tuple[EdgeTruth, ...]


@dataclass(frozen=True, slots=True)
class CrankTruth:
    """The crank target.

    Attributes
    ----------
    channel, wheel, sensor, polarity : str
        ``polarity`` says which level a tooth gives.
    pitch_deg : float
    intervals_deg : tuple of float
        Nominal spacing from the zero on.
    timing_edge : str
        Electrical direction of the edges at the wheel's own angles, by which angles are given.
    zero_offset_deg : Mapping of str to float
        Nominal place of the first tooth after the gap by each direction, against the zero.
    tooth_error_deg : Mapping of str to tuple of float
        Spacing error of each tooth by each direction.
    zero_before_tdc_deg : float
    delay_s : Mapping of str to float
        Mean delay of the crank edges by direction at the mean speed.
    """

    channel: str
    wheel: str
    sensor: str
    polarity: str
    pitch_deg: float
    intervals_deg: tuple[float, ...]
    timing_edge: str
    zero_offset_deg: Mapping[str, float]
    tooth_error_deg: Mapping[str, tuple[float, ...]]
    zero_before_tdc_deg: float
    delay_s: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class SpeedTruth:
    """Speed over the recording: mean by turned angle, extremes inside the revolution, trace."""

    mean_rpm: float
    min_rpm: float
    max_rpm: float
    revolutions: float
    time_s: tuple[float, ...]
    half_turn_rpm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Truth:
    """Everything true of one simulated recording (format ``crankwise.truth/1``).

    ``start_angle_deg`` is the crank angle at the first sample; ``cycle_zero_s`` the recording's
    times at which a cycle begins (the zero before firing of cylinder 1); ``events`` what faults
    did at which times; ``spec`` the specification as plain data.
    """

    name: str
    about: str
    seed: int
    crank: CrankTruth
    cams: tuple[CamTruth, ...]
    speed: SpeedTruth
    start_angle_deg: float
    cycle_zero_s: tuple[float, ...]
    faults: tuple[Mapping[str, Any], ...]
    events: Mapping[str, tuple[float, ...]]
    facts: Mapping[str, str]
    spec: Mapping[str, Any]
    format: str = FORMAT

    def cam(self, role: str) -> CamTruth:
        """Return the cam with this role; raises KeyError."""
        for cam in self.cams:
            if cam.role == role:
                return cam
        raise KeyError(role)

    def to_json(self) -> dict[str, Any]:
        """Plain data for a JSON document."""
        plain: dict[str, Any] = to_plain(self)
        return plain

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> Self:
        """Rebuild from :meth:`to_json`; raises UsageError naming what doesn't fit."""
        return build(cls, document, where="truth")


def crank_delay_s(
    sensor: SensorSpec, *, rising: bool, pitch_deg: float, speed_deg_per_s: FloatArray
) -> FloatArray:
    """Delay of the crank edges in one direction at given speeds, seconds."""
    if sensor.is_switching:
        delay = sensor.delay_s + half_delay_s(sensor, rising=rising)
        return np.full_like(speed_deg_per_s, delay)
    return lag_delay_s(sensor, pitch_deg=pitch_deg, speed_deg_per_s=speed_deg_per_s)


def polarity(sensor: SensorSpec) -> str:
    """Which way a tooth shows: its level, or how its middle is crossed."""
    if sensor.is_switching:
        return "tooth-low" if sensor.inverted else "tooth-high"
    return "rising-at-tooth" if sensor.reversed_leads else "falling-at-tooth"


def trailing_is_rising(sensor: SensorSpec) -> bool:
    """Electrical direction of trailing flanks (of tooth middles, for variable reluctance)."""
    return sensor.inverted if sensor.is_switching else sensor.reversed_leads


def crank_offsets_deg(sensor: SensorSpec, target: Target) -> dict[str, float]:
    """Zero of each usable crank edge direction against the zero of the timing edge."""
    timing, other = ("rising", "falling") if trailing_is_rising(sensor) else ("falling", "rising")
    if not sensor.is_switching:
        return {timing: 0.0}
    return {timing: 0.0, other: float(target.nominal_lead_deg[0] - target.nominal_trail_deg[0])}


def crank_errors_deg(sensor: SensorSpec, target: Target) -> dict[str, tuple[float, ...]]:
    """Spacing error of each tooth in each usable direction."""
    timing = "rising" if trailing_is_rising(sensor) else "falling"
    if not sensor.is_switching:
        middle = (target.nominal_lead_deg + target.nominal_trail_deg) / 2
        return {timing: tuple((target.centre_deg - middle).tolist())}
    other = "falling" if timing == "rising" else "rising"
    return {
        timing: tuple((target.trail_deg - target.nominal_trail_deg).tolist()),
        other: tuple((target.lead_deg - target.nominal_lead_deg).tolist()),
    }


def speed_truth(motion: Motion, *, duration_s: float, start_s: float) -> SpeedTruth:
    """Speed statistics of the recorded stretch."""
    mean, least, greatest = motion.speed_range_rpm(0.0, duration_s)
    first, last = motion.window(0.0, duration_s)
    marks = motion.time_of(np.arange(np.ceil(first / 180.0), last / 180.0) * 180.0)
    steps = np.diff(marks)
    return SpeedTruth(
        mean_rpm=mean,
        min_rpm=least,
        max_rpm=greatest,
        revolutions=(last - first) / 360.0,
        time_s=tuple((0.5 * (marks[1:] + marks[:-1]) + start_s).tolist()),
        half_turn_rpm=tuple(deg_per_s_to_rpm(180.0 / steps).tolist()),
    )


@dataclass(frozen=True, slots=True, eq=False)
class CrankView:
    """What the angles of cam edges are read against."""

    motion: Motion
    sensor: SensorSpec
    pitch_deg: float
    offsets_deg: Mapping[str, float]
    timing_edge: str
    duration_s: float

    def angle_deg(self, time_s: FloatArray, direction: str) -> FloatArray:
        """Angle that the delayed crank signal shows at times, unwrapped."""
        _, speed = self.motion.at(time_s)
        delay = crank_delay_s(
            self.sensor,
            rising=direction == "rising",
            pitch_deg=self.pitch_deg,
            speed_deg_per_s=speed,
        )
        angle, _ = self.motion.at(time_s - delay)
        return angle - self.offsets_deg[direction]


def cam_edges(spec: CamSpec, transitions: Transitions, view: CrankView) -> tuple[EdgeTruth, ...]:
    """Truth of each edge of a cam, in the order of their angles."""
    inside = (transitions.half_s >= 0) & (transitions.half_s <= view.duration_s)
    edges = []
    for tooth, (start, end) in enumerate(spec.teeth):
        for trailing in (False, True):
            which = inside & (transitions.tooth == tooth) & (transitions.trailing == trailing)
            if not which.any() or (not spec.sensor.is_switching and not trailing):
                continue
            nominal = end if trailing else start
            if not spec.sensor.is_switching:
                nominal = (start + end) / 2
            edges.append(_edge(transitions, which, view, tooth=tooth, nominal_deg=nominal))
    return tuple(sorted(edges, key=lambda edge: edge.angle_deg))


def _edge(
    transitions: Transitions, which: BoolArray, view: CrankView, *, tooth: int, nominal_deg: float
) -> EdgeTruth:
    base = nominal_deg + transitions.turn[which] * CYCLE_DEG
    times = transitions.half_s[which]
    found = {edge: view.angle_deg(times, edge) - base for edge in view.offsets_deg}
    geometric = float(np.mean(transitions.flank_deg[which] - base))
    by_edge = {
        edge: wrap_cycle_deg(nominal_deg + float(np.mean(off))) for edge, off in found.items()
    }
    angle = by_edge[view.timing_edge]
    spread = found[view.timing_edge] - np.mean(found[view.timing_edge])
    return EdgeTruth(
        edge="rising" if bool(transitions.rising[which][0]) else "falling",
        tooth=tooth + 1,
        nominal_deg=wrap_cycle_deg(float(nominal_deg)),
        geometric_deg=wrap_cycle_deg(nominal_deg + geometric),
        angle_deg=angle,
        angle_by_crank_edge_deg=by_edge,
        scatter_deg=float(np.std(spread, ddof=1)) if len(spread) > 1 else 0.0,
        cycle_angles_deg=tuple((angle + spread).tolist()),
    )
